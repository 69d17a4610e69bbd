"""Toes, operations, days and patients, dealt so that the totals of the scenario hold."""

import random
from datetime import date, timedelta

from clinic.demo.shapes import (
    CUT_OFF,
    FIRST_DAY,
    LAST_DAY,
    OperationPlan,
    PatientPlan,
    Regrowth,
    SidePlan,
    ToePlan,
    is_weekday,
    take,
)
from clinic.vocabulary.procedure import Agent, Technique

PNA_PHENOL = (Technique.PNA_CHEMICAL, Agent.PHENOL)
PNA_NAOH = (Technique.PNA_CHEMICAL, Agent.SODIUM_HYDROXIDE)
PNA_ONLY = (Technique.PNA_ONLY, Agent.NONE)
TNA_PHENOL = (Technique.TNA_CHEMICAL, Agent.PHENOL)
WEDGE = (Technique.WEDGE, Agent.NONE)
TNA_ONLY = (Technique.TNA_ONLY, Agent.NONE)
GROUPS = (PNA_PHENOL, PNA_NAOH, PNA_ONLY, TNA_PHENOL, WEDGE, TNA_ONLY)

# All, eligible, known at 12 months, of those dealt by hand below (regrown, or symptomatic without matricectomy).
COUNTS = {
    PNA_NAOH: (30, 20, 16, 1),
    PNA_ONLY: (14, 10, 8, 3),
    TNA_PHENOL: (16, 10, 7, 1),
    WEDGE: (8, 5, 3, 1),
    TNA_ONLY: (4, 3, 2, 0),
}
# Seconds: all, eligible, known, regrown. None: not recorded.
BANDS = {60: (36, 22, 17, 2), 90: (22, 14, 11, 1), 120: (40, 26, 21, 1), 180: (66, 40, 31, 2), None: (4, 2, 2, 0)}
OTHER_BANDS = {PNA_NAOH: (60, 60, 60, 120), TNA_PHENOL: (120, 180, 180)}
APPLICATIONS = {
    60: ((60,), (30, 30)),
    90: ((45, 45), (30, 30, 30)),
    120: ((60, 60), (40, 40, 40)),
    180: ((60, 60, 60), (90, 90)),
}
# Fibular only, tibial only, both.
KNOWN_PHENOL_SIDES = (46, 20, 16)
ALL_PARTIAL_SIDES = (120, 56, 44)
PAIRS = {
    "clear": {PNA_PHENOL: 17, PNA_NAOH: 3, TNA_PHENOL: 1, PNA_ONLY: 1},
    "lost": {PNA_PHENOL: 4, PNA_NAOH: 1},
    "pending": {PNA_PHENOL: 14, PNA_NAOH: 2, TNA_PHENOL: 1},
}
FIRST_HALF_PAIRS, HALF_OF_YEAR_3 = 8, 44
YEARS = (70, 82, 88)
RIGHT, LEFT = 124, 116
# Apart from the two fifth toes, which are the only ones of their years.
LESSER_TOES = (2,) * 8 + (3,) * 3 + (4,)
LAST_DAY_OF_FIRST_HALF = CUT_OFF - timedelta(days=240)
OPERATORS = {"orla": 118, "idris": 84, "wanda": 38}
AGE_BANDS = {(5, 11): 9, (12, 17): 44, (18, 39): 58, (40, 59): 31, (60, 79): 24, (80, 89): 5}
SEXES = {"male": 98, "female": 71, "other": 2}
LEAP_DAY = date(2024, 2, 29)


# Toes: technique, agent, exposure, sides, what becomes of them.


def toes(rng: random.Random) -> list[ToePlan]:
    by_hand = _chosen_toes()
    dealt = [toe for group in COUNTS for toe in _group(rng, group)] + _phenol_group()
    _deal_sides(rng, by_hand, dealt)
    toes = by_hand + dealt
    for toe in toes:
        toe.strength_basis = "not_applicable"
        _expose(rng, toe)
    return toes


