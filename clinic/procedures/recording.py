"""Acts on an operation: record, correct, strike out, undo. Each is one transaction with its history."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import ProtectedError, Q

from clinic.access.models import Member, put, written_by
from clinic.patients.models import Patient
from clinic.patients.own import lock_person
from clinic.procedures.models import Application, NailProcedure, Operation, TreatedSide
from clinic.procedures.signing import amending
from clinic.procedures.site_decision import SiteDecision
from clinic.redflags.watching import watch_operation
from clinic.vocabulary.procedure import AmendmentKind, NailSide

UNDO_FOR = timedelta(minutes=10)


class TooLateToUndo(Exception):
    """Undo is for the author, for ten minutes; afterwards a correction with a reason is the way."""


class ReviewLiesBefore(Exception):
    """The new date of the operation lies after one of its reviews."""

    def __init__(self, seen_on: date) -> None:
        super().__init__(seen_on)
        self.seen_on = seen_on


class SideHasFindings(Exception):
    """A treated side with review findings, or revised by a later operation, cannot be taken away."""

    def __init__(self, side: TreatedSide) -> None:
        super().__init__(side.pk)
        self.side = side


@dataclass(frozen=True)
class SideValues:
    """Exposure of one treated side: the seconds of each application, or only the total, or neither.

    revises: the earlier operation on this side. keeps_revised: a correction that finds none leaves a stored one.
    keeps_exposure: a correction leaves the stored exposure of this side as it is.
    """

    seconds: tuple[int, ...] = ()
    stated_seconds: int | None = None
    revises: TreatedSide | None = None
    keeps_revised: bool = False
    keeps_exposure: bool = False


@dataclass(frozen=True)
class ToeValues:
    """fields: the columns of a nail procedure. sides: by code of the side.

    decisions: about differences from the consent, each as fact, outcome and text.
    """

    fields: Mapping[str, Any]
    sides: Mapping[str, SideValues]
    decisions: tuple[Mapping[str, str], ...] = ()


@dataclass(frozen=True)
class OperationValues:
    """fields: performed_on, operator, consent_given_by, note; of a new operation the template it was started from."""

    fields: Mapping[str, Any]
    toes: tuple[ToeValues, ...] = field(default=())


@transaction.atomic
def record_operation(
    *,
    by: Member,
    patient: Patient,
    values: OperationValues,
    now: datetime,
    reason: str = "",
    key: str | None = None,
    first_toe_key: str | None = None,
) -> Operation:
    """One attendance with its toes, sides and applications. The caller has validated the values.

    reason: why unusual values are right; kept in the history.
    key, first_toe_key: of the operation and its first toe, where their addresses had to be known before.
    """
    patient = lock_person(patient)
    operation = Operation(
        practice=patient.practice,
        patient=patient,
        age_years=patient.identity.age_on(values.fields["performed_on"]),
        recorded_by=by,
        recorded_at=now,
        **values.fields,
    )
    if key:
        operation.key = key
    operation.keep(by=by, reason=reason)
    for number, toe in enumerate(values.toes):
        nail = NailProcedure(operation=operation, **toe.fields)
        if first_toe_key and number == 0:
            nail.key = first_toe_key
        nail.keep(by=by, reason=reason)
        for side, exposure in toe.sides.items():
            _add_side(nail, side, exposure, by=by, reason=reason)
        _decide_sites(nail, toe, by=by, now=now)
    watch_operation(operation, by=by, now=now)
    return operation


def _decide_sites(nail: NailProcedure, toe: ToeValues, *, by: Member, now: datetime) -> None:
    for decision in toe.decisions:
        _decided(nail, by=by, now=now, **decision)


def _decided(nail: NailProcedure, *, by: Member, now: datetime, **columns: str) -> SiteDecision:
    return SiteDecision.objects.create(
        operation_id=nail.operation_id, nail_procedure=nail, decided_by=by, decided_at=now, **columns
    )


@transaction.atomic
def decide_site(*, by: Member, nail: NailProcedure, fact: str, outcome: str, text: str, now: datetime) -> SiteDecision:
    """A named decision about one difference between consent and operation. Of a signed operation it is a late entry."""
    operation = Operation.objects.select_for_update().get(pk=nail.operation_id)
    with amending(operation, by=by, now=now, reason="Consent and operation", kind=AmendmentKind.LATE_ENTRY):
        return _decided(nail, by=by, now=now, fact=fact, outcome=outcome, text=text)


@transaction.atomic
def amend_operation(
    *, by: Member, operation: Operation, version: int, values: OperationValues, now: datetime, reason: str
) -> Operation:
    """Write the corrected values as the next version; the earlier ones stay in the history.

    Of a signed operation this is an amendment.

    The toes of `values` stand in the order in which they were recorded. Raises Conflict if somebody changed the
    operation since `version` was shown, ReviewLiesBefore and SideHasFindings where a review stands in the way.
    """
    _lock(operation)
    with amending(operation, by=by, now=now, reason=reason):
        _correct(operation, version, values, by=by, now=now, reason=reason)
    watch_operation(operation, by=by, now=now)
    return operation


def _correct(
    operation: Operation, version: int, values: OperationValues, *, by: Member, now: datetime, reason: str
) -> None:
    moved = operation.performed_on != values.fields["performed_on"]
    put(operation, values.fields)
    operation.age_years = operation.patient.identity.age_on(operation.performed_on)
    operation.version = version
    # Every correction claims the operation's version, so that two people never mix their toes.
    operation.save_version(by=by, reason=reason)
    if moved:
        _move_reviews(operation, by=by, reason=reason)
    nails = operation.nail_procedures.order_by("pk").prefetch_related("treated_sides__applications")
    for nail, toe in zip(nails, values.toes, strict=True):
        if put(nail, toe.fields):
            nail.save_version(by=by, reason=reason)
        _amend_sides(nail, toe.sides, by=by, reason=reason)
        _decide_sites(nail, toe, by=by, now=now)
    _drop_stale_links(operation, by=by, reason=reason)


def _lock(operation: Operation) -> None:
    """Acts on one operation go one after the other, and so does a review of it, which copies its date."""
    _lock_patient(operation.patient_id)
    Operation.objects.select_for_update().get(pk=operation.pk)


def _lock_patient(pk: int) -> None:
    """Always before the operation: operations of one patient name each other as revised."""
    Patient.objects.select_for_update().get(pk=pk)


def _drop_stale_links(operation: Operation, *, by: Member, reason: str) -> None:
    """Once toe, side or day is corrected, a re-operation elsewhere revises it no longer; nor does it revise one."""
    touching = Q(nail_procedure__operation=operation) | Q(revises__nail_procedure__operation=operation)
    links = TreatedSide.objects.filter(touching, revises__isnull=False)
    for treated in links.select_related("nail_procedure__operation", "revises__nail_procedure__operation"):
        if not _overlap(treated, treated.revises) or not _follows(treated, treated.revises):
            treated.revises = None
            treated.save_version(by=by, reason=reason)


def _overlap(one: TreatedSide, other: TreatedSide) -> bool:
    """The same toe and side; a whole nail overlaps both sides."""
    toes = {(each.nail_procedure.foot, each.nail_procedure.toe) for each in (one, other)}
    sides = {one.side, other.side}
    return len(toes) == 1 and (len(sides) == 1 or NailSide.WHOLE in sides)


def _follows(one: TreatedSide, other: TreatedSide) -> bool:
    return one.nail_procedure.operation.performed_on > other.nail_procedure.operation.performed_on


def _move_reviews(operation: Operation, *, by: Member, reason: str) -> None:
    """Reviews carry a copy of the date; it moves along, unless a review would then lie before the operation."""
    reviews = list(operation.reviews.all())
    too_early = [review.seen_on for review in reviews if review.seen_on < operation.performed_on]
    if too_early:
        raise ReviewLiesBefore(min(too_early))
    for review in reviews:
        review.operated_on = operation.performed_on
        review.save_version(by=by, reason=reason)


def _amend_sides(nail: NailProcedure, wanted: Mapping[str, SideValues], *, by: Member, reason: str) -> None:
    """A side entered wrongly is renamed and keeps its findings; only a surplus one is taken away."""
    stored = {treated.side: treated for treated in nail.treated_sides.all()}
    surplus = [treated for side, treated in stored.items() if side not in wanted]
    for side, exposure in wanted.items():
        treated = stored.get(side) or (surplus.pop(0) if surplus else None)
        if treated is None:
            _add_side(nail, side, exposure, by=by, reason=reason)
        else:
            _amend_side(treated, side, exposure, by=by, reason=reason)
    for treated in surplus:
        _take_away(treated, by=by, reason=reason)


def _amend_side(treated: TreatedSide, side: str, exposure: SideValues, *, by: Member, reason: str) -> None:
    columns = {"side": side, "stated_exposure_seconds": exposure.stated_seconds, "revises": exposure.revises}
    if exposure.keeps_revised and side == treated.side and exposure.revises is None:
        del columns["revises"]
    if exposure.keeps_exposure:
        del columns["stated_exposure_seconds"]
    if put(treated, columns):
        treated.save_version(by=by, reason=reason)
    if not exposure.keeps_exposure:
        put_applications(treated, exposure.seconds, by=by, reason=reason)


def put_applications(treated: TreatedSide, seconds_of_each: Sequence[int], *, by: Member, reason: str) -> None:
    """Make the stored applications of a side these; rows that stay the same get no new version."""
    stored = {application.number: application for application in treated.applications.all()}
    for number, seconds in enumerate(seconds_of_each, start=1):
        application = stored.pop(number, None) or Application(treated_side=treated, number=number)
        if application.seconds != seconds:
            application.seconds = seconds
            written_by(application, by, reason).save()
    for application in stored.values():
        written_by(application, by, reason).delete()


def _add_side(nail: NailProcedure, side: str, exposure: SideValues, *, by: Member, reason: str) -> None:
    treated = TreatedSide(
        nail_procedure=nail, side=side, stated_exposure_seconds=exposure.stated_seconds, revises=exposure.revises
    )
    treated.keep(by=by, reason=reason)
    for number, seconds in enumerate(exposure.seconds, start=1):
        written_by(Application(treated_side=treated, number=number, seconds=seconds), by, reason).save()


def _take_away(treated: TreatedSide, *, by: Member, reason: str) -> None:
    """The row goes, since it must not be counted; its versions stay in the history."""
    try:
        for application in treated.applications.all():
            written_by(application, by, reason).delete()
        written_by(treated, by, reason).delete()
    except ProtectedError:
        raise SideHasFindings(treated) from None


@transaction.atomic
def strike_operation(*, by: Member, operation: Operation, now: datetime, reason: str) -> None:
    """Strike out a wrong entry: it stays readable and counts nowhere. Its reviews count no longer, either."""
    _lock(operation)
    with amending(operation, by=by, now=now, reason=reason, kind=AmendmentKind.STRUCK_OUT):
        operation.strike(by=by, now=now, reason=reason)
    watch_operation(operation, by=by, now=now)


@transaction.atomic
def undo_operation(*, by: Member, operation: Operation, now: datetime) -> None:
    """Take back an operation just saved.

    Raises TooLateToUndo for others, after ten minutes, once it was changed or reviewed.
    """
    _lock(operation)
    touched = operation.version > 1 or operation.signed_at or operation.reviews.exists()
    if operation.recorded_by_id != by.pk or now - operation.recorded_at > UNDO_FOR or touched:
        raise TooLateToUndo
    strike_operation(by=by, operation=operation, now=now, reason="Undone by the author")
