"""Acts on a review: record, correct, strike out, accept. Each is one transaction with its history."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import transaction

from clinic.access.models import Conflict, Member, keep_all, put
from clinic.access.rules import Action, may
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.redflags.watching import watch_review
from clinic.reviews.models import (
    GRAVE_FIELDS,
    MEASURED_FIELDS,
    OTHER_FIELDS,
    SIGN_FIELDS,
    Review,
    SideFinding,
    ToeFinding,
)
from clinic.vocabulary import review as words
from clinic.vocabulary.procedure import Answer

UNDO_FOR = timedelta(minutes=10)


class TooLateToUndo(Exception):
    """Undo is for the author, for ten minutes; afterwards a correction with a reason is the way."""


@dataclass(frozen=True)
class Findings:
    """What one review found: answers per toe and per treated side, complete and explicit."""

    toes: Mapping[NailProcedure, Mapping[str, object]] = field(default_factory=dict)
    sides: Mapping[TreatedSide, Mapping[str, object]] = field(default_factory=dict)


def explicit_signs(signs: str, healing: str, components: Mapping[str, object]) -> dict[str, object]:
    """Every infection component with a value of its own, from the one-tap answer.

    'No signs seen' stores 'no' for each sign; wound fluid is stored as none only at a dry toe, since a moist one
    has some that was not graded. 'Signs seen' stores what was answered and 'not assessed' for the rest.
    """
    unknown = {name: Answer.NOT_ASSESSED for name in (*SIGN_FIELDS, *GRAVE_FIELDS)}
    unknown |= dict.fromkeys(MEASURED_FIELDS)
    not_graded = {
        "fluid_colour": words.FluidColour.NOT_ASSESSED,
        "fluid_consistency": words.FluidConsistency.NOT_ASSESSED,
        "fluid_amount": words.FluidAmount.NOT_ASSESSED,
        "erythema_mm": None,
        "swab": words.Swab.NOT_ASSESSED,
        "diagnosis": words.Diagnosis.NOT_ASSESSED,
    }
    if signs == words.Signs.NONE_SEEN:
        dry = {
            "fluid_colour": words.FluidColour.NONE,
            "fluid_consistency": words.FluidConsistency.NONE,
            "fluid_amount": words.FluidAmount.DRY,
            "erythema_mm": 0,
        }
        none_seen = {name: Answer.NO for name in SIGN_FIELDS}
        fluid = dry if healing == words.Healing.DRY else {}
        return {
            **unknown,
            **not_graded,
            **none_seen,
            **fluid,
            "swab": words.Swab.NOT_TAKEN,
            "diagnosis": words.Diagnosis.NONE,
            "signs": signs,
        }
    given = {name: value for name, value in components.items() if value not in (None, "") and signs == words.Signs.SOME}
    return {**unknown, **not_graded, **given, "signs": signs}


def explicit_retreatment(extent: str, symptoms: str, retreatment: str) -> str:
    """What was done, stored even where the question was not opened: with nothing seen or felt, nothing was done."""
    if retreatment:
        return retreatment
    nothing = extent in {words.Extent.NONE, words.Extent.NOT_APPLICABLE} and symptoms == words.Symptoms.NONE
    return words.Retreatment.NONE if nothing else words.Retreatment.NOT_ASSESSED


def standing_as_shown(operation: Operation) -> Operation:
    """Lock the operation; raises Conflict if it was struck out or its date changed since it was shown."""
    stored = Operation.objects.select_for_update().get(pk=operation.pk)
    if stored.struck_at or stored.performed_on != operation.performed_on:
        raise Conflict(f"Operation {operation.key}")
    return operation


def who_saw(operation: Operation, observer: str, *, by: Member, now: datetime) -> dict[str, object]:
    """Which member looked, and whether a patient's report is accepted already.

    A clinician who writes down what the patient says accepts it in the same act; from others it waits for one.
    """
    seen_by = {words.Observer.OPERATOR.value: operation.operator, words.Observer.COLLEAGUE.value: by}.get(observer)
    accepts = observer == words.Observer.PATIENT and may(by.role, Action.ACCEPT_REPORT)
    return {"seen_by": seen_by, "accepted_by": by if accepts else None, "accepted_at": now if accepts else None}


@transaction.atomic
def record_review(
    *,
    by: Member,
    operation: Operation,
    visit: Mapping[str, object],
    findings: Findings,
    now: datetime,
    reason: str = "",
) -> Review:
    """One review of all treated toes of an operation, with a finding for each toe and side.

    visit: seen_on, origin, observer, means, next_step, next_reason, note. The caller has validated the answers;
    the database refuses what it must (dates before the operation, unknown codes, a second finding for a side).
    """
    operation = standing_as_shown(operation)
    review = Review(
        operation=operation,
        operated_on=operation.performed_on,
        recorded_by=by,
        recorded_at=now,
        **visit,
        **who_saw(operation, str(visit["observer"]), by=by, now=now),
    )
    review.keep(by=by, reason=reason)
    toes = [ToeFinding(review=review, nail_procedure=nail, **each) for nail, each in findings.toes.items()]
    keep_all(toes, by=by, reason=reason)
    sides = [SideFinding(review=review, treated_side=side, **each) for side, each in findings.sides.items()]
    keep_all(sides, by=by, reason=reason)
    watch_review(review, by=by, now=now, rows=toes)
    return review


@transaction.atomic
def correct_review(
    *,
    by: Member,
    review: Review,
    version: int,
    visit: Mapping[str, object],
    findings: Findings,
    reason: str,
    now: datetime,
) -> Review:
    """Write the corrected answers as the next version; the earlier ones stay in the history.

    Raises Conflict if somebody changed the review since `version` was shown.
    """
    if review.version != version:
        raise Conflict(f"Review {review.key}")
    standing_as_shown(review.operation)
    if visit["observer"] != review.observer:
        visit = {**visit, **who_saw(review.operation, str(visit["observer"]), by=by, now=now)}
    _write(review, visit, by=by, reason=reason, always=True)
    toes = {finding.nail_procedure_id: finding for finding in review.toe_findings.all()}
    for nail, answers in findings.toes.items():
        # A toe or side that joined the operation after the review has no row yet.
        row = toes.get(nail.pk) or ToeFinding(review=review, nail_procedure=nail)
        _write(row, answers, by=by, reason=reason)
    sides = {finding.treated_side_id: finding for finding in review.side_findings.all()}
    for treated, answers in findings.sides.items():
        row = sides.get(treated.pk) or SideFinding(review=review, treated_side=treated)
        _write(row, answers, by=by, reason=reason)
    watch_review(review, by=by, now=now)
    return review


def _write(
    row: Review | ToeFinding | SideFinding,
    answers: Mapping[str, object],
    *,
    by: Member,
    reason: str,
    always: bool = False,
) -> None:
    changed = put(row, answers)
    if row.pk is None:
        row.keep(by=by, reason=reason)
    elif changed or always:
        row.save_version(by=by, reason=reason)


@transaction.atomic
def strike_review(*, by: Member, review: Review, now: datetime, reason: str) -> None:
    """Strike out a wrong entry; its red flags are not so any more. Raises Conflict if it moved on."""
    review.strike(by=by, now=now, reason=reason)
    watch_review(review, by=by, now=now)


def may_undo(member: Member, review: Review, now: datetime) -> bool:
    """Its author, for ten minutes and while nothing was changed; never what a patient sent: that is refused with a
    reason."""
    if review.recorded_by_id != member.pk or now - review.recorded_at > UNDO_FOR or review.version > 1:
        return False
    return review.observer != words.Observer.PATIENT or not hasattr(review, "patient_report")


def undo_review(*, by: Member, review: Review, now: datetime) -> None:
    """Take back a review just saved; raises TooLateToUndo where `may_undo` says no."""
    if not may_undo(by, review, now):
        raise TooLateToUndo
    strike_review(by=by, review=review, now=now, reason="Undone by the author")


def accept_report(*, by: Member, review: Review, now: datetime) -> None:
    """A clinician accepts a patient's report: from now on it counts, labelled as the patient's."""
    review.accepted_by = by
    review.accepted_at = now
    review.save_version(by=by, reason="Patient report accepted")


def calm_others() -> dict[str, object]:
    """'None of these': every other finding asked for and absent."""
    return dict.fromkeys(OTHER_FIELDS, Answer.NO)
