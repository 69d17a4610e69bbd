"""Charts over days, months or sizes as values: steps, lines and funnels. Knows no medicine and draws nothing."""

import math
from dataclasses import dataclass
from enum import StrEnum

# More than three lines in one picture cannot be told apart in grey.
MOST_SERIES = 3


@dataclass(frozen=True)
class Step:
    """From `day` on, up to the next step, the share lies between lower and upper, proportions 0 to 1."""

    day: float
    lower: float
    upper: float


@dataclass(frozen=True)
class StepBand:
    """One group of a step chart: its steps in order of days, and how many are still observed at each of the days asked.

    until: the last day drawn; None where nothing may be drawn, and `withheld` says why.
    """

    label: str
    steps: tuple[Step, ...]
    observed: tuple[int, ...]
    until: float | None
    withheld: str = ""


@dataclass(frozen=True)
class StepChart:
    """Shares that rise in steps; what the data leave open between two reviews is a band, never a slope.

    at: days below which the numbers still observed are printed. standard: a proportion at `standard_day`, or None.
    """

    slug: str
    title: str
    bands: tuple[StepBand, ...]
    at: tuple[int, ...]
    observed_label: str
    x_axis: str
    y_axis: str
    standard: float | None = None
    standard_day: float | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if len(self.bands) > MOST_SERIES:
            raise ValueError(f"{self.slug}: at most {MOST_SERIES} bands in one chart, not {len(self.bands)}")
        for band in self.bands:
            if len(band.observed) != len(self.at):
                raise ValueError(f"{self.slug}: {band.label} must say how many are observed on each of {self.at}")
            if any(not 0 <= step.lower <= step.upper <= 1 + 1e-9 for step in band.steps):
                raise ValueError(f"{self.slug}: {band.label} has a step that is no range of proportions")


class Scale(StrEnum):
    PLAIN = "plain"
    LOG = "log"
    SHARE = "share"


@dataclass(frozen=True)
class Dot:
    """One value of a series. x: its place; said: that place in words. flagged: drawn so that it is seen."""

    x: float
    y: float
    said: str
    note: str = ""
    flagged: bool = False


@dataclass(frozen=True)
class Series:
    label: str
    dots: tuple[Dot, ...]
    joined: bool = True


@dataclass(frozen=True)
class Level:
    """A horizontal line with its name at the right end. firm: the centre, drawn through; else a limit."""

    label: str
    y: float
    firm: bool = False


@dataclass(frozen=True)
class Upright:
    """A vertical line where something changed, with its words."""

    x: float
    label: str


@dataclass(frozen=True)
class LineChart:
    """Values in order, with levels to read them against. band: a range that is shaded, lower and upper."""

    slug: str
    title: str
    series: tuple[Series, ...]
    x_axis: str
    y_axis: str
    levels: tuple[Level, ...] = ()
    band: tuple[float, float] | None = None
    band_label: str = ""
    uprights: tuple[Upright, ...] = ()
    scale: Scale = Scale.PLAIN
    notes: tuple[str, ...] = ()
    empty: str = ""

    def __post_init__(self) -> None:
        if len(self.series) > MOST_SERIES:
            raise ValueError(f"{self.slug}: at most {MOST_SERIES} series in one chart, not {len(self.series)}")
        for series in self.series:
            for dot in series.dots:
                if not (math.isfinite(dot.x) and math.isfinite(dot.y)):
                    raise ValueError(f"{self.slug}: {dot.said} of {series.label} is no number")


@dataclass(frozen=True)
class FunnelDot:
    """One unit under its code: its size and rate. place: where it lies, in words."""

    label: str
    events: int
    total: int
    size: int
    rate: float
    place: str


@dataclass(frozen=True)
class FunnelLine:
    """The limits at one size, proportions 0 to 1."""

    size: int
    alarm_low: float
    warning_low: float
    warning_high: float
    alarm_high: float


@dataclass(frozen=True)
class FunnelChart:
    """Units beside each other without ranking, around one target."""

    slug: str
    title: str
    units: tuple[FunnelDot, ...]
    lines: tuple[FunnelLine, ...]
    target: float
    target_label: str
    x_axis: str
    y_axis: str
    notes: tuple[str, ...] = ()


Plot = StepChart | LineChart | FunnelChart
