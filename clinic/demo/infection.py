"""The infections of the scenario, among 232 toes seen within 30 days, by what was found.

Nine were diagnosed: seven mild, each with two local signs and redness above 5 mm, hence rule B; two moderate with a
single sign, hence not rule B: one by redness of 26 mm, one deeper than the skin in a toe without feeling. Rule A
without the diagnosis counts six: the seven mild ones without the one first seen 30 days after the operation. With the
diagnosis it counts seven: the spreading redness was called superficial. Four grew an organism. Fifteen had an
antibiotic: the nine, and six from their GP for thin straw-coloured fluid.
"""

import random

from clinic.demo import surgery
from clinic.demo.shapes import EventPlan, OperationPlan, Plan, is_weekday
from clinic.vocabulary.procedure import Answer, EventKind, Harm
from clinic.vocabulary.review import (
    Antibiotic,
    Diagnosis,
    FluidAmount,
    FluidColour,
    FluidConsistency,
    Healing,
    Signs,
    Swab,
)

EARLIEST_HEALING = 38
YES, NO = Answer.YES, Answer.NO
THICK_YELLOW = {
    "fluid_colour": FluidColour.YELLOW,
    "fluid_consistency": FluidConsistency.THICK,
    "fluid_amount": FluidAmount.MODERATE,
}
CREAMY_GREEN = {
    "fluid_colour": FluidColour.GREEN,
    "fluid_consistency": FluidConsistency.CREAMY,
    "fluid_amount": FluidAmount.SOAKED,
}
SEROUS = {
    "fluid_colour": FluidColour.STRAW,
    "fluid_consistency": FluidConsistency.THIN,
    "fluid_amount": FluidAmount.SPOTTING,
}
ABSENT = dict.fromkeys(("spreading", "swelling", "warmth", "tenderness", "odour", "lymphangitis", "wound_opened"), NO)
SWOLLEN = {**ABSENT, "tenderness": YES, "swelling": YES}


def _case(erythema_mm: int, diagnosis: str = Diagnosis.SUPERFICIAL, swab: str = Swab.NOT_TAKEN, **found) -> dict:
    return {
        "healing": Healing.MOIST, "signs": Signs.SOME, **SEROUS, **ABSENT, "erythema_mm": erythema_mm, "swab": swab,
        "diagnosis": diagnosis, "antibiotic": Antibiotic.OURS, "pain": 4, **found,
    }  # fmt: skip


# Day of the review that finds it, and what it finds.
MILD = (
    (29, _case(8, **THICK_YELLOW, tenderness=YES)),
    (30, _case(7, **THICK_YELLOW, tenderness=YES)),
    (11, _case(12, swab=Swab.ORGANISM_PUS, **CREAMY_GREEN, tenderness=YES, warmth=YES)),
    (8, _case(10, swab=Swab.ORGANISM, **CREAMY_GREEN, tenderness=YES, odour=YES)),
    (14, _case(9, swab=Swab.NO_GROWTH, **THICK_YELLOW, swelling=YES)),
    (12, _case(9, swab=Swab.ORGANISM, tenderness=YES)),
    (15, _case(14, wound_opened=YES, tenderness=YES, swelling=YES)),
)
REDNESS = (7, _case(26, swab=Swab.NO_GROWTH, spreading=YES))
DEEP = (22, _case(0, Diagnosis.DEEP, Swab.ORGANISM, swelling=YES, pain=0))
BONE_DAY = 46
BONE = _case(0, Diagnosis.OSTEOMYELITIS, swelling=YES, pain=0, healing=Healing.NOT_HEALING)
FROM_GP = {
    "healing": Healing.MOIST, "signs": Signs.SOME, **SEROUS, **ABSENT, "erythema_mm": 2, "swab": Swab.NOT_TAKEN,
    "diagnosis": Diagnosis.NONE, "antibiotic": Antibiotic.GP,
}  # fmt: skip


def infect(rng: random.Random, plan: Plan) -> None:
    """Place the nine, the six and the 21 infected before the operation."""
    bone = _diabetic(plan)
    toe = bone.toes[0]
    toe.early = {DEEP[0]: DEEP[1], BONE_DAY: BONE}
    note = "Invented case: bone infection in a patient with diabetes; referred."
    found_on, told_on = bone.on(BONE_DAY), bone.on(BONE_DAY + 2)
    bone.events.append(EventPlan(EventKind.OSTEOMYELITIS, Harm.MODERATE, found_on, note, told_on, toe))
    ill = [toe]
    for day, case in (*MILD, REDNESS):
        ill.append(_place(rng, plan, day, case).toes[0])
    serous = [_place(rng, plan, day, FROM_GP) for day in (9, 10, 11, 12, 13, 14)]
    surgery.infected_before(rng, plan, [ill[5], ill[3], ill[4]])
    plan.rows |= {8: [serous[0].toes[0]], 9: ill[1:3], 10: [ill[5]]}


def _diabetic(plan: Plan) -> OperationPlan:
    """An older patient with a slow toe becomes the one with diabetes and bone infection."""
    slow = [o for o in _free(plan) if (o.toes[0].healed_day or 0) > 58 and o.patient.age_at_first >= 40]
    diabetic = [operation for operation in slow if "diabetes" in operation.patient.risks]
    chosen = (diabetic or slow)[0]
    if not diabetic:
        other = next(p for p in plan.patients if "diabetes" in p.risks)
        other.risks.discard("diabetes")
        chosen.patient.risks.add("diabetes")
    return chosen


def _free(plan: Plan) -> list[OperationPlan]:
    return [
        o for o in plan.operations
        if len(o.toes) == 1 and not o.tags and not o.toes[0].early and o.contacted_early and o.toes[0].partial
        and not any(side.revises for side in o.toes[0].sides)
    ]  # fmt: skip


def _place(rng: random.Random, plan: Plan, day: int, case: dict[str, object]) -> OperationPlan:
    fits = [o for o in _free(plan) if (o.toes[0].healed_day or 0) >= EARLIEST_HEALING and is_weekday(o.on(day))]
    chosen: OperationPlan = rng.choice(fits)
    chosen.toes[0].early = {day: case}
    return chosen
