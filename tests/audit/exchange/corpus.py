"""Hostile and broken files, each made here with what must be said about it; none is stored in the repository.

A case is a name, the bytes, and a part of the sentence that refuses them.
"""

import hashlib
import io
import json
import random
import struct
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pandas as pd

from audit.exchange.columns import FILE, NAMES
from audit.exchange.package import MANIFEST, MEMBERS, SUMS, members, package, sums
from audit.exchange.release import LENGTH, LETTERS
from tests.audit.exchange import sets


@dataclass(frozen=True)
class Case:
    name: str
    data: bytes
    says: str


def every_case() -> list[Case]:
    makers = (outside, entries, checksums, manifests, texts, cells, rows_against_each_other, against_the_manifest,
              descriptions)  # fmt: skip
    return [case for maker in makers for case in maker()]


# --- tools


def zipped(files: dict[str, bytes], *, change: Callable[[zipfile.ZipInfo], None] | None = None, pack=zipfile.ZIP_STORED,
           more: list[tuple[zipfile.ZipInfo, bytes]] | None = None) -> bytes:  # fmt: skip
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", pack) as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.compress_type = pack
            if change:
                change(entry)
            archive.writestr(entry, data)
        for entry, data in more or []:
            archive.writestr(entry, data)
    return target.getvalue()


def with_member(name: str, data: bytes) -> bytes:
    """A set with one member exchanged, its checksums made to fit."""
    files = {**sets.files(), name: data}
    return package({**files, SUMS: sums({key: value for key, value in files.items() if key != SUMS})})


def with_text(change: Callable[[str], str]) -> bytes:
    """A set whose rows, as text, were changed, and whose manifest and checksums were made to fit."""
    data = change(sets.files()[FILE].decode()).encode("utf-8", "surrogatepass")
    return with_csv(data)


def with_csv(data: bytes) -> bytes:
    files = sets.files()
    found = json.loads(files[MANIFEST])
    found["file_sha256"] = hashlib.sha256(data).hexdigest()
    files |= {FILE: data, MANIFEST: json.dumps(found).encode()}
    return package({**files, SUMS: sums({key: value for key, value in files.items() if key != SUMS})})


def with_cell(column: str, value: str, row: int = 5) -> bytes:
    """Row 5 as a spreadsheet counts: the fourth of the file."""

    def changed(text: str) -> str:
        lines = text.split("\n")
        cells = lines[row - 1].split(",")
        cells[NAMES.index(column)] = value
        lines[row - 1] = ",".join(cells)
        return "\n".join(lines)

    return with_text(changed)


def with_rows(change: Callable[[pd.DataFrame], pd.DataFrame]) -> bytes:
    """A set that is of one piece, made by somebody who made up the rows."""
    return sets.a_set(change(sets.released().copy()))


def with_manifest(**parts) -> bytes:
    found = {**json.loads(sets.files()[MANIFEST]), **parts}
    return with_member(MANIFEST, json.dumps({key: value for key, value in found.items() if value is not DROP}).encode())


DROP = object()


# --- the zip


