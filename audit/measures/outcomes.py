"""Where every unit stands at 12 months: event, clear, lost, pending or counted apart. Knows no Django."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.definitions import CENSORED, TWELVE_MONTHS, HowKnown, Outcome, Status, Unit
from audit.measures.rows import dicts
from clinic.vocabulary.procedure import NailSide
from clinic.vocabulary.review import Extent, Means, Observer, Retreatment, Symptoms

SEVERAL = "several"
BOTH = "both"

_REGROWN = {term.value for term in Extent if term.regrown}
_SYMPTOMS_ASSESSED = {Symptoms.NONE.value, Symptoms.PAIN.value, Symptoms.INGROWTH.value, Symptoms.INFECTED.value}
_HURTS = {Symptoms.PAIN.value, Symptoms.INFECTED.value}
_REOPERATED = {Retreatment.DONE.value, Retreatment.ELSEWHERE.value}
_EXAMINATIONS = {term.value for term in Means if term.is_examination}
# How the toe was seen says more about a finding than who looked; only in person does the observer decide.
_BY_MEANS = {
    Means.PHOTO.value: HowKnown.PHOTO,
    Means.PHONE.value: HowKnown.PHONE,
    Means.QUESTIONNAIRE.value: HowKnown.QUESTIONNAIRE,
    Means.LETTER.value: HowKnown.OTHER_PROVIDER,
}
_BY_OBSERVER = {
    Observer.OPERATOR.value: HowKnown.OPERATOR,
    Observer.COLLEAGUE.value: HowKnown.COLLEAGUE,
    Observer.INDEPENDENT.value: HowKnown.INDEPENDENT,
    Observer.OTHER_PROVIDER.value: HowKnown.OTHER_PROVIDER,
    Observer.PATIENT.value: HowKnown.PATIENT_IN_PERSON,
}

UNIT_COLUMNS = (
    "unit_key", "patient_key", "status", "event", "first_event_day", "late_event", "source", "examined", "loss_reason",
    "technique", "agent", "exposure_seconds", "side", "curettage", "lavage", "operator", "matricectomy", "toe_keys",
    "side_keys", "review_key",
)  # fmt: skip
_DTYPES = {"event": bool, "late_event": bool, "examined": bool, "matricectomy": bool, "first_event_day": "float64",
           "exposure_seconds": "float64"}  # fmt: skip


@dataclass(frozen=True)
class Seen:
    """One review's word on one side, read for one outcome. Neither event nor clear: it could not be told."""

    day: float
    review_key: str
    source: HowKnown
    examined: bool
    event: bool = False
    clear: bool = False
    reoperated: bool = False

    @property
    def order(self) -> tuple[float, bool, str]:
        """Sorts by day; on one day an examination settles the matter rather than a report."""
        return self.day, self.examined, self.review_key


@dataclass(frozen=True)
class SideState:
    """One side at 12 months.

    first_event: also of a pending side, or after the window. in_window: reviews in the window of a side with an event.
    settled: what the outcome is known from, oldest first; empty unless it is known.
    ended_day: day of the death, re-operation or amputation for which the side is counted apart, or of the review that
    first reported the re-operation; None for any other status.
    """

    status: Status
    first_event: Seen | None = None
    late_event: bool = False
    in_window: tuple[Seen, ...] = ()
    settled: tuple[Seen, ...] = ()
    ended_day: float | None = None


NEVER = float("inf")


@dataclass(frozen=True)
class Ends:
    """Days since operation of what ends follow-up of a side; infinity for what did not happen.

    reported: the first review at which a re-operation was said to be done already.
    """

    died: float
    reoperated: float
    reported: float
    amputated: float

    @classmethod
    def of(cls, side: Mapping[str, Any], *, reoperated: float, reported: float) -> "Ends":
        return cls(_day(side["died_day"]), reoperated, reported, _day(side["amputated_day"]))


