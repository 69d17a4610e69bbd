"""The zip: the same bytes for the same rows, nothing in it that tells who or when, read by general libraries."""

import base64
import hashlib
import io
import json
import random
import zipfile
from dataclasses import asdict, replace
from pathlib import Path

import pytest

from audit.exchange.columns import BY_NAME, FIELDS, NAMES, Holds
from audit.exchange.manifest import ManifestError, few, read, selection
from audit.exchange.package import MEMBERS, package
from audit.exchange.reading import read_set
from audit.exchange.rows import raw_rows
from tests.audit.exchange import sets


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, data in sets.files().items():
        (tmp_path / name).write_bytes(data)
    return tmp_path


def test_the_same_rows_give_the_same_bytes():
    assert sets.a_set(sets.released()) == sets.a_set(sets.released())


def test_the_zip_tells_neither_who_nor_when():
    with zipfile.ZipFile(io.BytesIO(sets.a_set())) as archive:
        assert [entry.filename for entry in archive.infolist()] == list(MEMBERS)
        for entry in archive.infolist():
            assert entry.date_time == (1980, 1, 1, 0, 0, 0)
            assert (entry.extra, entry.comment, entry.create_system) == (b"", b"", 3)
            assert entry.external_attr >> 16 == 0o100600
        assert archive.comment == b""


def test_frictionless_accepts_the_package_as_a_data_package_v2(folder, monkeypatch):
    from frictionless import system, validate

    monkeypatch.chdir(folder)
    with system.use_context(standards="v2"):
        report = validate("datapackage.json")

    assert report.flatten(["name", "type", "message"]) == []
    assert report.valid
    assert report.stats["tasks"] == 4


def test_frictionless_finds_what_is_wrong(folder, monkeypatch):
    """The description is strict enough that a general tool finds a wrong cell, too."""
    from frictionless import system, validate

    text = (folder / "sides.csv").read_text().replace(",clear,", ",regrown,", 1)
    (folder / "sides.csv").write_text(text)
    monkeypatch.chdir(folder)
    with system.use_context(standards="v2"):
        report = validate("datapackage.json")

    found = {kind for (kind,) in report.flatten(["type"])}
    assert {"constraint-error", "hash-count"} & found


