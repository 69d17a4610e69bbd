"""Whether regrowth goes with the time of exposure, for one agent at one strength. Knows no Django."""

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.definitions import Status
from audit.measures.rows import dicts
from audit.measures.strata import band_of
from audit.stats.dose_response import DoseResponse, dose_response
from audit.stats.model_terms import Factor
from audit.stats.trend import Trend, trend
from clinic.vocabulary.procedure import Agent, StrengthBasis, Technique
from clinic.vocabulary.terms import label_of


@dataclass(frozen=True)
class ExposureTrend:
    """population: technique, agent and strength in words. units: sides of known outcome.

    other_strengths: sides of the same technique and agent at another strength or an unknown one, left out.
    found: adjusted for the operator where several operated. exact: the unadjusted test of trend over the bands.
    """

    population: str
    units: int
    events: int
    other_strengths: int
    operators: int
    found: DoseResponse
    exact: Trend | None


def exposure_trend(
    cohort: Cohort, units: pd.DataFrame, *, technique: Technique, agent: Agent, label: str
) -> ExposureTrend | None:
    """The dose-response of the sides with a known outcome; None where there are none.

    units: one row per side, as `outcomes.unit_frame` gives them for the unit "side". label: of technique and agent.
    The strength used most often is taken; an exposure not recorded is counted, never guessed.
    """
    own = units[
        units["status"].isin([Status.EVENT, Status.CLEAR])
        & (units["technique"] == technique.value)
        & (units["agent"] == agent.value)
    ]
    if not len(own):
        return None
    strength = dict(zip(cohort.sides["side_key"], map(_strength, dicts(cohort.sides)), strict=True))
    said = [strength[keys[0]] for keys in own["side_keys"]]
    usual = min(Counter(said).items(), key=lambda pair: (-pair[1], pair[0]))[0]
    kept = own[np.array([words == usual for words in said])]
    outcome = kept["event"].astype(int).to_numpy()
    seconds = [None if pd.isna(value) else float(value) for value in kept["exposure_seconds"]]
    operators = sorted(set(kept["operator"]))
    adjust = [Factor("operator", kept["operator"].tolist())] if len(operators) > 1 else []
    found = dose_response(seconds, outcome, kept["patient_key"].to_numpy(str), cohort.bands, adjust)
    return ExposureTrend(
        f"{label}, {usual}", len(kept), int(outcome.sum()), len(own) - len(kept), len(operators), found,
        _exact(seconds, outcome, cohort.bands),
    )  # fmt: skip


def _strength(side: dict) -> str:
    if pd.isna(side["strength_percent"]):
        return "strength not recorded"
    return f"{float(side['strength_percent']):g} {label_of(StrengthBasis, side['strength_basis'])}"


def _exact(seconds: list[float | None], outcome: np.ndarray, bands: tuple[int, ...]) -> Trend | None:
    """The test of trend over the bands that hold sides; None with fewer than two of them."""
    placed: dict[str, list[tuple[float, int]]] = {}
    for time, event in zip(seconds, outcome, strict=True):
        if time is not None:
            placed.setdefault(band_of(time, bands), []).append((time, int(event)))
    rows = sorted((float(np.mean([time for time, _ in found])), found) for found in placed.values())
    if len(rows) < 2:
        return None
    events = [sum(event for _, event in found) for _, found in rows]
    return trend(events, [len(found) for _, found in rows], seconds=[middle for middle, _ in rows])
