"""Reviews of an invented clinic, any number of them, always the same for the same seed.

Patients have one to four sides; a patient is more or less prone to regrowth, so sides of one patient resemble each
other. Regrowth: 10.8 % of sides in all, half of it within a year, so 5.4 % by day 365. Reviews are planned at 1, 6,
13, 26, 52 and 104 weeks and wander around that; some are missed, some patients stop coming, and operations lie up to
three years before the data cut-off, so that about half of the sides have no status at one year.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

PLANNED = np.array([7, 42, 91, 182, 364, 728])
WANDER = np.array([3, 7, 12, 20, 30, 45])
EVER_REGROWN, HALF_BY = 0.108, 365.0
SIDES_PER_PATIENT = (0.35, 0.40, 0.14, 0.11)


@dataclass(frozen=True, eq=False)
class Clinic:
    """patient, regrows_on: shape (sides,), infinity where it never does. visits: shape (patients, 6), days of the
    reviews that took place, infinity where not. last_day: shape (patients,), days from operation to the data cut-off.
    """

    patient: npt.NDArray[np.int64]
    regrows_on: npt.NDArray[np.float64]
    visits: npt.NDArray[np.float64]
    last_day: npt.NDArray[np.float64]

    def intervals(self) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Last day seen clear and first day seen regrown of each side; 0 and infinity where none."""
        left, right = np.zeros(len(self.patient)), np.full(len(self.patient), np.inf)
        for visit in self.visits.T:
            day = visit[self.patient]
            clear = day < self.regrows_on
            np.maximum(left, np.where(clear & np.isfinite(day), day, 0), out=left)
            np.minimum(right, np.where(clear, np.inf, day), out=right)
        return left, right

    def findings(self, come_back: float, seed: int) -> dict[str, npt.NDArray[np.generic]]:
        """Side, day, regrown and planned of every finding, when a part of the patients comes unplanned within a month
        of regrowth of a side."""
        random = np.random.default_rng(seed)
        day = self.visits[self.patient]
        side, column = np.nonzero(np.isfinite(day))
        day = day[side, column]
        calls = np.isfinite(self.regrows_on) & (random.random(len(self.patient)) < come_back)
        calls_on = np.ceil(np.where(calls, self.regrows_on, 0) + random.uniform(1, 30, len(calls)))
        calls &= calls_on <= self.last_day[self.patient]
        side, day = np.append(side, np.flatnonzero(calls)), np.append(day, calls_on[calls])
        planned = np.arange(len(side)) < len(column)
        return {"side": side, "day": day, "regrown": day >= self.regrows_on[side], "planned": planned}


def clinic(sides: int, seed: int = 1, correlation: float = 0.3) -> Clinic:
    """A clinic with this many treated sides. correlation: of being prone to regrowth, between sides of one patient."""
    random = np.random.default_rng(seed)
    most = int(sides / 2 * 1.1) + 20
    each = random.choice([1, 2, 3, 4], p=SIDES_PER_PATIENT, size=most)
    patients = int(np.searchsorted(np.cumsum(each), sides)) + 1
    patient = np.repeat(np.arange(patients), each[:patients])[:sides]
    visits = np.maximum(1, np.rint(PLANNED + WANDER * random.standard_normal((patients, 6)).clip(-3, 3)))
    visits.sort(axis=1)
    last_day = np.floor(random.uniform(0, 1095, patients))
    missed = random.random((patients, 6)) < 0.15
    gone = np.cumsum(random.random((patients, 6)) < 0.05, axis=1) > 0
    visits[missed | gone | (visits > last_day[:, None])] = np.inf
    spread = (1 - correlation) / correlation
    prone = random.beta(EVER_REGROWN * spread, (1 - EVER_REGROWN) * spread, patients)[patient]
    regrows_on = np.where(random.random(sides) < prone, random.exponential(HALF_BY / np.log(2), sides), np.inf)
    return Clinic(patient, regrows_on, visits, last_day)


def true_share(day: float) -> float:
    """The share of sides that has regrown by a day."""
    return float(EVER_REGROWN * (1 - 2 ** (-day / HALF_BY)))
