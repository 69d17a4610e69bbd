"""Contacts and events at operations, for who came unasked, what went wrong and who is not tried. No name or note
passes."""

from collections import defaultdict
from datetime import date
from typing import TYPE_CHECKING, Any

from audit.cohort import Scope
from clinic.access.models import Practice
from clinic.procedures.models import NailProcedure, Operation, OperationEvent
from clinic.recall.models import Closure
from clinic.reviews.models import Contact
from clinic.reviews.stops import stop_of, with_returns
from clinic.vocabulary.recall import Stop

if TYPE_CHECKING:
    import pandas as pd


def _scope(practice: Practice, performed_from: date, performed_to: date, as_of: date) -> Scope:
    last = min(performed_to, as_of)
    return Scope(as_of, practice=practice, performed_on__gte=performed_from, performed_on__lte=last)


def contacts(practice: Practice, *, performed_from: date, performed_to: date, as_of: date) -> "pd.DataFrame":
    """One row per entry of the contact log that stands, by the cut-off; one statement."""
    import pandas as pd

    from audit.measures.visits import CONTACTS

    scope = _scope(practice, performed_from, performed_to, as_of)
    asked = scope.along("operation__")
    found = Contact.objects.filter(asked, made_on__lte=as_of, struck_at__isnull=True).order_by("pk")
    fields = ("key", "operation__key", "made_on", "operation__performed_on", "channel", "result")
    rows = [
        (key, operation, (made_on - performed_on).days, channel, result)
        for key, operation, made_on, performed_on, channel, result in found.values_list(*fields)
    ]
    return pd.DataFrame(rows, columns=list(CONTACTS)).astype({"day": "int64"})


def incidents(practice: Practice, *, performed_from: date, performed_to: date, as_of: date) -> "pd.DataFrame":
    """One row per event at or after an operation by the cut-off; one statement.

    An event that names no toe is put to the first of its operation, so that it leads somewhere.
    """
    import pandas as pd
    from django.db.models import OuterRef, Subquery
    from django.db.models.functions import Coalesce

    from audit.measures.afterwards import INCIDENTS

    scope = _scope(practice, performed_from, performed_to, as_of)
    first_toe = NailProcedure.objects.filter(operation=OuterRef("operation")).order_by("pk").values("key")[:1]
    found = OperationEvent.objects.filter(scope.along("operation__"), happened_on__lte=as_of).order_by("pk")
    fields = ("operation__key", "toe", "happened_on", "operation__performed_on", "kind", "harm", "candour_completed_on")
    stored = found.annotate(toe=Coalesce("nail_procedure__key", Subquery(first_toe))).values_list(*fields)
    number: dict[str, int] = {}
    rows: list[tuple[Any, ...]] = []
    for operation, toe, happened_on, performed_on, kind, harm, told_on in stored:
        number[operation] = number.get(operation, 0) + 1
        reviewed = told_on is not None and told_on <= as_of
        day = (happened_on - performed_on).days
        rows.append((f"{operation}-{number[operation]}", operation, toe, day, kind, harm, reviewed))
    return pd.DataFrame(rows, columns=list(INCIDENTS)).astype({"day": "int64", "reviewed": bool})


def stops(practice: Practice, *, performed_from: date, performed_to: date) -> dict[str, Stop]:
    """Why nobody is tried now, by the toes of those operations; who may be tried is not in it. Three statements."""
    own = Operation.objects.filter(practice=practice, performed_on__gte=performed_from, performed_on__lte=performed_to)
    told = Contact.objects.filter(
        operation__patient__in=own.values("patient"), operation__struck_at__isnull=True, struck_at__isnull=True
    ).select_related("operation")
    contacts: dict[int, list[Contact]] = defaultdict(list)
    for contact in with_returns(told).order_by("made_on", "pk"):
        contacts[contact.operation.patient_id].append(contact)
    closed = set(Closure.objects.standing().filter(operation__in=own).values_list("operation", flat=True))
    found = {
        toe.key: stop_of(
            toe.operation.patient, contacts[toe.operation.patient_id], performed_on=toe.operation.performed_on,
            is_closed=toe.operation_id in closed,
        )
        for toe in NailProcedure.objects.filter(operation__in=own).select_related("operation__patient")
    }  # fmt: skip
    return {key: stop for key, stop in found.items() if stop}
