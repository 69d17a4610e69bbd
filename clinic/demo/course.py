"""What follows an operation: reviews, contacts, healing, who could be reached. Dealt so that the totals hold."""

import random
from itertools import pairwise

from clinic.demo import infection
from clinic.demo.deal import PNA_NAOH, PNA_ONLY, PNA_PHENOL, TNA_ONLY, TNA_PHENOL, WEDGE
from clinic.demo.findings import side_finding, toe_finding
from clinic.demo.shapes import (
    CUT_OFF,
    KNOWN_FATES,
    ContactPlan,
    OperationPlan,
    Plan,
    Regrowth,
    ReviewPlan,
    on_a_weekday,
    take,
)
from clinic.schedule import SIX_WEEKS
from clinic.vocabulary.review import ContactChannel, ContactResult, Means, NextStep, Observer, Origin, Satisfaction

SOURCES = {"independent": 9, "photo": 14, "questionnaire": 31, "phone": 12, "operator": 52}
# The last takes the rest, so the smallest come first.
LOSSES = {"never_tried": 1, "declined": 2, "moved": 4, "did_not_attend": 8, "no_reply": 19}
SIX_MONTHS_OF_LOST, SIX_MONTHS_OF_YEAR_3 = 8, 37
NEVER_SEEN_DRY, WITHOUT_EARLY_CONTACT = 21, 8
YEAR_3_LOST, YEAR_3_REGROWN = (
    17,
    (("strip", "ingrowth", "planned"), ("spicule", "pain", "clipped"), ("spicule", "none", "none")),
)
SATISFIED, ANSWERED = 101, 112
COLLEAGUES = {**dict.fromkeys(("orla", "idris", "wanda"), ("orla", "idris", "wanda")),
              **dict.fromkeys(("harper", "quill"), ("harper", "quill"))}  # fmt: skip

# Lowest, quartiles, highest that is in time, days of the delayed. 8 weeks are late for a partial, 12 for a total.
HEALING = {
    PNA_PHENOL: (14, 24, 31, 42, 55, (57, 59, 62, 63, 66, 70, 74, 78)),
    PNA_NAOH: (10, 15, 20, 27, 45, (63,)),
    PNA_ONLY: (8, 12, 16, 21, 30, ()),
    TNA_PHENOL: (30, 42, 52, 66, 77, (90, 98)),
    WEDGE: (12, 14, 17, 22, 34, ()),
    TNA_ONLY: (45, 48, 52, 56, 60, ()),
}


# Who is seen, when and how.


def choose_follow_up(rng: random.Random, operations: list[OperationPlan]) -> None:
    known = [operation for operation in operations if operation.fate in KNOWN_FATES]
    lost = [operation for operation in operations if operation.fate == "lost"]
    third = [operation for operation in operations if operation.fate == "pending"]
    _choose_sources(rng, known)
    _choose_losses(rng, lost)
    silent = _choose_third_year(rng, third)
    at_six = known + take(rng, lost, SIX_MONTHS_OF_LOST) + [o for o in third if o.half == 2 and rng.random() < 0.85]
    at_six += [o for o in third if o.half == 1 and o not in silent]
    for operation in at_six:
        operation.six_month_day = rng.randint(165, 205)
    for operation in known + [o for o in third if o.outcome in KNOWN_FATES]:
        operation.twelve_month_day = rng.randint(350, 392)
    for operation in known:
        if operation.tags & {"seven-months", "revised-early"}:
            operation.twelve_month_day = None
        if "seven-months" in operation.tags:
            operation.six_month_day = 213
    _choose_silent(rng, lost + third)


def _choose_sources(rng: random.Random, known: list[OperationPlan]) -> None:
    quiet = [operation for operation in known if "quiet" in operation.tags]
    late = [operation for operation in known if "late-recurrence" in operation.tags]
    others = [operation for operation in known if operation.fate == "event" and operation not in quiet]
    fixed = {"independent": quiet, "questionnaire": late, "operator": others}
    free = [operation for operation in known if operation not in quiet + late + others]
    for source, toes in SOURCES.items():
        already = fixed.get(source, [])
        picked = already + take(rng, free, toes - sum(len(operation.toes) for operation in already))
        for operation in picked:
            operation.source = source
        free = [operation for operation in free if operation not in picked]


def _choose_losses(rng: random.Random, lost: list[OperationPlan]) -> None:
    free = lost
    for reason, toes in LOSSES.items():
        picked = take(rng, free, toes)
        for operation in picked:
            operation.loss = reason
        free = [operation for operation in free if operation not in picked]


