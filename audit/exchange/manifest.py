"""What a peer set says about itself: definitions, rules, counts. Nothing about who made it or when. Knows no Django."""

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

import pandas as pd

from audit.exchange.columns import FORMAT, FORMAT_VERSION, RANDOM_CODES, YEAR
from audit.exchange.problems import said
from audit.exchange.protect import STEPS, Protected
from audit.exchange.words import in_order
from audit.measures.definitions import TWELVE_MONTHS, VERSION
from audit.stats.disclosure import FEWEST_ALIKE

# Codes that a group and a practice carry in files; words would name somebody.
GROUP_CODE = r"G-[2-9A-HJKMNP-Z]{6}"
PRACTICE_CODE = r"P-[2-9A-HJKMNP-Z]{4}"
FEW = "1 to 4"
ZERO_EVENTS = "a group without events keeps its rows; nothing is added to a count of 0"
MISSING = "an empty cell means what the data dictionary says; not recorded, not assessed and no are codes of their own"
SMALL_NUMBERS = "inside the group rates need 10 sides of 5 patients; anything published leaves out counts from 1 to 10"


class ManifestError(ValueError):
    """A manifest that this version does not read; the text says why."""


@dataclass(frozen=True)
class Manifest:
    """The manifest of one set. patients_at_least: different patient codes; some patients may have several.

    rows_left_out: as text, because few left out are told as "1 to 4". replaces: content of the set this one corrects,
    or empty. content: digest of the rows in any order. file_sha256: of the rows as they lie in the file.
    """

    group: str
    practice: str
    audit_year: str
    definitions: str
    window: str
    k: int
    least_alike: int
    harmless_declared: bool
    rows: int
    patient_codes: int
    patients_cut: str
    rows_left_out: str
    steps: Mapping[str, str]
    agents_merged: int
    content: str
    file_sha256: str
    selection: str
    replaces: str = ""
    format: str = FORMAT
    format_version: str = FORMAT_VERSION
    unit: str = "treated side"
    matured: bool = True
    zero_events: str = ZERO_EVENTS
    missing: str = MISSING
    small_numbers: str = SMALL_NUMBERS


_HEX = re.compile(r"[0-9a-f]{64}")
_PATTERNS = {"group": GROUP_CODE, "practice": PRACTICE_CODE}
_FIXED = ("format", "format_version", "unit", "zero_events", "missing", "small_numbers")
_COUNT = re.compile(r"0|[1-9][0-9]{0,6}|1 to 4")


def manifest_of(
    protected: Protected, rows: pd.DataFrame, csv: bytes, *, group: str, practice: str, replaces: str = ""
) -> Manifest:
    """The manifest for rows that were released. rows, csv: as they leave, as a frame and as bytes."""
    if protected.anonymity is None:
        raise ValueError("nothing was released, so there is nothing to describe")
    return Manifest(
        group=group,
        practice=practice,
        audit_year=str(rows["audit_year"].iloc[0]),
        definitions=VERSION,
        window=f"{TWELVE_MONTHS.opens_day} to {TWELVE_MONTHS.closes_day}",
        k=protected.k,
        least_alike=protected.anonymity.k,
        harmless_declared=protected.harmless_declared,
        rows=len(rows),
        patient_codes=int(rows["patient_code"].nunique()),
        patients_cut=few(protected.cut_patients),
        rows_left_out=few(protected.left_out_rows),
        steps={step.label: few(step.rows) for step in protected.widened},
        agents_merged=len(protected.agents.merged),
        content=content_digest(rows),
        file_sha256=hashlib.sha256(csv).hexdigest(),
        selection=selection(few(protected.left_out_rows)),
        replaces=replaces,
    )


def selection(rows_left_out: str) -> str:
    """Which operations the rows are of. rows_left_out: as the manifest says it."""
    less = "" if rows_left_out == "0" else f", less the rows that protection left out ({rows_left_out})"
    return f"all operations of the period, consecutive{less}; entries struck out by the practice are not in it"


def few(number: int) -> str:
    """A count as text; from 1 to 4 are not told apart."""
    return FEW if 0 < number < FEWEST_ALIKE else str(number)