def unit_frame(cohort: Cohort, outcome: Outcome | str, unit: Unit | str) -> pd.DataFrame:
    """One row per unit of the cohort with its standing at 12 months for one outcome.

    cohort: frames as declared in `columns`. outcome, unit: a code of Outcome and of Unit; ValueError for another.
    Per patient there is one row for the sides with matricectomy and one for those without, because they are never
    counted together; filtered by `matricectomy` a unit_key is unique.
    Gives rows in the order of the cohort: unit_key, patient_key; status, a code of Status; event, the status is
    event; first_event_day, days since operation, NaN without an event, and also given for pending and late ones;
    late_event, first seen after the window; source, a code of HowKnown; examined, a clinician saw what the outcome
    rests on; loss_reason, a code of LossReason, "not_applicable" unless lost; technique and agent, codes, or
    "several" for a patient with more than one; exposure_seconds, the greatest of the sides, NaN where none is
    recorded or no agent was used; side, a code of NailSide, "both" or "several"; curettage, lavage and operator, codes,
    or "several"; matricectomy; toe_keys and
    side_keys, tuples; review_key, the review that settled the outcome, empty where none did.

    Rules: DEFINITIONS of `definitions`, version "1".
    """
    outcome, unit = Outcome(outcome), Unit(unit)
    states = side_states(cohort, outcome)
    groups: dict[tuple[str, bool], list[Mapping[str, Any]]] = {}
    for side in dicts(cohort.sides):
        groups.setdefault((str(side[f"{unit}_key"]), bool(side["matrix_destroyed"])), []).append(side)
    rows = [_unit_row(key, sides, states) for (key, _), sides in groups.items()]
    return pd.DataFrame(rows, columns=list(UNIT_COLUMNS)).astype(_DTYPES)


def side_states(cohort: Cohort, outcome: Outcome) -> dict[str, SideState]:
    """The standing of every treated side for one outcome, by side_key, in the order of the cohort.

    cohort: frames as declared in `columns`. Rules: the definitions "window", "eligible", "censored" and "late".
    """
    seen = _findings_by_side(cohort.findings, outcome)
    last_mature = pd.Timestamp(cohort.as_of - timedelta(days=TWELVE_MONTHS.closes_day))
    states = {}
    for side in dicts(cohort.sides):
        key = str(side["side_key"])
        pending = pd.Timestamp(side["performed_on"]) > last_mature
        states[key] = _side_state(side, seen.get(key, []), outcome, pending=pending)
    return states


def how_known(observer: str, means: str) -> HowKnown:
    """How a finding became known. observer, means: codes of Observer and Means; KeyError for another code."""
    return _BY_MEANS.get(means) or _BY_OBSERVER[observer]


def was_examined(observer: str, means: str) -> bool:
    """Whether a clinician saw the toe, in the room or on a photograph. A patient's own report never becomes one."""
    return means in _EXAMINATIONS and observer != Observer.PATIENT


def was_reoperated(retreatment: str) -> bool:
    """Whether a review says that the side was operated on again. retreatment: a code of the review vocabulary."""
    return retreatment in _REOPERATED


def is_event(outcome: Outcome, extent: str, symptoms: str, retreatment: str) -> bool:
    """Whether one finding shows the outcome. extent, symptoms, retreatment: codes of the review vocabulary."""
    if outcome is Outcome.ANY_REGROWTH:
        return extent in _REGROWN
    if outcome is Outcome.RE_OPERATION:
        return retreatment in _REOPERATED
    return symptoms == Symptoms.INGROWTH or (symptoms in _HURTS and extent in _REGROWN)


def is_clear(outcome: Outcome, extent: str, symptoms: str, retreatment: str) -> bool:
    """Whether one finding shows that the outcome is absent; "cannot tell" and "not assessed" show nothing."""
    if outcome is Outcome.ANY_REGROWTH:
        return extent == Extent.NONE
    if is_event(outcome, extent, symptoms, retreatment):
        return False
    if outcome is Outcome.RE_OPERATION:
        return retreatment != Retreatment.NOT_ASSESSED
    if symptoms in _HURTS:
        # Whether the pain came with regrowth was not seen, so the finding settles nothing.
        return extent in {Extent.NONE, Extent.NOT_APPLICABLE}
    return symptoms in _SYMPTOMS_ASSESSED


def _findings_by_side(findings: pd.DataFrame, outcome: Outcome) -> dict[str, list[Seen]]:
    found: dict[str, list[Seen]] = {}
    for row in dicts(findings):
        # On the day of the operation nothing can have grown back.
        if row["day"] > 0:
            found.setdefault(str(row["side_key"]), []).append(_seen(row, outcome))
    return {key: sorted(seen, key=lambda one: one.order) for key, seen in found.items()}