def _choose_third_year(rng: random.Random, third: list[OperationPlan]) -> list[OperationPlan]:
    """What becomes of the third year after the cut-off; nothing of it may count before.

    Gives those of its first half that nobody sees at six months.
    """
    free = [operation for operation in third if not operation.tags]
    first = [operation for operation in free if operation.half == 1]
    unseen = take(rng, first, 44 - SIX_MONTHS_OF_YEAR_3)
    silent = unseen + take(rng, [o for o in free if o not in unseen], YEAR_3_LOST - (44 - SIX_MONTHS_OF_YEAR_3))
    for operation in third:
        operation.outcome = "died" if "died" in operation.tags else "lost" if operation in silent else "clear"
        operation.source = rng.choice(
            ("operator",) * 5 + ("independent", "photo", "questionnaire", "questionnaire", "phone")
        )
        operation.loss = rng.choice(("no_reply", "no_reply", "did_not_attend", "moved"))
    single = [o for o in free if o not in silent and len(o.toes) == 1 and o.toes[0].group == PNA_PHENOL]
    for operation, seen in zip(rng.sample(single, len(YEAR_3_REGROWN)), YEAR_3_REGROWN, strict=True):
        operation.outcome, operation.source = "event", "operator"
        toe = operation.toes[0]
        toe.regrowth = Regrowth(toe.sides[0].name, *seen)
    return unseen


def _choose_silent(rng: random.Random, operations: list[OperationPlan]) -> None:
    """Toes never seen dry by the cut-off; some of them not seen at all within 30 days."""
    unseen = [o for o in operations if not o.six_month_day and (o.half == 1 or o.fate == "lost")]
    never_dry = take(rng, unseen, NEVER_SEEN_DRY)
    for operation in never_dry:
        for toe in operation.toes:
            toe.healed_day = 0
    for operation in take(rng, never_dry, WITHOUT_EARLY_CONTACT):
        operation.contacted_early = False


def choose_healing(rng: random.Random, operations: list[OperationPlan]) -> None:
    """The day of the first review that sees the toe dry."""
    for group, shape in HEALING.items():
        toes = [toe for operation in operations for toe in operation.toes if toe.group == group]
        waiting = [toe for toe in toes if toe.healed_day is None]
        days = healing_days(len(waiting), *shape)
        rng.shuffle(days)
        for toe, day in zip(waiting, days, strict=True):
            toe.healed_day = day
        for toe in toes:
            toe.healed_day = toe.healed_day or None


def healing_days(number: int, low: int, q1: int, median: int, q3: int, high: int, late: tuple[int, ...]) -> list[int]:
    """So many days with these quartiles, whichever way a quartile is counted."""
    knots = ((0.0, low), (0.21, q1), (0.29, q1), (0.45, median), (0.55, median), (0.71, q3), (0.79, q3), (1.0, high))
    days = [round(_between(knots, place / max(number - 1, 1))) for place in range(number)]
    return days[: number - len(late)] + list(late) if late else days


def _between(knots: tuple[tuple[float, int], ...], share: float) -> float:
    for (left, low), (right, high) in pairwise(knots):
        if share <= right:
            return low + (high - low) * (share - left) / (right - left)
    return knots[-1][1]


# Reviews.


def follow_up(rng: random.Random, plan: Plan) -> None:
    infection.infect(rng, plan)
    for operation in plan.operations:
        operation.reviews += early_reviews(rng, operation)
        operation.reviews += late_reviews(rng, operation)
        operation.contacts += log(rng, operation)
    _satisfaction(rng, plan)


def early_reviews(rng: random.Random, operation: OperationPlan) -> list[ReviewPlan]:
    if not operation.contacted_early:
        return []
    seers = (operation.operator, operation.operator, rng.choice(COLLEAGUES[operation.operator]))
    days = _early_days(rng, operation)
    reviews = [visit(rng, operation, day, "operator", seen_by=rng.choice(seers)) for day in days]
    if days[-1] >= SIX_WEEKS.opens_day and all(finding["healing"] == "dry" for _, finding in reviews[-1].toes):
        reviews[-1].next_step = NextStep.END_CLINIC
    return reviews


def _early_days(rng: random.Random, operation: OperationPlan) -> list[int]:
    """First redress, the days on which a toe is first seen dry or ill, one look between, mostly the six weeks."""
    days = {day for toe in operation.toes for day in toe.early}
    healed = [toe.healed_day for toe in operation.toes if toe.healed_day]
    days |= set(healed) | {on_a_weekday(operation, rng.randint(2, 6))}
    last = max(healed, default=17)
    between = on_a_weekday(operation, rng.randint(11, 14))
    if last > 16 and all(abs(day - between) > 2 for day in days):
        days.add(between)
    if last > 56 or (healed and last < 32 and rng.random() < 0.6):
        days.add(on_a_weekday(operation, rng.randint(38, 46)))
    return sorted(days)


