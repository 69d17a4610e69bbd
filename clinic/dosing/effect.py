"""What a limit would say about the operations on record, before it is approved."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from typing import Any

from django.db.models import F, Value

from clinic.access.models import Practice
from clinic.dosing.amounts import Dose, Limit, Toe
from clinic.dosing.arithmetic import is_above
from clinic.vocabulary.procedure import Anaesthetic, Foot, Vasoconstrictor


@dataclass(frozen=True)
class Attendance:
    """The anaesthetic of one recorded operation whose patient was weighed."""

    weight_kg: Decimal
    doses: tuple[Dose, ...]


@dataclass(frozen=True)
class Effect:
    """counted: operations with a weight and this drug, completely recorded or above in any case; above: of these.

    unclear: more with this agent, where the vasoconstrictor or a volume is not recorded; unclear_above: of these, above
    the limit if the vasoconstrictor was the one the limit is for.
    """

    counted: int
    above: int
    unclear: int
    unclear_above: int


def effect_of(limit: Limit, recorded: Iterable[Attendance]) -> Effect:
    counted = above = unclear = unclear_above = 0
    for attendance in recorded:
        given = [dose for dose in attendance.doses if dose.agent == limit.agent]
        if not given:
            continue
        same = [dose for dose in given if dose.drug == limit.drug]
        perhaps = [dose for dose in given if dose.vasoconstrictor.kind is None]
        if is_above(same, limit, attendance.weight_kg):
            counted, above = counted + 1, above + 1
        elif perhaps or any(dose.volume_ml is None for dose in same):
            unclear += 1
            unclear_above += is_above([*same, *perhaps], limit, attendance.weight_kg)
        elif same:
            counted += 1
    return Effect(counted, above, unclear, unclear_above)


def recorded_attendances(practice: Practice) -> list[Attendance]:
    """Standing operations with a weight and a dose. One query.

    Operations belong to a slice above; they are reached through the practice, whose rows they are.
    """
    operations: Any = practice.operations.standing().filter(weight_kg__isnull=False)
    rows = operations.order_by("pk").values_list(
        "pk",
        "weight_kg",
        "doses__agent",
        "doses__strength_percent",
        _vasoconstrictor(operations),
        "doses__volume_ml",
        "doses__nail_procedure__foot",
        "doses__nail_procedure__toe",
    )
    by_operation = groupby((row for row in rows.iterator() if row[2]), key=lambda row: row[:2])
    return [Attendance(weight, tuple(dose_of_row(row[2:]) for row in given)) for (_, weight), given in by_operation]


def _vasoconstrictor(operations: Any) -> F | Value:
    """Records that do not ask for it have none recorded, which is not the same as plain."""
    of_dose = operations.model._meta.get_field("doses").related_model._meta
    is_asked = any(field.name == "vasoconstrictor" for field in of_dose.fields)
    return F("doses__vasoconstrictor") if is_asked else Value(Vasoconstrictor.NOT_RECORDED.value)


def dose_of_row(row: Sequence[Any]) -> Dose:
    """agent, strength, vasoconstrictor, volume, foot and toe as they are stored."""
    agent, strength, vasoconstrictor, volume, foot, number = row
    toe: Toe | None = (Foot(foot), number) if foot else None
    return Dose(Anaesthetic(agent), strength, Vasoconstrictor(vasoconstrictor), volume, toe)
