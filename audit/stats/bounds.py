"""Loss to follow-up: best and worst case, and how many unseen events would change what is said. Numbers only."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.clustered import FEWEST_PATIENTS, design_effect
from audit.stats.proportion import (
    Floats,
    Method,
    Proportion,
    check_level,
    check_standard,
    score_limits,
    wilson_limits_of,
)
from audit.stats.thin import check_whole, few_patients
from audit.stats.verdict import Verdict, judge

# Share of the eligible above which loss is said in words: a convention, Sackett DL et al. Evidence-Based Medicine.
# Churchill Livingstone 1997 (from memory, unverified).
LOSS_LIMIT = 0.20


@dataclass(frozen=True)
class LossBounds:
    """The rate if none and if all of the lost had the event.

    events, known, lost: units; the eligible are the known and the lost, those not yet due are in neither.
    best, worst: of all eligible. effect: the design effect that both intervals stand on, 1 or more.
    assumed: the effect could not be seen in the known units, so the worst possible was taken.
    loss: share of the eligible that is lost, 0 to 1; high_loss: above LOSS_LIMIT.
    """

    events: int
    known: int
    lost: int
    best: Proportion
    worst: Proportion
    effect: float
    assumed: bool
    loss: float
    high_loss: bool
    level: float = 0.95

    @property
    def eligible(self) -> int:
        return self.known + self.lost

    @property
    def note(self) -> str:
        return f"loss to follow-up above {LOSS_LIMIT:.0%}" if self.high_loss else ""


@dataclass(frozen=True, eq=False)
class WhatIf:
    """The rate for every number of events among the lost. All arrays: shape (lost + 1,), by that number from 0.

    rate, low, high: proportions of all eligible, with the interval on their effective size.
    """

    unseen_events: npt.NDArray[np.int64]
    rate: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True)
class Change:
    """The data of one sentence: from `events` of the `lost` on, upwards or downwards, another verdict holds.

    share: events / lost. up: `events` or more; else `events` or fewer.
    """

    events: int
    lost: int
    share: float
    up: bool
    before: Verdict
    after: Verdict


@dataclass(frozen=True)
class TippingPoints:
    """How many of the lost must have had the event for the standard to be passed. None: no number of them does.

    rate_above, lower_above: smallest number at which the rate, or its lower limit, exceeds the standard.
    upper_within: largest number at which the upper limit is at most the standard; None: never.
    conclusion: the verdict on the known units; None where none is known.
    changes: where that verdict no longer holds, at most one downwards and one upwards; empty if no number of unseen
    events changes it. unsupported: it holds for none of the numbers (then `changes` is empty too).
    withheld: why nothing is given; empty where it may be shown.
    """

    standard: float
    lost: int
    rate_above: int | None
    lower_above: int | None
    upper_within: int | None
    conclusion: Verdict | None
    changes: tuple[Change, ...] = ()
    unsupported: bool = False
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def loss_bounds(
    events: int,
    known: int,
    lost: int,
    *,
    patients: int | None = None,
    effect: float | None = 1.0,
    level: float = 0.95,
) -> LossBounds:
    """Best case events / N and worst case (events + lost) / N, N = known + lost, with Wilson on N / max(1, effect).

    events, known, lost: whole numbers of units, 0 <= events <= known, N at least 1. patients: behind the N eligible;
    None if the units are independent. effect: design effect of the known units; None where it cannot be seen, then
    the worst possible is taken, N / patients, so that the patients are the units. level: two-sided.
    Gives counts without rate, and the reason, for fewer than five patients.
    Refuses with ValueError counts out of range, no eligible unit, more patients than units, an effect below 0 or not
    finite, and an effect of None without patients.

    Intervals: Rao JNK, Scott AJ. Biometrics 1992;48:577-585. Best and worst case: common practice, no source.
    Referee: fixtures/reference/bounds.json
    """
    check_level(level)
    check_whole("events", events)
    check_whole("known", known)
    total = known + check_whole("lost", lost)
    if events > known:
        raise ValueError(f"events must be from 0 to {known}, not {events}")
    if total < 1:
        raise ValueError("known and lost must together be at least 1, not 0")
    used = _effect(effect, total, patients)
    behind = total if patients is None else patients
    best, worst = (_bound(hit, total, behind, used, effect is None, level) for hit in (events, events + lost))
    share = lost / total
    return LossBounds(events, known, lost, best, worst, used, effect is None, share, share > LOSS_LIMIT, level)


def known_effect(events_by_cluster: Sequence[int], totals_by_cluster: Sequence[int]) -> float | None:
    """The design effect of the known units, for `loss_bounds`.

    One whole number per patient with a known unit in both, as for `rao_scott_wilson`; may be empty.
    Gives 1 where every patient contributes one unit; None where it cannot be seen: nothing or one patient known, or
    no event or only events.
    """
    if not len(totals_by_cluster):
        return None
    if all(total == 1 for total in totals_by_cluster):
        return 1.0
    if len(totals_by_cluster) < 2:
        return None
    return design_effect(events_by_cluster, totals_by_cluster)


def what_if(bounds: LossBounds) -> WhatIf:
    """The rate and its interval for d = 0 .. lost events among the lost: (events + d) / N, Wilson on N / effect.

    ValueError where the bounds are withheld.
    """
    if not bounds.best.shown:
        raise ValueError(f"bounds must not be withheld: {bounds.best.withheld}")
    unseen = np.arange(bounds.lost + 1, dtype=np.int64)
    rate = (bounds.events + unseen) / bounds.eligible
    size = bounds.eligible / bounds.effect
    low, high = wilson_limits_of(rate * size, np.full(rate.shape, size), bounds.level)
    return WhatIf(unseen, rate, low, high)


def tipping_points(bounds: LossBounds, standard: float, conclusion: Verdict | None = None) -> TippingPoints:
    """Where the unseen would turn the answer against the standard.

    bounds: as `loss_bounds` gives them. standard: highest accepted rate, a proportion. conclusion: the verdict whose
    robustness is asked for; unless given it is that of the known units, with Wilson on known / effect.
    Common practice, no source. Referee: fixtures/reference/bounds.json
    """
    check_standard(standard)
    if not bounds.best.shown:
        return TippingPoints(standard, bounds.lost, None, None, None, None, withheld=bounds.best.withheld)
    found = what_if(bounds)
    before = conclusion or _known_verdict(bounds, standard)
    within = np.flatnonzero(found.high <= standard)
    changes, unsupported = _changes(found, standard, before)
    return TippingPoints(
        standard, bounds.lost,
        rate_above=_first(found.rate > standard),
        lower_above=_first(found.low > standard),
        upper_within=int(within[-1]) if within.size else None,
        conclusion=before, changes=changes, unsupported=unsupported,
    )  # fmt: skip


def _effect(effect: float | None, total: int, patients: int | None) -> float:
    if patients is not None and not 1 <= check_whole("patients", patients) <= total:
        raise ValueError(f"patients must be from 1 to {total}, the number of units, not {patients}")
    if effect is None:
        if patients is None:
            raise ValueError("patients must be given where effect is None")
        return total / patients
    if not (math.isfinite(effect) and effect >= 0):
        raise ValueError(f"effect must be finite and at least 0, not {effect}")
    return max(1.0, effect)


def _bound(hit: int, total: int, patients: int, effect: float, assumed: bool, level: float) -> Proportion:
    if patients < FEWEST_PATIENTS:
        return Proportion(hit, total, None, None, None, Method.NONE, level, patients, withheld=few_patients(patients))
    size = total / effect
    rate = hit / total
    low, high = score_limits(rate * size, size, level)
    method = Method.PATIENTS if assumed else Method.RAO_SCOTT
    return Proportion(
        hit, total, rate, low, high, Method.WILSON if effect == 1 else method, level, patients,
        design_effect=effect, effective_total=size,
    )  # fmt: skip


def _known_verdict(bounds: LossBounds, standard: float) -> Verdict | None:
    if not bounds.known:
        return None
    size = bounds.known / bounds.effect
    return judge(*score_limits(bounds.events / bounds.known * size, size, bounds.level), standard)


def _changes(found: WhatIf, standard: float, before: Verdict | None) -> tuple[tuple[Change, ...], bool]:
    """The verdict only moves one way as events are added, so it holds for one run of numbers."""
    if before is None:
        return (), False
    verdicts = [judge(low, high, standard) for low, high in zip(found.low, found.high, strict=True)]
    holds = [place for place, verdict in enumerate(verdicts) if verdict is before]
    if not holds:
        return (), True
    lost, changes = len(verdicts) - 1, []
    if holds[0] > 0:
        changes.append(Change(holds[0] - 1, lost, (holds[0] - 1) / lost, False, before, verdicts[holds[0] - 1]))
    if holds[-1] < lost:
        changes.append(Change(holds[-1] + 1, lost, (holds[-1] + 1) / lost, True, before, verdicts[holds[-1] + 1]))
    return tuple(changes), False


def _first(reached: npt.NDArray[np.bool_]) -> int | None:
    places = np.flatnonzero(reached)
    return int(places[0]) if places.size else None
