"""The regrowth curve as a band of steps, with the numbers still observed. Knows no Django."""

from dataclasses import dataclass

from audit.stats.samples import Sample

# Below these days the numbers still under observation are printed.
OBSERVED_AT = (0, 180, 365, 545, 730)


@dataclass(frozen=True)
class CurveStep:
    day: float
    lower: float
    upper: float


@dataclass(frozen=True)
class RegrowthCurve:
    """Steps up to `until`, the last day with ten patients under observation; None, and the reason, where there is none.

    observed_sides, observed_patients: on each of OBSERVED_AT.
    """

    steps: tuple[CurveStep, ...]
    until: float | None
    observed_sides: tuple[int, ...]
    observed_patients: tuple[int, ...]
    withheld: str = ""


def curve_of(sample: Sample) -> RegrowthCurve:
    """The drawable form of a fitted sample."""
    curve, until = sample.curve, sample.last_shown_day
    sides = tuple(sample.sides_observed(day) for day in OBSERVED_AT)
    patients = tuple(sample.patients_observed(day) for day in OBSERVED_AT)
    if curve.withheld or until is None:
        return RegrowthCurve((), None, sides, patients, curve.withheld or "fewer than 10 patients observed")
    days = sorted({float(day) for day in (*curve.start, *curve.end) if day <= until})
    lower, upper = curve.bounds(days) if days else ((), ())
    # Just after a stretch begins its mass may have come; `bounds` gives the value at the end of a day.
    after = curve.bounds([day + 0.5 for day in days])[1] if days else ()
    steps = [
        CurveStep(day, float(low), max(float(high), float(later)))
        for day, low, high, later in zip(days, lower, upper, after, strict=True)
    ]
    return RegrowthCurve(tuple(steps), min(until, curve.last_day), sides, patients)