def late_reviews(rng: random.Random, operation: OperationPlan) -> list[ReviewPlan]:
    reviews, died = [], operation.outcome == "died"
    grown_at_six = bool(operation.tags & {"seven-months", "revised-early"})
    if operation.six_month_day and not died:
        source = (
            "operator"
            if grown_at_six
            else rng.choice(("operator", "operator", "operator", "phone", "questionnaire", "photo"))
        )
        reviews.append(visit(rng, operation, operation.six_month_day, source, decides=grown_at_six))
    if operation.twelve_month_day:
        reviews.append(visit(rng, operation, operation.twelve_month_day, operation.source, decides=True))
    return reviews


def visit(
    rng: random.Random,
    operation: OperationPlan,
    day: int,
    source: str,
    *,
    decides: bool = False,
    seen_by: str = "",
    origin: str = Origin.PLANNED,
) -> ReviewPlan:
    """A review of every toe. decides: the regrowth of the plan is seen here, if there is any."""
    observer, means, who = _how(rng, operation, source, seen_by)
    if means == Means.IN_PERSON and day > 60:
        day = on_a_weekday(operation, day)
    toes = [(toe, toe_finding(rng, toe, day, means)) for toe in operation.toes]
    sides = [
        (side, side_finding(toe, side, day, grown=toe.regrowth if decides else None, final=decides))
        for toe in operation.toes
        for side in toe.sides
    ]
    return ReviewPlan(operation.on(day), origin, observer, means, who, toes, sides)


def _how(rng: random.Random, operation: OperationPlan, source: str, seen_by: str) -> tuple[str, str, str | None]:
    if source in {"questionnaire", "phone"}:
        return Observer.PATIENT, Means(source), None
    who = seen_by or operation.operator
    if source == "independent":
        others = [name for name in ("orla", "idris") if name not in {operation.operator, operation.supervisor}]
        return Observer.INDEPENDENT, Means.IN_PERSON, rng.choice(others or ["idris"])
    observer = Observer.OPERATOR if who == operation.operator else Observer.COLLEAGUE
    return observer, Means.PHOTO if source == "photo" else Means.IN_PERSON, who


# Contacts: the reason of a loss is read from them.


def log(rng: random.Random, operation: OperationPlan) -> list[ContactPlan]:
    lost = operation.fate == "lost" or operation.outcome == "lost"
    if lost:
        return losing_contacts(rng, operation, operation.loss)
    if operation.twelve_month_day and rng.random() < 0.5:
        return [contact(operation, operation.twelve_month_day - rng.randint(6, 14), "phone", ContactResult.BOOKED)]
    return []


def losing_contacts(rng: random.Random, operation: OperationPlan, reason: str) -> list[ContactPlan]:
    first, second, last = (start + rng.randint(0, 9) for start in (352, 374, 398))
    no_answer = contact(operation, first, ContactChannel.PHONE, ContactResult.NO_ANSWER)
    message = contact(operation, second, ContactChannel.TEXT, ContactResult.LEFT_MESSAGE)
    if reason == "no_reply":
        letter = contact(operation, last, ContactChannel.LETTER, ContactResult.LEFT_MESSAGE, "Letter sent")
        return [no_answer, message, letter][: rng.choice((2, 3))]
    if reason == "did_not_attend":
        booked = contact(operation, first, ContactChannel.PHONE, ContactResult.BOOKED)
        return [booked, contact(operation, second, ContactChannel.IN_PERSON, ContactResult.DID_NOT_ATTEND)]
    if reason == "moved":
        return [no_answer, contact(operation, second, ContactChannel.LETTER, ContactResult.MOVED, "Letter came back")]
    if reason == "declined":
        operation.patient.no_contact_wished = True
        return [contact(operation, first, ContactChannel.PHONE, ContactResult.DECLINED)]
    return []


def contact(operation: OperationPlan, day: int, channel: str, result: str, note: str = "") -> ContactPlan:
    return ContactPlan(operation.on(day), channel, result, note)


def _satisfaction(rng: random.Random, plan: Plan) -> None:
    """Asked once, at the 12-month review: 112 answers, 101 of them satisfied."""
    happy = [Satisfaction.VERY_SATISFIED] * 63 + [Satisfaction.SATISFIED] * (SATISFIED - 63)
    other = [Satisfaction.DISSATISFIED] * 4 + [Satisfaction.VERY_DISSATISFIED] + [Satisfaction.NEITHER] * 6
    rng.shuffle(happy)
    answers = (other + happy)[:ANSWERED]
    findings = [
        finding
        for operation in sorted(plan.operations, key=lambda one: one.fate != "event")
        if operation.fate in KNOWN_FATES and operation.twelve_month_day
        for _, finding in operation.reviews[-1].toes
    ]
    for finding, answer in zip(findings, answers, strict=False):
        finding["satisfaction"] = answer
    for operation in plan.operations:
        if operation.fate == "pending" and operation.twelve_month_day and operation.reviews[-1].seen_on > CUT_OFF:
            for _, finding in operation.reviews[-1].toes:
                finding["satisfaction"] = rng.choice(("very_satisfied", "satisfied", "satisfied", "neither"))
