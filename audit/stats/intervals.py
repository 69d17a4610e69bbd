"""When a side regrew lies between two reviews: half-open intervals (left, right] of days. Knows numbers only.

Three steps, each usable alone: findings of reviews to one interval per side (`from_findings`), intervals to distinct
intervals with weights (`aggregate`), and distinct intervals to the stretches of time that can hold probability
(`maximal_intersections`).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Days = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

# Whole days up to here (five and a half years) are their own place in the order of days, so that many rows can be
# counted in a table with one cell per pair of days, 33 MB at most; later days and fractions are sorted first.
LAST_TABLED_DAY = 2046
# Rows are looked at in pieces that stay in the processor's cache.
PIECE = 16_384


@dataclass(frozen=True, eq=False)
class SideIntervals:
    """One interval per side, and what the records should be checked for.

    left: day of the last clear finding before the first regrown one, 0 if none. right: day of the first regrown
    finding, infinity if none. Both of shape (sides,).
    clear_after_regrown: sides with a clear finding after a regrown one; the regrown one stands.
    both_on_one_day: sides found clear and regrown on the same day; regrown stands.
    on_day_0, after_end: numbers of findings that were left out, on the day of operation and after the end of
    follow-up of their side.
    """

    left: Days
    right: Days
    clear_after_regrown: Whole
    both_on_one_day: Whole
    on_day_0: int
    after_end: int


@dataclass(frozen=True, eq=False)
class Intervals:
    """Distinct intervals with their weights, ordered by left and then right end.

    left, right, weight: shape (k,). left == right is an exact day.
    uninformative: weight of intervals (0, infinity], which say nothing and are not among the k.
    grid: the ordered ends, shape (g,); lefts, rights: where each interval's ends lie in it. At equal day a right
    end and the left end of later intervals share a place; an exact day has a left place of its own just before.
    """

    left: Days
    right: Days
    weight: Days
    uninformative: float
    grid: Days
    lefts: Whole
    rights: Whole


@dataclass(frozen=True, eq=False)
class Support:
    """The maximal intersections (start, end] of a set of intervals, in order: where probability can lie.

    start, end: shape (m,); start == end is an exact day; the last end may be infinity.
    first, last: for each interval, it holds the intersections first .. last - 1.
    ends: place of each end in the grid.
    """

    start: Days
    end: Days
    first: Whole
    last: Whole
    ends: Whole


def from_findings(
    side: npt.ArrayLike, day: npt.ArrayLike, regrown: npt.ArrayLike, sides: int, followed_until: npt.ArrayLike = np.inf
) -> SideIntervals:
    """The interval in which each side regrew, from what was found at its reviews.

    side: for each finding, which side, 0 .. sides - 1. day: whole days since its operation, 0 or later.
    regrown: true or false; findings of reviews that did not examine the side do not belong here.
    followed_until: last day on which a finding counts, one for all or one per side (re-operation, amputation,
    a second operation on the side); infinity where follow-up did not end.
    Once regrown is regrown from then on. A side without any finding gets (0, infinity].
    Refuses with ValueError lists of different lengths, sides out of range, and days before 0 or not whole.
    """
    places, days, seen = _findings(side, day, regrown, sides)
    until = np.broadcast_to(np.asarray(followed_until, dtype=np.float64), (sides,))
    if np.isnan(until).any():
        raise ValueError("followed_until must be a number of days, not nan")
    late, at_start = days > until[places], days == 0
    counts = ~late & ~at_start
    places, days, seen = places[counts], days[counts], seen[counts]
    right = np.full(sides, np.inf)
    np.minimum.at(right, places[seen], days[seen])
    clear_at, clear_on = places[~seen], days[~seen]
    before = clear_on < right[clear_at]
    left = np.zeros(sides)
    np.maximum.at(left, clear_at[before], clear_on[before])
    return SideIntervals(
        left,
        right,
        np.unique(clear_at[clear_on > right[clear_at]]),
        np.unique(clear_at[clear_on == right[clear_at]]),
        int(np.count_nonzero(at_start & ~late)),
        int(np.count_nonzero(late)),
    )


def aggregate(left: npt.ArrayLike, right: npt.ArrayLike, weight: npt.ArrayLike | None = None) -> Intervals:
    """Equal intervals counted together; those that say nothing, (0, infinity], counted apart.

    left, right: shape (n,), days, 0 <= left <= right, left finite, right above 0; right may be infinity.
    weight: shape (n,), finite, 0 or more; 1 each where not given. Weight 0 is a row that is not there.
    Gives the same intervals in the same order whatever the order of rows. Refuses with ValueError, naming row and
    value, what is outside.
    """
    codes, days = _codes(left, right)
    return _distinct(days, *_counted(codes, days, weight))[0]


def aggregate_rows(left: npt.ArrayLike, right: npt.ArrayLike) -> tuple[Intervals, Whole]:
    """As `aggregate`, and for each row the index of its interval, -1 where it says nothing."""
    codes, days = _codes(left, right)
    used, counts = _counted(codes, days, None)
    found, index = _distinct(days, used, counts)
    if _tabled(codes, days):
        table = np.empty(len(days) ** 2, dtype=np.int64)
        table[used] = index
        return found, table[codes]
    return found, index[np.searchsorted(used, codes)]


def maximal_intersections(intervals: Intervals, present: Flags | None = None) -> Support:
    """The stretches between a left end and the next right end, with no other end between: all probability is there.

    At the same day a right end comes before a left end, so (0, 30] and (30, 60] do not meet.
    present: shape (k,), which intervals count; all where not given. `first` and `last` are of shape (k,) always, and
    mean something for the present ones only.
    Intersections are given even where they turn out to hold no probability.

    Peto R. Appl Stat 1973;22:86-91; Turnbull BW. J R Stat Soc B 1976;38:290-295.
    """
    lefts, rights = intervals.lefts, intervals.rights
    places = len(intervals.grid)
    order = np.arange(places)
    begins, finishes = np.full(places, -1), np.full(places, -1)
    begun, finished = (lefts, rights) if present is None else (lefts[present], rights[present])
    begins[begun] = begun
    finishes[finished] = finished
    last_begin, last_finish = np.maximum.accumulate(begins), np.maximum.accumulate(finishes)
    opened = (last_begin >= last_finish) & (last_begin >= 0)
    ends = order[1:][opened[:-1] & (finishes[1:] >= 0)]
    starts = last_begin[ends - 1]
    passed = np.zeros(places, dtype=np.int64)
    passed[ends] = 1
    passed = np.cumsum(passed)
    return Support(intervals.grid[starts], intervals.grid[ends], passed[lefts], passed[rights], ends)


def _findings(side: npt.ArrayLike, day: npt.ArrayLike, regrown: npt.ArrayLike, sides: int) -> tuple[Whole, Days, Flags]:
    places, days = np.asarray(side), np.asarray(day, dtype=np.float64)
    seen = np.asarray(regrown)
    if not len(places) == len(days) == len(seen):
        raise ValueError(f"side, day and regrown must be equally long, not {len(places)}, {len(days)}, {len(seen)}")
    if seen.dtype != np.bool_ and not np.isin(seen, (0, 1)).all():
        raise ValueError("regrown must be true or false for each finding")
    _refuse(~np.isin(places, np.arange(sides)) if places.dtype.kind not in "iu" else (places < 0) | (places >= sides),
            "side", f"from 0 to {sides - 1}", places)  # fmt: skip
    _refuse(~(days >= 0) | (days != np.floor(days)) | np.isinf(days), "day", "a whole day, 0 or later", days)
    return places.astype(np.int64), days, seen.astype(np.bool_)


def _codes(left: npt.ArrayLike, right: npt.ArrayLike) -> tuple[Whole, Days]:
    """The distinct days in order, infinity last, and a code per row: place of left * number of days + place of right.

    Whole days stand for themselves, so some of them may not occur.
    """
    lefts, rights = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    if lefts.ndim != 1 or lefts.shape != rights.shape:
        raise ValueError(f"left and right must be lists of equal length, not of shapes {lefts.shape}, {rights.shape}")
    rows = len(lefts)
    first, second = np.empty(rows, dtype=np.int16), np.empty(rows, dtype=np.int16)
    whole = True
    for begin in range(0, rows, PIECE):
        piece = slice(begin, begin + PIECE)
        low, high = lefts[piece], rights[piece]
        if not (low.min() >= 0 and low.max() < np.inf and high.min() > 0 and (low <= high).all()):
            _refuse_pair(lefts, rights)
        whole = whole and _as_whole_days(low, high, first[piece], second[piece])
    if whole:
        return _whole_day_codes(first, second)
    days = np.unique(np.concatenate((lefts, rights)))
    return np.searchsorted(days, lefts) * len(days) + np.searchsorted(days, rights), days


def _as_whole_days(low: Days, high: Days, first: npt.NDArray[np.int16], second: npt.NDArray[np.int16]) -> bool:
    """Writes the days as short whole numbers, infinity as the day after the last; False if some do not fit."""
    never = LAST_TABLED_DAY + 1
    capped = np.minimum(high, never)
    if low.max() > LAST_TABLED_DAY or np.count_nonzero(capped == never) > np.count_nonzero(high == np.inf):
        return False
    first[:], second[:] = low, capped
    return bool((first == low).all() and (second == capped).all())


def _whole_day_codes(first: npt.NDArray[np.int16], second: npt.NDArray[np.int16]) -> tuple[Whole, Days]:
    never = LAST_TABLED_DAY + 1  # in binary only ones, so that one more wraps infinity round to 0
    last = max(int(first.max(initial=0)), int(((second + 1) & never).max(initial=1)) - 1)
    codes = first.astype(np.int64)
    codes *= last + 2
    codes += np.minimum(second, last + 1)
    return codes, np.append(np.arange(last + 1.0), np.inf)


def _tabled(codes: Whole, days: Days) -> bool:
    """Whether a table of all pairs of days is quicker than sorting the rows."""
    return len(days) ** 2 <= 40 * len(codes)


def _counted(codes: Whole, days: Days, weight: npt.ArrayLike | None) -> tuple[Whole, Days]:
    """The codes that occur, in order, and the weight of each."""
    weights = None if weight is None else _weights(weight, len(codes))
    if _tabled(codes, days):
        table = np.bincount(codes, weights)
        used = np.flatnonzero(table > 0)
        return used, table[used].astype(np.float64)
    if weights is None:
        used, counts = np.unique(codes, return_counts=True)
        return used, counts.astype(np.float64)
    used, place = np.unique(codes[weights > 0], return_inverse=True)
    return used, np.asarray(np.bincount(place, weights[weights > 0], len(used)), dtype=np.float64)


def _weights(weight: npt.ArrayLike, rows: int) -> Days:
    weights = np.asarray(weight, dtype=np.float64)
    if weights.shape != (rows,):
        raise ValueError(f"weight must be a list of {rows} numbers, one per row, not of shape {weights.shape}")
    _refuse(~(weights >= 0) | np.isinf(weights), "weight", "finite and 0 or more", weights)
    with np.errstate(over="ignore"):
        endless = np.isinf(weights.sum())
    if endless:
        raise ValueError("weight must have a finite sum, not infinity")
    return weights


def _distinct(days: Days, used: Whole, counts: Days) -> tuple[Intervals, Whole]:
    """The intervals behind the codes, without those that say nothing, and for each code its index or -1."""
    first, second = np.divmod(used, len(days))
    telling = (days[first] > 0) | (days[second] < np.inf)
    index = np.where(telling, np.cumsum(telling) - 1, -1)
    silent = float(counts[~telling].sum())
    first, second = first[telling], second[telling]
    # An exact day begins just before the right ends of its day, every other left end just after them.
    begins, ends = 2 * first - (first == second) + 1, 2 * second + 1
    occurs = np.zeros(2 * len(days), dtype=np.bool_)
    occurs[begins] = occurs[ends] = True
    place = np.cumsum(occurs) - 1
    grid = np.repeat(days, 2)[occurs]
    found = Intervals(days[first], days[second], counts[telling], silent, grid, place[begins], place[ends])
    return found, index


def _refuse_pair(left: Days, right: Days) -> None:
    for name, values in (("left", left), ("right", right)):
        _refuse(np.isnan(values), name, "a number of days", values)
    _refuse(left < 0, "left", "at least 0", left)
    _refuse(np.isinf(left), "left", "finite", left)
    _refuse(right <= 0, "right", "above 0", right)
    _refuse(right < left, "right", "at least left", right)


def _refuse(wrong: Flags, name: str, bound: str, values: npt.NDArray[Any]) -> None:
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise ValueError(f"{name} must be {bound}, not {values[row]:g} (row {row})")
