"""What may be shown of thin data: one table of rules, one function per kind of figure. Knows numbers only."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from types import MappingProxyType

from audit.stats.clustered import FEWEST_EVENTS_TO_COMPARE, FEWEST_PATIENTS, FEWEST_PATIENTS_TO_COMPARE
from audit.stats.proportion import FEWEST_FOR_A_TEST


class Figure(StrEnum):
    """The kinds of figures that have a rule of their own."""

    RATE = "a rate"
    TEST = "a test against the standard"
    COMPARISON = "a comparison"
    TREND = "a trend test"
    REGRESSION = "a regression"
    CURVE = "a curve"
    FUNNEL = "a funnel"
    POOL = "a pooled value"


class Show(StrEnum):
    """What may stand on the page."""

    NOTHING = "nothing"
    EMPTY = "no cases"
    COUNTS = "counts only"
    HOLLOW = "percentage with interval, too few to judge"
    RATE = "percentage with interval"
    ZERO = "0 of n with the exact upper limit"
    ALL = "n of n with the exact lower limit"
    TEST = "test against the standard"
    NO_TEST = "interval without a test"
    COMPARED = "difference with interval and test"
    SIDE_BY_SIDE = "intervals side by side"
    TREND = "trend test"
    EXACT_TREND = "exact trend test, exploratory"
    GEE = "regression clustered on patients"
    FIRTH = "penalised regression, approximate"
    CURVE = "curve"
    DISPERSION = "funnel with over-dispersion"
    FUNNEL = "funnel"
    TABLE = "table with intervals, unranked"
    PREDICTION = "pooled value with prediction interval"
    POOLED = "pooled value with a warning"
    FOREST = "practices side by side, not pooled"


@dataclass(frozen=True)
class Showing:
    """The verdict of one rule.

    show: what may be shown. reason: in words, why it is not more; empty where nothing is held back.
    until: for a curve the last day that may be drawn; else None.
    """

    figure: Figure
    show: Show
    reason: str = ""
    until: float | None = None

    @property
    def full(self) -> bool:
        return not self.reason


@dataclass(frozen=True)
class Rule:
    """One line of the table: `show` if every quantity, named in words, is at least as large as `needs` says."""

    show: Show
    needs: tuple[tuple[str, int], ...] = ()


# Every number here is our own choice. Per figure the fullest showing first; the last needs nothing.
RULES: Mapping[Figure, tuple[Rule, ...]] = MappingProxyType({
    Figure.RATE: (
        Rule(Show.RATE, (("units", 20), ("patients", FEWEST_PATIENTS))),
        Rule(Show.HOLLOW, (("units", 10), ("patients", FEWEST_PATIENTS))),
        Rule(Show.COUNTS),
    ),
    Figure.TEST: (Rule(Show.TEST, (("patients", FEWEST_FOR_A_TEST),)), Rule(Show.NO_TEST)),
    Figure.COMPARISON: (
        Rule(Show.COMPARED, (
            ("patients in the smaller group", FEWEST_PATIENTS_TO_COMPARE), ("events", FEWEST_EVENTS_TO_COMPARE),
        )),
        Rule(Show.SIDE_BY_SIDE),
    ),
    Figure.TREND: (Rule(Show.TREND, (("exposure classes", 3), ("events", 10))), Rule(Show.EXACT_TREND)),
    Figure.REGRESSION: (
        Rule(Show.GEE, (("patients", 30), ("events per parameter", 5))),
        Rule(Show.FIRTH, (("patients", 20), ("events", 3))),
        Rule(Show.NOTHING),
    ),
    Figure.CURVE: (Rule(Show.CURVE, (("patients observed", 10),)), Rule(Show.NOTHING)),
    Figure.FUNNEL: (Rule(Show.DISPERSION, (("practices", 10),)), Rule(Show.FUNNEL, (("practices", 5),)),
                    Rule(Show.TABLE)),
    Figure.POOL: (Rule(Show.PREDICTION, (("practices", 5),)), Rule(Show.POOLED, (("practices", 3),)),
                  Rule(Show.FOREST)),
})  # fmt: skip


def rate(units: int, patients: int) -> Showing:
    """What may be shown of one proportion.

    units, patients: behind the denominator, whole numbers, 0 or more, patients at most units.
    An empty group is EMPTY and says so: "no cases", never 0 %.
    """
    check_whole("units", units)
    check_whole("patients", patients)
    if patients > units or (units and not patients):
        raise ValueError(f"patients must be from 1 to {units}, the number of units, not {patients}")
    if units == 0:
        return Showing(Figure.RATE, Show.EMPTY, "no cases")
    return _by_rule(Figure.RATE, units=units, patients=patients)


def extreme(events: int, units: int) -> Showing:
    """How a rate is printed when nobody or everybody had the event.

    events, units: whole numbers, 0 <= events <= units. Gives ZERO or ALL, which stand with their exact one-sided
    limit and without a mark of no height; RATE for any other count; EMPTY without units.

    Hanley JA, Lippman-Hand A. JAMA 1983;249:1743-1745.
    """
    check_whole("units", units)
    check_whole("events", events)
    if events > units:
        raise ValueError(f"events must be from 0 to {units}, not {events}")
    if units == 0:
        return Showing(Figure.RATE, Show.EMPTY, "no cases")
    if events in (0, units):
        found = Show.ALL if events else Show.ZERO
        return Showing(Figure.RATE, found, f"{events} of {units}: only a one-sided limit can be given")
    return Showing(Figure.RATE, Show.RATE)


def against_standard(patients: int) -> Showing:
    """Whether a test against the standard may stand beside the interval. patients: whole number, 0 or more."""
    return _by_rule(Figure.TEST, patients=check_whole("patients", patients))


def comparison(patients_first: int, patients_second: int, events: int) -> Showing:
    """Whether two groups may be compared. patients of each group, events of both: whole numbers, 0 or more."""
    fewer = min(check_whole("patients_first", patients_first), check_whole("patients_second", patients_second))
    check_whole("events", events)
    return _by_rule(Figure.COMPARISON, **{"patients in the smaller group": fewer, "events": events})


def trend(classes: int, events: int) -> Showing:
    """Which trend test may stand. classes: exposure classes with data, events: in all; whole numbers, 0 or more."""
    check_whole("classes", classes)
    return _by_rule(Figure.TREND, **{"exposure classes": classes, "events": check_whole("events", events)})


def regression(patients: int, units: int, events: int, parameters: int) -> Showing:
    """Which regression may be fitted.

    patients, units, events: whole numbers, 0 or more. parameters: of the model with its constant, at least 1.
    Where events are the majority the units without event are counted instead: the rarer ones limit the fit.
    """
    check_whole("patients", patients)
    check_whole("units", units)
    check_whole("events", events)
    check_whole("parameters", parameters, 1)
    if events > units:
        raise ValueError(f"events must be from 0 to {units}, not {events}")
    rarer = min(events, units - events)
    have = {"patients": patients, "events": rarer, "events per parameter": rarer / parameters}
    return _by_rule(Figure.REGRESSION, **have)


def curve(days: Sequence[float], observed: Sequence[int]) -> Showing:
    """How far a curve may be drawn.

    days: ascending, since operation. observed: patients under observation on each day, whole numbers, 0 or more.
    Gives CURVE with `until`, the last day with enough patients; NOTHING where there is none.
    """
    if len(days) != len(observed) or not len(days):
        raise ValueError(f"observed must have as many entries as days, {len(days)} and at least 1, not {len(observed)}")
    if any(not later > earlier for earlier, later in pairwise(days)):
        raise ValueError("days must be ascending")
    for place, patients in enumerate(observed):
        check_whole(f"observed[{place}]", patients)
    least = RULES[Figure.CURVE][0].needs[0][1]
    enough = [place for place, patients in enumerate(observed) if patients >= least]
    if not enough:
        return _by_rule(Figure.CURVE, **{"patients observed": max(observed)})
    if enough[-1] == len(days) - 1:
        return Showing(Figure.CURVE, Show.CURVE, until=float(days[-1]))
    reason = f"drawn to day {days[enough[-1]]:g}: fewer than {least} patients were observed after it"
    return Showing(Figure.CURVE, Show.CURVE, reason, float(days[enough[-1]]))


def funnel(practices: int) -> Showing:
    """Whether units may stand in a funnel. practices: or practitioners, whole number, 0 or more."""
    return _by_rule(Figure.FUNNEL, practices=check_whole("practices", practices))


def pool(practices: int) -> Showing:
    """Whether practices may be pooled. practices: whole number, 0 or more."""
    return _by_rule(Figure.POOL, practices=check_whole("practices", practices))


def few_patients(patients: int, figure: Figure = Figure.RATE) -> str:
    """Why `patients` are too few for any rate; empty where they are not. patients: whole number, 0 or more."""
    return "" if check_whole("patients", patients) >= FEWEST_PATIENTS else _short(
        figure, [("patients", patients, FEWEST_PATIENTS)]
    )  # fmt: skip


def check_whole(name: str, value: float, least: int = 0) -> int:
    """The value as a whole number; refuses with ValueError, naming the argument, what is none or below `least`."""
    if isinstance(value, bool) or not math.isfinite(value) or value != int(value):
        raise ValueError(f"{name} must be a whole number, not {value}")
    if value < least:
        raise ValueError(f"{name} must be at least {least}, not {value}")
    return int(value)


def _by_rule(figure: Figure, **have: float) -> Showing:
    """The first line of the table that is met; the reason is what the line above it lacks."""
    lacking: list[tuple[str, float, int]] = []
    for rule in RULES[figure]:
        short = [(name, have[name], least) for name, least in rule.needs if have[name] < least]
        if not short:
            return Showing(figure, rule.show, _short(figure, lacking) if lacking else "")
        lacking = short
    raise AssertionError(f"the last rule of {figure} needs something")


def _short(figure: Figure, lacking: Sequence[tuple[str, float, int]]) -> str:
    parts = (f"{found:.3g} of at least {least} {name}" for name, found, least in lacking)
    return f"too few for {figure}: {', '.join(parts)}"
