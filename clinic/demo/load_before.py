"""Rows of what was recorded before and around the operations of one practice."""

import random
from collections.abc import Iterator
from datetime import datetime, time, timedelta
from typing import Any

from clinic.demo.before import ASKED_TOPICS, REASONS, AssessmentPlan, ConsentPlan, PhasePlan, Record, prepared_of
from clinic.demo.rows import Rows
from clinic.demo.shapes import OperationPlan, mint
from clinic.demo.surgery import ZONE
from clinic.dosing.acts import taken_over
from clinic.dosing.candidates import CANDIDATES
from clinic.preparation.models import (
    AssessedToe,
    Assessment,
    AssessmentItem,
    Consent,
    ConsentElement,
    FlagDecision,
    FootFinding,
)
from clinic.procedures.clearance import WHO
from clinic.procedures.site_decision import SiteDecision
from clinic.theatre.models import CheckedItem, ChecklistPhase
from clinic.vocabulary.preparation import DecisionOutcome, FlagLevel
from clinic.vocabulary.procedure import Answer, SiteOutcome
from clinic.vocabulary.sites import part_of, site_name
from clinic.vocabulary.theatre import CHECK_ITEMS

TALKED_AT = time(15, 30)
APPROVED = {"lidocaine-uk", "mepivacaine-uk"}
WORDING = {item.code: item.wording for item in CHECK_ITEMS}
LESS_THAN_CONSENTED = "The other side was calm on the day; the patient agreed to leave it."


def write_before(writer: Rows, records: dict[int, Record]) -> None:
    """Assessments, consents and checklists; before the signatures, because a signed record takes nothing more."""
    pairs = [(operation, records[id(operation)]) for operation in writer.plan.operations]
    for operation, record in prepared_of(writer.plan):
        # Not operated on yet: the rows hang on the patient, by way of an operation of theirs that is on record.
        writer.rows[id(operation)] = writer.rows[id(operation.patient.operations[0])]
        pairs.append((operation, record))
    assessed = [(operation, record.assessment) for operation, record in pairs if record.assessment]
    consented = [(operation, consent) for operation, record in pairs for consent in record.consents]
    phases = [(operation, phase) for operation, record in pairs for phase in record.phases]
    writer.save(_assessment(writer, operation, plan) for operation, plan in assessed)
    for parts in (_feet, _toes):
        writer.save(row for operation, plan in assessed for row in parts(writer, operation, plan))
    items = (row for _, plan in assessed for row in _items(writer, plan))
    writer.save_parts(AssessmentItem, items, of="assessment", by="recorded_by_id", at="recorded_at")
    FlagDecision.objects.bulk_create(row for operation, plan in assessed for row in _decisions(writer, operation, plan))
    writer.save(_consent(writer, operation, plan) for operation, plan in consented)
    points = (row for _, plan in consented for row in _points(writer, plan))
    writer.save_parts(ConsentElement, points, of="consent", by="recorded_by_id", at="recorded_at")
    SiteDecision.objects.bulk_create(
        _site_decision(writer, operation, plan) for operation, plan in consented if plan.decided
    )
    writer.save(_phase(writer, operation, plan) for operation, plan in phases)
    lines = (row for _, plan in phases for row in _checked(writer, plan))
    writer.save_parts(CheckedItem, lines, of="phase", by="by_id", at="completed_at")


def _by(writer: Rows, operation: OperationPlan, at: datetime) -> dict[str, Any]:
    return {"by": writer.rows[id(operation)].operator, "at": at}


def _talked(plan_day: Any) -> datetime:
    return datetime.combine(plan_day, TALKED_AT, ZONE)


def _assessment(writer: Rows, operation: OperationPlan, plan: AssessmentPlan) -> Assessment:
    stored, at = writer.rows[id(operation)], _talked(plan.on)
    return writer.make(
        Assessment, plan, **_by(writer, operation, at), key=mint(random.Random(f"{operation.key} assessment")),
        patient=stored.patient, assessed_on=plan.on, assessed_by=stored.operator, recorded_by=stored.operator,
        recorded_at=at, **plan.columns,
    )  # fmt: skip


def _of(writer: Rows, operation: OperationPlan, plan: AssessmentPlan) -> dict[str, Any]:
    return {**_by(writer, operation, _talked(plan.on)), "assessment": writer.rows[id(plan)]}


def _feet(writer: Rows, operation: OperationPlan, plan: AssessmentPlan) -> Iterator[FootFinding]:
    for foot, found in plan.feet.items():
        measured = {"measured_on": plan.on} if "abpi" in found else {}
        yield writer.make(FootFinding, None, **_of(writer, operation, plan), foot=foot, **found, **measured)


