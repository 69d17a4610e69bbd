"""Operations somebody still has to deal with: a tourniquet that is on, a missing signature, a site changed later."""

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.access.models import Member
from clinic.access.rules import Action, may
from clinic.patients.identity import Identity
from clinic.procedures.models import Amendment, NailProcedure, Operation


@dataclass
class Unfinished:
    """One operation. goes_to: name of the page where it is dealt with."""

    operation: Operation
    kind: str  # late, care, new
    words: str
    goes_to: str
    identity: Identity | None = None

    @property
    def nails(self) -> list[NailProcedure]:
        return list(self.operation.nail_procedures.all())


def marked(operations: QuerySet[Operation]) -> QuerySet[Operation]:
    """The operations with what `concerns` asks for: tourniquet_is_on, site_was_changed."""
    own = NailProcedure.objects.filter(operation=OuterRef("pk"))
    moved = Amendment.objects.filter(operation=OuterRef("pk"), site_changed=True, seen_by_lead_at__isnull=True)
    return operations.annotate(
        tourniquet_is_on=Exists(own.filter(tourniquet_on_at__isnull=False, tourniquet_off_at__isnull=True)),
        site_was_changed=Exists(moved),
    )


def concerns(member: Member) -> Q:
    """Which marked operations `member` should deal with."""
    if not may(member.role, Action.ASSIST_OPERATION):
        return Q(pk__in=[])
    found = Q(signed_at__isnull=True) | Q(supervisor=member, cosigned_at__isnull=True)
    return found | Q(site_was_changed=True) if may(member.role, Action.SET_AUDIT) else found


def unfinished(operation: Operation, member: Member) -> Unfinished | None:
    """The line of a marked operation; None where nothing is left for `member`."""
    if not may(member.role, Action.ASSIST_OPERATION):
        return None
    if operation.signed_at is None and operation.tourniquet_is_on:
        return Unfinished(operation, "late", "Tourniquet: removal not on record", "room")
    if operation.signed_at is None:
        signs = operation.operator_id == member.pk
        words = "Not signed" if signs else f"Not signed by {operation.operator}"
        return Unfinished(operation, "care", words, "sign" if signs else "room")
    if operation.supervisor_id == member.pk and operation.cosigned_at is None:
        return Unfinished(operation, "care", "Waits for your signature as supervisor", "operation-note")
    if operation.site_was_changed and may(member.role, Action.SET_AUDIT):
        return Unfinished(operation, "new", "Foot, toe or side changed after signing", "operation")
    return None
