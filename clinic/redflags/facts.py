"""What the rules of red flags look at. Plain values; what is None was not recorded."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from fractions import Fraction


@dataclass(frozen=True)
class ToeFacts:
    """One toe of an operation. key: what the flag is filed under. place: in words, at the start of a sentence.

    exposures: seconds at each treated side, where recorded. expires_before: whether the agent had expired by the day.
    """

    key: str
    place: str
    tourniquet_used: bool = False
    tourniquet_on_at: datetime | None = None
    tourniquet_off_at: datetime | None = None
    is_closed: bool = False
    toe_colour: str = ""
    capillary_refill_seconds: Decimal | None = None
    agent: str = "none"
    exposures: tuple[int, ...] = ()
    whole_nail: bool = False
    toe: int = 1
    agent_expired: bool = False
    infection_before: str = ""


@dataclass(frozen=True)
class OperationFacts:
    """dose_share: the greatest share of an approved limit, at least; None where nothing can be said.

    events: kinds. not_so: lines of the checklist answered no. The long_… are the practice's own limits.
    """

    age_years: int | None = None
    risks: tuple[str, ...] = ()
    toes: tuple[ToeFacts, ...] = ()
    dose_share: Fraction | None = None
    dose_words: str = ""
    expired_doses: tuple[str, ...] = ()
    events: tuple[str, ...] = ()
    not_so: frozenset[str] = frozenset()
    long_exposure_seconds: int = 180
    long_tourniquet_minutes: int = 30


@dataclass(frozen=True)
class FindingFacts:
    """One toe at one review. infected_since_day: of the first review of this toe with a diagnosed infection.

    is_told: the patient's own words, nobody has looked. told_yellow: of yellow or smelly fluid.
    """

    key: str
    place: str
    day: int
    healing: str
    values: Mapping[str, object] = field(default_factory=dict)
    infected: bool = False
    infected_since_day: int | None = None
    risks: tuple[str, ...] = ()
    is_told: bool = False
    told_yellow: bool = False