def test_the_data_package_keeps_the_rules_of_the_published_profile(folder):
    """By hand, beside the library: what the v2 profile asks of a package, a resource and a table schema."""
    found = json.loads((folder / "datapackage.json").read_text())

    assert found["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert found["name"] == "nail-surgery-peer-set"
    for resource in found["resources"]:
        data = (folder / resource["path"]).read_bytes()
        assert resource["type"] == "table"
        assert resource["bytes"] == len(data)
        assert resource["hash"] == f"sha256:{hashlib.sha256(data).hexdigest()}"
        schema = resource["schema"]
        assert schema["$schema"] == "https://datapackage.org/profiles/2.0/tableschema.json"
        assert [field["name"] for field in schema["fields"]] == data.decode().split("\n")[0].split(",")
        for field in schema["fields"]:
            allowed = {"name", "type", "title", "description", "constraints", "categories"}
            assert set(field) <= allowed
            assert set(field.get("constraints", {})) <= {"required", "enum", "pattern", "minimum", "maximum"}


def test_a_csv_on_the_web_reader_accepts_the_rows(folder):
    from csvw import CSVW

    read = CSVW(str(folder / "sides.csv"))

    assert read.is_valid
    rows = list(read.tables[0].iterdicts(strict=True))
    own = sets.released()
    assert len(rows) == len(own)
    assert [row["row_code"] for row in rows] == own["row_code"].tolist()
    numbers = {field.name for field in FIELDS if field.holds in {Holds.WHOLE, Holds.DAY}}
    for name in numbers:
        wanted = [int(value) if value else None for value in own[name]]
        assert [row[name] for row in rows] == wanted, name


def test_checksums_are_those_of_sha256sum(folder):
    import subprocess

    done = subprocess.run(["sha256sum", "-c", "--strict", "SHA256SUMS"], cwd=folder, capture_output=True, text=True)

    assert done.returncode == 0, done.stderr


def test_every_column_is_explained_with_its_codes_and_what_empty_means():
    from csv import DictReader

    rows = list(DictReader(io.StringIO(sets.files()["dictionary.csv"].decode())))

    assert [row["column"] for row in rows] == list(NAMES)
    for row in rows:
        field = BY_NAME[row["column"]]
        assert all(row[name] for name in ("meaning", "known_to", "needed_for", "empty_means"))
        assert all(f"{code} = " in row["codes"] for code in field.codes)


def test_missing_and_no_are_never_the_same():
    """Each column that may be empty says why; codes tell "not recorded", "not assessed", "not applicable" and "no"."""
    four = ("no", "not_recorded", "not_assessed", "not_applicable")
    met = set()
    for field in FIELDS:
        words = [field.words(code).lower() for code in four if code in field.codes]
        met |= {code for code in four if code in field.codes}
        others = {label.lower() for code, label in field.labels.items() if code not in four}
        assert len(set(words)) == len(words), field.name
        assert not others & set(words), field.name
        assert not others & {code.replace("_", " ") for code in four}, field.name
        # What an empty cell means is none of the four alone.
        assert field.blank not in {*words, *(code.replace("_", " ") for code in four)}, field.name
    assert met == set(four)


@pytest.mark.parametrize("code", ["none", "not_assessed", "not_recorded"])
def test_each_of_them_reaches_the_file_as_itself(code):
    own = sets.cohort()

    raw = raw_rows(replace(own, sides=own.sides.assign(infection_at_operation=code)))

    assert set(raw["infection_at_operation"]) == {code}


def test_no_agent_and_no_time_written_down_are_told_apart():
    own = sets.cohort()
    raw = raw_rows(replace(own, sides=own.sides.assign(exposure_seconds=float("nan"))))

    assert set(raw.loc[raw["agent"] == "none", "exposure"]) == {"not_applicable"}
    assert set(raw.loc[raw["agent"] != "none", "exposure"]) == {"not_recorded"}


# --- nothing that identifies


def test_the_manifest_says_what_protection_left_out():
    rows = sets.released()
    left_out = few(sets.protected().left_out_rows)
    said = sets.manifest(rows)

    assert left_out != "0"
    assert f"less the rows that protection left out ({left_out})" in said.selection
    assert "left out" not in selection("0")
    assert "left out (1 to 4)" in selection("1 to 4")
    wrong = {**asdict(said), "selection": selection("0")}
    with pytest.raises(ManifestError, match="selection is"):
        read(wrong)


def identifiers() -> set[str]:
    """Every key, code and date of the invented practice's frames."""
    cohort = sets.cohort()
    sides = cohort.sides
    found = {str(value) for name in ("side_key", "toe_key", "operation_key", "patient_key") for value in sides[name]}
    found |= {str(value) for value in cohort.findings["review_key"]}
    days = {day.date() for day in sides["performed_on"]}
    for day in days:
        found |= {day.isoformat(), f"{day:%d/%m/%Y}", f"{day:%d.%m.%Y}", f"{day.day} {day:%b %Y}", f"{day:%Y%m%d}"}
    return found


def hidden_forms(text: str) -> list[bytes]:
    plain = text.encode()
    return [
        plain, text.encode("utf-16-le"), base64.b64encode(plain), plain.hex().encode(),
        hashlib.sha256(plain).hexdigest().encode(), hashlib.md5(plain).hexdigest().encode(),  # noqa: S324
        hashlib.sha1(plain).hexdigest().encode(),  # noqa: S324
    ]  # fmt: skip


def test_no_identifier_in_any_form_is_anywhere_in_the_zip():
    whole = sets.a_set()
    read = b"\n".join(sets.files().values())
    leaked = [
        text for text in sorted(identifiers()) for form in hidden_forms(text)
        if form in whole or form in read or form.lower() in read.lower()
    ]  # fmt: skip

    assert leaked == []


def test_the_search_would_find_one():
    planted = sets.files() | {"README.txt": sorted(identifiers())[0].encode()}

    assert any(form in package(planted) for form in hidden_forms(sorted(identifiers())[0]))


def test_no_cell_begins_like_a_formula_and_every_code_is_on_a_list():
    rows = sets.released()
    for field in FIELDS:
        for value in rows[field.name].unique():
            assert not value.startswith(("=", "+", "-", "@", "\t"))
            if field.codes and value:
                assert value in field.codes


def test_age_appears_only_in_wide_bands():
    assert set(sets.released()["age_band"]) <= {
        "under_18",
        "18_to_64",
        "65_and_over",
        "18_and_over",
        "any",
        "not_recorded",
    }


@pytest.mark.parametrize("seed", range(4))
def test_any_practice_makes_a_set_that_its_receiver_reads(seed):
    from audit.exchange.manifest import manifest_of
    from audit.exchange.package import members, rows_csv
    from audit.exchange.release import release
    from audit.exchange.simulated import Plan

    chance = random.Random(seed)
    plan = Plan(f"any-{seed}", seed=seed, patients=chance.randint(40, 160), second_toe=chance.random() / 2,
                regrowth=chance.random() / 4, lost=chance.random() / 2, infection=chance.random() / 5)  # fmt: skip
    found = sets.protected(plan)
    rows = release(found, chance)
    manifest = manifest_of(found, rows, rows_csv(rows), group=sets.GROUP, practice=sets.PRACTICE)

    assert len(read_set(package(members(rows, manifest))).rows) == len(rows)
