"""The story after the cut-off, up to today: new operations, reviews on schedule, some late, bookings, unasked news.

Nothing here changes what the audit says as of the cut-off: no operation is added before it, and reviews, contacts
and deaths of the scenario's operations lie after it.
"""

import random
from datetime import date, datetime, time, timedelta

from clinic.demo import course, surgery
from clinic.demo.deal import APPLICATIONS, PNA_NAOH, PNA_ONLY, PNA_PHENOL, TNA_PHENOL, WEDGE, set_birth
from clinic.demo.people import family_name, given_name
from clinic.demo.shapes import (
    CUT_OFF,
    BookingPlan,
    ContactPlan,
    OperationPlan,
    PatientPlan,
    Plan,
    Regrowth,
    SidePlan,
    ToePlan,
    give_keys,
    is_weekday,
    on_a_weekday,
)
from clinic.schedule import ReviewPoint, point_of
from clinic.vocabulary.redflag import Reported
from clinic.vocabulary.review import ContactChannel, ContactResult, Extent, Origin, Retreatment, Symptoms

SEED = 20250602
FIRST_DAY = date(2025, 6, 2)
TODAYS_TIMES = (time(9, 20), time(9, 40), time(10, 10), time(13, 30), time(14, 0), time(15, 20))
OTHER_TIMES = (time(9, 0), time(10, 30), time(11, 10), time(13, 50), time(15, 0), time(16, 0))
BOOKED_AHEAD_DAYS = 12
GROUPS = (PNA_PHENOL,) * 14 + (PNA_NAOH,) * 3 + (PNA_ONLY, TNA_PHENOL, WEDGE)
SHARE_SEEN_AT_SIX, SHARE_SEEN_AT_TWELVE, SHARE_REGROWN = 0.87, 0.82, 0.06


def extend(plan: Plan, today: date) -> None:
    """Add what happened since, and cut off what has not happened yet."""
    rng = random.Random(SEED)
    plan.patients += _patients(rng, len(plan.patients), today)
    planned = _cut(plan, today)
    current = [o for o in plan.operations if 0 < (today - o.performed_on).days <= 425 and not o.patient.died_on]
    _book_today(rng, current, planned, today)
    _book_ahead(rng, current, planned, today)
    _log_late(rng, current, planned, today)
    _unasked(rng, current, today)
    _dark_toe(plan, today)
    _prepare_one(plan, today)
    give_keys(rng, plan.patients)


# New operations, about seven or eight a month.


def _patients(rng: random.Random, already: int, today: date) -> list[PatientPlan]:
    patients, day = [], FIRST_DAY
    while day < today:
        patients.append(_patient(rng, already + len(patients) + 1, day))
        give_keys(rng, patients[-1:])
        day += timedelta(days=rng.choice((2, 3, 4, 5)))
        while not is_weekday(day):
            day += timedelta(days=1)
    return patients


def _patient(rng: random.Random, number: int, day: date) -> PatientPlan:
    group = rng.choice(GROUPS)
    feet = ("right", "left") if rng.random() < 0.2 else (rng.choice(("right", "left")),)
    toes = [_toe(rng, group, foot) for foot in feet]
    operation = OperationPlan(
        toes, year=4, performed_on=day, operator=rng.choice(("orla",) * 5 + ("idris",) * 4 + ("wanda",) * 2)
    )
    if operation.operator == "wanda":
        operation.supervisor = "orla"
    patient = PatientPlan(
        [operation], number, rng.choice(("male", "male", "female")), rng.choice((13, 15, 16, 22, 27, 34, 45, 58, 71))
    )
    patient.given_name, patient.family_name = given_name(number), family_name(number)
    operation.patient = patient
    for toe in toes:
        toe.healed_day = on_a_weekday(operation, toe.healed_day)
    set_birth(rng, patient)
    surgery.inject(
        rng, operation, *rng.choice((("mepivacaine", "3.00"), ("mepivacaine", "3.00"), ("lidocaine", "2.00")))
    )
    surgery.weigh(rng, operation)
    surgery.ring(rng, operation)
    _follow_up(rng, operation)
    return patient


def _toe(rng: random.Random, group: tuple, foot: str) -> ToePlan:
    toe = ToePlan(*group, "later", foot=foot)
    names = rng.choice((("fibular",), ("fibular",), ("tibial",), ("tibial", "fibular"))) if toe.partial else ("whole",)
    toe.sides = [SidePlan(name) for name in names]
    toe.stage = rng.choice(("I", "IIa", "IIa", "IIb", "III"))
    toe.healed_day = rng.randint(18, 48)
    if toe.technique.takes_agent:
        for side in toe.sides:
            side.applications = rng.choice(APPLICATIONS[rng.choice((60, 120, 180, 180))])
    surgery.prepare(rng, toe)
    return toe


def _follow_up(rng: random.Random, operation: OperationPlan) -> None:
    operation.source = rng.choice(("operator",) * 5 + ("photo", "questionnaire", "questionnaire", "phone"))
    operation.loss = "no_reply"
    if rng.random() < SHARE_SEEN_AT_SIX:
        operation.six_month_day = rng.randint(172, 205)
    if rng.random() < SHARE_SEEN_AT_TWELVE:
        operation.twelve_month_day = rng.randint(355, 390)
        if rng.random() < SHARE_REGROWN:
            toe = operation.toes[0]
            toe.regrowth = Regrowth(
                toe.sides[0].name, *rng.choice((("spicule", "none", "clipped"), ("strip", "ingrowth", "planned")))
            )
    operation.reviews = course.early_reviews(rng, operation) + course.late_reviews(rng, operation)


# What lies ahead of today.


