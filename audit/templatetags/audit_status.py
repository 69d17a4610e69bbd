"""How the sides of one toe count in the audit, in words: {% audit_status nail_procedure as status %}."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from django import template
from django.template import Context
from django.utils import timezone

from audit.cohort import build_for_toe
from audit.measures.definitions import TWELVE_MONTHS, VERSION, Outcome, Status
from audit.periods import said
from clinic.vocabulary.procedure import NailSide
from clinic.vocabulary.review import LossReason
from clinic.vocabulary.terms import label_of

if TYPE_CHECKING:
    from audit.measures.columns import Cohort
    from audit.measures.outcomes import SideState

register = template.Library()

# What an event is called, and what its absence is called, for each outcome.
EVENT_WORDS = {
    Outcome.ANY_REGROWTH: "regrown",
    Outcome.SYMPTOMATIC_RECURRENCE: "symptomatic recurrence",
    Outcome.RE_OPERATION: "re-operated",
}
SEEN_WORDS = {
    Outcome.ANY_REGROWTH: "regrowth",
    Outcome.SYMPTOMATIC_RECURRENCE: "symptomatic recurrence",
    Outcome.RE_OPERATION: "re-operation",
}


@dataclass(frozen=True)
class Standing:
    """One side and one outcome: the code of its status and a sentence that says why."""

    outcome: str
    status: str
    sentence: str


@dataclass(frozen=True)
class SideStanding:
    key: str
    side: str
    standings: tuple[Standing, ...]

    @property
    def agree(self) -> bool:
        """The three outcomes stand alike, so that one sentence says it all."""
        return len({standing.sentence for standing in self.standings}) == 1


@dataclass(frozen=True)
class ToeStatus:
    """What the toe's page prints: the same counting as the audit, for one toe."""

    as_of: date
    version: str
    sides: tuple[SideStanding, ...]


@register.simple_tag(takes_context=True)
def audit_status(context: Context, nail_procedure: Any) -> ToeStatus:
    """How every treated side of the toe counts as of the page's day, for the three outcomes."""
    as_of = context.get("today") or timezone.localdate()
    return toe_status(build_for_toe(nail_procedure, as_of=as_of))


def toe_status(cohort: "Cohort") -> ToeStatus:
    from audit.measures.outcomes import side_states

    states = {outcome: side_states(cohort, outcome) for outcome in Outcome}
    sides = []
    for side in cohort.sides.to_dict("records"):
        key = side["side_key"]
        standings = tuple(_standing(outcome, states[outcome][key], side) for outcome in Outcome)
        sides.append(SideStanding(key, label_of(NailSide, side["side"]), standings))
    return ToeStatus(cohort.as_of, VERSION, tuple(sides))


def _standing(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> Standing:
    sentence = f"At 12 months this side counts as: {why(outcome, state, side)}"
    if state.status is Status.PENDING:
        sentence = f"At 12 months: {why(outcome, state, side)}"
    return Standing(outcome.label, state.status.value, sentence)


def why(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> str:
    """The status of a side with the facts that decide it. side: one row of the cohort's sides."""
    return WHY[state.status](outcome, state, side)


def _event(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> str:
    return f"{EVENT_WORDS[outcome]} (first on record on day {state.first_event.day:.0f})"


def _clear(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> str:
    day = max(seen.day for seen in state.settled)
    return f"clear (seen without {SEEN_WORDS[outcome]} on day {day:.0f})" + _late(outcome, state)


def _lost(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> str:
    reason = label_of(LossReason, side["loss_reason"]).lower()
    nothing = f"no finding on this from day {TWELVE_MONTHS.opens_day} on"
    return f"lost so far ({nothing}; contact log: {reason})" + _late(outcome, state)


def _late(outcome: Outcome, state: "SideState") -> str:
    if not state.late_event or state.first_event is None:
        return ""
    return f"; {SEEN_WORDS[outcome]} first seen on day {state.first_event.day:.0f}, after the window"


def _pending(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> str:
    closes_on = side["performed_on"].date() + timedelta(days=TWELVE_MONTHS.closes_day)
    early = f"; {SEEN_WORDS[outcome]} seen on day {state.first_event.day:.0f}" if state.first_event else ""
    return f"pending: its window closes on {said(closes_on)}{early}"


def _died(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> str:
    return f"counted apart (the patient died on day {side['died_day']:.0f})"


def _reoperated(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> str:
    return f"counted apart (operated on again on day {state.ended_day:.0f})"


def _amputated(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> str:
    return f"counted apart (the toe was amputated on day {state.ended_day:.0f})"


def _not_applicable(outcome: Outcome, state: "SideState", side: Mapping[Any, Any]) -> str:
    return "not counted (no matrix was destroyed, so regrowth is expected)"


WHY = {
    Status.EVENT: _event,
    Status.CLEAR: _clear,
    Status.LOST: _lost,
    Status.PENDING: _pending,
    Status.CENSORED_DEATH: _died,
    Status.CENSORED_REOPERATION: _reoperated,
    Status.CENSORED_AMPUTATION: _amputated,
    Status.NOT_APPLICABLE: _not_applicable,
}
