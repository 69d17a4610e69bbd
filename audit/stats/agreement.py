"""Agreement of two readings of the same findings, by two reviewers or of a photograph read again. Knows numbers only.

A rare finding makes kappa near 0 at high agreement, so it never stands alone: the table, AC1 and the agreement on the
finding itself belong beside it.
"""

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from audit.stats.clustered import FEWEST_PATIENTS, rao_scott_wilson
from audit.stats.proportion import Floats, Proportion, check_level

# Below these only counts and the observed agreement are given (our own choice).
FEWEST_PAIRS = 50
FEWEST_POSITIVE = 5
# Below this number of patients an interval stands with a word of caution (our own choice).
ENOUGH_TO_JUDGE = 20
FEWEST_REPLICATES = 1_000
# An interval that had to leave out more replicates than this is none (our own choice).
MOST_UNKNOWN = 0.05

Whole = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Agreement:
    """A cross-table of two readings with its indices.

    table: pairs, one row per category of the first reading, one column per category of the second. pairs: in all.
    observed: share of pairs that agree, 0 to 1.
    kappa: Cohen's; kappa_error: its standard error. ac1: Gwet's. -1 to 1, 1 for full agreement.
    pabak: 2 * observed - 1. positive, negative: agreement on the finding and on its absence, 0 to 1. These three only
    with two categories. An index is None where it is not estimable; `missing` says why for kappa.
    withheld: why nothing beyond the table and `observed` is given; empty where it is.
    """

    table: tuple[tuple[int, ...], ...]
    pairs: int
    observed: float
    kappa: float | None = None
    kappa_error: float | None = None
    ac1: float | None = None
    pabak: float | None = None
    positive: float | None = None
    negative: float | None = None
    missing: str = ""
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True)
class Range:
    """Limits of one index from patients drawn again; both None where `withheld` says why.

    unknown: replicates in which the index is not estimable, left out.
    """

    low: float | None
    high: float | None
    unknown: int = 0
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


@dataclass(frozen=True)
class AgreementOfPatients:
    """Agreement of pairs that belong to patients, with intervals.

    observed: share of pairs that agree, clustered on the patient. kappa, ac1, positive: limits of the indices in
    `agreement`. level: two-sided. replicates, seed: of the bootstrap. caution: to be printed beside it, or empty.
    """

    agreement: Agreement
    patients: int
    observed: Proportion
    kappa: Range
    ac1: Range
    positive: Range
    level: float
    replicates: int
    seed: int
    caution: str = ""


def agreement(table: npt.ArrayLike, *, positive: int = 1) -> Agreement:
    """Indices of agreement of a cross-table.

    table: whole numbers 0 or more, as many rows as columns, at least 2, both in the same order of categories; at least
    one pair. positive: place of the finding of interest where there are two categories, 0 or 1.
    Kappa with the chance agreement of both margins; AC1 with that of the mean margin, sum pi (1 - pi) / (q - 1).
    Kappa is not estimable where both readings use one category only. Only the table and the observed agreement with
    fewer than 50 pairs or, with two categories, fewer than 5 pairs in which either reading has the finding.
    Refuses with ValueError what is no such table.

    Fleiss JL, Cohen J, Everitt BS. Psychol Bull 1969;72:323-327 (standard error); Gwet KL. Br J Math Stat Psychol
    2008;61:29-48; Byrt T, Bishop J, Carlin JB. J Clin Epidemiol 1993;46:423-429.
    Referee: fixtures/reference/agreement.json
    """
    counts = _checked(table, positive)
    pairs = int(counts.sum())
    rows = tuple(tuple(row) for row in counts.tolist())
    observed = float(np.trace(counts) / pairs)
    thin = _thin(counts, positive)
    if thin:
        return Agreement(rows, pairs, observed, withheld=thin)
    kappa, ac1, on_finding, on_absence = (_only(index, 0) for index in _indices(counts[None].astype(float), positive))
    two = len(counts) == 2
    return Agreement(
        rows, pairs, observed, kappa, None if kappa is None else _kappa_error(counts, kappa), ac1,
        2 * observed - 1 if two else None, on_finding if two else None, on_absence if two else None,
        "not estimable: both readings use one category only" if kappa is None else "",
    )  # fmt: skip