def _seen(row: Mapping[str, Any], outcome: Outcome) -> Seen:
    words = str(row["extent"]), str(row["symptoms"]), str(row["retreatment"])
    observer, means = str(row["observer"]), str(row["means"])
    return Seen(
        day=float(row["day"]),
        review_key=str(row["review_key"]),
        source=how_known(observer, means),
        examined=was_examined(observer, means),
        event=is_event(outcome, *words),
        clear=is_clear(outcome, *words),
        reoperated=was_reoperated(words[2]),
    )


def _side_state(side: Mapping[str, Any], seen: list[Seen], outcome: Outcome, *, pending: bool) -> SideState:
    if outcome is Outcome.ANY_REGROWTH and not side["matrix_destroyed"]:
        return SideState(Status.NOT_APPLICABLE)
    reoperated = _day(side["reoperated_day"])
    if outcome is Outcome.RE_OPERATION and 0 < reoperated < float("inf"):
        record = Seen(reoperated, "", HowKnown.OPERATION_RECORD, examined=True, event=True)
        seen = sorted([*seen, record], key=lambda one: one.order)
    if pending:
        return SideState(Status.PENDING, next((one for one in seen if one.event), None))
    if outcome is Outcome.RE_OPERATION:
        return _mature_state(seen, Ends.of(side, reoperated=NEVER, reported=NEVER))
    reported = min((one.day for one in seen if one.reoperated), default=NEVER)
    return _mature_state(seen, Ends.of(side, reoperated=reoperated, reported=reported))


def _day(value: Any) -> float:
    """Infinity for what did not happen, so that days compare."""
    return NEVER if pd.isna(value) else float(value)


def _mature_state(seen: Sequence[Seen], ends: Ends) -> SideState:
    """The standing of a side whose window has closed."""
    # A second operation or an amputation ends what the first can show: later findings belong to another record.
    own = [one for one in seen if one.day <= min(ends.reoperated, ends.reported, ends.amputated)]
    first = next((one for one in own if one.event), None)
    if first is not None and first.day <= TWELVE_MONTHS.closes_day:
        in_window = tuple(one for one in seen if TWELVE_MONTHS.contains(one.day))
        return SideState(Status.EVENT, first, False, in_window, tuple(one for one in own if one.event))
    # What is clear at the review that reports a re-operation is clear because of it.
    before = min(ends.reported, first.day if first else NEVER)
    # With regrowth after the window, only a look inside it can say that the side was clear then.
    last = TWELVE_MONTHS.closes_day if first else NEVER
    clear = tuple(one for one in own if one.clear and TWELVE_MONTHS.opens_day <= one.day <= last and one.day < before)
    if clear:
        return SideState(Status.CLEAR, first, first is not None, settled=clear)
    return _unknown_state(first, ends)


def _unknown_state(first: Seen | None, ends: Ends) -> SideState:
    """Counted apart or lost. first: an event after the window, if any."""
    # A re-operation after the window did not keep anybody from looking within it: that side is lost, not censored.
    # An event on the day of the re-operation was seen, so the side is not censored by it either.
    reoperated = min(ends.reoperated, ends.reported)
    if first is None and reoperated <= min(ends.amputated, ends.died, TWELVE_MONTHS.closes_day):
        return SideState(Status.CENSORED_REOPERATION, ended_day=reoperated)
    if first is None and ends.amputated <= min(ends.died, TWELVE_MONTHS.closes_day):
        return SideState(Status.CENSORED_AMPUTATION, ended_day=ends.amputated)
    if first is None and ends.died < TWELVE_MONTHS.opens_day:
        return SideState(Status.CENSORED_DEATH, ended_day=ends.died)
    return SideState(Status.LOST, first, first is not None)


