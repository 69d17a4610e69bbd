"""The second practice: 41 nail procedures, enough for the arithmetic of a pool and for hiding a cell of two."""

import random
from datetime import date, timedelta

from clinic.demo import course, surgery
from clinic.demo.deal import APPLICATIONS, PNA_NAOH, PNA_PHENOL, WEDGE, set_birth
from clinic.demo.people import HARBOUR_LEAD, HARBOUR_SECOND, family_name, given_name
from clinic.demo.shapes import OperationPlan, PatientPlan, Plan, SidePlan, ToePlan, give_keys, is_weekday
from clinic.vocabulary.procedure import Agent, Technique

SEED = 20250531
PNA_TCA = (Technique.PNA_CHEMICAL, Agent.TCA)
# Technique, known clear, lost; all performed in the first two years.
GROUPS = ((PNA_PHENOL, 30, 3), (PNA_TCA, 2, 0), (PNA_NAOH, 4, 1), (WEDGE, 1, 0))
FIRST_DAY, LAST_DAY = date(2022, 4, 4), date(2024, 3, 27)
FIRST_NUMBER = 501


def build(twin: PatientPlan) -> Plan:
    """twin: a patient of the first practice who was operated on here too."""
    rng = random.Random(SEED)
    patients = [
        _patient(rng, group, fate) for group, clear, lost in GROUPS for fate in ["clear"] * clear + ["lost"] * lost
    ]
    patients.sort(key=lambda patient: patient.operations[0].performed_on)
    for place, patient in enumerate(patients, start=1):
        patient.number = place
        patient.given_name, patient.family_name = given_name(place + 7), family_name(FIRST_NUMBER + place)
    same = next(patient for patient in patients if patient.age_at_first >= 18)
    same.given_name, same.family_name, same.born_on, same.sex = (
        twin.given_name,
        twin.family_name,
        twin.born_on,
        twin.sex,
    )
    give_keys(rng, patients)
    return Plan(patients, {23: [same]})


def _patient(rng: random.Random, group: tuple[Technique, Agent], fate: str) -> PatientPlan:
    toe = ToePlan(*group, fate, sides=[SidePlan(rng.choice(("fibular", "fibular", "tibial")))])
    toe.foot, toe.stage = rng.choice(("right", "left")), rng.choice(("I", "IIa", "IIb"))
    toe.healed_day = rng.randint(16, 44)
    if toe.technique.takes_agent:
        toe.sides[0].applications = rng.choice(APPLICATIONS[rng.choice((60, 120, 180))])
    surgery.prepare(rng, toe)
    operation = OperationPlan(
        [toe], performed_on=_day(rng, toe.healed_day), operator=rng.choice((HARBOUR_LEAD, HARBOUR_SECOND))
    )
    patient = PatientPlan([operation], sex=rng.choice(("male", "female")), age_at_first=rng.randint(14, 78))
    operation.patient = patient
    set_birth(rng, patient)
    surgery.inject(rng, operation, "lidocaine", "2.00")
    surgery.weigh(rng, operation)
    surgery.ring(rng, operation)
    _follow_up(rng, operation)
    return patient


def _day(rng: random.Random, healed_day: int) -> date:
    while True:
        day = FIRST_DAY + timedelta(days=rng.randrange((LAST_DAY - FIRST_DAY).days))
        if is_weekday(day) and is_weekday(day + timedelta(days=healed_day)):
            return day


def _follow_up(rng: random.Random, operation: OperationPlan) -> None:
    operation.source = rng.choice(("operator", "operator", "phone", "questionnaire"))
    operation.loss = "no_reply"
    if operation.fate == "clear":
        operation.six_month_day, operation.twelve_month_day = rng.randint(165, 200), rng.randint(350, 390)
    operation.reviews = course.early_reviews(rng, operation) + course.late_reviews(rng, operation)
    operation.contacts = course.log(rng, operation)
