"""Invented practices for the demonstration of a peer group, and for tests: frames, as if from records. No Django.

Nobody in them exists. The same seed gives the same practice.
"""

import random
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from audit.measures.columns import FINDINGS, SIDES, TOE_FINDINGS, Cohort, Column

_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"
# Technique, agent, share of the operations; the shares are invented.
USUAL = (("pna_chemical", "phenol", 0.78), ("pna_chemical", "sodium_hydroxide", 0.1), ("tna_chemical", "phenol", 0.07),
         ("pna_only", "none", 0.05))  # fmt: skip
_STRENGTH = {"phenol": (89.0, "w_w"), "sodium_hydroxide": (10.0, "w_v"), "tca": (80.0, "w_v")}
_PLAIN_TOE: dict[str, Any] = {
    "signs": "none_seen", "fluid_colour": "none", "fluid_consistency": "none", "fluid_amount": "dry",
    "erythema_mm": 0.0, "spreading": "no", "swelling": "no", "warmth": "no", "tenderness": "no", "odour": "no",
    "lymphangitis": "no", "wound_opened": "no", "swab": "not_taken", "antibiotic": "none", "diagnosis": "none",
    "pain": 1.0, "satisfaction": "satisfied",
}  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """A practice to invent. Rates from 0 to 1. techniques: technique, agent and share."""

    code: str
    seed: int
    patients: int
    regrowth: float = 0.06
    lost: float = 0.15
    second_toe: float = 0.15
    both_edges: float = 0.18
    infection: float = 0.03
    techniques: tuple[tuple[str, str, float], ...] = USUAL
    performed_from: date = date(2023, 4, 1)
    performed_to: date = date(2024, 3, 31)
    as_of: date = date(2025, 5, 30)


def practice(plan: Plan) -> Cohort:
    """The frames of an invented practice whose outcomes are all due."""
    maker = _Maker(plan)
    for number in range(plan.patients):
        maker.patient(number)
    return Cohort(
        practice_code=plan.code,
        performed_from=plan.performed_from,
        performed_to=plan.performed_to,
        as_of=plan.as_of,
        sides=pd.DataFrame(maker.sides, columns=list(SIDES)),
        findings=pd.DataFrame(maker.findings, columns=list(FINDINGS)),
        toe_findings=pd.DataFrame(maker.toe_findings, columns=list(TOE_FINDINGS)),
        bands=(30, 60, 120, 180),
    )


def _unsaid(columns: Mapping[str, Column], given: Mapping[str, Any]) -> dict[str, str]:
    """Codes that no plan is about: not recorded where there is such a code, else the first of the list."""
    found = {}
    for name, column in columns.items():
        if column.terms is not None and name not in given:
            codes = column.terms.codes()
            found[name] = "not_recorded" if "not_recorded" in codes else codes[0]
    return found


