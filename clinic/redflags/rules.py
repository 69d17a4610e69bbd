"""Which entries raise a red flag: an observed fact and a possible problem, never what to do about it.

Pure: facts in, flags out. Where a limit has no source beside it, it is common practice, no source.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

from clinic.redflags.facts import FindingFacts, OperationFacts, ToeFacts
from clinic.vocabulary.procedure import Agent, Answer, EventKind, LocalInfection
from clinic.vocabulary.recall import ReportFlag
from clinic.vocabulary.redflag import Alert, Reported
from clinic.vocabulary.review import FluidAmount, Healing
from clinic.vocabulary.sites import capital
from clinic.vocabulary.terms import label_of
from clinic.vocabulary.theatre import ToeColour

SLOW_REFILL_SECONDS = 3
NEAR_LIMIT, LIMIT = Fraction(4, 5), Fraction(1)
CHILD_UNDER = 16
SEVERE_PAIN, SEVERE_PAIN_UNTIL_DAY = 8, 2
NUMB_FROM_DAY, NUMB_UNTIL_DAY = 1, 7  # earlier the block may still act, later a nerve is likelier
WIDE_REDNESS_MM = 20  # from there an infection is called moderate: IWGDF/IDSA grades
# Systemic signs of the same grades: above 38 or below 36 degrees, pulse above 90, breathing rate above 20.
FEVER_C, COLD_C, FAST_PULSE, FAST_BREATHING, SIRS_ITEMS = Decimal(38), Decimal(36), 90, 20, 2
LONG_INFECTION_DAYS, LONG_FLUID_DAYS = 28, 56
LONG_PAIN_FROM_DAY, SLOW_HEALING_FROM_DAY = 21, 84
HIGH_TOLD_PAIN = 7
WET = {FluidAmount.SPOTTING, FluidAmount.MODERATE, FluidAmount.SOAKED}
INFECTED_BEFORE = {term.value for term in LocalInfection if term.present}
RISK_WORDS = {
    "diabetes": "diabetes",
    "poor_circulation": "poor circulation in the foot",
    "immunosuppressed": "a suppressed immune system",
}
EVENTS: dict[str, Alert] = {
    EventKind.TOXICITY_SIGNS: Alert.ANAESTHETIC_TOXICITY,
    EventKind.ALLERGIC_SIGNS: Alert.ANAPHYLAXIS,
    EventKind.AGENT_SPILL: Alert.AGENT_TOXICITY,
    EventKind.AGENT_SIGNS: Alert.AGENT_TOXICITY,
}
TOLD: dict[str, Alert] = {
    Reported.DARK_OR_NUMB: Alert.ISCHAEMIA,
    Reported.SPREADING: Alert.CELLULITIS,
    Reported.UNWELL: Alert.SEPSIS,
    Reported.CHILD_ALONE: Alert.SAFETY,
    Reported.CONCERN: Alert.SAFETY,
}

TICKED: dict[str, Alert] = {
    ReportFlag.SIGN_RED: Alert.CELLULITIS,
    ReportFlag.SIGN_LINES: Alert.CELLULITIS,
    ReportFlag.SIGN_DARK: Alert.ISCHAEMIA,
    ReportFlag.SIGN_SHAKY: Alert.SEPSIS,
}


@dataclass(frozen=True)
class Raised:
    """fact: a sentence without its full stop. toe: key of the toe it is about; empty for the whole operation."""

    alert: Alert
    fact: str
    toe: str = ""


# --- the operation


def of_operation(facts: OperationFacts) -> list[Raised]:
    found = [flag for toe in facts.toes for flag in _toe(toe, facts)]
    found += _dose(facts)
    found += [Raised(EVENTS[kind], label_of(EventKind, kind)) for kind in facts.events if kind in EVENTS]
    if "blood_flow" in facts.not_so:
        found.append(Raised(Alert.ISCHAEMIA, "Checklist: blood flow has not returned to the toe"))
    if "dressing" in facts.not_so:
        found.append(Raised(Alert.ISCHAEMIA, "Checklist: the dressing constricts"))
    if "tourniquet_off" in facts.not_so:
        found.append(Raised(Alert.TOURNIQUET_LEFT, "Checklist: the tourniquet was not off at the last check"))
    if sum(toe.agent == Agent.PHENOL and toe.whole_nail and toe.toe == 1 for toe in facts.toes) > 1:
        found.append(Raised(Alert.AGENT_EXPOSURE, "Phenol at more than one whole nail of a 1st toe on one day"))
    return list(dict.fromkeys(found))


def _toe(toe: ToeFacts, facts: OperationFacts) -> Iterator[Raised]:
    yield from _tourniquet(toe, facts)
    if toe.toe_colour in {ToeColour.DUSKY, ToeColour.PALE}:
        colour = label_of(ToeColour, toe.toe_colour).lower()
        yield Raised(Alert.ISCHAEMIA, f"{toe.place}: {colour} after the operation", toe.key)
    refill = toe.capillary_refill_seconds
    if refill is not None and refill > SLOW_REFILL_SECONDS:
        fact = f"{toe.place}: capillary refill {refill.normalize():f} s, above {SLOW_REFILL_SECONDS} s"
        yield Raised(Alert.ISCHAEMIA, fact, toe.key)
    if toe.agent == Agent.PHENOL:
        yield from _phenol(toe, facts)
    if toe.agent_expired:
        yield Raised(Alert.EXPIRED, f"{toe.place}: the batch of the agent had expired on that day", toe.key)
    if toe.infection_before in INFECTED_BEFORE and facts.risks:
        state = label_of(LocalInfection, toe.infection_before).lower()
        yield Raised(
            Alert.HIGH_RISK_FOOT, f"{toe.place}: {state} before the operation, and {_named(facts.risks)}", toe.key
        )


def _tourniquet(toe: ToeFacts, facts: OperationFacts) -> Iterator[Raised]:
    on_at, off_at = toe.tourniquet_on_at, toe.tourniquet_off_at
    if toe.tourniquet_used and off_at is None and toe.is_closed:
        yield Raised(Alert.TOURNIQUET_LEFT, f"{toe.place}: the tourniquet has no time off", toe.key)
    if on_at and off_at and off_at - on_at > timedelta(minutes=facts.long_tourniquet_minutes):
        limit, minutes = facts.long_tourniquet_minutes, int((off_at - on_at).total_seconds() // 60)
        lasted = f"for {minutes} minutes, more than {limit}" if minutes > limit else f"for more than {limit} minutes"
        yield Raised(Alert.TOURNIQUET_LONG, f"{toe.place}: the tourniquet was on {lasted}", toe.key)


def _phenol(toe: ToeFacts, facts: OperationFacts) -> Iterator[Raised]:
    longest = max(toe.exposures, default=0)
    if longest > facts.long_exposure_seconds:
        fact = f"{toe.place}: phenol for {longest} s at one side, more than {facts.long_exposure_seconds} s"
        yield Raised(Alert.AGENT_EXPOSURE, fact, toe.key)
    if facts.age_years is not None and facts.age_years < CHILD_UNDER:
        yield Raised(Alert.AGENT_EXPOSURE, f"{toe.place}: phenol at a patient of {facts.age_years} years", toe.key)


def _dose(facts: OperationFacts) -> Iterator[Raised]:
    share = facts.dose_share
    if share is not None and share > NEAR_LIMIT:
        yield Raised(Alert.DOSE_ABOVE if share > LIMIT else Alert.DOSE_NEAR, facts.dose_words)
    for batch in facts.expired_doses:
        yield Raised(Alert.EXPIRED, f"The batch {batch} of the anaesthetic had expired on that day")


# --- a review


def of_finding(facts: FindingFacts) -> list[Raised]:
    """One toe at one review."""
    rules = (_blood_flow, _redness, _unwell, _bone, _risk, _pain, _slow, _told)
    return [flag for rule in rules for flag in rule(facts)]


def _yes(facts: FindingFacts, name: str) -> bool:
    return facts.values.get(name) == Answer.YES


def _blood_flow(facts: FindingFacts) -> Iterator[Raised]:
    pain = facts.values.get("pain")
    if _yes(facts, "dusky"):
        yield Raised(Alert.ISCHAEMIA, f"{facts.place}: dusky, white or cold on day {facts.day}", facts.key)
    if _yes(facts, "numbness") and NUMB_FROM_DAY <= facts.day <= NUMB_UNTIL_DAY:
        yield Raised(Alert.ISCHAEMIA, f"{facts.place}: numb on day {facts.day}", facts.key)
    if isinstance(pain, int) and pain >= SEVERE_PAIN and facts.day <= SEVERE_PAIN_UNTIL_DAY:
        yield Raised(Alert.ISCHAEMIA, f"{facts.place}: pain {pain} of 10 on day {facts.day}", facts.key)


def _redness(facts: FindingFacts) -> Iterator[Raised]:
    width, heat = facts.values.get("erythema_mm"), facts.values.get("temperature_c")
    seen = []
    if isinstance(width, int) and width >= WIDE_REDNESS_MM:
        seen.append(f"redness {width} mm wide")
    seen += ["redness spreading"] if _yes(facts, "spreading") else []
    seen += ["red streaks"] if _yes(facts, "lymphangitis") else []
    seen += [f"temperature {heat.normalize():f} °C"] if isinstance(heat, Decimal) and heat > FEVER_C else []
    if seen:
        yield Raised(Alert.CELLULITIS, f"{facts.place}: {', '.join(seen)}", facts.key)


def _unwell(facts: FindingFacts) -> Iterator[Raised]:
    heat, pulse, breathing = (facts.values.get(name) for name in ("temperature_c", "pulse", "respiratory_rate"))
    seen = []
    if isinstance(heat, Decimal) and (heat > FEVER_C or heat < COLD_C):
        seen.append(f"temperature {heat.normalize():f} °C")
    seen += [f"pulse {pulse}"] if isinstance(pulse, int) and pulse > FAST_PULSE else []
    seen += [f"breathing rate {breathing}"] if isinstance(breathing, int) and breathing > FAST_BREATHING else []
    if len(seen) >= SIRS_ITEMS:
        yield Raised(Alert.SEPSIS, ", ".join(seen)[0].upper() + ", ".join(seen)[1:])
    if _yes(facts, "unwell"):
        yield Raised(Alert.SEPSIS, "Shivering, confused or very unwell")


def _bone(facts: FindingFacts) -> Iterator[Raised]:
    if _yes(facts, "bone_signs"):
        yield Raised(Alert.BONE_INFECTION, f"{facts.place}: sausage toe, or a probe reaches bone", facts.key)
    since = facts.infected_since_day
    if facts.infected and since is not None and facts.day - since > LONG_INFECTION_DAYS:
        fact = f"{facts.place}: infection since day {since}, for {facts.day - since} days"
        yield Raised(Alert.BONE_INFECTION, fact, facts.key)
    if facts.values.get("fluid_amount") in WET and facts.day > LONG_FLUID_DAYS:
        yield Raised(Alert.BONE_INFECTION, f"{facts.place}: wound fluid on day {facts.day}", facts.key)


def _risk(facts: FindingFacts) -> Iterator[Raised]:
    if facts.infected and facts.risks:
        yield Raised(Alert.HIGH_RISK_FOOT, f"{facts.place}: an infection, and {_named(facts.risks)}", facts.key)


def _pain(facts: FindingFacts) -> Iterator[Raised]:
    if _yes(facts, "altered_pain") and facts.day >= LONG_PAIN_FROM_DAY:
        fact = f"{facts.place}: pain out of proportion, or altered colour, warmth or sweating, on day {facts.day}"
        yield Raised(Alert.PAIN_SYNDROME, fact, facts.key)


def _slow(facts: FindingFacts) -> Iterator[Raised]:
    is_open = facts.healing in {Healing.MOIST, Healing.NOT_HEALING}
    if (is_open or _yes(facts, "over_granulation")) and facts.day >= SLOW_HEALING_FROM_DAY:
        what = "over-granulation" if _yes(facts, "over_granulation") else "not healed"
        yield Raised(Alert.NOT_HEALING, f"{facts.place}: {what} on day {facts.day}", facts.key)
    if _yes(facts, "pigment"):
        yield Raised(Alert.NOT_HEALING, f"{facts.place}: pigment", facts.key)


def _told(facts: FindingFacts) -> Iterator[Raised]:
    """What the patient reports, by the same borders as what somebody saw."""
    pain, fluid = facts.values.get("pain"), f"{facts.place}: yellow or smelly fluid"
    if facts.told_yellow and facts.day > LONG_FLUID_DAYS:
        yield Raised(Alert.BONE_INFECTION, f"{fluid} on day {facts.day}, told by the patient", facts.key)
    if facts.told_yellow and facts.risks:
        yield Raised(Alert.HIGH_RISK_FOOT, f"{fluid} told by the patient, and {_named(facts.risks)}", facts.key)
    if facts.is_told and isinstance(pain, int) and pain >= HIGH_TOLD_PAIN and facts.day >= LONG_PAIN_FROM_DAY:
        fact = f"{facts.place}: pain {pain} of 10 on day {facts.day}, told by the patient"
        yield Raised(Alert.PAIN_SYNDROME, fact, facts.key)


def _named(risks: tuple[str, ...]) -> str:
    return " and ".join(RISK_WORDS[risk] for risk in risks)


def of_report(flags: Iterable[str], *, day: int) -> list[Raised]:
    """The warning signs that a patient ticked; which toe is not asked."""
    found = [(TICKED[code], capital(label_of(ReportFlag, code))) for code in flags if code in TICKED]
    return [Raised(alert, f"{words}, ticked by the patient on day {day}") for alert, words in found]


# --- a contact


def of_contact(reported: str, *, day: int) -> list[Raised]:
    """What somebody told on that day after the operation."""
    alert = TOLD.get(reported)
    return [Raised(alert, f"Told on day {day}: {label_of(Reported, reported).lower()}")] if alert else []
