"""The safer-surgery checklist: one act per phase, and whether it came when it could still stop something."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from clinic.access.models import Conflict, Member, Practice
from clinic.procedures.models import Operation
from clinic.procedures.signing import amending
from clinic.redflags.watching import watch_operation
from clinic.theatre.marks import standing
from clinic.theatre.models import CheckedItem, ChecklistPhase, Mark
from clinic.vocabulary.procedure import AmendmentKind
from clinic.vocabulary.theatre import CHECK_ITEMS, CheckItem, MarkKind, Phase, PhaseTiming

# What must not have happened yet if the phase was gone through in time.
ENDS_WITH = {
    Phase.BEFORE_ANAESTHESIA: {MarkKind.INJECTED},
    Phase.BEFORE_INCISION: {MarkKind.APPLICATION_START, MarkKind.TOURNIQUET_OFF},
    Phase.BEFORE_LEAVING: set(),
}


def items_of(phase: Phase, wording: Mapping[str, str]) -> list[CheckItem]:
    """The lines of a phase; wording: by code, what the practice says instead."""
    lines = [item for item in CHECK_ITEMS if item.phase == phase]
    return [CheckItem(item.code, item.phase, wording.get(item.code) or item.wording) for item in lines]


def wording_of(practice: Practice, stored: ChecklistPhase | None) -> dict[str, str]:
    """By code: the practice's words of today, but what was answered once keeps the words that were read then."""
    then = {item.code: item.wording for item in stored.items.all()} if stored else {}
    return practice.checklist_wording | then


def timing_of(phase: Phase, operation: Operation, marks: list[Mark], now: datetime) -> PhaseTiming:
    """At the time only on the day of the operation, before what the phase is meant to precede, and before signing."""
    over = operation.signed_at or timezone.localtime(now).date() != operation.performed_on
    happened = {MarkKind(mark.kind) for mark in marks} & ENDS_WITH[phase]
    return PhaseTiming.AFTERWARDS if over or happened else PhaseTiming.LIVE


@transaction.atomic
def complete(
    *, by: Member, operation: Operation, phase: Phase, version: int, answers: Mapping[str, str],
    second_initials: str, note: str, wording: Mapping[str, str], now: datetime,
) -> ChecklistPhase:  # fmt: skip
    """Keep the answers of one phase; a phase completed once keeps its first time and says so in its history.

    version: of the phase as shown, 0 for none. Raises Conflict if somebody completed it meanwhile. Of a signed
    operation it is a late entry.
    """
    Operation.objects.select_for_update().get(pk=operation.pk)
    stored = ChecklistPhase.objects.filter(operation=operation, phase=phase).first()
    if (stored.version if stored else 0) != version:
        raise Conflict(f"{phase.label} of {operation.key}")
    reason = "Completed afterwards" if stored else ""
    late = {"by": by, "now": now, "reason": f"Checklist, {phase.label.lower()}", "kind": AmendmentKind.LATE_ENTRY}
    with amending(operation, **late):
        if stored is None:
            timing = timing_of(phase, operation, standing(operation), now)
            stored = ChecklistPhase(operation=operation, phase=phase, timing=timing, completed_at=now, by=by)
            stored.second_initials, stored.note = second_initials, note
            stored.keep(by=by)
        else:
            stored.second_initials, stored.note = second_initials, note
            stored.save_version(by=by, reason=reason)
        put_items(stored, items_of(phase, wording), answers, by=by)
    watch_operation(operation, by=by, now=now)
    return stored


def put_items(phase: ChecklistPhase, lines: list[CheckItem], answers: Mapping[str, str], *, by: Member) -> None:
    stored = {item.code: item for item in phase.items.all()}
    for line in lines:
        row = stored.get(line.code) or CheckedItem(phase=phase, code=line.code, wording=line.wording)
        if row.answer != answers[line.code]:
            row.answer = answers[line.code]
            row._history_user = by
            row.save()
