"""Doses, events and the end of an operation: each one transaction; of a signed operation a late entry or amendment."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Count, Max, Sum, Value

from clinic.access.models import Member, put, written_by
from clinic.procedures.clearance import Clearance
from clinic.procedures.models import AnaestheticDose, NailProcedure, Operation, OperationEvent, TreatedSide
from clinic.procedures.signing import amending
from clinic.redflags.reading import unanswered
from clinic.redflags.watching import watch_operation
from clinic.theatre.marks import standing, still_open, too_long
from clinic.vocabulary.procedure import AmendmentKind, EventKind, Harm, Technique
from clinic.vocabulary.theatre import MarkKind, Phase


@transaction.atomic
def add_dose(
    *, by: Member, operation: Operation, now: datetime, expired_reason: str = "", **values: Any
) -> AnaestheticDose:
    """One row of anaesthetic. expired_reason: why an expired batch was used; kept as an event of the operation."""
    Operation.objects.select_for_update().get(pk=operation.pk)
    with amending(operation, by=by, now=now, reason="Anaesthetic added", kind=AmendmentKind.LATE_ENTRY,
                  happened_at=values.get("given_at")):  # fmt: skip
        dose = AnaestheticDose(operation=operation, **values)
        written_by(dose, by).save()
        if expired_reason:
            event = OperationEvent(
                operation=operation, kind=EventKind.EXPIRED_BATCH, harm=Harm.NONE,
                happened_on=operation.performed_on, note=f"Batch {dose.batch}: {expired_reason}",
            )  # fmt: skip
            written_by(event, by).save()
    watch_operation(operation, by=by, now=now)
    return dose


@transaction.atomic
def add_event(*, by: Member, operation: Operation, now: datetime, happened_on: date, **values: Any) -> OperationEvent:
    Operation.objects.select_for_update().get(pk=operation.pk)
    with amending(operation, by=by, now=now, reason="Event added", kind=AmendmentKind.LATE_ENTRY):
        event = OperationEvent(operation=operation, happened_on=happened_on, **values)
        written_by(event, by).save()
    watch_operation(operation, by=by, now=now)
    return event


@transaction.atomic
def close(
    *, by: Member, operation: Operation, version: int, fields: Mapping[str, Any],
    toes: Mapping[NailProcedure, Mapping[str, Any]], now: datetime, reason: str,
) -> None:  # fmt: skip
    """Write the end of the operation. Raises Conflict if somebody changed the record since `version` was shown."""
    stored = Operation.objects.select_for_update().get(pk=operation.pk)
    with amending(stored, by=by, now=now, reason=reason or "End of the operation"):
        for name, value in fields.items():
            setattr(stored, name, value)
        stored.version = version
        stored.save_version(by=by, reason=reason)
        for nail, values in toes.items():
            if put(nail, values):
                nail.save_version(by=by, reason=reason)
    watch_operation(stored, by=by, now=now)


def stamp_of(operation: Operation) -> str:
    """Changes whenever a row of the record does: how many there are of each table, the newest, and their versions."""
    parts = [
        operation.nail_procedures.all(),
        TreatedSide.objects.filter(nail_procedure__operation=operation),
        operation.marks.all(),
        operation.doses.all(),
        operation.events.all(),
        operation.checklist.all(),
        operation.site_decisions.all(),
    ]
    first, *others = (
        rows.order_by()
        .values(table=Value(number))
        .annotate(
            rows=Count("pk"), newest=Max("pk"), versions=Sum("version") if hasattr(rows.model, "version") else Value(0)
        )
        .values_list("table", "rows", "newest", "versions")
        for number, rows in enumerate(parts)
    )
    counted = sorted(first.union(*others, all=True))
    return "-".join([str(operation.version), *(".".join(map(str, row)) for row in counted)])


def obstacles(operation: Operation, clearance: Clearance) -> list[str]:
    """What must be settled before signing, besides the tourniquet's removal."""
    found, marks = [*unanswered(operation), *clearance.obstacles()], standing(operation)
    for mark in still_open(marks):
        if mark.kind == MarkKind.APPLICATION_START:
            found.append("An application is still running; tap its end or correct it")
    found += [
        f"An application ran {seconds // 60} minutes by the taps, longer than anybody means; correct its end"
        for seconds in too_long(marks)
    ]
    return found


def gaps(operation: Operation, clearance: Clearance) -> list[str]:
    """What is not recorded; signing with it is possible, but said."""
    nails = list(operation.nail_procedures.all())
    done = set(operation.checklist.values_list("phase", flat=True))
    found = clearance.gaps()
    found += [f"Checklist “{phase.label.lower()}”" for phase in Phase if phase not in done]
    doses = list(operation.doses.all())
    found += [] if doses else ["Anaesthetic"]
    found += ["Batch or expiry of an anaesthetic"] if any(not (d.batch and d.expires_on) for d in doses) else []
    found += [] if operation.weight_kg or not doses else ["Weight, so no limit can be assessed"]
    for nail in nails:
        if Technique(nail.technique).takes_agent:
            found += exposure_gaps(nail)
    found += [] if operation.aftercare != "not_recorded" else ["Aftercare"]
    found += [] if operation.dressing != "not_recorded" else ["Dressing"]
    return found


def exposure_gaps(nail: NailProcedure) -> list[str]:
    missing = [treated for treated in nail.treated_sides.all() if treated.exposure_seconds is None]
    found = [f"Exposure of the {treated.get_side_display().lower()}" for treated in missing]
    return found + ([] if nail.agent_batch and nail.agent_expires_on else ["Batch or expiry of the agent"])
