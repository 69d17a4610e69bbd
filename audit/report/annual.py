"""The yearly report as one value: figures of all outcomes, criteria with verdicts, definitions, and what made it.

A snapshot holds these figures beside the data they were counted from. Counted again from the snapshot alone they come
out the same, byte for byte, by the same program.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from audit.measures.criteria import OUTCOME_CRITERIA
from audit.measures.definitions import DEFINITIONS, Outcome, Unit
from audit.measures.material import FRAMES, Material
from audit.measures.standards import Direction, Standard
from audit.report.criteria_table import criteria_table
from audit.report.frozen_rows import canonical, checksum, column_words, material_as_plain, material_of
from audit.report.pieces import common_piece, outcome_piece
from audit.report.provenance import code_version, libraries

Plain = dict[str, Any]
# Raised when the form of a snapshot changes.
FORMAT = 1
PRIMARY = Outcome.SYMPTOMATIC_RECURRENCE


def annual(material: Material, standards: Sequence[Standard]) -> Plain:
    """All figures of one audit year, per treated side. standards: one for every criterion."""
    expected = {standard.code: standard for standard in standards}
    outcomes = {
        outcome: outcome_piece(
            material.cohort, material.years, outcome=outcome, unit=Unit.SIDE, standard=share_of(expected[code]),
            starts_month=material.starts_month,
        )
        for code, outcome in OUTCOME_CRITERIA.items()
    }  # fmt: skip
    return assembled(outcomes, common_piece(material), standards)


def assembled(outcomes: Mapping[str, Plain], common: Plain, standards: Sequence[Standard]) -> Plain:
    """The figures put together from pieces that were counted already."""
    return {
        "format": FORMAT,
        "definitions_version": DEFINITIONS.version,
        "definitions": definitions_as_plain(),
        "code": {"version": code_version(), "libraries": libraries()},
        "standards": [standard_as_plain(standard) for standard in standards],
        "unit": Unit.SIDE.value,
        "primary": PRIMARY.value,
        "outcomes": dict(outcomes),
        "common": common,
        "criteria": criteria_table(outcomes, common, standards),
    }


def share_of(standard: Standard) -> float | None:
    """The standard that a rate is drawn and judged against; None where it is only watched."""
    return standard.target if standard.direction is not Direction.MONITOR and standard.target else None


def definitions_as_plain() -> list[Plain]:
    return [
        {"code": item.code, "label": item.label, "sentence": item.sentence, "source": item.source.citation,
         "note": item.source.note} for item in DEFINITIONS.items
    ]  # fmt: skip


def standard_as_plain(standard: Standard) -> Plain:
    return {
        "code": standard.code, "direction": standard.direction.value, "target": standard.target,
        "source": standard.source, "version": standard.version,
    }  # fmt: skip


def standard_of(stored: Plain) -> Standard:
    return Standard(
        stored["code"], Direction(stored["direction"]), stored["target"], stored["source"], stored["version"]
    )  # fmt: skip


@dataclass(frozen=True)
class Recounted:
    """A snapshot counted again. same: every byte. code_then, code_now: versions of the program.

    checksum: of what it comes out as now.
    """

    same: bool
    checksum: str
    code_then: str
    code_now: str

    @property
    def words(self) -> str:
        if self.same:
            return "Counted again from the snapshot: the same, byte for byte."
        if self.code_then != self.code_now:
            return (
                "Counted again from the snapshot by a newer version of the program: not the same bytes. The signed "
                "figures stand as they are."
            )
        return "Counted again from the snapshot by the same program: NOT the same. The snapshot or program was altered."


def snapshot(material: Material, standards: Sequence[Standard], words: Plain, figures: Plain | None = None) -> bytes:
    """The canonical bytes of a snapshot: figures, data, and what people wrote.

    words: aim, interpretation, actions and so on, as plain values. figures: those of `annual` where they were counted
    already from the same material.
    """
    return canonical(
        {
            "figures": figures or annual(material, standards),
            "data": material_as_plain(material),
            "columns": {name: column_words(columns) for name, (columns, _) in FRAMES.items()},
            "words": words,
        }
    )


def recounted(stored: bytes) -> Recounted:
    """Counts the figures again from the data of a snapshot alone, and compares every byte."""
    found = json.loads(stored)
    figures = found["figures"]
    standards = [standard_of(each) for each in figures["standards"]]
    again = canonical({**found, "figures": annual(material_of(found["data"]), standards)})
    return Recounted(again == stored, checksum(again), figures["code"]["version"], code_version())