def _unit_row(key: str, sides: Sequence[Mapping[str, Any]], states: Mapping[str, SideState]) -> dict[str, Any]:
    own = [states[str(side["side_key"])] for side in sides]
    status = unit_status([state.status for state in own])
    settling, examined = _settling(status, own)
    return {
        "unit_key": key,
        "patient_key": str(sides[0]["patient_key"]),
        "status": status.value,
        "event": status is Status.EVENT,
        "first_event_day": _first_event_day(status, own),
        "late_event": status in {Status.CLEAR, Status.LOST} and any(state.late_event for state in own),
        "source": settling.source.value if settling else HowKnown.NOT_APPLICABLE.value,
        "examined": examined,
        "loss_reason": _loss_reason(status, sides, own),
        "technique": _one_of(sides, "technique"),
        "agent": _one_of(sides, "agent"),
        "exposure_seconds": _greatest(side["exposure_seconds"] for side in sides),
        "side": _side_label(sides),
        "curettage": _one_of(sides, "curettage"),
        "lavage": _one_of(sides, "lavage"),
        "operator": _one_of(sides, "operator"),
        "matricectomy": bool(sides[0]["matrix_destroyed"]),
        "toe_keys": tuple(dict.fromkeys(str(side["toe_key"]) for side in sides)),
        "side_keys": tuple(str(side["side_key"]) for side in sides),
        "review_key": settling.review_key if settling else "",
    }


def unit_status(sides: Sequence[Status]) -> Status:
    """The standing of a toe or patient from that of its treated sides; at least one.

    Pending sides are left aside while another is mature: a patient is eligible if any of his sides is.
    """
    mature = [status for status in sides if status is not Status.PENDING]
    if not mature:
        return Status.PENDING
    if Status.EVENT in mature:
        return Status.EVENT
    if len(set(mature)) == 1:
        return mature[0]
    if set(mature) <= set(CENSORED):
        return next(reason for reason in CENSORED if reason in mature)
    return Status.LOST


def _settling(status: Status, states: Sequence[SideState]) -> tuple[Seen | None, bool]:
    """The finding that the outcome of the unit is known from, and whether a clinician saw it."""
    own = [state for state in states if state.status is status]
    if status is Status.EVENT:
        in_window = [one for state in states for one in state.in_window]
        firsts = [state.first_event for state in own if state.first_event]
        one = max(in_window, key=lambda seen: seen.order) if in_window else min(firsts, key=lambda seen: seen.order)
        return one, any(seen.examined for state in own for seen in state.settled)
    if status is Status.CLEAR:
        one = max((seen for state in own for seen in state.settled), key=lambda seen: seen.order)
        return one, all(any(seen.examined for seen in state.settled) for state in own)
    return None, False


def _first_event_day(status: Status, states: Sequence[SideState]) -> float:
    """A pending side's early event belongs to no mature unit."""
    counted = [state for state in states if status is Status.PENDING or state.status is not Status.PENDING]
    return min((state.first_event.day for state in counted if state.first_event), default=float("nan"))


def _loss_reason(status: Status, sides: Sequence[Mapping[str, Any]], states: Sequence[SideState]) -> str:
    if status is not Status.LOST:
        return "not_applicable"
    pairs = list(zip(sides, states, strict=True))
    lost = [side for side, state in pairs if state.status is Status.LOST]
    # A side re-operated beside a clear one leaves its toe lost without a lost side of its own.
    other = [side for side, state in pairs if state.status not in {Status.PENDING, Status.CLEAR}]
    return str((lost or other)[0]["loss_reason"])


def _one_of(sides: Sequence[Mapping[str, Any]], column: str) -> str:
    codes = {str(side[column]) for side in sides}
    return codes.pop() if len(codes) == 1 else SEVERAL


def _greatest(values: Iterable[Any]) -> float:
    recorded = [float(value) for value in values if not pd.isna(value)]
    return max(recorded, default=float("nan"))


def _side_label(sides: Sequence[Mapping[str, Any]]) -> str:
    """Of one toe "both" edges are one label; several toes with different labels are "several"."""
    by_toe: dict[object, set[str]] = {}
    for side in sides:
        by_toe.setdefault(side["toe_key"], set()).add(str(side["side"]))
    labels = {_toe_label(found) for found in by_toe.values()}
    return labels.pop() if len(labels) == 1 else SEVERAL


def _toe_label(sides: set[str]) -> str:
    return BOTH if sides == {NailSide.TIBIAL.value, NailSide.FIBULAR.value} else "+".join(sorted(sides))