def _chosen_toes() -> list[ToePlan]:
    """Every toe with an event within the window, and what is seen there."""
    here, elsewhere = ("strip", "ingrowth", "planned"), ("spicule", "ingrowth", "planned")
    quiet, caught = ("spicule", "none", "clipped"), ("spicule", "ingrowth", "clipped")
    full = ("full", "ingrowth", "planned")
    return [
        _chosen(PNA_PHENOL, "revised", "fibular", here, band=60),
        _chosen(PNA_PHENOL, "seven-months", "fibular", elsewhere, band=90),
        _chosen(PNA_PHENOL, "symptomatic", "tibial", caught, band=180),
        _chosen(PNA_PHENOL, "both-sides", "tibial", quiet, band=120, both=True),
        _chosen(PNA_PHENOL, "quiet", "fibular", ("spicule", "none", "none"), band=60),
        _chosen(PNA_PHENOL, "quiet", "tibial", quiet, band=180),
        _chosen(PNA_NAOH, "symptomatic", "fibular", caught),
        _chosen(TNA_PHENOL, "symptomatic", "whole", ("strip", "pain", "clipped")),
        _chosen(WEDGE, "symptomatic", "fibular", caught),
        _chosen(PNA_ONLY, "revised-early", "fibular", full),
        _chosen(PNA_ONLY, "revised-late", "fibular", full),
        _chosen(PNA_ONLY, "symptomatic", "tibial", ("full", "ingrowth", "clipped")),
    ]


def _chosen(
    group: tuple[Technique, Agent],
    tag: str,
    side: str,
    seen: tuple[str, str, str],
    *,
    band: int | None = None,
    both=False,
) -> ToePlan:
    sides = [SidePlan("tibial"), SidePlan("fibular")] if both else [SidePlan(side)]
    return ToePlan(*group, "event", band, sides, Regrowth(side, *seen), tag)


def _group(rng: random.Random, group: tuple[Technique, Agent]) -> list[ToePlan]:
    every, eligible, known, chosen = COUNTS[group]
    fates = ["clear"] * (known - chosen) + ["lost"] * (eligible - known) + ["pending"] * (every - eligible)
    return [ToePlan(*group, fate) for fate in fates]


def _phenol_group() -> list[ToePlan]:
    toes = []
    for band, (every, eligible, known, chosen) in BANDS.items():
        fates = ["clear"] * (known - chosen) + ["lost"] * (eligible - known) + ["pending"] * (every - eligible)
        toes += [ToePlan(*PNA_PHENOL, fate, band) for fate in fates]
    return toes


def _deal_sides(rng: random.Random, by_hand: list[ToePlan], dealt: list[ToePlan]) -> None:
    kinds = (("fibular",), ("tibial",), ("tibial", "fibular"))
    used = [tuple(side.name for side in toe.sides) for toe in by_hand]
    phenol = [name for toe, name in zip(by_hand, used, strict=True) if toe.group == PNA_PHENOL]
    known = [kind for kind, n in zip(kinds, KNOWN_PHENOL_SIDES, strict=True) for _ in range(n - phenol.count(kind))]
    rest = []
    for kind, everywhere, in_known in zip(kinds, ALL_PARTIAL_SIDES, KNOWN_PHENOL_SIDES, strict=True):
        rest += [kind] * (everywhere - in_known - (used.count(kind) - phenol.count(kind)))
    rng.shuffle(known)
    rng.shuffle(rest)
    for toe in dealt:
        pool = known if toe.group == PNA_PHENOL and toe.fate == "clear" else rest
        toe.sides = [SidePlan(name) for name in (pool.pop() if toe.partial else ("whole",))]


def _expose(rng: random.Random, toe: ToePlan) -> None:
    """The greatest exposure of the sides is the band; a second side may have had less."""
    if not toe.technique.takes_agent:
        return
    if toe.band is None and toe.group in OTHER_BANDS:
        toe.band = rng.choice(OTHER_BANDS[toe.group])
    if toe.band is None:
        return
    for side in toe.sides:
        side.applications = rng.choice(APPLICATIONS[toe.band])
    if len(toe.sides) == 2 and toe.band > 60 and rng.random() < 0.25:
        rng.choice(toe.sides).applications = (60,)


# Operations: one toe or two, year, foot, day.


def operations(rng: random.Random, toes: list[ToePlan]) -> list[OperationPlan]:
    operations = [OperationPlan([toe]) for toe in toes if toe.regrowth]
    for fate, pairs in PAIRS.items():
        for group in GROUPS:
            pool = [toe for toe in toes if toe.fate == fate and toe.group == group]
            rng.shuffle(pool)
            for _ in range(pairs.get(group, 0)):
                operations.append(OperationPlan([pool.pop(), pool.pop()]))
            operations += [OperationPlan([toe]) for toe in pool]
    return operations


