"""How the operations were done: anaesthetic, tourniquet, strength, stage, risks of the patients. Dealt, not drawn."""

import random
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from clinic.demo.people import family_name, given_name
from clinic.demo.shapes import DosePlan, OperationPlan, PatientPlan, Plan, ToePlan, take
from clinic.vocabulary.procedure import Agent, Answer, LocalInfection, StageSystem, Tourniquet

ZONE = ZoneInfo("Europe/London")
# Agent, strength, operations; the last four had two agents.
ANAESTHETICS = (
    (("mepivacaine", "3.00"),) * 121
    + (("lidocaine", "2.00"),) * 58
    + (("lidocaine", "1.00"),) * 9
    + (("bupivacaine", "0.50"),) * 4
    + (("mixed", ""),) * 4
)
STAGES = (("I", 38), ("IIa", 84), ("IIb", 62), ("III", 41), ("", 15))
WITHOUT_TOURNIQUET, DRAINS, UNTIMED, NOT_WITNESSED, LONGEST = 29, 8, 4, 6, 34
RISKS = {"diabetes": (15, 40), "antithrombotic": (14, 40), "poor_circulation": (4, 60), "immunosuppressed": (3, 18)}
PRIOR_SURGERY, INFECTED_BEFORE, PURULENT = 17, 21, 14


def describe(rng: random.Random, plan: Plan) -> None:
    for patient in plan.patients:
        patient.given_name, patient.family_name = given_name(patient.number), family_name(patient.number)
    _risks(rng, plan.patients)
    doses = list(ANAESTHETICS)
    rng.shuffle(doses)
    for operation, (agent, strength) in zip(plan.operations, doses, strict=True):
        inject(rng, operation, agent, strength)
        weigh(rng, operation)
    _stages(rng, plan)
    _tourniquets(rng, plan)
    _prior_surgery(rng, plan)
    for toe in plan.toes:
        prepare(rng, toe)


def _risks(rng: random.Random, patients: list[PatientPlan]) -> None:
    for risk, (number, from_age) in RISKS.items():
        old_enough = [patient for patient in patients if patient.age_at_first >= from_age]
        for patient in rng.sample(old_enough, number):
            patient.risks.add(risk)


def inject(rng: random.Random, operation: OperationPlan, agent: str, strength: str) -> None:
    """One injection per toe; two agents where they were mixed."""
    kinds = [("lidocaine", "2.00"), ("bupivacaine", "0.50")] if agent == "mixed" else [(agent, strength)]
    for kind in kinds * len(operation.toes):
        operation.doses.append(dose(rng, operation, *kind))


def dose(rng: random.Random, operation: OperationPlan, agent: str, strength: str, volume: str = "") -> DosePlan:
    volume = volume or rng.choice(("2.0", "2.2", "2.5", "3.0", "3.5"))
    expires_on = operation.performed_on + timedelta(days=rng.randint(90, 700))
    return DosePlan(agent, strength, volume, f"DEMO-{agent[:3].upper()}-{rng.randint(100, 999)}", expires_on)


def weigh(rng: random.Random, operation: OperationPlan) -> None:
    age = operation.patient.age_on(operation.performed_on)
    usual = 10 + 2.8 * age if age < 18 else 76
    operation.weight_kg = f"{usual * rng.uniform(0.85, 1.2):.1f}"
    if age < 16:
        operation.consent = "parent"


def _stages(rng: random.Random, plan: Plan) -> None:
    stages = [stage for stage, number in STAGES for _ in range(number)]
    rng.shuffle(stages)
    for toe, stage in zip(plan.toes, stages, strict=True):
        toe.stage, toe.stage_system = stage, StageSystem.MOZENA if stage else StageSystem.NONE


