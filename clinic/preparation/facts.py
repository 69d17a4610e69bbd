"""What the rules of flags look at. Everything left out was not recorded.

Plain values: no Django, no records.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from clinic.vocabulary.preparation import (
    Diabetes,
    Doppler,
    FootRisk,
    Immunosuppression,
    Pregnancy,
    PriorSurgery,
    Pulse,
    Tobacco,
)
from clinic.vocabulary.procedure import Answer, LocalInfection


@dataclass(frozen=True)
class FootFacts:
    """Findings at one foot. Ratios without unit, pressures in mmHg, sites felt of 10; None where not recorded."""

    foot: str
    dorsalis_pedis: str = Pulse.NOT_RECORDED
    posterior_tibial: str = Pulse.NOT_RECORDED
    doppler: str = Doppler.NOT_RECORDED
    abpi: Decimal | None = None
    toe_pressure: int | None = None
    tbi: Decimal | None = None
    ankle_pressure: int | None = None
    monofilament_sites: int | None = None


@dataclass(frozen=True)
class ToeFacts:
    """Findings at one toe that may be operated on."""

    foot: str
    toe: int
    infection: str = LocalInfection.NOT_RECORDED
    bone_infection: str = Answer.NOT_RECORDED
    prior_surgery: str = PriorSurgery.NOT_RECORDED


@dataclass(frozen=True)
class Facts:
    """What is known of a patient; everything left out was not recorded.

    age_years: on the day of the operation. conditions, antithrombotics: answer by code. allergies: by code of the
    allergen, only where there is one, the reaction.
    """

    age_years: int | None = None
    weight_kg: Decimal | None = None
    diabetes: str = Diabetes.NOT_RECORDED
    foot_risk: str = FootRisk.NOT_RECORDED
    hba1c: Decimal | None = None
    hba1c_unit: str = ""
    hba1c_on: date | None = None
    inr: Decimal | None = None
    inr_on: date | None = None
    immunosuppression: str = Immunosuppression.NOT_RECORDED
    pregnancy: str = Pregnancy.NOT_RECORDED
    breastfeeding: str = Pregnancy.NOT_RECORDED
    tobacco: str = Tobacco.NOT_RECORDED
    feet: tuple[FootFacts, ...] = ()
    toes: tuple[ToeFacts, ...] = ()
    conditions: Mapping[str, str] = field(default_factory=dict)
    antithrombotics: Mapping[str, str] = field(default_factory=dict)
    allergies: Mapping[str, str] = field(default_factory=dict)
    allergy_words: str = ""
