"""Charts over days, months and sizes in words, as tables and as files; the same numbers in each."""

from collections.abc import Iterator

from audit.charts.plots import LineChart, Plot, Scale, StepBand, StepChart
from audit.charts.words import Table, limits, percent, standard_text

Cell = str | float | int | None


def alt_text(plot: Plot) -> str:
    """The whole chart for somebody who cannot see it: what it is, the one finding, how far it goes."""
    if isinstance(plot, StepChart):
        said = "; ".join(_band_words(plot, band) for band in plot.bands) or "nothing to draw"
        standard = f"; standard {standard_text(plot.standard)}" if plot.standard is not None else ""
        return f"Step chart of {plot.title}; {said}{standard}."
    if isinstance(plot, LineChart):
        return f"Line chart of {plot.title}; {'; '.join(_line_words(plot))}."
    units = "; ".join(
        f"{dot.label}: {dot.events} of {dot.total}, {percent(dot.rate)}, {dot.place}" for dot in plot.units
    )
    return f"Funnel chart of {plot.title}; {plot.target_label} {percent(plot.target)}; {units or 'no unit'}."


def table(plot: Plot) -> Table:
    header, rows = _cells(plot)
    return Table(header, tuple(tuple(_said(cell) for cell in row) for row in rows))


def csv_rows(plot: Plot) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """Header and rows for another program: proportions from 0 to 1, days and sizes as numbers."""
    if isinstance(plot, StepChart):
        rows: list[tuple[Cell, ...]] = [
            (band.label, step.day, step.lower, step.upper) for band in plot.bands for step in band.steps
        ]
        return ("group", "from_day", "lower", "upper"), rows
    if isinstance(plot, LineChart):
        found: list[tuple[Cell, ...]] = [
            (series.label, dot.said, dot.x, dot.y, dot.note) for series in plot.series for dot in series.dots
        ]
        found += [("level", level.label, None, level.y, "") for level in plot.levels]
        found += [("change", upright.label, upright.x, None, "") for upright in plot.uprights]
        return ("series", "place", "x", "y", "note"), found
    units: list[tuple[Cell, ...]] = [
        (dot.label, dot.events, dot.total, dot.size, dot.rate, dot.place) for dot in plot.units
    ]
    units += [("limits", None, None, line.size, None, limits(line.alarm_low, line.alarm_high)) for line in plot.lines]
    return ("unit", "events", "total", "size", "rate", "place"), units


def _cells(plot: Plot) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    if isinstance(plot, StepChart):
        rows: list[tuple[Cell, ...]] = [
            (band.label, f"{day}", _range_at(band, day), str(number))
            for band in plot.bands
            for day, number in zip(plot.at, band.observed, strict=True)
        ]
        return ("Group", "Day", "Share", plot.observed_label), rows
    if isinstance(plot, LineChart):
        shown: list[tuple[Cell, ...]] = [
            (dot.said, _value(plot, dot.y), dot.note) if len(plot.series) == 1
            else (series.label, dot.said, _value(plot, dot.y), dot.note)
            for series in plot.series for dot in series.dots
        ]  # fmt: skip
        header = (plot.x_axis, plot.y_axis, "Note")
        return (header if len(plot.series) == 1 else ("Series", *header)), shown
    units: list[tuple[Cell, ...]] = [
        (dot.label, dot.events, dot.total, dot.size, percent(dot.rate), dot.place) for dot in plot.units
    ]
    return ("Unit", "Events", "Total", "Size drawn at", "Rate", "Place"), units


def _range_at(band: StepBand, day: float) -> str:
    """The share by a day: one number where both bounds print alike."""
    if band.until is None or day > band.until:
        return band.withheld or "not shown: too few observed"
    step = next((step for step in reversed(band.steps) if step.day <= day), None)
    if step is None:
        return percent(0.0)
    low, high = percent(step.lower), percent(step.upper)
    return low if low == high else f"{low} to {high}"


def _band_words(plot: StepChart, band: StepBand) -> str:
    shown = [
        f"by day {day} {_range_at(band, day)}, {number} observed"
        for day, number in zip(plot.at, band.observed, strict=True)
        if band.until is not None and day <= band.until
    ]
    return f"{band.label}: {', '.join(shown) or band.withheld or 'too few observed'}"


def _line_words(plot: LineChart) -> Iterator[str]:
    for series in plot.series:
        if not series.dots:
            yield f"{series.label}: {plot.empty or 'no value'}"
            continue
        values = [dot.y for dot in series.dots]
        flagged = [dot.said for dot in series.dots if dot.flagged]
        yield (
            f"{series.label}: {len(values)} value{'' if len(values) == 1 else 's'} from {series.dots[0].said} to "
            f"{series.dots[-1].said}, between {_value(plot, min(values))} and {_value(plot, max(values))}"
        )
        if flagged:
            yield f"look at {', '.join(flagged)}"
    for level in plot.levels:
        yield f"{level.label} {_value(plot, level.y)}"
    if plot.band is not None:
        yield f"{plot.band_label} {_value(plot, plot.band[0])} to {_value(plot, plot.band[1])}"


def _value(plot: LineChart, value: float) -> str:
    if plot.scale is Scale.SHARE:
        return percent(value)
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _said(cell: Cell) -> str:
    return "" if cell is None else str(cell)
