"""A year of 5,000 nail procedures with 20,000 reviews as the frames of a yearly report; seeded, invented."""

from datetime import date, timedelta

import numpy as np
import pandas as pd

from audit.measures.afterwards import INCIDENTS
from audit.measures.columns import FINDINGS, SIDES, TOE_FINDINGS, Cohort
from audit.measures.material import Material, material
from audit.measures.process import TOES
from audit.measures.visits import CONTACTS

FIRST, LAST, AS_OF = date(2023, 4, 1), date(2024, 3, 31), date(2025, 5, 30)
PER_TOE = 5
TECHNIQUES = np.array([("pna_chemical", "phenol")] * 14 + [("pna_chemical", "sodium_hydroxide")] * 3
                      + [("tna_chemical", "phenol")] * 2 + [("wedge", "none")])  # fmt: skip
SECONDS = np.array([60.0, 90.0, 120.0, 180.0, np.nan])
TARGETS = np.array([4, 21, 42, 182, 365])


def year(toes: int = 5_000, seed: int = 7) -> Material:
    """toes: nail procedures. One in four patients has two, one procedure in ten two sides."""
    random = np.random.default_rng(seed)
    patients = np.sort(random.integers(0, round(toes * 0.8), toes))
    days = np.sort(random.integers(0, (LAST - FIRST).days + 1, toes))
    chosen = TECHNIQUES[random.integers(0, len(TECHNIQUES), toes)]
    chemical = chosen[:, 1] != "none"
    frame = pd.DataFrame(
        {
            "toe_key": [f"t{place:06}" for place in range(toes)],
            "operation_key": [f"o{place:06}" for place in range(toes)],
            "patient_key": [f"p{place:06}" for place in patients],
            "performed_on": pd.to_datetime([FIRST + timedelta(days=int(day)) for day in days]),
            "age_years": pd.array(random.integers(8, 90, toes), dtype="Int64"),
            "sex": random.choice(["female", "male"], toes),
            "foot": random.choice(["left", "right"], toes),
            "toe": random.choice([1, 1, 1, 1, 2], toes),
            "technique": chosen[:, 0],
            "matrix_destroyed": True,
            "agent": chosen[:, 1],
            "exposure_seconds": np.where(chemical, SECONDS[random.integers(0, 5, toes)], np.nan),
            "takes_agent": chemical,
            "strength_percent": np.where(chemical, 89.0, np.nan),
            "strength_basis": np.where(chemical, "w_w", "not_applicable"),
            "curettage": random.choice(["none", "before"], toes),
            "lavage": "ethanol",
            "operator": random.choice([f"m{place}" for place in range(8)], toes),
            "infection_at_operation": random.choice(["none", "inflamed"], toes),
            "prior_surgery": "no",
            "died_day": np.nan,
            "reoperated_day": np.nan,
            "amputated_day": np.nan,
            "loss_reason": "no_reply",
        }
    )
    sides = _sides(frame, random)
    reviews = _reviews(frame, random)
    years = Cohort("bench", FIRST, LAST, AS_OF, sides[list(SIDES)], _findings(sides, reviews, random),
                   _toe_findings(reviews, random), (30, 60, 120, 180))  # fmt: skip
    return material(
        years, first=FIRST, last=LAST, process=_process(frame),
        contacts=pd.DataFrame(columns=list(CONTACTS)).astype({"day": "int64"}),
        incidents=pd.DataFrame(columns=list(INCIDENTS)).astype({"day": "int64", "reviewed": bool}), starts_month=4,
    )  # fmt: skip


def _sides(toes: pd.DataFrame, random: np.random.Generator) -> pd.DataFrame:
    both = random.random(len(toes)) < 0.1
    first = toes.assign(
        side=np.where(random.random(len(toes)) < 0.6, "fibular", "tibial"), side_key="a" + toes["toe_key"]
    )
    first.loc[both, "side"] = "fibular"
    second = toes[both].assign(side="tibial", side_key="b" + toes["toe_key"][both])
    return pd.concat([first, second], ignore_index=True)


def _reviews(toes: pd.DataFrame, random: np.random.Generator) -> pd.DataFrame:
    kept = random.random((len(toes), PER_TOE)) < np.array([0.97, 0.6, 0.85, 0.8, 0.78])
    places, points = np.nonzero(kept)
    day = TARGETS[points] + random.integers(-3, 15, len(places))
    return pd.DataFrame(
        {"toe_key": toes["toe_key"].to_numpy()[places], "review_key": [f"r{place:07}" for place in range(len(places))],
         "day": np.maximum(day, 1), "point": points, "means": "in_person"}
    )  # fmt: skip


def _findings(sides: pd.DataFrame, reviews: pd.DataFrame, random: np.random.Generator) -> pd.DataFrame:
    rows = sides[["side_key", "toe_key"]].merge(reviews, on="toe_key")
    grows = dict(zip(sides["side_key"], random.exponential(3_500, len(sides)), strict=True))
    regrown = rows["day"].to_numpy() > rows["side_key"].map(grows).to_numpy()
    hurts = regrown & (random.random(len(rows)) < 0.5)
    found = rows.assign(origin="planned", observer="operator", extent=np.where(regrown, "spicule", "none"),
                        symptoms=np.where(hurts, "ingrowth", "none"), retreatment="none")  # fmt: skip
    return found[list(FINDINGS)]


def _toe_findings(reviews: pd.DataFrame, random: np.random.Generator) -> pd.DataFrame:
    healed = (reviews["point"] > 1) & ((reviews["day"] > 45) | (random.random(len(reviews)) < 0.7))
    plain = {
        "signs": "none_seen", "fluid_colour": "none", "fluid_consistency": "none", "fluid_amount": "dry",
        "erythema_mm": 0.0, "spreading": "no", "swelling": "no", "warmth": "no", "tenderness": "no", "odour": "no",
        "lymphangitis": "no", "wound_opened": "no", "swab": "not_taken", "antibiotic": "none", "diagnosis": "none",
        "satisfaction": "satisfied",
    }  # fmt: skip
    found = reviews.assign(
        **plain, healing=np.where(healed, "dry", "moist"), pain=random.integers(0, 5, len(reviews)) * 1.0
    )
    return found[list(TOE_FINDINGS)]


def _process(toes: pd.DataFrame) -> pd.DataFrame:
    """Everything recorded, whatever columns there are."""
    kinds = {"a number": 9.0, "a whole number": 3, "true or false": True}
    plain = {
        name: column.terms.codes()[0] if column.terms else kinds.get(column.holds.value, "")
        for name, column in TOES.items()
    }
    own = {name: toes[name].to_numpy() for name in ("toe_key", "patient_key", "performed_on")}
    return pd.DataFrame({**{name: [value] * len(toes) for name, value in plain.items()}, **own})[list(TOES)]