def _tourniquets(rng: random.Random, plan: Plan) -> None:
    without = take(rng, plan.operations, WITHOUT_TOURNIQUET)
    used = [toe for operation in plan.operations if operation not in without for toe in operation.toes]
    minutes = _minutes(rng, len(used) - UNTIMED) + [None] * UNTIMED
    witnessed = [Answer.YES] * (len(used) - NOT_WITNESSED) + [Answer.NO] * 4 + [Answer.NOT_RECORDED] * 2
    kinds = [Tourniquet.DRAIN_CLAMP] * DRAINS + [Tourniquet.RING] * (len(used) - DRAINS)
    rng.shuffle(minutes)
    rng.shuffle(witnessed)
    rng.shuffle(kinds)
    for toe, each, seen, kind in zip(used, minutes, witnessed, kinds, strict=True):
        toe.tourniquet, toe.witnessed = kind, seen
        toe.tourniquet_off_at = timedelta(minutes=each) if each else None
    for operation in plan.operations:
        _clock(rng, operation)


def _minutes(rng: random.Random, number: int) -> list[int]:
    """Median 9, quartiles 7 and 12, three above 20, the longest 34."""
    usual = [rng.randint(4, 6) for _ in range(40)] + [7] * 24 + [8] * 32 + [9] * 24
    usual += [rng.randint(10, 11) for _ in range(24)] + [12] * 24
    return usual + [rng.randint(13, 20) for _ in range(number - len(usual) - 3)] + [23, 26, LONGEST]


def _clock(rng: random.Random, operation: OperationPlan) -> None:
    """From minutes to moments; the second toe follows the first."""
    start = time(rng.choice((9, 10, 11, 13, 14, 15)), rng.choice(range(0, 60, 5)))
    moment = datetime.combine(operation.performed_on, start, ZONE)
    for toe in operation.toes:
        if toe.tourniquet == Tourniquet.NONE:
            continue
        lasted = toe.tourniquet_off_at
        toe.tourniquet_on_at = moment
        toe.tourniquet_off_at = moment + lasted if lasted else None
        moment += (lasted or timedelta(minutes=10)) + timedelta(minutes=8)


def ring(rng: random.Random, operation: OperationPlan) -> None:
    """A ring tourniquet, timed and seen to come off."""
    for toe in operation.toes:
        toe.tourniquet, toe.witnessed = Tourniquet.RING, Answer.YES
        toe.tourniquet_off_at = timedelta(minutes=rng.randint(6, 14))
    _clock(rng, operation)


def _prior_surgery(rng: random.Random, plan: Plan) -> None:
    again = [toe for toe in plan.toes if any(side.revises for side in toe.sides)]
    others = [toe for toe in plan.toes if toe not in again]
    for toe in again + rng.sample(others, PRIOR_SURGERY - len(again)):
        toe.prior_surgery = Answer.YES


def prepare(rng: random.Random, toe: ToePlan) -> None:
    """Strength with its basis, scraping, irrigation."""
    if not toe.technique.takes_agent:
        return
    strengths = {Agent.PHENOL: ("89.0", "w_w"), Agent.SODIUM_HYDROXIDE: ("10.0", "w_v"), Agent.TCA: ("90.0", "w_v")}
    toe.strength_percent, toe.strength_basis = strengths[toe.agent]
    toe.curettage = rng.choice(("none", "none", "before", "after"))
    toe.lavage = rng.choice(("isopropyl", "isopropyl", "saline", "none"))
    if toe.agent == Agent.SODIUM_HYDROXIDE:
        toe.lavage = "dilute_acid"


def infected_before(rng: random.Random, plan: Plan, chosen: list[ToePlan]) -> None:
    """21 toes had pus or spreading redness before the operation; `chosen` are among them."""
    others = [toe for toe in plan.toes if toe not in chosen and not toe.early]
    ill = chosen + rng.sample(others, INFECTED_BEFORE - len(chosen))
    for number, toe in enumerate(ill):
        toe.infection_before = LocalInfection.PURULENT if number < PURULENT else LocalInfection.SPREADING
    for toe in others:
        if toe not in ill and rng.random() < 0.3:
            toe.infection_before = LocalInfection.INFLAMED
