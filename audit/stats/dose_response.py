"""Whether the outcome goes with the time of exposure to one agent at one strength. Knows numbers only."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy.typing as npt

from audit.stats.model_terms import Covariate, Effect, Factor
from audit.stats.patient_patterns import check_outcome
from audit.stats.patient_types import patient_numbers
from audit.stats.regression import Regression, logistic_regression
from audit.stats.trend import FEWEST_CLASSES, FEWEST_EVENTS, exposure_scores

# The line is called bent at this p-value of the square (our own choice).
CURVED = 0.05
NO_CAUSE = "Exposure is chosen by practitioners: an audit cannot show that it is the cause."


@dataclass(frozen=True)
class DoseResponse:
    """The odds ratio per doubling of the exposure, and whether a straight line will do.

    doubling: the effect; None where `withheld` says why.
    regression: the one behind it; squared_p: p-value of the square of the score, None where it could not be tested.
    curved: whether squared_p is below 0.05; then `line` says "no straight line". line: what to print of it in words.
    bands: how many bands of exposure hold units. recorded, missing: units with and without a recorded time; those
    without are counted and left out, never guessed.
    notes: cautions to print.
    """

    doubling: Effect | None
    regression: Regression | None
    squared_p: float | None
    curved: bool
    line: str
    bands: int
    recorded: int
    missing: int
    notes: tuple[str, ...]
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def dose_response(
    seconds: Sequence[float | None],
    outcome: npt.ArrayLike,
    patients: npt.ArrayLike,
    bands: Sequence[float],
    adjust: Sequence[Factor | Covariate] = (),
    level: float = 0.95,
) -> DoseResponse:
    """Trend of an outcome over the exposure time, by logistic regression on log2(seconds / 60).

    seconds: of each unit, above 0; None where it was not recorded. outcome: 0 or 1. patients: a label for each unit.
    bands: upper ends of the bands of exposure, rising, each included in its band. adjust: further terms, such as the
    practitioner. level: two-sided, between 0 and 1.
    Withheld with fewer than 3 bands that hold units, or fewer than 10 events: an exact test of trend is then the place
    to look, and exploratory. The square of the score is a second regression of its own, by the same rule.
    One agent and one strength at a time: to separate them is for the caller.
    Refuses with ValueError a time of 0 or below, bands that do not rise, lengths that differ.

    Armitage P. Biometrics 1955;11:375-386 (trend with scores); Liang KY, Zeger SL. Biometrika 1986;73:13-22.
    Referee: statsmodels' GEE beside it in the tests.
    """
    results = check_outcome(outcome)
    people = patient_numbers(patients, len(results))
    if len(seconds) != len(results):
        raise ValueError(f"seconds must hold one time for each of {len(results)} units, not {len(seconds)}")
    ends = [float(end) for end in bands]
    if not ends or any(later <= earlier for earlier, later in pairwise(ends)):
        raise ValueError(f"bands must rise, not {ends}")
    recorded = [place for place, time in enumerate(seconds) if time is not None]
    score = exposure_scores([time for time in seconds if time is not None])
    held = len({bisect_left(ends, time) for time in seconds if time is not None})
    missing = len(results) - len(recorded)
    notes = _notes(missing, bool(adjust))
    events = int(results[recorded].sum()) if recorded else 0
    thin = _too_thin(held, events)
    if thin:
        return DoseResponse(None, None, None, False, "", held, len(recorded), missing, notes, thin)
    others = [_only(term, recorded) for term in adjust]
    straight = Covariate("exposure", score, "per doubling")
    square = Covariate("exposure squared", [value**2 for value in score])
    found = logistic_regression(results[recorded], people[recorded], [straight, *others], level)
    bent = logistic_regression(results[recorded], people[recorded], [straight, square, *others], level)
    squared_p = bent.effects[1].p_value
    curved = squared_p is not None and squared_p < CURVED
    return DoseResponse(
        found.effects[0] if found.shown else None, found, squared_p, curved, _line(squared_p, bent),
        held, len(recorded), missing, (*notes, *found.notes), found.withheld or found.effects[0].withheld,
    )  # fmt: skip


def _too_thin(bands: int, events: int) -> str:
    beside = "an exact test of trend, exploratory, is all they allow"
    if bands < FEWEST_CLASSES:
        return f"too few bands of exposure: {bands}, at least {FEWEST_CLASSES} are needed; {beside}"
    if events < FEWEST_EVENTS:
        return f"too few events: {events}, at least {FEWEST_EVENTS} are needed; {beside}"
    return ""


def _line(squared_p: float | None, bent: Regression) -> str:
    if squared_p is None:
        return f"straight line not tested: {bent.withheld or bent.effects[1].withheld}"
    return "no straight line" if squared_p < CURVED else "no sign against a straight line"


def _notes(missing: int, adjusted: bool) -> tuple[str, ...]:
    notes = [NO_CAUSE]
    if not adjusted:
        notes.append("not adjusted for the practitioner")
    if missing:
        notes.append(f"exposure not recorded: {missing}, left out")
    return tuple(notes)


def _only(term: Factor | Covariate, places: list[int]) -> Factor | Covariate:
    if isinstance(term, Factor):
        labels = [term.labels[place] for place in places]
        # Units without a time may have been all of the reference; which level an adjustment takes is of no matter.
        return Factor(term.name, labels, term.reference if term.reference in labels else None, term.merge_small)
    return Covariate(term.name, [term.values[place] for place in places], term.step)
