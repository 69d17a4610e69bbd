"""The estimated risk by a day after the operation, when each side is only known to have had the event between reviews.

Always per treated side: the reviews of each side bound the day of its event. Every side of the period helps, also those
whose 12-month window is still open. Knows no Django.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.curves import RegrowthCurve, curve_of
from audit.measures.definitions import Outcome
from audit.measures.outcomes import NEVER, is_clear, is_event, was_reoperated
from audit.measures.strata import Count, technique_label
from audit.stats.bootstrap import REPORTED_DAYS, Regrown, RegrowthEstimate, regrowth
from audit.stats.bounds import LossBounds, TippingPoints, loss_bounds, tipping_points
from audit.stats.informative import ThreeEstimates, three_estimates
from audit.stats.intervals import SideIntervals, from_findings
from audit.stats.proportion import Method
from audit.stats.sample_size import plan, to_show_below
from audit.stats.verdict import Judgement, against_standard
from clinic.vocabulary.procedure import Agent, Technique
from clinic.vocabulary.review import Origin

HORIZON = 365.0
Numbers = npt.NDArray[np.float64]
Kept = npt.NDArray[np.bool_] | slice


@dataclass(frozen=True)
class Risk:
    """The estimated risk of one group. days: one entry for each of REPORTED_DAYS.

    sides, patients: of the group; informative: sides with a review that tells anything. curve: to draw; None where the
    group has no side.
    """

    code: str
    label: str
    sides: int
    informative: int
    patients: int
    days: tuple[Regrown, ...]
    curve: RegrowthCurve | None = None

    def by(self, day: float) -> Regrown:
        return next(found for found in self.days if found.share.day == day)


@dataclass(frozen=True)
class OverTime:
    """Everything estimated for the sides with matricectomy.

    three: how much unplanned visits could matter, by the horizon. loss, tipping: of the counted headline, with the
    standard. judgement: the verdict on the primary estimate, by rule; tipping and judgement are None without a
    standard, loss without an eligible unit. to_check: sides with a clear finding after a regrown one.
    replicates, seed, worst_gap: of the bootstrap behind the headline.
    """

    headline: Risk
    technique: tuple[Risk, ...]
    three: ThreeEstimates | None
    loss: LossBounds | None
    tipping: TippingPoints | None
    judgement: Judgement | None
    to_check: tuple[str, ...]
    replicates: int
    seed: int
    worst_gap: float


@dataclass(frozen=True, eq=False)
class _Sides:
    """The sides with matricectomy as arrays, and their findings by place of the side."""

    frame: pd.DataFrame
    place: npt.NDArray[np.int64]
    day: Numbers
    event: npt.NDArray[np.bool_]
    planned: npt.NDArray[np.bool_]
    until: Numbers
    cut_off: Numbers

    def intervals(self, only: npt.NDArray[np.bool_] | None = None) -> SideIntervals:
        kept = slice(None) if only is None else only
        return from_findings(self.place[kept], self.day[kept], self.event[kept], len(self.frame), self.until)


def over_time(cohort: Cohort, outcome: Outcome, headline: Count, standard: float | None) -> OverTime:
    """The estimated risk over time of the cohort's sides with matricectomy.

    cohort: frames as declared in `columns`. headline: the counted figure of the same outcome.
    standard: the highest accepted risk at 12 months, a proportion, or None where none is set.
    """
    sides = _sides(cohort, outcome)
    found = sides.intervals()
    estimate = _estimate(sides, found, slice(None)) if len(sides.frame) else None
    first = _risk("headline", "All matricectomies", sides, found, np.ones(len(sides.frame), dtype=bool), estimate)
    loss = _loss(headline)
    return OverTime(
        headline=first,
        technique=_by_technique(sides, found),
        three=_three(sides) if len(sides.frame) else None,
        loss=loss,
        tipping=tipping_points(loss, standard) if loss and standard is not None else None,
        judgement=None if standard is None else _judgement(first, sides, loss, standard),
        to_check=tuple(sides.frame["side_key"].iloc[found.clear_after_regrown]),
        replicates=estimate.replicates if estimate else 0,
        seed=estimate.seed if estimate else 0,
        worst_gap=estimate.worst_gap if estimate else 0.0,
    )


def intervals_by_side(cohort: Cohort, outcome: Outcome) -> pd.DataFrame:
    """What the reviews say about each side with matricectomy: side_key, left, right.

    The event came after day `left` and by day `right`; left is 0 where the side was never seen clear, right is
    infinity where no event was seen.
    """
    sides = _sides(cohort, outcome)
    found = sides.intervals()
    return pd.DataFrame({"side_key": sides.frame["side_key"], "left": found.left, "right": found.right})


def _sides(cohort: Cohort, outcome: Outcome) -> _Sides:
    frame = cohort.sides.loc[cohort.sides["matrix_destroyed"].astype(bool)].reset_index(drop=True)
    places = pd.Series(np.arange(len(frame)), index=frame["side_key"])
    rows = cohort.findings[cohort.findings["side_key"].isin(places.index)]
    words = list(zip(rows["extent"], rows["symptoms"], rows["retreatment"], strict=True))
    event = np.array([is_event(outcome, *each) for each in words], dtype=bool)
    clear = np.array([is_clear(outcome, *each) for each in words], dtype=bool)
    again = np.array([was_reoperated(each[2]) for each in words], dtype=bool)
    place = places.loc[rows["side_key"]].to_numpy(np.int64) if len(rows) else np.zeros(0, np.int64)
    day = rows["day"].to_numpy(np.float64)
    reported = np.full(len(frame), NEVER)
    np.minimum.at(reported, place[again], day[again])
    until, own = _ends(frame, outcome, reported)
    # What is clear at the review that reports a re-operation is clear because of it; an event there was seen.
    tells = event | (clear & (day < reported[place])) if outcome is not Outcome.RE_OPERATION else event | clear
    return _Sides(
        frame,
        np.concatenate((place[tells], own)),
        np.concatenate((day[tells], frame["reoperated_day"].to_numpy(np.float64)[own])),
        np.concatenate((event[tells], np.ones(len(own), dtype=bool))),
        np.concatenate(((rows["origin"] == Origin.PLANNED).to_numpy(bool)[tells], np.ones(len(own), dtype=bool))),
        until,
        _cut_off(cohort, frame, place, day),
    )


def _cut_off(cohort: Cohort, frame: pd.DataFrame, place: npt.NDArray[np.int64], day: Numbers) -> Numbers:
    """Days from each operation to the data cut-off, and at least to the last finding."""
    days = np.array([(pd.Timestamp(cohort.as_of) - done).days for done in frame["performed_on"]], dtype=np.float64)
    np.maximum.at(days, place, day)
    return days


def _ends(frame: pd.DataFrame, outcome: Outcome, reported: Numbers) -> tuple[Numbers, npt.NDArray[np.int64]]:
    """The last day that tells about each side, and the sides whose re-operation on record is itself the event.

    reported: day of the first review that says the side was operated on again.
    """
    until = frame["amputated_day"].fillna(NEVER).to_numpy(np.float64)
    reoperated = frame["reoperated_day"].fillna(NEVER).to_numpy(np.float64)
    if outcome is Outcome.RE_OPERATION:
        return until, np.flatnonzero((reoperated > 0) & (reoperated < NEVER))
    return np.minimum(until, np.minimum(reoperated, reported)), np.zeros(0, np.int64)


def _estimate(sides: _Sides, found: SideIntervals, kept: Kept) -> RegrowthEstimate:
    return _regrowth(sides, found.left[kept], found.right[kept], REPORTED_DAYS, kept)


def _regrowth(
    sides: _Sides, left: Numbers, right: Numbers, days: tuple[float, ...], kept: Kept = slice(None)
) -> RegrowthEstimate:
    patients = tuple(sides.frame["patient_key"].to_numpy(str)[kept])
    return _remembered(patients, left.tobytes(), right.tobytes(), days)


@lru_cache(maxsize=256)
def _remembered(patients: tuple[str, ...], left: bytes, right: bytes, days: tuple[float, ...]) -> RegrowthEstimate:
    """The same sides have the same estimate, and a page is opened more often than a review is recorded."""
    return regrowth(np.array(patients), np.frombuffer(left), np.frombuffer(right), days)


def _risk(
    code: str, label: str, sides: _Sides, found: SideIntervals, kept: npt.NDArray[np.bool_],
    estimate: RegrowthEstimate | None,
) -> Risk:  # fmt: skip
    tells = int(np.count_nonzero((found.left[kept] > 0) | np.isfinite(found.right[kept])))
    patients = int(sides.frame["patient_key"][kept].nunique())
    drawn = curve_of(estimate.sample) if estimate else None
    return Risk(code, label, int(kept.sum()), tells, patients, estimate.days if estimate else (), drawn)


def _by_technique(sides: _Sides, found: SideIntervals) -> tuple[Risk, ...]:
    """A group per technique and agent that occurs, in vocabulary order."""
    technique, agent = sides.frame["technique"].to_numpy(str), sides.frame["agent"].to_numpy(str)
    groups = [
        (one, other, (technique == one.value) & (agent == other.value)) for one in Technique for other in Agent
    ]  # fmt: skip
    return tuple(
        _risk(
            f"{one.value}/{other.value}",
            technique_label(one, other),
            sides,
            found,
            kept,
            _estimate(sides, found, kept),
        )
        for one, other, kept in groups
        if kept.any()
    )


def _three(sides: _Sides) -> ThreeEstimates:
    return three_estimates(
        sides.place, sides.day, sides.event, sides.planned, sides.cut_off, HORIZON, followed_until=sides.until
    )


def _loss(headline: Count) -> LossBounds | None:
    """Of the counted headline, on the design effect of its known units."""
    if not headline.eligible:
        return None
    interval = headline.interval
    effect = None if interval is None or interval.method is Method.PATIENTS else interval.design_effect
    if interval is not None and interval.method is Method.WILSON:
        effect = 1.0
    return loss_bounds(
        headline.events, headline.ascertained, headline.lost, patients=headline.patients, effect=effect
    )  # fmt: skip


def _judgement(first: Risk, sides: _Sides, loss: LossBounds | None, standard: float) -> Judgement:
    primary = first.by(HORIZON) if first.days else None
    if primary is None or not primary.shown or primary.low is None:
        reason = primary.withheld if primary else "no side with matricectomy"
        return against_standard(None, None, standard, withheld=reason or "no interval")
    rate = primary.share.middle or 0.0
    return against_standard(
        primary.low, primary.high, standard, alternatives=_alternatives(sides, loss),
        needed=lambda: _needed(rate, standard, loss),
    )  # fmt: skip


def _needed(rate: float, standard: float, loss: LossBounds | None) -> int | None:
    """Sides to operate on so that a true rate like this one would show, with sides alike and losses as they were."""
    if not rate < standard < 1:
        return None
    independent = to_show_below(standard, rate).units
    if independent is None:
        return None
    return plan(independent, loss.effect if loss else 1.0, min(loss.loss, 0.9) if loss else 0.0).units


def _alternatives(sides: _Sides, loss: LossBounds | None) -> Mapping[str, tuple[float, float] | None]:
    """Other views of the same data, each with an interval of its own."""
    kept, every = sides.intervals(sides.planned), sides.intervals()
    silent = np.where(np.isinf(every.right), np.maximum(every.left, np.minimum(sides.cut_off, sides.until)), every.left)
    found: dict[str, tuple[float, float] | None] = {
        "planned reviews only": _limits(sides, kept.left, kept.right),
        "silence taken as clear": _limits(sides, silent, every.right),
    }
    if loss is not None:
        for name, bound in (("none of the lost", loss.best), ("all of the lost", loss.worst)):
            known = bound.low is not None and bound.high is not None
            found[f"{name} with the event, counted"] = (bound.low, bound.high) if known else None  # type: ignore[assignment]
    return found


def _limits(sides: _Sides, left: Numbers, right: Numbers) -> tuple[float, float] | None:
    day = _regrowth(sides, left, right, (HORIZON,)).days[0]
    return None if not day.shown or day.low is None or day.high is None else (day.low, day.high)


__all__ = ["HORIZON", "REPORTED_DAYS", "OverTime", "Risk", "intervals_by_side", "over_time"]
