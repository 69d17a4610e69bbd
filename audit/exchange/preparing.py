"""From a signed audit to a file that may leave, step by step, so that each can be looked at before. Knows no Django."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from random import Random
from typing import Any

import pandas as pd

from audit.exchange.manifest import Manifest, manifest_of
from audit.exchange.package import members, package, rows_csv
from audit.exchange.problems import Refused
from audit.exchange.protect import Protected, protect
from audit.exchange.reading import read_set
from audit.exchange.release import contents, release
from audit.exchange.rows import raw_rows
from audit.exchange.series import Contents
from audit.exchange.tables import Given, Published, published
from audit.measures.columns import Cohort
from audit.measures.definitions import TWELVE_MONTHS, VERSION, Outcome
from audit.stats.disclosure import FEWEST_ALIKE

# One outcome alone: the known patients of two outcomes are nearly the same, so two tables, each safe for itself,
# would give away together what either leaves out.
PUBLISHED = (Outcome.SYMPTOMATIC_RECURRENCE,)


class NotExportable(ValueError):
    """Why nothing may leave, as a sentence for the practice lead."""


@dataclass(frozen=True, eq=False)
class SignedFrames:
    """What an export needs of signed audits. signatures: their rows at the practice. checksum: of the frozen data."""

    signatures: tuple[int, ...]
    label: str
    checksum: str
    definitions: str
    cohort: Cohort


@dataclass(frozen=True, eq=False)
class Prepared:
    """Rows ready to leave, before codes are drawn. raw: as recorded, with the practice's keys."""

    audit: SignedFrames
    raw: pd.DataFrame
    protected: Protected
    contents: Contents


@dataclass(frozen=True, eq=False)
class Made:
    """The file and what the practice keeps about it."""

    rows: pd.DataFrame
    manifest: Manifest
    file: bytes
    tables: tuple[Published, ...]


def prepare(audit: SignedFrames, *, k: int = FEWEST_ALIKE, harmless_declared: bool = True) -> Prepared:
    """Protects the rows of a signed audit; raises NotExportable where nothing may leave."""
    cohort = audit.cohort
    if audit.definitions != VERSION:
        raise NotExportable(
            f"This audit was signed under definitions version {audit.definitions}; this program counts by version "
            f"{VERSION}. Sign the period again before you export it."
        )
    if cohort.performed_to + timedelta(days=TWELVE_MONTHS.closes_day) > cohort.as_of:
        raise NotExportable("Not every operation of this period has reached the end of its outcome window.")
    if cohort.sides.empty:
        raise NotExportable("No operation was recorded in this period.")
    raw = raw_rows(cohort)
    protected = protect(raw, k=k, harmless_declared=harmless_declared)
    if not protected.shown:
        raise NotExportable(f"Nothing can leave: {protected.withheld}.")
    return Prepared(audit, raw, protected, contents(raw, protected))


def make(
    prepared: Prepared, chance: Random, *, group: str, practice: str, replaces: str = "", earlier: Sequence[Given] = ()
) -> Made:
    """Draws the codes and packs the file; reads it back as its receiver will, so that none leaves that is refused.

    chance: `random.SystemRandom()` wherever rows really leave. earlier: published tables that stand.
    """
    rows = release(prepared.protected, chance)
    csv = rows_csv(rows)
    manifest = manifest_of(prepared.protected, rows, csv, group=group, practice=practice, replaces=replaces)
    file = package(members(rows, manifest))
    try:
        read_set(file)
    except Refused as refused:
        raise NotExportable(f"The records contradict each other; correct them and sign again: {refused}.") from refused
    kept = prepared.raw[prepared.protected.kept]
    cohort = prepared.audit.cohort
    tables = tuple(
        published(kept, outcome, first=cohort.performed_from, last=cohort.performed_to, earlier=earlier)
        for outcome in PUBLISHED
    )
    return Made(rows, manifest, file, tables)


def protection_words(protected: Protected) -> Mapping[str, Any]:
    """What was widened and left out, as plain values to keep beside the file."""
    alike = protected.anonymity
    return {
        "least_alike": alike.k if alike else 0,
        "groups": alike.classes if alike else 0,
        "steps": [[step.label, step.rows, step.patients] for step in protected.widened],
        "rows_left_out": protected.left_out_rows,
        "patients_left_out": protected.left_out_patients,
        "patients_cut": protected.cut_patients,
        "agents_merged": list(protected.agents.merged),
        "reasons_merged": list(protected.reasons.merged),
        "agent_withheld_rows": protected.told.agent_rows,
        "exposure_withheld_rows": protected.told.exposure_rows,
        "tolerated_groups": protected.tolerated,
    }
