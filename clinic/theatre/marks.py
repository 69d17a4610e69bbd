"""Moments tapped in the room: kept the instant they arrive, corrected with a reason, and what follows from them.

Tourniquet times and applications of the record are derived from the standing marks, so that a corrected moment corrects
them too. A toe or side without marks keeps what was typed for it.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from clinic.access.models import Conflict, Member
from clinic.patients.changes import say_day
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.procedures.recording import put_applications
from clinic.procedures.signing import amending, tourniquet_left
from clinic.redflags.watching import watch_operation
from clinic.theatre.models import Mark
from clinic.vocabulary.theatre import MarkKind

TOURNIQUET = {MarkKind.TOURNIQUET_ON, MarkKind.TOURNIQUET_OFF}
CLOCK_AHEAD = timedelta(minutes=2)
LONGEST_APPLICATION_SECONDS = 600
ENDS = {MarkKind.TOURNIQUET_OFF: MarkKind.TOURNIQUET_ON, MarkKind.APPLICATION_STOP: MarkKind.APPLICATION_START}
BEGINS = {begin: end for end, begin in ENDS.items()}


class Refused(Exception):
    """The moment contradicts another one; the text says which, for the page."""


@transaction.atomic
def tap(
    *, by: Member, operation: Operation, kind: str, at: datetime, now: datetime, name: str,
    nail: NailProcedure | None = None, side: TreatedSide | None = None,
) -> Mark:  # fmt: skip
    """Keep one moment. Sending the same tap again gives the mark that the first one made.

    at: when it was tapped, which lies before now if it waited for the network.
    nail, side: what it belongs to; a nail alone means all its treated sides.
    Raises Refused if it contradicts what stands, SignedRecord if the operation is signed.
    """
    Operation.objects.select_for_update().get(pk=operation.pk)
    if earlier := Mark.objects.filter(tap=name).first():
        if earlier.operation_id != operation.pk:
            raise Refused("This tap belongs to another operation")
        return earlier
    mark = Mark(
        operation=operation,
        nail_procedure=nail,
        treated_side=side,
        kind=kind,
        at=at,
        received_at=now,
        by=by,
        tap=name,
    )
    refuse_another_day(mark, operation)
    refuse_typed_seconds(mark, operation)
    check_order([*standing(operation), mark])
    mark.keep(by=by)
    settle(operation, by=by, reason="")
    watch_operation(operation, by=by, now=now)
    return mark


@transaction.atomic
def correct(*, by: Member, mark: Mark, version: int, at: datetime, now: datetime, reason: str) -> None:
    """Move a moment; the earlier one stays in the history. Of a signed operation this is an amendment."""
    _change(by=by, mark=mark, version=version, now=now, reason=reason, at=at)


@transaction.atomic
def take_back(*, by: Member, mark: Mark, version: int, now: datetime, reason: str) -> None:
    """A tap by mistake: it stays readable and counts no longer."""
    _change(by=by, mark=mark, version=version, now=now, reason=reason, taken_back_at=now)


def _change(*, by: Member, mark: Mark, version: int, now: datetime, reason: str, **values: datetime) -> None:
    operation = Operation.objects.select_for_update().get(pk=mark.operation_id)
    with amending(operation, by=by, now=now, reason=reason):
        stored = Mark.objects.get(pk=mark.pk)
        if stored.version != version:
            raise Conflict(f"Mark {mark.key}")
        for name, value in values.items():
            setattr(stored, name, value)
        if stored.at > now + CLOCK_AHEAD:
            raise Refused("This time lies in the future")
        refuse_another_day(stored, operation)
        left_before = tourniquet_left(operation)
        others = [other for other in standing(operation) if other.pk != stored.pk]
        check_order([*others, *([] if stored.taken_back_at else [stored])])
        stored.save_version(by=by, reason=reason)
        settle(operation, by=by, reason=reason)
        if operation.signed_at and set(tourniquet_left(operation)) - set(left_before):
            raise Refused("The operation is signed, so the tourniquet must keep its time off; correct the time instead")
    watch_operation(operation, by=by, now=now)


def refuse_another_day(mark: Mark, operation: Operation) -> None:
    """A tap belongs to the day of the operation, or to the night after it."""
    days = (timezone.localtime(mark.at).date() - operation.performed_on).days
    if days not in {0, 1}:
        raise Refused(f"This is another day than that of the operation, {say_day(operation.performed_on)}")


def refuse_typed_seconds(mark: Mark, operation: Operation) -> None:
    """Seconds that somebody typed are corrected where they were typed; taps would replace them."""
    if mark.kind != MarkKind.APPLICATION_START:
        return
    tapped = {place for other in standing(operation) for place in places(other)}
    for place in places(mark):
        treated = TreatedSide.objects.get(pk=place[1])
        if place not in tapped and treated.exposure_seconds is not None:
            raise Refused("Seconds were typed for this side; correct them there, or clear them before you tap")


def standing(operation: Operation) -> list[Mark]:
    marks = Mark.objects.filter(operation=operation, taken_back_at__isnull=True)
    return list(marks.select_related("nail_procedure", "treated_side").order_by("at", "pk"))


def refuse_contradiction(mark: Mark, marks: list[Mark]) -> None:
    for place in places(mark):
        open_begin = open_at(place, mark.kind, marks)
        if mark.kind in BEGINS and open_begin:
            raise Refused(f"{MarkKind(open_begin.kind).label} is on record and has not ended yet")
        if mark.kind in ENDS and not open_begin:
            raise Refused(f"“{MarkKind(ENDS[MarkKind(mark.kind)]).label}” was not tapped before")
        if mark.kind in ENDS and open_begin and mark.at < open_begin.at:
            raise Refused(f"This lies before “{MarkKind(open_begin.kind).label}”")


def places(mark: Mark) -> list[tuple[str, int]]:
    """Where a mark counts: the operation, a toe, or one or more sides."""
    if mark.kind in {MarkKind.APPLICATION_START, MarkKind.APPLICATION_STOP}:
        sides = [mark.treated_side_id] if mark.treated_side_id else sides_of(mark.nail_procedure)
        return [("side", pk) for pk in sides]
    return [("toe", mark.nail_procedure_id)] if mark.nail_procedure_id else [("operation", mark.operation_id)]


def sides_of(nail: NailProcedure) -> list[int]:
    return [treated.pk for treated in nail.treated_sides.all()]


def open_at(place: tuple[str, int], kind: str, marks: Iterable[Mark]) -> Mark | None:
    """The begin that has no end yet at this place, of the pair that `kind` belongs to."""
    begin = ENDS.get(MarkKind(kind), MarkKind(kind))
    found = None
    for mark in marks:
        if place not in places(mark):
            continue
        if mark.kind == begin:
            found = mark
        elif ENDS.get(MarkKind(mark.kind)) == begin:
            found = None
    return found


def check_order(marks: list[Mark]) -> None:
    """Raises Refused unless begins and ends alternate everywhere and no end lies before its begin."""
    ordered = sorted(marks, key=lambda mark: (mark.at, mark.kind not in BEGINS, mark.pk or 0))
    for number, mark in enumerate(ordered):
        refuse_contradiction(mark, ordered[:number])


def settle(operation: Operation, *, by: Member, reason: str) -> None:
    """Write tourniquet times and applications as the standing marks have them."""
    marks = standing(operation)
    for nail in operation.nail_procedures.prefetch_related("treated_sides__applications"):
        settle_tourniquet(nail, marks, by=by, reason=reason)
        for treated in nail.treated_sides.all():
            pairs = applications_of(treated, marks)
            if pairs is not None:
                put_applications(treated, pairs, by=by, reason=reason)


def settle_tourniquet(nail: NailProcedure, marks: list[Mark], *, by: Member, reason: str) -> None:
    own = [mark for mark in marks if mark.nail_procedure_id == nail.pk and mark.kind in TOURNIQUET]
    if not own and not nail.marks.filter(kind__in=TOURNIQUET).exists():
        return  # nobody ever tapped here: what was typed stands
    begins = [mark.at for mark in own if mark.kind == MarkKind.TOURNIQUET_ON]
    # Put on again: the first and the last moment bound the time without blood flow.
    on_at = min(begins, default=None)
    off_at = own[-1].at if own and own[-1].kind == MarkKind.TOURNIQUET_OFF else None
    if (nail.tourniquet_on_at, nail.tourniquet_off_at) != (on_at, off_at):
        nail.tourniquet_on_at, nail.tourniquet_off_at = on_at, off_at
        nail.save_version(by=by, reason=reason)


def applications_of(treated: TreatedSide, marks: list[Mark]) -> tuple[int, ...] | None:
    """Seconds of each application that began and ended at this side; None where nobody tapped any."""
    seconds, begun, any_tapped = [], None, False
    for mark in marks:
        if mark.kind not in {MarkKind.APPLICATION_START, MarkKind.APPLICATION_STOP}:
            continue
        if ("side", treated.pk) not in places(mark):
            continue
        any_tapped = True
        if mark.kind == MarkKind.APPLICATION_START:
            begun = mark.at
        elif begun:
            seconds.append(seconds_between(begun, mark.at))
            begun = None
    return tuple(each for each in seconds if each <= LONGEST_APPLICATION_SECONDS) if any_tapped else None


def seconds_between(begin: datetime, end: datetime) -> int:
    """Whole seconds, at least one; instants are compared, so a clock change in between does not count."""
    return max(1, round((end - begin).total_seconds()))


def too_long(marks: list[Mark]) -> list[int]:
    """Seconds of applications that nobody can have meant: a stop that was forgotten. They count nowhere yet."""
    found = []
    for number, mark in enumerate(marks):
        if mark.kind != MarkKind.APPLICATION_STOP:
            continue
        begins = {begin for place in places(mark) if (begin := open_at(place, mark.kind, marks[:number]))}
        longest = max((seconds_between(begin.at, mark.at) for begin in begins), default=0)
        if longest > LONGEST_APPLICATION_SECONDS:
            found.append(longest)
    return found


def still_open(marks: list[Mark]) -> list[Mark]:
    """Begins without an end: a tourniquet that is on, an application under way. marks: the standing ones, in order."""
    return [
        mark
        for mark in marks
        if mark.kind in BEGINS and any(open_at(place, mark.kind, marks) == mark for place in places(mark))
    ]