def agreement_of_patients(
    patients: npt.ArrayLike,
    first: npt.ArrayLike,
    second: npt.ArrayLike,
    *,
    categories: int = 2,
    positive: int = 1,
    level: float = 0.95,
    replicates: int = 2_000,
) -> AgreementOfPatients:
    """Agreement with intervals from patients drawn with replacement, each with all pairs.

    patients: one number or name per pair. first, second: the category of each reading, whole numbers 0 to
    categories - 1. positive: as for `agreement`. level: two-sided, between 0 and 1. replicates: at least 1,000.
    The limits are the percentiles of the replicates. The draws depend on the data alone, not on their order or the
    patients' numbers: the same data give the same limits. No limits with fewer than 5 patients, where the data are
    too thin for the index itself, where all replicates are alike, or where more than 5 % of them have no such index.
    Refuses with ValueError different lengths, no pair at all, and numbers out of range.

    Percentiles of a bootstrap of clusters: common practice, no source.
    """
    check_level(level)
    if replicates < FEWEST_REPLICATES:
        raise ValueError(f"replicates must be at least {FEWEST_REPLICATES}, not {replicates}")
    tables = _tables_by_patient(patients, first, second, categories)
    found = agreement(tables.sum(axis=0), positive=positive)
    agreeing = np.trace(tables, axis1=1, axis2=2)
    observed = rao_scott_wilson(agreeing.tolist(), tables.sum(axis=(1, 2)).tolist(), level)
    kinds, number = np.unique(tables.reshape(len(tables), -1), axis=0, return_counts=True)
    seed = _seed(kinds, number)
    reason = found.withheld or _few(len(tables))
    if reason:
        kappa = ac1 = on_finding = Range(None, None, withheld=reason)
    else:
        drawn = np.random.default_rng(seed).multinomial(len(tables), number / len(tables), size=replicates)
        again = (drawn @ kinds).reshape(replicates, categories, categories).astype(float)
        kappa, ac1, on_finding, _ = (_range(index, level) for index in _indices(again, positive))
    if categories != 2:
        on_finding = Range(None, None, withheld="only with two categories")
    caution = f"too few to judge: {len(tables)} patients" if len(tables) < ENOUGH_TO_JUDGE else ""
    return AgreementOfPatients(
        found, len(tables), observed, kappa, ac1, on_finding, level, replicates, seed, caution,
    )  # fmt: skip


@dataclass(frozen=True)
class _Index:
    """One index of many tables: numerator over denominator, not estimable where the denominator is 0."""

    above: Floats
    below: Floats


def _indices(tables: Floats, positive: int) -> tuple[_Index, _Index, _Index, _Index]:
    """Kappa, AC1, agreement on the finding and on its absence, of tables of shape (number, q, q)."""
    pairs = tables.sum(axis=(1, 2))
    share = tables / pairs[:, None, None]
    rows, columns = share.sum(axis=2), share.sum(axis=1)
    observed = np.trace(share, axis1=1, axis2=2)
    by_chance = (rows * columns).sum(axis=1)
    mean = (rows + columns) / 2
    gwet = (mean * (1 - mean)).sum(axis=1) / (tables.shape[1] - 1)
    finding, absence = (2 * share[:, place, place] for place in (positive, 1 - positive))
    apart = 1 - observed
    return (
        _Index(observed - by_chance, _cleared(1 - by_chance)),
        _Index(observed - gwet, 1 - gwet),
        _Index(finding, _cleared(finding + apart)),
        _Index(absence, _cleared(absence + apart)),
    )


def _cleared(values: Floats) -> Floats:
    """Rounding left by a difference of ones is nothing."""
    return np.where(np.abs(values) < 1e-12, 0.0, values)


def _only(index: _Index, place: int) -> float | None:
    return float(index.above[place] / index.below[place]) if index.below[place] else None


def _range(index: _Index, level: float) -> Range:
    known = index.below != 0
    unknown = int((~known).sum())
    if unknown > MOST_UNKNOWN * known.size:
        return Range(None, None, unknown, f"not estimable in {unknown} of {known.size} replicates")
    values = index.above[known] / index.below[known]
    low, high = (float(limit) for limit in np.quantile(values, [(1 - level) / 2, (1 + level) / 2]))
    if low == high:
        return Range(None, None, unknown, "not estimable: nothing varies between the patients")
    return Range(low, high, unknown)


