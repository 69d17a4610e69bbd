"""The plan of the demonstration before anything is stored: plain values, no database."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from clinic.access.models import KEY_LETTERS
from clinic.vocabulary.procedure import (
    Agent,
    Answer,
    LocalInfection,
    StageSystem,
    Technique,
    Tourniquet,
    Vasoconstrictor,
)
from clinic.vocabulary.redflag import Reported

CUT_OFF = date(2025, 5, 30)
FIRST_DAY, LAST_DAY = date(2022, 4, 1), date(2025, 3, 31)
KNOWN_FATES = ("clear", "event")


def mint(rng: random.Random) -> str:
    """A key of the same form as every other, from the generator of the plan, so that each load gives the same."""
    return "".join(rng.choice(KEY_LETTERS) for _ in range(12))


@dataclass
class SidePlan:
    name: str
    applications: tuple[int, ...] = ()
    stated_seconds: int | None = None
    revises: "SidePlan | None" = None
    key: str = ""


@dataclass
class Regrowth:
    """What grows back at one side. day: of the review that sees it; None for the 12-month review."""

    side: str
    extent: str
    symptoms: str
    retreatment: str
    day: int | None = None


@dataclass(eq=False)
class ToePlan:
    """One nail procedure. fate: what is known at 12 months (event, clear, lost), or pending for the third year.

    healed_day: day of the review that first sees it dry; None if never seen dry before the cut-off.
    early: findings that replace the ordinary ones, by day.
    """

    technique: Technique
    agent: Agent
    fate: str
    band: int | None = None
    sides: list[SidePlan] = field(default_factory=list)
    regrowth: Regrowth | None = None
    tag: str = ""
    foot: str = "right"
    toe: int = 1
    healed_day: int | None = None
    early: dict[int, dict[str, object]] = field(default_factory=dict)
    satisfaction: str = ""
    strength_percent: str | None = None
    strength_basis: str = "not_applicable"
    curettage: str = "none"
    lavage: str = "none"
    infection_before: str = LocalInfection.NONE
    prior_surgery: str = Answer.NO
    stage_system: str = StageSystem.MOZENA
    stage: str = "I"
    tourniquet: str = Tourniquet.NONE
    tourniquet_on_at: datetime | None = None
    tourniquet_off_at: datetime | None = None
    witnessed: str = Answer.NOT_APPLICABLE
    key: str = ""

    @property
    def matrix_destroyed(self) -> bool:
        return self.technique.destroys_matrix is not False

    @property
    def partial(self) -> bool:
        return not self.technique.fits_whole_nail

    @property
    def group(self) -> tuple[Technique, Agent]:
        return self.technique, self.agent


@dataclass
class DosePlan:
    agent: str
    strength_percent: str
    volume_ml: str
    batch: str
    expires_on: date
    vasoconstrictor: str = Vasoconstrictor.NONE
    toe: ToePlan | None = None


@dataclass
class EventPlan:
    kind: str
    harm: str
    happened_on: date
    note: str
    candour_on: date | None = None
    toe: ToePlan | None = None


@dataclass(eq=False)
class ReviewPlan:
    """toes, sides: the findings, as values of the fields, in the order of the operation's toes and sides."""

    seen_on: date
    origin: str
    observer: str
    means: str
    seen_by: str | None
    toes: list[tuple[ToePlan, dict[str, object]]]
    sides: list[tuple[SidePlan, dict[str, object]]]
    note: str = ""
    next_step: str = "as_planned"
    accepted: bool = True
    recorded_on: date | None = None
    key: str = ""


@dataclass
class ContactPlan:
    made_on: date
    channel: str
    result: str
    note: str = ""
    next_try_on: date | None = None
    handled: bool = True
    reported: str = Reported.NOT_ASKED
    key: str = ""


@dataclass
class BookingPlan:
    starts_at: datetime
    point: str
    key: str = ""