class _Maker:
    def __init__(self, plan: Plan) -> None:
        self.plan, self.rng = plan, random.Random(plan.seed)  # noqa: S311  (invented data)
        self.sides: list[dict[str, Any]] = []
        self.findings: list[dict[str, Any]] = []
        self.toe_findings: list[dict[str, Any]] = []

    def key(self) -> str:
        return "".join(self.rng.choice(_LETTERS) for _ in range(12))

    def patient(self, number: int) -> None:
        rng, plan = self.rng, self.plan
        days = (plan.performed_to - plan.performed_from).days
        shared = {
            "patient_key": self.key(),
            "operation_key": self.key(),
            "performed_on": pd.Timestamp(plan.performed_from + timedelta(days=rng.randrange(days + 1))),
            "age_years": rng.choice((9, 12, 15, 16, 19, 24, 31, 38, 45, 52, 60, 67, 74, 83)),
            "sex": rng.choice(("female", "male")),
            "operator": "member",
            "died_day": float("nan"),
            "reoperated_day": float("nan"),
            "amputated_day": float("nan"),
            "loss_reason": rng.choice(("no_reply", "no_reply", "did_not_attend", "moved")),
        }
        lost = rng.random() < plan.lost
        feet = ["right", "left"] if rng.random() < plan.second_toe else [rng.choice(("right", "left"))]
        technique, agent = self.technique()
        for foot in feet:
            self.toe(shared, foot, technique, agent, lost=lost)

    def technique(self) -> tuple[str, str]:
        chosen = self.rng.choices(self.plan.techniques, [share for *_, share in self.plan.techniques])[0]
        return chosen[0], chosen[1]

    def toe(self, shared: dict[str, Any], foot: str, technique: str, agent: str, *, lost: bool) -> None:
        rng = self.rng
        whole = technique in {"tna_chemical", "tna_only", "matrix_excision"}
        edges = (
            ("fibular", "tibial")
            if rng.random() < self.plan.both_edges
            else (rng.choice(("fibular", "fibular", "tibial")),)
        )
        takes = technique in {"pna_chemical", "tna_chemical", "combined"}
        number, each = rng.choice(((1, 60), (2, 45), (2, 60), (3, 60)))
        strength, basis = _STRENGTH.get(agent, (float("nan"), "not_applicable"))
        toe = {
            **shared,
            "toe_key": self.key(),
            "foot": foot,
            "toe": 1,
            "technique": technique,
            "matrix_destroyed": technique not in {"pna_only", "tna_only"},
            "agent": agent,
            "takes_agent": takes,
            "exposure_seconds": float(number * each) if takes else float("nan"),
            "applications": float(number) if takes else float("nan"),
            "seconds_each": float(each) if takes else float("nan"),
            "strength_percent": strength,
            "strength_basis": basis,
            "curettage": rng.choice(("none", "before", "after")),
            "lavage": ("dilute_acid" if agent == "sodium_hydroxide" else "isopropyl") if takes else "none",
            "infection_at_operation": rng.choice(("none", "none", "inflamed", "purulent")),
        }
        toe = {**_unsaid(SIDES, toe), **toe}
        self.early(toe["toe_key"])
        self.later(toe, ("whole",) if whole else edges, lost=lost)

    def early(self, toe_key: str) -> None:
        """A first redress, and a visit at which the wound is dry."""
        infected = self.rng.random() < self.plan.infection
        signs = {"signs": "some", "fluid_colour": "green", "fluid_consistency": "thick", "fluid_amount": "moderate",
                 "swab": "organism", "antibiotic": "gp", "diagnosis": "superficial"} if infected else {}  # fmt: skip
        for day, healing, more in ((self.rng.randint(3, 7), "moist", signs), (self.rng.randint(24, 50), "dry", {})):
            self.toe_findings.append({
                **_unsaid(TOE_FINDINGS, _PLAIN_TOE), **_PLAIN_TOE, **more,
                "toe_key": toe_key, "review_key": self.key(), "day": day, "means": "in_person", "healing": healing,
            })  # fmt: skip

    def later(self, toe: dict[str, Any], edges: tuple[str, ...], *, lost: bool) -> None:
        rng = self.rng
        day, means = rng.randint(340, 410), rng.choice(("in_person", "in_person", "phone", "questionnaire"))
        review, observer = self.key(), "patient" if means == "questionnaire" else "operator"
        for edge in edges:
            side = {**toe, "side_key": self.key(), "side": edge}
            self.sides.append(side)
            grown = side["matrix_destroyed"] and rng.random() < self.plan.regrowth
            if lost and not grown:
                continue
            symptoms = rng.choice(("ingrowth", "none")) if grown else "none"
            extent = rng.choice(("spicule", "strip")) if grown else "none"
            self.findings.append({
                "side_key": side["side_key"], "review_key": review, "day": day, "origin": "planned",
                "observer": observer, "means": means,
                "extent": extent if side["matrix_destroyed"] else "not_applicable", "symptoms": symptoms,
                "retreatment": "none",
            })  # fmt: skip
