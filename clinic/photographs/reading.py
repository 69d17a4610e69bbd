"""Photographs in words: what a page says beside the picture, and to those who do not see it."""

from dataclasses import dataclass

from clinic.access.numbers import say_day
from clinic.patients.changes import Step, newest_first, steps_of
from clinic.photographs.cleaning import PREVIEW_EDGE
from clinic.photographs.models import Photograph
from clinic.procedures.history import versions
from clinic.procedures.models import NailProcedure
from clinic.vocabulary.photograph import PhotographUse
from clinic.vocabulary.procedure import ConsentGiver
from clinic.vocabulary.sites import small, toe_name
from clinic.vocabulary.terms import label_of

LABELS = {
    "taken_on": "date of the photograph",
    "consent_for": "consent given for",
    "consent_given_by": "consent given by",
    "consent_given_on": "consent given on",
    "note": "note",
    "struck_reason": "struck out",
    "withdrawn_at": "picture deleted",
}


@dataclass(frozen=True)
class Shown:
    """One photograph on a page. width, height: pixels of the preview."""

    row: Photograph
    alt: str
    day: str
    consent: str
    width: int
    height: int


def photographs_of(nail: NailProcedure) -> list[Shown]:
    """All of a toe, struck-out and deleted ones too, newest first. nail: with its operation fetched. One query."""
    rows = nail.photographs.select_related("added_by", "review").order_by("-taken_on", "-pk")
    found = []
    for row in rows:
        row.nail_procedure = nail
        found.append(shown(row))
    return found


def shown(row: Photograph) -> Shown:
    """row: with its toe, operation and author fetched."""
    share = min(1.0, PREVIEW_EDGE / max(row.width, row.height))
    width, height = (max(1, round(edge * share)) for edge in (row.width, row.height))
    return Shown(row, alternative_text(row), day_words(row.day), consent_sentence(row), width, height)


def alternative_text(row: Photograph) -> str:
    """'Photograph of the right 1st toe (hallux), day 42, added by Terry Testcase'."""
    nail = row.nail_procedure
    return f"Photograph of the {toe_name(nail.foot, nail.toe)}, {day_words(row.day)}, added by {row.added_by}"


def day_words(day: int) -> str:
    if day >= 0:
        return f"day {day}"
    return f"{-day} {'day' if day == -1 else 'days'} before the operation"


def consent_sentence(row: Photograph) -> str:
    """'Consent for care only, given by the patient on 3 Jun 2026.'"""
    use, giver = label_of(PhotographUse, row.consent_for), label_of(ConsentGiver, row.consent_given_by)
    return f"Consent {small(use)}, given by {small(giver)} on {say_day(row.consent_given_on)}."


def history_of(row: Photograph) -> list[Step]:
    """Newest first. One query."""
    return newest_first(steps_of(versions(Photograph, id=row.pk), LABELS))