def _kappa_error(counts: Whole, kappa: float) -> float:
    pairs = counts.sum()
    share = counts / pairs
    rows, columns, own = share.sum(axis=1), share.sum(axis=0), np.diag(share)
    by_chance = float(rows @ columns)
    pairs_of = (columns[:, None] + rows[None, :]) ** 2  # of cell (i, j): margins of j first, of i second
    agreeing = float((own * (1 - (rows + columns) * (1 - kappa)) ** 2).sum())
    apart = (1 - kappa) ** 2 * float((share * pairs_of).sum() - (own * np.diag(pairs_of)).sum())
    rest = (kappa - by_chance * (1 - kappa)) ** 2
    return math.sqrt(max(0.0, agreeing + apart - rest)) / ((1 - by_chance) * math.sqrt(pairs))


def _thin(counts: Whole, positive: int) -> str:
    pairs = int(counts.sum())
    if pairs < FEWEST_PAIRS:
        found = "1 pair" if pairs == 1 else f"{pairs} pairs"
        return f"too few to judge: {found}, at least {FEWEST_PAIRS} are needed"
    having = pairs - int(counts[1 - positive, 1 - positive])
    if len(counts) == 2 and having < FEWEST_POSITIVE:
        return f"too few to judge: {having} with the finding by either reading, at least {FEWEST_POSITIVE} are needed"
    return ""


def _few(patients: int) -> str:
    if patients >= FEWEST_PATIENTS:
        return ""
    found = "1 patient" if patients == 1 else f"{patients} patients"
    return f"not enough patients for an interval: {found}, at least {FEWEST_PATIENTS} are needed"


def _seed(kinds: Whole, number: Whole) -> int:
    digest = hashlib.sha256(b"agreement")
    for part in (kinds, number):
        digest.update(b"|" + part.astype("<i8").tobytes())
    return int.from_bytes(digest.digest()[:8], "little")


def _tables_by_patient(patients: npt.ArrayLike, first: npt.ArrayLike, second: npt.ArrayLike, categories: int) -> Whole:
    """One cross-table per patient."""
    if categories < 2:
        raise ValueError(f"categories must be at least 2, not {categories}")
    given = np.asarray(patients)
    if given.size == 0:
        raise ValueError("patients must hold at least 1 pair, not 0")
    readings = [
        _whole(name, values, given.shape, categories) for name, values in (("first", first), ("second", second))
    ]
    names, place = np.unique(given, return_inverse=True)
    cell = (place * categories + readings[0]) * categories + readings[1]
    counts = np.bincount(cell, minlength=len(names) * categories**2)
    return counts.reshape(len(names), categories, categories).astype(np.int64)


def _whole(name: str, values: npt.ArrayLike, shape: Sequence[int], categories: int) -> Whole:
    found = np.asarray(values, dtype=float)
    if found.shape != shape or found.ndim != 1:
        raise ValueError(f"{name} must have the length of patients, {tuple(shape)}, not {found.shape}")
    # Written so that a missing number fails it too.
    good = (found >= 0) & (found < categories) & (np.floor(found) == found)
    if not good.all():
        place = int(np.argmin(good))
        raise ValueError(f"{name}[{place}] must be a whole number from 0 to {categories - 1}, not {found[place]:g}")
    return found.astype(np.int64)


def _checked(table: npt.ArrayLike, positive: int) -> Whole:
    found = np.asarray(table, dtype=float)
    if found.ndim != 2 or found.shape[0] != found.shape[1] or found.shape[0] < 2:
        raise ValueError(f"table must have as many rows as columns, at least 2, not the shape {found.shape}")
    good = (found >= 0) & (found < np.inf) & (np.floor(found) == found)
    if not good.all():
        raise ValueError(f"table must hold whole numbers of 0 or more, not {found[~good][0]:g}")
    if found.sum() == 0:
        raise ValueError("table must hold at least 1 pair, not 0")
    if positive not in (0, 1):
        raise ValueError(f"positive must be 0 or 1, not {positive}")
    return found.astype(np.int64)
