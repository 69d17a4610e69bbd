"""A stored operation as the answers of the operation page."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from clinic.access.numbers import plain
from clinic.procedures.fields import EACH, NOT_RECORDED, TOTAL
from clinic.procedures.models import NailProcedure, Operation
from clinic.procedures.visit_form import OTHER_DAY
from clinic.vocabulary import procedure as words
from clinic.vocabulary.sites import part_of


def nails_in_order(operation: Operation) -> list[NailProcedure]:
    return sorted(operation.nail_procedures.all(), key=lambda nail: nail.pk)


def answers_of(operation: Operation, today: date) -> dict[str, Any]:
    """A saved operation as the answers of the page, for correcting or undoing it."""
    day = operation.performed_on
    near = {today.isoformat(), (today - timedelta(days=1)).isoformat()}
    quick = day.isoformat() in near
    nails = nails_in_order(operation)
    answers: dict[str, Any] = {
        "toes": str(len(nails)),
        "visit-when": day.isoformat() if quick else OTHER_DAY,
        "visit-performed_on": "" if quick else day.isoformat(),
        "visit-operator": operation.operator.key,
        "visit-consent_given_by": operation.consent_given_by,
        "visit-note": operation.note,
        "template-key": operation.template.key if operation.template else "",
    }
    for number, nail in enumerate(nails, start=1):
        answers |= {f"toe{number}-{name}": value for name, value in toe_answers(nail).items() if value is not None}
    return answers


def toe_answers(nail: NailProcedure) -> dict[str, Any]:
    system = words.StageSystem(nail.stage_system)
    return {
        "toe": f"{nail.foot}-{nail.toe}",
        "side": part_of(nail.sides),
        "technique": nail.technique,
        "matrix_destroyed": "yes" if nail.matrix_destroyed else "no",
        "agent": nail.agent,
        "strength_percent": None if nail.strength_percent is None else plain(nail.strength_percent),
        "strength_basis": nail.strength_basis,
        "curettage": nail.curettage,
        "lavage": nail.lavage,
        "infection_before": nail.infection_before,
        "prior_surgery": nail.prior_surgery_same_side,
        "stage": f"{system.value}:{nail.stage}",
        **exposure_answers(nail),
    }


def exposure_answers(nail: NailProcedure) -> dict[str, Any]:
    """What is stored of either side; a side without exposure leaves its fields empty."""
    rows = {
        treated.side: ([each.seconds for each in treated.applications.all()], treated.stated_exposure_seconds)
        for treated in nail.treated_sides.all()
    }
    first, *others = [rows[side] for side in nail.sides] or [([], None)]
    known = known_of([first, *others])
    answers: dict[str, Any] = {"exposure": known, **side_answers("seconds", *first)}
    if others and known != NOT_RECORDED:
        same = others[0] == first
        answers["same"] = "on" if same else None
        answers |= {} if same else side_answers("fibular", *others[0])
        answers |= {"unknown_tibial": unknown(first), "unknown_fibular": unknown(others[0])}
    return answers


def unknown(row: tuple[list[int], int | None]) -> str | None:
    """Whether the box “not recorded at this side” is ticked."""
    return "on" if row == ([], None) else None


def known_of(rows: Sequence[tuple[list[int], int | None]]) -> str:
    if any(seconds for seconds, _ in rows):
        return EACH
    return TOTAL if any(total for _, total in rows) else NOT_RECORDED


def side_answers(row: str, seconds: Sequence[int], total: int | None) -> dict[str, Any]:
    """Single applications say more than a total, which is shown only where there are none."""
    each = {f"{row}_{number}": value for number, value in enumerate(seconds, start=1)}
    return each or {"total_seconds" if row == "seconds" else "total_fibular": total}
