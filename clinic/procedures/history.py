"""Every version of an operation, its toes, sides and applications, as a list people can read."""

from typing import Any

from clinic.access.models import Member
from clinic.patients.changes import Line, Step, newest_first, steps_of
from clinic.procedures.models import Application, NailProcedure, Operation, TreatedSide
from clinic.procedures.site_decision import SiteDecision
from clinic.vocabulary.sites import capital, part_name, toe_name

OPERATION_LABELS = {
    "performed_on": "date of the operation",
    "operator_name": "operator",
    "age_years": "age in years",
    "consent_given_by": "consent given by",
    "note": "note",
    "struck_reason": "struck out",
}
NAIL_LABELS = {
    "site": "toe",
    "technique": "technique",
    "matrix_destroyed": "matrix destroyed",
    "agent": "agent",
    "strength_percent": "strength in %",
    "strength_basis": "strength given as",
    "curettage": "curettage",
    "lavage": "lavage",
    "infection_before": "infection before the operation",
    "prior_surgery_same_side": "earlier surgery on the same side",
    "stage_system": "stage system",
    "stage": "stage",
    "amputated_on": "toe amputated",
}
SIDE_LABELS = {"side": "treated side", "stated_exposure_seconds": "total seconds, as stated"}
APPLICATION_LABELS = {"seconds": "seconds"}


def history_of(operation: Operation) -> list[Step]:
    """Newest first. Six queries, however many versions there are."""
    operations = versions(Operation, id=operation.pk)
    nails = versions(NailProcedure, operation_id=operation.pk)
    sides = versions(TreatedSide, nail_procedure_id__in={nail.id for nail in nails})
    applications = versions(Application, treated_side_id__in={side.id for side in sides})
    name_operators(operations)
    for nail in nails:
        nail.site = capital(toe_name(nail.foot, nail.toe))
    toe_of = {nail.id: nail.site for nail in nails}
    side_of = {side.id: f"{toe_of[side.nail_procedure_id]}, {part_name(side.side)}" for side in sides}
    return newest_first(
        [
            *(_decided(row) for row in operation.site_decisions.select_related("decided_by")),
            *steps_of(operations, OPERATION_LABELS),
            *steps_of(nails, NAIL_LABELS, subject=lambda nail: toe_of[nail.id]),
            *steps_of(sides, SIDE_LABELS, subject=lambda side: toe_of[side.nail_procedure_id]),
            *steps_of(
                applications,
                APPLICATION_LABELS,
                subject=lambda row: f"{side_of[row.treated_side_id]}, application {row.number}",
            ),
        ]
    )


def _decided(row: SiteDecision) -> Step:
    line = Line("Consent and operation differ", row.fact, row.get_outcome_display())
    return Step(row.decided_at, str(row.decided_by), row.text, (line,))


def versions(model: Any, **of: Any) -> list[Any]:
    return list(model.history.filter(**of).select_related("history_user").order_by("history_id"))


def name_operators(operations: list[Any]) -> None:
    people = Member.objects.in_bulk({version.operator_id for version in operations})
    for version in operations:
        version.operator_name = str(people[version.operator_id])