def years(rng: random.Random, operations: list[OperationPlan]) -> None:
    _tag_structure(operations)
    first = {"revised", "revised-early", "late-recurrence", "little-toe-1"}
    second = {"revised-late", "again-revised", "again-revised-early", "little-toe-2", "leap-day"}
    eligible = [operation for operation in operations if operation.fate != "pending"]
    fixed_1 = [operation for operation in eligible if operation.tags & first]
    free = [operation for operation in eligible if not operation.tags & (first | second)]
    year_1 = fixed_1 + take(rng, free, YEARS[0] - len(fixed_1))
    for operation in eligible:
        operation.year = 1 if operation in year_1 else 2
    _halves(rng, [operation for operation in operations if operation.fate == "pending"])


def _halves(rng: random.Random, third: list[OperationPlan]) -> None:
    """44 toes whose day 240 is over at the cut-off, 44 whose is not."""
    pairs = [operation for operation in third if len(operation.toes) == 2]
    single = [operation for operation in third if len(operation.toes) == 1]
    early = [operation for operation in single if "again-revised-late" in operation.tags]
    late = [operation for operation in single if "died" in operation.tags]
    free = [operation for operation in single if operation not in early + late]
    first = rng.sample(pairs, FIRST_HALF_PAIRS) + early
    first += rng.sample(free, HALF_OF_YEAR_3 - 2 * FIRST_HALF_PAIRS - len(early))
    for operation in third:
        operation.year, operation.half = 3, 1 if operation in first else 2


def _tag_structure(operations: list[OperationPlan]) -> None:
    """Which operations carry what has to be known before years and days are dealt."""
    clear = [o for o in operations if o.fate == "clear" and len(o.toes) == 1 and o.toes[0].group == PNA_PHENOL]
    pending = [o for o in operations if o.fate == "pending" and len(o.toes) == 1 and o.toes[0].group == PNA_PHENOL]
    fibular = [o for o in clear if [side.name for side in o.toes[0].sides] == ["fibular"]]
    tags = ("again-revised", "again-revised-early", "late-recurrence", "little-toe-1", "little-toe-2", "leap-day")
    for tag, operation in zip(tags, fibular, strict=False):
        operation.toes[0].tag = tag
    waiting = [o for o in pending if [side.name for side in o.toes[0].sides] == ["fibular"]]
    for tag, operation in zip(("again-revised-late", "died"), waiting, strict=False):
        operation.toes[0].tag = tag


def feet(rng: random.Random, operations: list[OperationPlan]) -> None:
    """Right 124, left 116; hallux 226, second 8, third 3, fourth 1, fifth 2. Two-toe operations take both halluces."""
    for operation in operations:
        if len(operation.toes) == 2:
            operation.toes[0].foot, operation.toes[1].foot = "right", "left"
    single = [operation.toes[0] for operation in operations if len(operation.toes) == 1]
    again = [toe for toe in single if "revised" in toe.tag]
    little = [toe for toe in single if toe.tag.startswith("little-toe")]
    free = [toe for toe in single if toe not in again + little]
    pairs = len(operations) - len(single)
    feet = ["right"] * (RIGHT - pairs - len(again)) + ["left"] * (LEFT - pairs - len(little))
    rng.shuffle(feet)
    for toe, foot in zip(free, feet, strict=True):
        toe.foot = foot
    for toe in little:
        toe.foot, toe.toe = "left", 5
    plain = rng.sample([toe for toe in free if not toe.tag], len(LESSER_TOES))
    for toe, number in zip(plain, LESSER_TOES, strict=True):
        toe.toe = number


FIXED_DAYS = {"revised": date(2022, 6, 14), "revised-early": date(2022, 9, 13), "revised-late": date(2023, 8, 8)}
PERIODS = {
    (1, 0): (FIRST_DAY, date(2023, 3, 31)),
    (2, 0): (date(2023, 4, 3), date(2024, 3, 28)),
    (3, 1): (date(2024, 4, 2), LAST_DAY_OF_FIRST_HALF),
    (3, 2): (LAST_DAY_OF_FIRST_HALF + timedelta(days=1), LAST_DAY),
}


def dates(rng: random.Random, operations: list[OperationPlan]) -> None:
    for operation in operations:
        operation.performed_on = _day(rng, operation)
    by_tag = {tag: operation for operation in operations for tag in operation.tags}
    for tag, day in FIXED_DAYS.items():
        by_tag[tag].performed_on = day
    by_tag["leap-day"].performed_on = LEAP_DAY
    by_tag["died"].performed_on = date(2024, 11, 12)
    by_tag["revised"].twelve_month_day = 358
    by_tag["revised-early"].six_month_day = 205
    by_tag["revised-late"].twelve_month_day = 352
    for tag, days in (("revised", 386), ("revised-early", 233), ("revised-late", 400)):
        by_tag[f"again-{tag}"].performed_on = by_tag[tag].performed_on + timedelta(days=days)