def cut_words(manifests: Iterable[Manifest]) -> str:
    """How many patients stand under several codes, in a sentence; as exactly as the files tell it."""
    told = [each.patients_cut for each in manifests]
    least = sum(1 if each == FEW else int(each) for each in told)
    most = sum(FEWEST_ALIKE - 1 if each == FEW else int(each) for each in told)
    if not most:
        return "Every patient stands under one code."
    number = str(least) if least == most else f"{least} to {most}"
    return f"Codes are more than people: {number} patients with several toes stand under one code for each toe."


def content_digest(rows: pd.DataFrame) -> str:
    """Of the rows whatever their order and however they are packed."""
    lines = sorted(json.dumps(row, ensure_ascii=True) for row in rows.astype(str).to_numpy().tolist())
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def bare_digest(rows: pd.DataFrame) -> str:
    """Of the rows without their random codes: the same where nothing but the codes was drawn anew."""
    return content_digest(rows.drop(columns=list(RANDOM_CODES)))


def to_bytes(manifest: Manifest) -> bytes:
    """As it lies in the package: sorted keys, two blanks, a line feed at the end."""
    return (json.dumps(asdict(manifest), indent=2, sort_keys=True, ensure_ascii=True) + "\n").encode()


def read(data: Mapping[str, Any]) -> Manifest:
    """A manifest from what a file says; raises ManifestError with one sentence for the first thing that is wrong.

    data: plain values from JSON. Its kind and version come first: of another version nothing else can be judged.
    """
    for name in ("format", "format_version"):
        wanted = {"format": FORMAT, "format_version": FORMAT_VERSION}[name]
        if data.get(name) != wanted:
            raise ManifestError(f"{name} is {said(data.get(name))}; this installation reads {wanted}")
    names = {field.name for field in fields(Manifest)}
    if missing := sorted(names - data.keys()):
        raise ManifestError(f"{missing[0]} is missing")
    if unknown := sorted(str(name)[:40] for name in data.keys() - names):
        raise ManifestError(f"{said(unknown[0])} is not a part of a manifest")
    found = Manifest(**data)
    for name, value in _wrong(found):
        raise ManifestError(f"{name} is {said(value)}, which it cannot be")
    return found


def _wrong(found: Manifest) -> list[tuple[str, object]]:
    """Every part whose value this format does not allow."""
    given = asdict(found)
    blank = Manifest.__dataclass_fields__
    checks = {
        **{name: _matches(pattern) for name, pattern in _PATTERNS.items()},
        "audit_year": lambda value: _matches(YEAR)(value) and in_order(value),
        **{name: (lambda value, wanted=blank[name].default: value == wanted) for name in _FIXED},
        "definitions": _matches(r"[0-9]{1,4}"),
        "window": _matches(r"[0-9]{1,4} to [0-9]{1,4}"),
        "k": _whole(FEWEST_ALIKE, 1000),
        "least_alike": _whole(FEWEST_ALIKE, 10**6),
        "harmless_declared": lambda value: isinstance(value, bool),
        "matured": lambda value: value is True,
        "rows": _whole(1, 10**6),
        "patient_codes": _whole(1, 10**6),
        "agents_merged": _whole(0, 20),
        "patients_cut": _matches(_COUNT.pattern),
        "rows_left_out": _matches(_COUNT.pattern),
        "selection": lambda value: value == selection(str(found.rows_left_out)),
        "content": _matches(_HEX.pattern),
        "file_sha256": _matches(_HEX.pattern),
        "replaces": _matches(f"|{_HEX.pattern}"),
        # The labels are this version's own: words of somebody else have no place in a file without free text.
        "steps": lambda value: isinstance(value, dict) and all(
            label in STEPS and isinstance(count, str) and _COUNT.fullmatch(count) for label, count in value.items()
        ),
    }  # fmt: skip
    return [(name, given[name]) for name, fits in checks.items() if not fits(given[name])]


def _matches(pattern: str) -> Any:
    whole = re.compile(pattern)
    return lambda value: isinstance(value, str) and len(value) <= 200 and whole.fullmatch(value) is not None


def _whole(low: int, high: int) -> Any:
    return lambda value: isinstance(value, int) and not isinstance(value, bool) and low <= value <= high
