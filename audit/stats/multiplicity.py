"""Several tests at once: Holm's step-down for one family, and which figures are in no family. Knows numbers only."""

from collections.abc import Mapping
from dataclasses import dataclass

from audit.stats.proportion import check_level

NOT_TESTED = "not tested"


@dataclass(frozen=True)
class Comparison:
    """One test of a family. p, adjusted: 0 to 1; both None where it could not be tested, and `withheld` says so.

    rejected: the adjusted p is at most 1 - level of the family.
    """

    label: str
    p: float | None
    adjusted: float | None
    rejected: bool
    withheld: str = ""


@dataclass(frozen=True)
class Family:
    """Tests that were declared together and are adjusted together.

    size: tests declared, whether they could be done or not. level: 1 - the accepted chance of any false rejection.
    """

    name: str
    size: int
    level: float
    comparisons: tuple[Comparison, ...]


def holm(family: str, p_values: Mapping[str, float | None], level: float = 0.95) -> Family:
    """Adjusts the p-values of one declared family.

    family: its name, as printed. p_values: by label, each 0 to 1; None for a test that was declared but could not be
    done. It still counts: whether a test can be done depends on the data, so leaving it out would favour the others.
    level: between 0 and 1.
    Gives the comparisons in the given order with adjusted p = max over i <= j of min(1, (m - i + 1) p_(i)), where
    p_(1) <= ... <= p_(m) and m is the size of the family.
    Refuses with ValueError an empty family, a family without a name and a p outside 0 to 1.

    Holm S. Scand J Stat 1979;6:65-70.
    """
    check_level(level)
    if not family:
        raise ValueError("family must have a name")
    if not p_values:
        raise ValueError("p_values must hold at least 1 test, not 0")
    for label, p in p_values.items():
        if p is not None and not 0 <= p <= 1:
            raise ValueError(f"p_values[{label!r}] must be from 0 to 1, not {p}")
    adjusted = _adjusted({label: p for label, p in p_values.items() if p is not None}, len(p_values))
    comparisons = tuple(_comparison(label, p, adjusted.get(label), level) for label, p in p_values.items())
    return Family(family, len(p_values), level, comparisons)


def exploratory(intervals: int, level: float = 0.95) -> str:
    """The heading of intervals that are in no family.

    intervals: how many stand under the heading, at least 1. level: two-sided, between 0 and 1.
    """
    check_level(level)
    if intervals < 1:
        raise ValueError(f"intervals must be at least 1, not {intervals}")
    one_in = round(1 / (1 - level))
    missed = intervals * (1 - level)
    return f"Exploratory: about 1 in {one_in} intervals misses by chance, of these {intervals} about {missed:.1f}"


def _adjusted(tested: Mapping[str, float], size: int) -> dict[str, float]:
    found, highest = {}, 0.0
    for place, label in enumerate(sorted(tested, key=lambda one: tested[one])):
        highest = max(highest, min(1.0, (size - place) * tested[label]))
        found[label] = highest
    return found


def _comparison(label: str, p: float | None, adjusted: float | None, level: float) -> Comparison:
    if p is None or adjusted is None:
        return Comparison(label, None, None, False, NOT_TESTED)
    # 1 - 0.95 is a little more than 0.05 in binary; a comparison with tolerance keeps 0.05 on its side.
    return Comparison(label, p, adjusted, adjusted <= (1 - level) * (1 + 1e-12))
