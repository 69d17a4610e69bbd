"""Signing an operation, and opening the signed record again for an amendment."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime

from django.db import transaction

from clinic.access.models import Conflict, Member
from clinic.procedures.clearance import clearance_of
from clinic.procedures.models import Amendment, Operation, TreatedSide
from clinic.redflags.reading import unanswered
from clinic.vocabulary.procedure import AmendmentKind, Answer, Tourniquet
from clinic.vocabulary.sites import capital, toe_name
from clinic.vocabulary.theatre import ToeColour

NOT_USED = {Tourniquet.NONE, Tourniquet.NOT_RECORDED}


class NotReady(Exception):
    """The operation cannot be signed; `obstacles` says why, one sentence each."""

    def __init__(self, obstacles: list[str]) -> None:
        super().__init__("; ".join(obstacles))
        self.obstacles = obstacles


class NotTheirs(Exception):
    """Somebody else operated, or supervised."""


@transaction.atomic
def sign(
    *, by: Member, operation: Operation, version: int, now: datetime, obstacles: list[str],
    still_as_read: Callable[[], bool] = lambda: True,
) -> None:  # fmt: skip
    """The operator signs; from now on the record changes only by amendments.

    obstacles: what still stands in the way, as the caller found it; tourniquet, consent and flags are looked at here
    once more. still_as_read: asked with the operation locked, whether the rest of the record is what was shown.
    Raises NotTheirs, NotReady, and Conflict if the record changed since `version` was shown.
    """
    stored = Operation.objects.select_for_update().get(pk=operation.pk)
    if stored.signed_at:
        return
    if stored.operator_id != by.pk:
        raise NotTheirs
    seen_here = [*tourniquet_left(stored), *unanswered(stored), *clearance_of(stored).obstacles()]
    found = list(dict.fromkeys([*obstacles, *seen_here]))
    if found:
        raise NotReady(found)
    if not still_as_read():
        raise Conflict(f"Operation {stored.key}")
    stored.version = version
    stored.signed_by, stored.signed_at = by, now
    stored.save_version(by=by, reason="Signed")


@transaction.atomic
def cosign(*, by: Member, operation: Operation, now: datetime) -> None:
    """The supervisor signs after the trainee. Raises NotTheirs for anybody else, NotReady before the trainee."""
    stored = Operation.objects.select_for_update().get(pk=operation.pk)
    if stored.cosigned_at:
        return
    if stored.supervisor_id != by.pk:
        raise NotTheirs
    if not stored.signed_at:
        raise NotReady(["The operator has not signed yet"])
    with amending(stored, by=by, now=now, reason="Co-signature", kind=AmendmentKind.LATE_ENTRY):
        stored.cosigned_by, stored.cosigned_at = by, now
        stored.save_version(by=by, reason="Co-signed")


@contextmanager
def amending(
    operation: Operation, *, by: Member, now: datetime, reason: str, kind: str = AmendmentKind.AMENDMENT,
    happened_at: datetime | None = None,
) -> Iterator[Amendment | None]:  # fmt: skip
    """Inside, a signed record may change; afterwards it is sealed again. Before signing it does nothing.

    Call it inside a transaction, so that nothing is changed without its amendment, with the operation's row locked.
    """
    if not Operation.objects.filter(pk=operation.pk, signed_at__isnull=False).exists():
        yield None
        return
    site_before = sites(operation)
    number = operation.amendments.count() + 1
    row = Amendment.objects.create(
        operation=operation, number=number, kind=kind, by=by, opened_at=now, happened_at=happened_at, reason=reason
    )
    yield row
    row.site_changed = sites(operation) != site_before
    row.closed_at = now
    row.save()


def sites(operation: Operation) -> set[tuple[str, int, str]]:
    """Foot, toe and side of everything treated."""
    treated = TreatedSide.objects.filter(nail_procedure__operation=operation)
    return set(treated.values_list("nail_procedure__foot", "nail_procedure__toe", "side"))


def tourniquet_left(operation: Operation) -> list[str]:
    """What is not recorded about taking the tourniquet off; nothing where none was used."""
    found = []
    for nail in operation.nail_procedures.all():
        # A time on record is a tourniquet, whether or not anybody chose its kind.
        if nail.tourniquet in NOT_USED and nail.tourniquet_on_at is None:
            continue
        place = capital(toe_name(nail.foot, nail.toe))
        if nail.tourniquet_off_at is None:
            found.append(f"{place}: the tourniquet has no time off")
        elif nail.tourniquet_removal_witnessed != Answer.YES:
            found.append(f"{place}: nobody is recorded as having seen the tourniquet off")
        elif nail.toe_colour == ToeColour.NOT_RECORDED:
            found.append(f"{place}: blood flow after the tourniquet is not recorded")
    return found


@transaction.atomic
def seen_by_lead(*, by: Member, amendment: Amendment, now: datetime) -> None:
    """The practice lead has read that foot, toe or side was changed after signing."""
    row = Amendment.objects.select_for_update().get(pk=amendment.pk)
    if row.seen_by_lead_at is None:
        row.seen_by_lead, row.seen_by_lead_at = by, now
        row.save()