def _toes(writer: Rows, operation: OperationPlan, plan: AssessmentPlan) -> Iterator[AssessedToe]:
    for (foot, toe), found in plan.toes.items():
        yield writer.make(AssessedToe, None, **_of(writer, operation, plan), foot=foot, toe=toe, **found)


def _items(writer: Rows, plan: AssessmentPlan) -> Iterator[dict[str, Any]]:
    """What was asked: medicines, conditions, allergies. The rest was not recorded and has no row."""
    assessment = writer.rows[id(plan)].pk
    for topic in ASKED_TOPICS:
        for code in topic.terms.codes():
            line = (topic.value, code)
            answer = Answer.YES if line in plan.present else Answer.NO
            reaction = plan.present.get(line, "")
            yield {"assessment_id": assessment, "topic": topic.value, "code": code, "answer": answer.value,
                   "reaction": reaction}  # fmt: skip


def _decisions(writer: Rows, operation: OperationPlan, plan: AssessmentPlan) -> Iterator[FlagDecision]:
    for flag in plan.decided:
        outcome = DecisionOutcome.PROCEED if flag.level == FlagLevel.STOP else DecisionOutcome.ACKNOWLEDGED
        yield FlagDecision(
            assessment=writer.rows[id(plan)], code=flag.code, level=flag.level.value, fact=flag.fact,
            outcome=outcome.value, text=REASONS[flag.level], decided_by=writer.rows[id(operation)].operator,
            decided_at=_talked(plan.on),
        )  # fmt: skip


def _consent(writer: Rows, operation: OperationPlan, plan: ConsentPlan) -> Consent:
    stored, day = writer.rows[id(operation)], plan.columns["discussed_on"]
    on = {"reconfirmed_on": operation.performed_on, "reconfirmed_by": stored.operator}
    confirmed = on if plan.confirmed else {}
    return writer.make(
        Consent, plan, **_by(writer, operation, _talked(day)), key=mint(random.Random(f"{plan.toe.key} consent")),
        patient=stored.patient, discussed_by=stored.operator, recorded_by=stored.operator, recorded_at=_talked(day),
        **plan.columns, **confirmed,
    )  # fmt: skip


def _points(writer: Rows, plan: ConsentPlan) -> Iterator[dict[str, Any]]:
    return ({"consent_id": writer.rows[id(plan)].pk, "code": code} for code in plan.points)


def _site_decision(writer: Rows, operation: OperationPlan, plan: ConsentPlan) -> SiteDecision:
    stored, toe = writer.rows[id(operation)], plan.toe
    stated = site_name(toe.foot, toe.toe, plan.columns["part"])
    done = site_name(toe.foot, toe.toe, part_of([side.name for side in toe.sides]))
    return SiteDecision(
        operation=stored, nail_procedure=writer.rows[id(toe)],
        fact=f"Consent says the {stated}. {WHO} the {done}.", outcome=SiteOutcome.AGREED.value,
        text=LESS_THAN_CONSENTED, decided_by=stored.operator, decided_at=stored.recorded_at,
    )  # fmt: skip


def _phase(writer: Rows, operation: OperationPlan, plan: PhasePlan) -> ChecklistPhase:
    stored = writer.rows[id(operation)]
    row = writer.make(
        ChecklistPhase, plan, **_by(writer, operation, plan.at), operation=stored,
        key=mint(random.Random(f"{operation.key} {plan.phase}")), phase=plan.phase, timing=plan.timing,
        completed_at=plan.at, second_initials=plan.initials, note=plan.note,
    )  # fmt: skip
    row.by = stored.operator  # of the phase itself; the argument of that name is the author of its history
    return row


def _checked(writer: Rows, plan: PhasePlan) -> Iterator[dict[str, Any]]:
    phase = writer.rows[id(plan)].pk
    for code, answer in plan.answers.items():
        yield {"phase_id": phase, "code": code, "wording": WORDING[code], "answer": answer}


def approve_limits(writer: Rows) -> None:
    """The lead approved the limits of plain lidocaine and mepivacaine; the other agents have none in force."""
    first = min(operation.performed_on for operation in writer.plan.operations)
    for candidate in CANDIDATES:
        if candidate.code in APPROVED:
            row = taken_over(candidate, by=writer.lead)
            row.key = mint(random.Random(f"{writer.house.code} {candidate.code}"))
            row.approved_by, row.approved_on = writer.lead, first - timedelta(days=30)
            row.checked_against = "Current label, read on that day (invented)"
            row._history_user, row._history_date = writer.lead, _talked(row.approved_on)
            row.save()