@dataclass(eq=False)
class OperationPlan:
    """One attendance. year: 1, 2, 3; half of the third year: 1 or 2. source: how the 12-month outcome became known."""

    toes: list[ToePlan]
    year: int = 0
    half: int = 0
    performed_on: date = FIRST_DAY
    operator: str = ""
    supervisor: str = ""
    weight_kg: str | None = None
    consent: str = "patient"
    note: str = ""
    source: str = ""
    loss: str = ""
    six_month_day: int | None = None
    twelve_month_day: int | None = None
    contacted_early: bool = True
    outcome: str = ""
    doses: list[DosePlan] = field(default_factory=list)
    events: list[EventPlan] = field(default_factory=list)
    reviews: list[ReviewPlan] = field(default_factory=list)
    contacts: list[ContactPlan] = field(default_factory=list)
    bookings: list[BookingPlan] = field(default_factory=list)
    patient: "PatientPlan | None" = None
    key: str = ""

    @property
    def fate(self) -> str:
        return self.toes[0].fate

    @property
    def tags(self) -> set[str]:
        return {toe.tag for toe in self.toes if toe.tag}

    @property
    def sites(self) -> set[tuple[str, int, str]]:
        return {(toe.foot, toe.toe, side.name) for toe in self.toes for side in toe.sides}

    def on(self, day: int) -> date:
        return self.performed_on + timedelta(days=day)


@dataclass(eq=False)
class PatientPlan:
    operations: list[OperationPlan]
    number: int = 0
    sex: str = "female"
    age_at_first: int = 30
    born_on: date = date(1990, 1, 1)
    given_name: str = ""
    family_name: str = ""
    risks: set[str] = field(default_factory=set)
    died_on: date | None = None
    no_contact_wished: bool = False
    key: str = ""
    identity_key: str = ""

    def age_on(self, day: date) -> int:
        return day.year - self.born_on.year - ((day.month, day.day) < (self.born_on.month, self.born_on.day))


@dataclass
class DraftPlan:
    """Typed and not saved."""

    member: str
    form: str
    subject_key: str
    answers: dict[str, object]


@dataclass
class PhotographPlan:
    """Taken of a toe at one of its reviews."""

    toe: ToePlan
    review: ReviewPlan
    key: str


@dataclass
class Plan:
    """Everything of one practice. rows: what holds each awkward record, by its number; every one has a key.

    amended: sides that were first written down as another side, with the wrong name and the reason.
    prepared: operations still to come today: assessed, and consented to.
    """

    patients: list[PatientPlan]
    rows: dict[int, list[object]] = field(default_factory=dict)
    drafts: list[DraftPlan] = field(default_factory=list)
    amended: list[tuple[SidePlan, str, str]] = field(default_factory=list)
    burnt: list[ToePlan] = field(default_factory=list)
    photographs: list[PhotographPlan] = field(default_factory=list)
    prepared: list[OperationPlan] = field(default_factory=list)

    @property
    def operations(self) -> list[OperationPlan]:
        return [operation for patient in self.patients for operation in patient.operations]

    @property
    def toes(self) -> Iterator[ToePlan]:
        return (toe for operation in self.operations for toe in operation.toes)


def is_weekday(day: date) -> bool:
    return day.weekday() < 5


def on_a_weekday(operation: OperationPlan, day: int) -> int:
    """`day`, or the next one on which a clinic is open."""
    while not is_weekday(operation.on(day)):
        day += 1
    return day


def take(rng: random.Random, operations: list[OperationPlan], toes: int) -> list[OperationPlan]:
    """Operations picked by chance that hold exactly so many toes together."""
    picked, missing = [], toes
    for operation in rng.sample(operations, len(operations)):
        if len(operation.toes) <= missing:
            picked.append(operation)
            missing -= len(operation.toes)
    if missing:
        raise ValueError(f"{toes} toes cannot be picked from {len(operations)} operations")
    return picked


def give_keys(rng: random.Random, patients: list[PatientPlan]) -> None:
    """Fill every key that is still empty, in the order of the plan."""
    for patient in patients:
        patient.key, patient.identity_key = patient.key or mint(rng), patient.identity_key or mint(rng)
        for operation in patient.operations:
            rows = [operation, *operation.toes, *(side for toe in operation.toes for side in toe.sides)]
            for row in [*rows, *operation.reviews, *operation.contacts, *operation.bookings]:
                row.key = row.key or mint(rng)
