"""What an assessment asks somebody to look at: an observed fact and a possible problem, never what to do about it.

Facts, thresholds and the day of the operation in, flags out; no record is read or written here.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from clinic.access.numbers import plain, say_day
from clinic.preparation.facts import Facts, FootFacts
from clinic.preparation.thresholds import DEFAULTS
from clinic.schedule import add_months
from clinic.vocabulary import sources as s
from clinic.vocabulary.preparation import (
    Allergen,
    Antithrombotic,
    Condition,
    Diabetes,
    Doppler,
    FlagLevel,
    FootRisk,
    Hba1cUnit,
    Immunosuppression,
    Pregnancy,
    PriorSurgery,
    Pulse,
    Reaction,
    Tobacco,
)
from clinic.vocabulary.procedure import Answer, LocalInfection
from clinic.vocabulary.sites import capital, listed, small, toe_name
from clinic.vocabulary.terms import Source, label_of

STOP, CAUTION, NOTE = FlagLevel.STOP, FlagLevel.CAUTION, FlagLevel.NOTE
Limits = Mapping[str, Decimal]
SLOW_HEALING = "the wound may not heal for lack of blood"
STALE = "the result may no longer describe the patient"
BLEEDING = "bleeding may be longer or heavier"


@dataclass(frozen=True)
class Flag:
    """code: stable, with the foot or toe it is about. fact: begins a sentence and has no full stop."""

    code: str
    level: FlagLevel
    fact: str
    problem: str
    source: Source

    @property
    def sentence(self) -> str:
        return f"{self.fact}. Possible problem: {self.problem}. See local protocol."


def flags_of(facts: Facts, *, on: date, thresholds: Limits = DEFAULTS, vasoconstrictor: bool = False) -> list[Flag]:
    """All flags, the weightiest first.

    on: the day of the operation, against which results grow old. thresholds: as `thresholds_with` gives them.
    vasoconstrictor: whether the planned anaesthetic holds one.
    """
    found = [
        flag
        for rule in (_circulation, _toes, _sugar, _clotting, _health, _conditions, _allergies, _person)
        for flag in rule(facts, thresholds, on)
    ]
    if vasoconstrictor:
        found += _vasoconstrictor(facts)
    weight = list(FlagLevel)
    return sorted(found, key=lambda flag: weight.index(flag.level))


# --- blood supply and feeling


def _circulation(facts: Facts, limits: Limits, on: date) -> Iterator[Flag]:
    for foot in facts.feet:
        name = f"{foot.foot.capitalize()} foot"
        yield from _pulses(foot, name)
        yield from _abpi(foot, name, limits)
        yield from _toe_pressure(foot, name, limits)
        if foot.tbi is not None and foot.tbi < limits["tbi_caution_below"]:
            fact = f"{name}: TBI {foot.tbi:.2f}, below {limits['tbi_caution_below']:.2f}"
            yield Flag(f"tbi_{foot.foot}", CAUTION, fact, "arterial disease", s.PAD_GUIDANCE)
        low = limits["ankle_pressure_stop_below"]
        if foot.ankle_pressure is not None and foot.ankle_pressure < low:
            fact = f"{name}: ankle pressure {foot.ankle_pressure} mmHg, below {plain(low)} mmHg"
            yield Flag(f"ankle_pressure_{foot.foot}", STOP, fact, "the limb may be in danger", s.PERFUSION_GRADES)
        low = limits["monofilament_caution_below"]
        if foot.monofilament_sites is not None and foot.monofilament_sites < low:
            fact = f"{name}: {foot.monofilament_sites} of 10 monofilament sites felt, fewer than {plain(low)}"
            problem = "pain may not warn of a wound that goes wrong"
            yield Flag(f"monofilament_{foot.foot}", CAUTION, fact, problem, s.COMMON_PRACTICE)


def _pulses(foot: FootFacts, name: str) -> Iterator[Flag]:
    pulses = {"dorsalis pedis": foot.dorsalis_pedis, "posterior tibial": foot.posterior_tibial}
    missing = [pulse for pulse, found in pulses.items() if found == Pulse.NOT_PALPABLE]
    if missing:
        verb = "pulses are" if len(missing) == 2 else "pulse is"
        fact = f"{name}: the {listed(missing)} {verb} not palpable"
        yield Flag(f"pulses_{foot.foot}", CAUTION, fact, "the blood supply may be reduced", s.COMMON_PRACTICE)
    if foot.doppler in {Doppler.MONOPHASIC, Doppler.NO_SIGNAL}:
        fact = f"{name}: Doppler {label_of(Doppler, foot.doppler).lower()}"
        yield Flag(f"doppler_{foot.foot}", NOTE, fact, "the blood supply may be reduced", s.COMMON_PRACTICE)


def _abpi(foot: FootFacts, name: str, limits: Limits) -> Iterator[Flag]:
    value, code = foot.abpi, f"abpi_{foot.foot}"
    if value is None:
        return
    stop, low, high = (limits[f"abpi_{each}"] for each in ("stop_below", "caution_below", "caution_above"))
    if value < stop:
        yield Flag(code, STOP, f"{name}: ABPI {value:.2f}, below {stop:.2f}", SLOW_HEALING, s.NAIL_HANDBOOK)
    elif value < low:
        fact = f"{name}: ABPI {value:.2f}, below {low:.2f}"
        yield Flag(code, CAUTION, fact, "arterial disease", s.PAD_GUIDANCE)
    elif value > high:
        fact = f"{name}: ABPI {value:.2f}, above {high:.2f}"
        yield Flag(code, CAUTION, fact, "the arteries may be incompressible and the ratio misleading", s.PAD_GUIDANCE)


def _toe_pressure(foot: FootFacts, name: str, limits: Limits) -> Iterator[Flag]:
    if foot.toe_pressure is None:
        return
    steps = (
        ("critical", STOP, "the limb may be in danger", s.PERFUSION_GRADES),
        ("stop", STOP, SLOW_HEALING, s.NAIL_HANDBOOK),
        ("caution", CAUTION, "healing may be slow for lack of blood", s.PERFUSION_GRADES),
    )
    for step, level, problem, source in steps:
        low = limits[f"toe_pressure_{step}_below"]
        if foot.toe_pressure < low:
            fact = f"{name}: toe pressure {foot.toe_pressure} mmHg, below {plain(low)} mmHg"
            yield Flag(f"toe_pressure_{foot.foot}", level, fact, problem, source)
            return


# --- the toe itself


def _toes(facts: Facts, limits: Limits, on: date) -> Iterator[Flag]:
    for each in facts.toes:
        name, code = capital(toe_name(each.foot, each.toe)), f"{each.foot}_{each.toe}"
        if each.infection == LocalInfection.SPREADING:
            problem = "an infection may be spreading beyond the toe"
            yield Flag(f"infection_{code}", STOP, f"{name}: redness spreading from the toe", problem, s.COMMON_PRACTICE)
        elif each.infection == LocalInfection.PURULENT:
            problem = "infection present at the time of surgery, which the audit counts apart"
            yield Flag(f"infection_{code}", NOTE, f"{name}: pus", problem, s.SURVEILLANCE_30_DAYS)
        elif each.infection == LocalInfection.INFLAMED:
            problem = "an infection may be beginning"
            yield Flag(f"infection_{code}", NOTE, f"{name}: inflamed, without pus", problem, s.COMMON_PRACTICE)
        if each.bone_infection == Answer.YES:
            fact = f"{name}: infection of the bone is suspected"
            yield Flag(f"bone_{code}", STOP, fact, "osteomyelitis", s.COMMON_PRACTICE)
        if each.prior_surgery in {PriorSurgery.AVULSION, PriorSurgery.CHEMICAL, PriorSurgery.EXCISIONAL}:
            fact = f"{name}: earlier surgery, {label_of(PriorSurgery, each.prior_surgery).lower()}"
            yield Flag(f"prior_{code}", NOTE, fact, "the matrix may already be altered", s.COMMON_PRACTICE)


# --- diabetes, clotting


def _sugar(facts: Facts, limits: Limits, on: date) -> Iterator[Flag]:
    present = facts.diabetes in {Diabetes.TYPE_1, Diabetes.TYPE_2, Diabetes.OTHER}
    if present:
        kind = label_of(Diabetes, facts.diabetes).lower()
        risk = f", foot risk {label_of(FootRisk, facts.foot_risk).lower()}" if facts.foot_risk in _KNOWN_RISK else ""
        problem = "healing and infection may take another course"
        yield Flag("diabetes", CAUTION, f"Diabetes, {kind}{risk}", problem, s.COMMON_PRACTICE)
    if facts.hba1c is None:
        if present:
            yield Flag("hba1c_missing", NOTE, "Diabetes, and no HbA1c is recorded", STALE_OR_MISSING, s.COMMON_PRACTICE)
        return
    yield from _hba1c(facts.hba1c, facts.hba1c_unit, limits)
    if facts.hba1c_on is None:
        yield Flag("hba1c_stale", CAUTION, "HbA1c is recorded without its date", STALE, s.COMMON_PRACTICE)
    elif on > add_months(facts.hba1c_on, int(limits["hba1c_months"])):
        months = plain(limits["hba1c_months"])
        fact = f"HbA1c of {say_day(facts.hba1c_on)} is more than {months} months old"
        yield Flag("hba1c_stale", CAUTION, fact, STALE, s.COMMON_PRACTICE)


_KNOWN_RISK = {FootRisk.LOW, FootRisk.MODERATE, FootRisk.HIGH, FootRisk.ACTIVE}
STALE_OR_MISSING = "how well it is controlled is not known"


def _hba1c(value: Decimal, unit: str, limits: Limits) -> Iterator[Flag]:
    percent = unit == Hba1cUnit.PERCENT
    limit = limits["hba1c_percent_caution_from" if percent else "hba1c_mmol_caution_from"]
    shown = label_of(Hba1cUnit, unit)
    if value >= limit:
        fact = f"HbA1c {plain(value)} {shown}, not below {plain(limit)} {shown}"
        yield Flag("hba1c", CAUTION, fact, "healing may be slow and infection likelier", s.HBA1C_BEFORE_SURGERY)


def _clotting(facts: Facts, limits: Limits, on: date) -> Iterator[Flag]:
    for code in Antithrombotic:
        if facts.antithrombotics.get(code) == Answer.YES:
            fact = f"Takes: {small(code.label)}"
            yield Flag(f"takes_{code}", NOTE, fact, BLEEDING, s.ANTITHROMBOTICS_NAIL)
    if facts.inr is not None and facts.inr > limits["inr_stop_above"]:
        fact = f"INR {plain(facts.inr)}, above {plain(limits['inr_stop_above'])}"
        yield Flag("inr", STOP, fact, BLEEDING, s.INR_SKIN_SURGERY)
    if facts.antithrombotics.get(Antithrombotic.WARFARIN) == Answer.YES:
        yield from _inr_age(facts, int(limits["inr_days"]), on)


def _inr_age(facts: Facts, days: int, on: date) -> Iterator[Flag]:
    """Whole days: a result of the third day before counts as within 72 hours.

    The fact names the day of the operation, so that what was decided for one day is open again for a later one.
    """
    if facts.inr is None:
        yield Flag("inr_stale", STOP, "Takes warfarin, and no INR is recorded", BLEEDING, s.COMMON_PRACTICE)
    elif facts.inr_on is None:
        yield Flag("inr_stale", STOP, "INR is recorded without its date", STALE, s.COMMON_PRACTICE)
    elif (on - facts.inr_on).days > days:
        fact = f"INR of {say_day(facts.inr_on)} is more than {days * 24} hours old on {say_day(on)}"
        yield Flag("inr_stale", STOP, fact, STALE, s.COMMON_PRACTICE)


# --- general health


def _health(facts: Facts, limits: Limits, on: date) -> Iterator[Flag]:
    if facts.immunosuppression not in _NOT_SUPPRESSED:
        kind = label_of(Immunosuppression, facts.immunosuppression).lower()
        fact, problem = f"Immune system suppressed: {kind}", "infection may be likelier and show fewer signs"
        yield Flag("immunosuppression", CAUTION, fact, problem, s.COMMON_PRACTICE)
    if facts.pregnancy == Pregnancy.YES:
        problem = "the anaesthetic or the agent may reach the child"
        yield Flag("pregnancy", STOP, "Pregnant", problem, s.PREGNANCY_LEAFLETS)
    elif facts.pregnancy == Pregnancy.DECLINED:
        fact = "The question about pregnancy was not answered"
        yield Flag("pregnancy", NOTE, fact, "a pregnancy cannot be excluded", s.COMMON_PRACTICE)
    if facts.breastfeeding == Pregnancy.YES:
        problem = "the anaesthetic may pass into the milk; advice varies"
        yield Flag("breastfeeding", NOTE, "Breastfeeding", problem, s.PREGNANCY_LEAFLETS)
    if facts.tobacco == Tobacco.CURRENT:
        yield Flag("tobacco", NOTE, "Uses tobacco", "healing may be slow", s.COMMON_PRACTICE)


_NOT_SUPPRESSED = {Immunosuppression.NONE, Immunosuppression.NOT_ASSESSED, Immunosuppression.NOT_RECORDED}


def _conditions(facts: Facts, limits: Limits, on: date) -> Iterator[Flag]:
    for each in Condition:
        if facts.conditions.get(each) != Answer.YES:
            continue
        level, problem = CAUTION, "the anaesthetic may act longer or harm more"
        if each.narrows_vessels:
            problem = "a tourniquet may leave the toe without blood"
        elif each == Condition.CRPS:
            problem = "the pain syndrome may return"
        elif each.is_prosthesis:
            level, problem = NOTE, "an infection may reach it; the practice has its own policy"
        yield Flag(f"condition_{each}", level, each.label, problem, each.source)


def _vasoconstrictor(facts: Facts) -> Iterator[Flag]:
    for each in Condition:
        if each.narrows_vessels and facts.conditions.get(each) == Answer.YES:
            fact = f"{each.label}, and an anaesthetic with vasoconstrictor is planned"
            problem = "the toe may be left without blood"
            yield Flag(f"vasoconstrictor_{each}", STOP, fact, problem, s.COMMON_PRACTICE)


_ALLERGY_LEVELS = {Allergen.AMIDE: STOP, Allergen.PHENOL: STOP, Allergen.ESTER: NOTE, Allergen.ANTIBIOTIC: NOTE}


def _allergies(facts: Facts, limits: Limits, on: date) -> Iterator[Flag]:
    for each in Allergen:
        if each in facts.allergies:
            reaction = label_of(Reaction, facts.allergies[each]).lower() or "reaction not recorded"
            fact = f"Allergy to {small(each.label)}: {reaction}"
            level = _ALLERGY_LEVELS.get(each, CAUTION)
            yield Flag(f"allergy_{each}", level, fact, "an allergic reaction", s.COMMON_PRACTICE)
    if facts.allergy_words and not facts.allergies:
        problem = "an allergic reaction"
        yield Flag("allergy_words", NOTE, f"Allergy in words: {facts.allergy_words}", problem, s.COMMON_PRACTICE)


def _person(facts: Facts, limits: Limits, on: date) -> Iterator[Flag]:
    if facts.age_years is not None and facts.age_years < limits["child_below_years"]:
        fact = f"Aged {facts.age_years}"
        yield Flag("child", NOTE, fact, "somebody else may have to consent", s.COMMON_PRACTICE)
    if facts.weight_kg is None:
        fact = "The weight is not recorded"
        yield Flag("weight", NOTE, fact, "the limit of the anaesthetic cannot be worked out", s.OWN_DESIGN)