def outside() -> Iterator[Case]:
    whole = sets.a_set()
    yield Case("an empty file", b"", "the file is empty")
    yield Case("a text", b"row_code,patient_code\n", "not a zip file")
    yield Case("a picture", b"\x89PNG\r\n\x1a\n" + b"\0" * 40, "not a zip file")
    yield Case("a zip that is cut off", whole[: len(whole) // 2], "does not end where it should")
    yield Case("bytes after the end", whole + b"tail", "does not end where it should")
    yield Case("bytes before the beginning", b"#!/bin/sh\n" + whole, "not a zip file")
    yield Case("a zip with another zip before it", whole + whole, "belong to no member")
    yield Case("too many bytes", whole + b"\0" * (5 * 1024 * 1024), "at most 5242880 are taken")
    commented = bytearray(whole)
    commented[-2:] = struct.pack("<H", 3)
    yield Case("a comment", bytes(commented) + b"abc", "does not end where it should")
    yield Case("a comment without its text", bytes(commented), "carries a comment")
    yield Case("an empty zip", b"PK\x05\x06" + b"\0" * 18, "not a zip file")
    many = zipped({f"member{number}": b"x" for number in range(3000)})
    yield Case("three thousand members", many, "has 3000 members")
    broken = bytearray(whole)
    broken[len(whole) // 2] ^= 0xFF
    yield Case("one byte changed on the way", bytes(broken), "the zip is damaged")
    yield Case("a bomb in one member", zipped({**sets.files(), FILE: b"0" * 30_000_000}, pack=zipfile.ZIP_DEFLATED),
               "more than 100 times as large")  # fmt: skip
    # Of hexadecimal digits: packs to about half, so that only the size itself is too large.
    noise = random.Random(1).randbytes(4_400_000).hex().encode() + b"0" * 13_000_000
    yield Case("large when unpacked", zipped({**sets.files(), FILE: noise}, pack=zipfile.ZIP_DEFLATED), "larger than")
    yield Case("a size that lies", _lying_size(), "damaged")
    yield Case("members over each other", _overlapping(), "lie over each other")


def _lying_size() -> bytes:
    """The directory says that the rows are ten bytes."""
    data = bytearray(sets.a_set())
    at = data.find(b"PK\x01\x02")
    while at >= 0:
        length = struct.unpack_from("<H", data, at + 28)[0]
        if bytes(data[at + 46 : at + 46 + length]) == FILE.encode():
            struct.pack_into("<L", data, at + 24, 10)
        at = data.find(b"PK\x01\x02", at + 4)
    return bytes(data)


def _overlapping() -> bytes:
    """Every entry of the directory points at the first member."""
    data = bytearray(sets.a_set())
    at = data.find(b"PK\x01\x02")
    while at >= 0:
        struct.pack_into("<L", data, at + 42, 0)
        at = data.find(b"PK\x01\x02", at + 4)
    return bytes(data)


def entries() -> Iterator[Case]:
    files = sets.files()

    def more(name: str, data: bytes = b"x", mode: int = 0o100600) -> bytes:
        entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
        entry.external_attr = mode << 16
        return zipped(files, more=[(entry, data)])

    for name in ("../evil.csv", "/etc/passwd", "a\\..\\b.csv", "C:\\x.csv", "sub/sides.csv", "extra.txt",
                 "sides.csv\u202e", "SIDES.CSV", "./sides.csv"):  # fmt: skip
        yield Case(f"a member called {name!r}", more(name), "not a member of a set")
    yield Case("a folder", more("folder/", b""), "is a folder")
    yield Case("a link", zipped(files, change=_mode(0o120777)), "is a link")
    yield Case("a device", zipped(files, change=_mode(0o020666)), "is a link or something else")
    yield Case("a member twice", more(FILE), "stands in the zip twice")
    yield Case("a zip within the zip", more("inner.zip", sets.a_set()), "not a member of a set")
    yield Case(
        "a member with a comment", zipped(files, change=_noted("comment", b"avery example")), "carries a comment"
    )
    extra = struct.pack("<HH5s", 0x9999, 5, b"avery")
    yield Case("a member with an extra field", zipped(files, change=_noted("extra", extra)), "or an extra field")
    yield Case("an extra field before the bytes alone", _local_extra(extra), "belong to no member")
    yield Case("bytes between the members", _between(b"avery example"), "belong to no member")
    yield Case("encrypted", _flagged(0x1), "is encrypted")
    yield Case("packed in another way", zipped(files, pack=zipfile.ZIP_BZIP2), "packed in a way")
    for name in (FILE, MANIFEST, SUMS, "README.txt"):
        left = {key: data for key, data in files.items() if key != name}
        yield Case(f"without {name}", zipped(left), f"{name}: is missing from the zip")


def _mode(mode: int) -> Callable[[zipfile.ZipInfo], None]:
    def change(entry: zipfile.ZipInfo) -> None:
        entry.external_attr = (mode if entry.filename == FILE else 0o100600) << 16

    return change


def _noted(name: str, value: bytes) -> Callable[[zipfile.ZipInfo], None]:
    def change(entry: zipfile.ZipInfo) -> None:
        if entry.filename == FILE:
            setattr(entry, name, value)

    return change


def _between(more: bytes, *, at: int | None = None) -> bytes:
    """A set with bytes before its second member, or at another place, and a directory that fits."""
    data = bytearray(sets.a_set())
    second = data.find(b"PK\x03\x04", 4)
    place = second if at is None else at
    data[place:place] = more
    entry = data.find(b"PK\x01\x02")
    struct.pack_into("<L", data, len(data) - 6, entry)
    while entry >= 0:
        offset = struct.unpack_from("<L", data, entry + 42)[0]
        struct.pack_into("<L", data, entry + 42, offset + len(more) if offset >= second else offset)
        entry = data.find(b"PK\x01\x02", entry + 4)
    return bytes(data)


def _local_extra(extra: bytes) -> bytes:
    """An extra field that only the header before the bytes of the first member knows."""
    length = struct.unpack_from("<H", sets.a_set(), 26)[0]
    data = bytearray(_between(extra, at=30 + length))
    struct.pack_into("<H", data, 28, len(extra))
    return bytes(data)


def _flagged(bit: int) -> bytes:
    data = bytearray(sets.a_set())
    for mark, offset in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        at = data.find(mark)
        while at >= 0:
            struct.pack_into("<H", data, at + offset, struct.unpack_from("<H", data, at + offset)[0] | bit)
            at = data.find(mark, at + 4)
    return bytes(data)


def checksums() -> Iterator[Case]:
    files = sets.files()
    changed = {**files, "README.txt": files["README.txt"] + b"!"}
    yield Case("a member changed", package(changed), "README.txt: its checksum is another")
    rows = {**files, FILE: files[FILE].replace(b",clear,", b",lost,", 1)}
    yield Case("rows changed", package(rows), "sides.csv: its checksum is another")
    for name, text in (("checksums of another kind", b"deadbeef  sides.csv\n"), ("no checksums", b""),
                       ("checksums in bytes", b"\xff\xfe"), ("a checksum of a path", b"0" * 64 + b"  ../x\n"),
                       ("one checksum twice", files[SUMS] + files[SUMS].splitlines(keepends=True)[0])):  # fmt: skip
        yield Case(name, package({**files, SUMS: text}), "checksum")


# --- the manifest


def manifests() -> Iterator[Case]:
    for name, data, says in (
        ("a manifest that is no JSON", b"{", "cannot be read: it is not JSON"),
        ("a manifest that is a list", b"[]", "not a list of names and values"),
        ("a manifest of brackets", b"[" * 100_00 + b"]" * 100_00, "too many brackets"),
        ("a manifest too long", b'{"a": "' + b"x" * 70_000 + b'"}', "at most 65536 are read"),
        ("a name twice", b'{"format": "a", "format": "b"}', "a name stands there twice"),
        ("a number that is none", b'{"format": NaN}', "not a number of this format"),
        ("a number of 5000 digits", b'{"k": ' + b"9" * 5000 + b"}", "cannot be read"),
        ("a manifest in another alphabet", '{"format": "nаil"}'.encode(), "it is not JSON of plain letters"),
    ):
        yield Case(name, with_member(MANIFEST, data), says)
    yield Case("another format", with_manifest(format="other"), "format is \u201cother\u201d")
    yield Case("a later version", with_manifest(format_version="2"), "this installation reads 1")
    yield Case("a part missing", with_manifest(definitions=DROP), "definitions is missing")
    yield Case("a part too many", with_manifest(comment="hello"), "not a part of a manifest")
    yield Case("free text in a code", with_manifest(practice="Northgate foot rooms"), "practice is")
    yield Case("markup in a code", with_manifest(group="<script>alert(1)</script>"), "group is")
    yield Case("a year that ends before it begins", with_manifest(audit_year="2024-03/2023-04"), "audit_year is")
    yield Case("k below five", with_manifest(k=2), "k is \u201c2\u201d")
    yield Case("k as a text", with_manifest(k="5"), "k is")
    yield Case("k as true", with_manifest(k=True), "k is")
    yield Case("rows below nought", with_manifest(rows=-1), "rows is")
    yield Case("a period that has not matured", with_manifest(matured=False), "matured is")
    yield Case("a step that is a text of one's own", with_manifest(steps={"=cmd()": "1"}), "steps is")
    yield Case("a step of other words", with_manifest(steps={"call avery example": "1"}), "steps is")
    yield Case("a count beyond reason", with_manifest(rows_left_out="99999999999"), "rows_left_out is")


# --- the text of the rows


def texts() -> Iterator[Case]:
    def header(change: Callable[[list[str]], list[str]]) -> bytes:
        def changed(text: str) -> str:
            first, rest = text.split("\n", 1)
            return ",".join(change(first.split(","))) + "\n" + rest

        return with_text(changed)

    csv = sets.files()[FILE]
    yield Case("an empty table", with_csv(b""), "sides.csv: is empty")
    yield Case("a header alone", with_csv(csv.split(b"\n")[0] + b"\n"), "has a header and no rows")
    yield Case("a byte order mark", with_csv(b"\xef\xbb\xbf" + csv), "byte order mark")
    yield Case("UTF-16", with_csv(csv.decode().encode("utf-16")), "byte order mark")
    yield Case("UTF-16 without its mark", with_csv(csv.decode().encode("utf-16-le")), "row 1: holds a NUL")
    yield Case("carriage returns", with_csv(csv.replace(b"\n", b"\r\n")), "row 1: holds a carriage return")
    yield Case("a NUL", with_csv(csv.replace(b"clear", b"cl\x00ear", 1)), "holds a NUL")
    yield Case("bytes that are no text", with_csv(csv.replace(b"clear", b"cl\xff\xfe", 1)), "a letter that no code")
    yield Case("a look-alike letter", with_text(lambda text: text.replace("clear", "cleаr", 1)), "look-alike")
    yield Case("digits of another script", with_text(lambda text: text.replace(",120,", ",١٢٠,", 1)), "look-alike")
    yield Case(
        "text that runs backwards", with_text(lambda text: text.replace("clear", "\u202eclear", 1)), "look-alike"
    )
    yield Case("a quoted cell", with_text(lambda text: text.replace("clear", '"clear"', 1)), "holds a quotation mark")
    yield Case("a quote that is never closed", with_text(lambda text: text.replace("clear", '"clear', 1)), "quotation")
    yield Case("a row that ends in the middle", with_csv(csv[:-20]), "ends in the middle of a row")
    yield Case("a cell too many", with_text(lambda text: text.replace("clear", "clear,clear", 1)), "45 cells; 44 are")
    yield Case("a blank row", with_csv(csv.replace(b"\n", b"\n\n", 1)), "row 2: has 1 cells")
    yield Case("a row without end", with_csv(csv + b"x" * 5000 + b"\n"), "is longer than 4000 bytes")
    yield Case("a column missing", header(lambda names: names[:-1]), "infection_culture: is missing")
    yield Case("a column too many", header(lambda names: [*names, "name"]), "\u201cname\u201d is not a column")
    yield Case("a column twice", header(lambda names: [*names[:-1], names[0]]), "stands there twice")
    yield Case("another order", header(lambda names: [names[1], names[0], *names[2:]]), "in another order")
    yield Case("names in capitals", header(lambda names: [name.upper() for name in names]), "is not a column")
    yield Case("semicolons", with_csv(csv.replace(b",", b";")), "is not a column")
    first, row = csv.decode().split("\n")[:2]
    rest, chance = row.split(",", 1)[1], random.Random(1)
    many = (f"{''.join(chance.choices('abcdefgh', k=10))},{rest}" for _ in range(20_001))
    yield Case("too many rows", _packed_csv("\n".join([first, *many, ""]).encode()), "at most 20000 are taken")


def _packed_csv(data: bytes) -> bytes:
    files = sets.files()
    found = {**json.loads(files[MANIFEST]), "file_sha256": hashlib.sha256(data).hexdigest()}
    files |= {FILE: data, MANIFEST: json.dumps(found).encode()}
    files[SUMS] = sums({key: value for key, value in files.items() if key != SUMS})
    return zipped(files, pack=zipfile.ZIP_DEFLATED)


def cells() -> Iterator[Case]:
    for column, value, says in (
        ("exposure_seconds", "2 min", "\u201c2 min\u201d is not a whole number of seconds"),
        ("exposure_seconds", "1e3", "is not a whole number"),
        ("exposure_seconds", "NaN", "is not a whole number"),
        ("exposure_seconds", "Infinity", "is not a whole number"),
        ("exposure_seconds", "0x10", "is not a whole number"),
        ("exposure_seconds", "1_0", "is not a whole number"),
        ("exposure_seconds", "007", "is not a whole number"),
        ("exposure_seconds", "999999", "is not from 1 to 12000"),
        ("exposure_seconds", "-60", "begins like a formula"),
        ("applications", "21", "is not from 1 to 20"),
        ("strength_percent", "89", "is not a number like 89.0"),
        ("strength_percent", "0.0", "is not from 0.1 to 100"),
        ("any_regrowth", "=1+1", "begins like a formula"),
        ("any_regrowth", "@SUM(A1)", "begins like a formula"),
        ("any_regrowth", "+cmd", "begins like a formula"),
        ("any_regrowth", "regrown", "is not a code of this column"),
        ("any_regrowth", "Clear", "is not a code of this column"),
        ("any_regrowth", " clear", "has a blank before or after it"),
        ("any_regrowth", "", "is empty"),
        ("age_band", "42", "is not a code of this column"),
        ("technique", "<b>wedge</b>", "is not a code of this column"),
        ("row_code", "TS-0001", "does not look like a value of this column"),
        ("patient_code", "avery", "does not look like a value of this column"),
        ("audit_year", "2023-13/2024-03", "does not look like a value of this column"),
        ("audit_year", "14 Mar 2024", "does not look like a value of this column"),
        ("any_regrowth_not_by_day", "371", "is not one of the limits of days"),
        ("loss_reason", "none", "is not a code of this column"),
    ):
        yield Case(f"{column} {value!r}", with_cell(column, value), f"sides.csv, row 5, column {column}: ")
        yield Case(f"{column} {value!r}, the reason", with_cell(column, value), says)


# --- rows that cannot all be true


def rows_against_each_other() -> Iterator[Case]:
    def put(where: Callable[[pd.DataFrame], pd.Series], **values: str) -> bytes:
        def change(rows: pd.DataFrame) -> pd.DataFrame:
            place = rows.index[where(rows)][0]
            for name, value in values.items():
                rows.loc[place, name] = value
            return rows

        return with_rows(change)

    def phenol(rows: pd.DataFrame) -> pd.Series:
        return (
            (rows["agent"] == "phenol")
            & (rows["any_regrowth"] == "clear")
            & (rows["exposure"] == "recorded")
            & (rows["loss_reason"] == "")
        )

    yield Case("a technique without its agent", put(phenol, agent="none"), "column agent: this technique uses an agent")
    yield Case("exposure without seconds", put(phenol, exposure_seconds=""), "there are no seconds")
    yield Case("seconds that do not add up", put(phenol, exposure_seconds="61"), "is not applications times seconds")
    yield Case("a matrix left by a technique that destroys it", put(phenol, matrix_destroyed="no"), "says otherwise")
    yield Case("the whole nail by a partial technique", put(phenol, side="whole"), "is not done there")
    yield Case("regrowth not applicable after matricectomy", put(phenol, any_regrowth="not_applicable"), "matrix was")
    yield Case("pending in a closed period", put(phenol, any_regrowth="pending"), "is pending")
    yield Case("an event that nobody saw", put(phenol, any_regrowth="event"), "an event is seen by the end")
    yield Case("clear and never seen", put(phenol, any_regrowth_not_by_day=""), "a clear side is seen clear")
    yield Case("known by nobody", put(phenol, any_regrowth_known_by="not_applicable"), "does not go with the status")
    yield Case("lost without a reason", put(
        phenol, any_regrowth="lost", any_regrowth_known_by="not_applicable", any_regrowth_examined="no"),
        "does not say why")  # fmt: skip
    yield Case("a reason for what is not lost", put(phenol, loss_reason="moved"), "no outcome of this row is lost")
    yield Case("regrown before it was clear", put(phenol, any_regrowth_by_day="180"), "lies before the day")
    yield Case("a flag without a contact", put(phenol, early_contact="without_contact"), "nobody can say")
    yield Case("a flag that is empty", put(phenol, infection_rule_b=""), "it is yes or no")
    yield Case("signs without the rule", put(phenol, infection_rule_a_signs="yes"), "at least what it is without")
    yield Case("an agent that is merged and still named by its lavage", put(phenol, agent="merged"), "would name it")

    def doubled(rows: pd.DataFrame) -> pd.DataFrame:
        return pd.concat([rows, rows.iloc[[0]]], ignore_index=True)

    yield Case("a row twice", with_rows(doubled), "column row_code: stands in an earlier row, too")

    def same_side(rows: pd.DataFrame) -> pd.DataFrame:
        again = rows.iloc[[0]].assign(row_code="2222222222")
        return pd.concat([rows, again], ignore_index=True)

    yield Case("one side of one toe twice", with_rows(same_side), "one toe has this side twice")

    def one_toe_two_patients(rows: pd.DataFrame) -> pd.DataFrame:
        edge = rows["side"].isin(["tibial", "fibular"])
        toe = rows[edge]["toe_code"].value_counts()
        two = rows.index[rows["toe_code"] == toe.index[0]]
        rows.loc[two[1], "patient_code"] = "3333333333"
        return rows

    yield Case("one toe of two patients", with_rows(one_toe_two_patients), "differs between rows of one toe")

    def two_ages(rows: pd.DataFrame) -> pd.DataFrame:
        several = rows["patient_code"].value_counts().index[0]
        place = rows.index[rows["patient_code"] == several]
        rows.loc[place[0], "age_band"] = "any"
        rows.loc[place[1:], "age_band"] = "under_18"
        return rows

    yield Case("one patient of two ages", with_rows(two_ages), "differs between rows of one patient")

    yield Case("twenty thousand toes of one patient", _one_patient(20_000), "one patient has more than 40 toes")


def _one_patient(number: int) -> bytes:
    """Small when packed; whoever writes each row's whole pattern down needs gigabytes."""
    chance = random.Random(1)
    first = sets.released().iloc[[0]]
    rows = pd.concat([first] * number, ignore_index=True)
    for name in ("row_code", "toe_code"):
        rows[name] = ["".join(chance.choices(LETTERS, k=LENGTH)) for _ in range(number)]
    return zipped(members(rows, sets.manifest(rows)), pack=zipfile.ZIP_DEFLATED)


def against_the_manifest() -> Iterator[Case]:
    rows = sets.released()
    for name, parts, says in (
        ("fewer rows than said", {"rows": 9999}, "rows: says 9999"),
        ("other patients than said", {"patient_codes": 3}, "patient_codes: says 3"),
        ("another year than said", {"audit_year": "2020-04/2021-03"}, "of another audit year"),
        ("another content than said", {"content": "0" * 64}, "not those the manifest was made for"),
        ("another file than said", {"file_sha256": "0" * 64}, "not the checksum of sides.csv"),
        ("more alike than there are", {"k": 900, "least_alike": 900}, "for some only"),
    ):
        yield Case(name, sets.a_set(rows, **parts), says)

    def unprotected(rows: pd.DataFrame) -> pd.DataFrame:
        one = rows.index[rows["age_band"] == "any"] if (rows["age_band"] == "any").any() else rows.index
        patient = rows.loc[one[0], "patient_code"]
        rows.loc[rows["patient_code"] == patient, "age_band"] = "not_recorded"
        return rows

    yield Case("one patient who stands out", with_rows(unprotected), "patients look alike; for some only 1 do")

    def telling(rows: pd.DataFrame) -> pd.DataFrame:
        group = (rows["technique"] == "tna_chemical") & (rows["side"] == "whole")
        own = rows.index[group] if group.any() else rows.index[:0]
        for name in ("any_regrowth",):
            rows.loc[own, name] = "event"
            rows.loc[own, [f"{name}_known_by", f"{name}_examined", f"{name}_late"]] = ["operator", "yes", "no"]
            rows.loc[own, [f"{name}_not_by_day", f"{name}_by_day"]] = ["", "425"]
        lost = (rows[["symptomatic_recurrence", "re_operation"]] == "lost").any(axis=1)
        rows.loc[own, "loss_reason"] = rows.loc[own, "loss_reason"].where(lost[own], "")
        return rows

    yield Case("a group in which everybody has the event", with_rows(telling), "that tells on them")


def descriptions() -> Iterator[Case]:
    files = sets.files()
    for name in MEMBERS:
        if name in {FILE, MANIFEST, SUMS}:
            continue
        yield Case(f"another {name}", with_member(name, files[name] + b"\n"), f"{name}: is not what belongs")
    remote = files["datapackage.json"].replace(b'"path": "sides.csv"', b'"path": "https://example.org/x.csv"')
    yield Case("a description that fetches", with_member("datapackage.json", remote), "is not what belongs")
    yield Case("a completeness of one's own", with_member(
        "completeness.csv", files["completeness.csv"].replace(b",0,", b",7,", 1)), "is not what belongs")  # fmt: skip
