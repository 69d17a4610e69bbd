"""The topics of the settings: which columns belong together, in words, and what a change of them would mean."""

import copy
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any

from clinic.access.models import Practice
from clinic.access.numbers import plain
from clinic.patients.changes import Line, Step
from clinic.practice import effect
from clinic.practice.offers import OFFERS
from clinic.vocabulary.procedure import StageSystem
from clinic.vocabulary.sites import capital, listed, small
from clinic.vocabulary.terms import label_of
from clinic.vocabulary.theatre import CHECK_ITEMS


@dataclass(frozen=True)
class Topic:
    """One page of settings.

    columns: of the practice. words: label and value of everything the topic holds, from a practice or an earlier
    version of it; summary: fewer of these. effect: what a changed practice would mean, in sentences, given the stored
    one first.
    """

    code: str
    title: str
    lead: str
    columns: tuple[str, ...]
    words: Callable[[Any], dict[str, str]]
    effect: Callable[[Practice, Practice], list[str]]
    summary: Callable[[Any], dict[str, str]] | None = None

    def in_short(self, practice: Practice) -> dict[str, str]:
        return (self.summary or self.words)(practice)


def audit_words(practice: Any) -> dict[str, str]:
    standard = plain(Decimal(practice.recurrence_standard) * 100)
    return {
        "Limits of the exposure bands": f"{', '.join(str(limit) for limit in practice.exposure_bands_seconds)} s",
        "Standard for recurrence": f"{standard}%",
    }


def times_words(practice: Any) -> dict[str, str]:
    below = practice.exposure_note_below_seconds
    return {
        "Note for an exposure above": f"{practice.exposure_note_seconds} s",
        "Note for an exposure below": "not asked for" if below is None else f"{below} s",
        "Tourniquet: note after": f"{practice.tourniquet_note_minutes} min",
        "Tourniquet: alarm after": f"{practice.tourniquet_alarm_minutes} min",
    }


def staging_words(practice: Any) -> dict[str, str]:
    system = practice.staging_system
    return {"Staging system": label_of(StageSystem, system) if system else "not chosen, all are offered"}


def offered_words(column: str, practice: Any) -> str:
    terms, codes = OFFERS[column][0], getattr(practice, column)
    return listed(small(term.label) for term in terms if term.value in codes) or "only “other”"


def agents_words(practice: Any) -> dict[str, str]:
    return {
        "Agents offered": offered_words("agents_offered", practice),
        "Local anaesthetics offered": offered_words("anaesthetics_offered", practice),
    }


def dressings_words(practice: Any) -> dict[str, str]:
    return {"Dressings offered": offered_words("dressings_offered", practice)}


def checklist_words(practice: Any) -> dict[str, str]:
    """By the shipped line, what the practice says instead or the line itself."""
    own: Mapping[str, str] = practice.checklist_wording
    return {item.wording: own.get(item.code) or item.wording for item in CHECK_ITEMS}


def checklist_summary(practice: Any) -> dict[str, str]:
    return {"Lines in the practice’s own words": f"{len(practice.checklist_wording)} of {len(CHECK_ITEMS)}"}


TOPICS = {
    topic.code: topic
    for topic in (
        Topic(
            "times", "Times that ask for a note",
            "From where the operation form and the room ask for a note. A limit is an observation, not a rule of "
            "treatment.",
            ("exposure_note_seconds", "exposure_note_below_seconds", "tourniquet_note_minutes",
             "tourniquet_alarm_minutes"),
            times_words, effect.of_times,
        ),
        Topic(
            "agents", "Agents and anaesthetics",
            "What the operation form and the room offer. “Other” and “Not recorded” are always offered.",
            ("agents_offered", "anaesthetics_offered"), agents_words, effect.of_agents,
        ),
        Topic(
            "dressings", "Dressings", "Which classes the end of an operation offers. “Other” is always offered.",
            ("dressings_offered",), dressings_words, effect.of_dressings,
        ),
        Topic(
            "staging", "Staging", "In which system the stage before an operation is given.",
            ("staging_system",), staging_words, effect.of_staging,
        ),
        Topic(
            "checklist", "Words of the checklist",
            "How each line of the safer-surgery checklist is read aloud here. Its meaning stays; an empty line is read "
            "as shipped.",
            ("checklist_wording",), checklist_words, effect.of_checklist, checklist_summary,
        ),
        Topic(
            "audit", "Bands and standard of the audit",
            "How exposure is grouped, and the line to which the recurrence at twelve months is compared.",
            ("exposure_bands_seconds", "recurrence_standard"), audit_words, effect.of_audit,
        ),
    )
}  # fmt: skip


def with_values(practice: Practice, values: Mapping[str, Any]) -> Practice:
    """The practice as it would be; not saved."""
    after = copy.copy(practice)
    for name, value in values.items():
        setattr(after, name, value)
    return after


def changes(topic: Topic, before: Any, after: Any) -> tuple[Line, ...]:
    old, new = topic.words(before), topic.words(after)
    return tuple(Line(capital(label), old[label], new[label]) for label in old if old[label] != new[label])


def history_of(topic: Topic, versions: Iterable[Any]) -> list[Step]:
    """What was changed of the topic, newest first; versions: of the practice with their authors, oldest first."""
    steps = [
        Step(newer.history_date, str(newer.history_user or "unknown"), newer.history_change_reason or "", lines)
        for older, newer in pairwise(versions)
        if (lines := changes(topic, older, newer))
    ]
    return steps[::-1]


def versions_of(practice: Practice) -> list[Any]:
    """One query."""
    history: Any = practice.history  # type: ignore[attr-defined]
    return list(history.select_related("history_user").order_by("history_id"))