def _day(rng: random.Random, operation: OperationPlan) -> date:
    """A weekday of its period on which the days of healing are weekdays before the cut-off, so that somebody saw it."""
    first, last = PERIODS[operation.year, operation.half]
    healed = [toe.healed_day for toe in operation.toes if toe.healed_day]
    for _ in range(500):
        day = first + timedelta(days=rng.randrange((last - first).days + 1))
        closed = (day.month, day.day) in {(12, 25), (12, 26), (1, 1)} or day == LEAP_DAY
        dry_days = [day + timedelta(days=number) for number in healed]
        if is_weekday(day) and not closed and all(is_weekday(dry) and dry <= CUT_OFF for dry in dry_days):
            return day
    raise ValueError("no day fits this operation")


# Patients: who comes again, age, sex.


def patients(rng: random.Random, operations: list[OperationPlan]) -> list[PatientPlan]:
    by_tag = {tag: operation for operation in operations for tag in operation.tags}
    groups = [[by_tag[tag], by_tag[f"again-{tag}"]] for tag in ("revised", "revised-early", "revised-late")]
    for first, again in groups:
        again.toes[0].sides[0].revises = first.toes[0].sides[0]
    # Somebody who was lost would not have come back for another toe.
    free = [o for o in operations if o.fate in {"clear", "pending"} and len(o.toes) == 1 and not o.tags]
    rng.shuffle(free)
    groups += [_chain(free, 3) for _ in range(2)] + [_chain(free, 2) for _ in range(18)]
    taken = {id(operation) for group in groups for operation in group}
    groups += [[operation] for operation in operations if id(operation) not in taken]
    groups = [sorted(group, key=lambda one: one.performed_on) for group in groups]
    groups.sort(key=lambda group: (group[0].performed_on, -len(group), sorted(group[0].sites)))
    patients = [PatientPlan(group) for group in groups]
    _people(rng, patients)
    return patients


def _chain(free: list[OperationPlan], length: int) -> list[OperationPlan]:
    """Operations of one patient: other sites, at least three months apart."""
    group = [free.pop()]
    while len(group) < length:
        fits = next(o for o in free if all(_apart(o, other) for other in group))
        free.remove(fits)
        group.append(fits)
    return group


def _apart(one: OperationPlan, other: OperationPlan) -> bool:
    return abs((one.performed_on - other.performed_on).days) >= 90 and not one.sites & other.sites


def _people(rng: random.Random, patients: list[PatientPlan]) -> None:
    sexes = [sex for sex, number in SEXES.items() for _ in range(number)]
    bands = [band for band, number in AGE_BANDS.items() for _ in range(number)]
    rng.shuffle(sexes)
    rng.shuffle(bands)
    died = next(place for place, patient in enumerate(patients) if "died" in patient.operations[0].tags)
    old = bands.index((60, 79))
    bands[died], bands[old] = bands[old], bands[died]
    for number, (patient, sex, band) in enumerate(zip(patients, sexes, bands, strict=True), start=1):
        patient.number, patient.sex = number, sex
        patient.age_at_first = rng.randint(*band)
        patient.operations = list(patient.operations)
        for operation in patient.operations:
            operation.patient = patient
        set_birth(rng, patient)


def set_birth(rng: random.Random, patient: PatientPlan) -> None:
    first = patient.operations[0].performed_on
    birthday = first - timedelta(days=rng.randrange(360))
    day = 28 if (birthday.month, birthday.day) == (2, 29) else birthday.day
    patient.born_on = date(birthday.year - patient.age_at_first, birthday.month, day)


def operators(rng: random.Random, operations: list[OperationPlan]) -> None:
    lead = [operation for operation in operations if any("revised" in tag for tag in operation.tags)]
    free = [operation for operation in operations if operation not in lead]
    trainee = take(rng, [o for o in free if not o.tags], OPERATORS["wanda"])
    second = take(rng, [o for o in free if o not in trainee], OPERATORS["idris"])
    for operation in operations:
        operation.operator = "wanda" if operation in trainee else "idris" if operation in second else "orla"
        if operation.operator == "wanda":
            operation.supervisor = rng.choice(("orla", "idris"))