def _cut(plan: Plan, today: date) -> dict[int, date]:
    """Take out reviews and contacts that are still to come; gives the day planned next, by operation."""
    planned = {}
    for operation in plan.operations:
        ahead = [review for review in operation.reviews if review.seen_on >= today]
        operation.reviews = [review for review in operation.reviews if review.seen_on < today]
        operation.contacts = [contact for contact in operation.contacts if contact.made_on < today]
        if ahead:
            planned[id(operation)] = ahead[0].seen_on
    return planned


def open_point(operation: OperationPlan, today: date) -> ReviewPoint | None:
    """The review point whose window holds today and in which nobody has looked yet."""
    point = point_of((today - operation.performed_on).days)
    if point is None or any(point.contains((r.seen_on - operation.performed_on).days) for r in operation.reviews):
        return None
    return point


def _book_today(rng: random.Random, current: list[OperationPlan], planned: dict[int, date], today: date) -> None:
    def nearness(operation: OperationPlan) -> tuple[bool, int]:
        day = planned.get(id(operation))
        return day is None, abs((day - today).days) if day else 0

    fits = sorted((o for o in current if open_point(o, today)), key=nearness)
    for operation, moment in zip(fits, TODAYS_TIMES, strict=False):
        _book(operation, today, moment, open_point(operation, today))


def _book_ahead(rng: random.Random, current: list[OperationPlan], planned: dict[int, date], today: date) -> None:
    for operation in current:
        day = planned.get(id(operation))
        if operation.bookings or day is None or not 0 < (day - today).days <= BOOKED_AHEAD_DAYS:
            continue
        while not is_weekday(day):
            day += timedelta(days=1)
        _book(operation, day, rng.choice(OTHER_TIMES), point_of((day - operation.performed_on).days))


def _book(operation: OperationPlan, day: date, moment: time, point: ReviewPoint | None) -> None:
    operation.bookings.append(BookingPlan(datetime.combine(day, moment, surgery.ZONE), point.code if point else ""))


def _log_late(rng: random.Random, current: list[OperationPlan], planned: dict[int, date], today: date) -> None:
    """Whoever is past the target has been tried, at most three times."""
    for operation in current:
        point = open_point(operation, today)
        if operation.bookings or point is None or operation.year < 3:
            continue
        late = (today - point.target_on(operation.performed_on)).days
        made = [contact.made_on for contact in operation.contacts]
        for days_ago in sorted({late - 2, late - 9, late - 20}, reverse=True):
            day = today - timedelta(days=days_ago)
            if days_ago > 0 and day > CUT_OFF and day not in made:
                result = rng.choice((ContactResult.NO_ANSWER, ContactResult.LEFT_MESSAGE))
                operation.contacts.append(ContactPlan(day, ContactChannel.PHONE, result))
        operation.contacts.sort(key=lambda contact: contact.made_on)


def _unasked(rng: random.Random, current: list[OperationPlan], today: date) -> None:
    """Two patients rang about a problem, one wrote; nobody has answered yet."""
    calm = [o for o in current if o.year == 4 and not o.bookings and not open_point(o, today) and len(o.toes) == 1]
    calm = [o for o in calm if 12 <= (today - o.performed_on).days <= 330 and o.toes[0].matrix_destroyed]
    chosen = rng.sample(calm, min(3, len(calm)))
    notes = ("Rang: the edge is sore in shoes.", "Rang: the dressing is wet again.")
    for operation, note, ago in zip(chosen, notes, (1, 2), strict=False):
        day = today - timedelta(days=ago)
        told = {"handled": False, "reported": Reported.NOTHING}
        operation.contacts.append(ContactPlan(day, ContactChannel.PHONE, ContactResult.PROBLEM, note, **told))
    for operation in chosen[2:]:
        day = (today - operation.performed_on).days - 1
        review = course.visit(rng, operation, day, "questionnaire", origin=Origin.PATIENT)
        review.accepted, review.note = False, "Writes that a spike of nail has come back and catches on the sock."
        review.sides[0][1].update(extent=Extent.SPICULE, symptoms=Symptoms.PAIN, retreatment=Retreatment.NOT_ASSESSED)
        operation.reviews.append(review)


def _dark_toe(plan: Plan, today: date) -> None:
    """The last patient but one rang yesterday; the red flag of it waits on Today."""
    yesterday = today - timedelta(days=1)
    recent = sorted((o for o in plan.operations if o.performed_on <= yesterday), key=lambda o: (o.performed_on, o.key))
    if len(recent) < 2:
        return
    note = "Rang: the toe looks dark and is still numb."
    told = {"handled": False, "reported": Reported.DARK_OR_NUMB}
    recent[-2].contacts.append(ContactPlan(yesterday, ContactChannel.PHONE, ContactResult.PROBLEM, note, **told))


def _prepare_one(plan: Plan, today: date) -> None:
    """Somebody comes today for the other foot: assessed five days ago, and confirmed this morning."""
    calm = [
        patient
        for patient in plan.patients
        if len(patient.operations) == 1 and not patient.risks and not patient.died_on
        and 18 <= patient.age_on(today) < 60 and 60 < (today - patient.operations[0].performed_on).days < 500
    ]  # fmt: skip
    if not calm:
        return
    patient = min(calm, key=lambda each: each.key)
    earlier = patient.operations[0]
    foot = "left" if earlier.toes[0].foot == "right" else "right"
    toe = ToePlan(
        *PNA_PHENOL, "later", foot=foot, sides=[SidePlan("fibular")], key=f"{patient.key[:6]}{earlier.key[:6]}"
    )
    plan.prepared = [
        OperationPlan(
            [toe], year=4, performed_on=today, operator=earlier.operator, weight_kg="71.0", patient=patient,
            key=f"{earlier.key[:6]}{patient.key[:6]}",
        )
    ]  # fmt: skip
