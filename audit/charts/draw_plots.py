"""Draws steps, lines and funnels on a sheet; lengths in CSS pixels, every mark told apart without colour."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from matplotlib.patches import Circle, Polygon, Rectangle

from audit.charts.canvas import LINE, PX, SMALL, SMALL_LINE, TEXT, Canvas, Places, width_of, wrapped
from audit.charts.plots import FunnelChart, LineChart, Plot, Scale, StepBand, StepChart
from audit.charts.words import percent, standard_text

HEIGHT = {"wide": 250.0, "narrow": 210.0}
DASHES: tuple[tuple[float, Places] | str, ...] = ("-", (0, (5.0, 2.0)), (0, (1.5, 1.8)))
SHAPES = ("circle", "diamond", "square")
NICE = (1, 2, 2.5, 5, 10)
MOST_TICKS = 6
MOST_DOTS = 80


@dataclass(frozen=True)
class Box:
    """Where the values stand on the sheet: from left to right and from bottom up."""

    left: float
    right: float
    top: float
    bottom: float
    x_from: float
    x_to: float
    y_of_share: Callable[[float], float]

    def x(self, value: float) -> float:
        span = (self.x_to - self.x_from) or 1.0
        return self.left + (min(max(value, self.x_from), self.x_to) - self.x_from) / span * (self.right - self.left)

    def y(self, value: float) -> float:
        return self.bottom - min(max(self.y_of_share(value), 0.0), 1.0) * (self.bottom - self.top)


def draw_plot(plot: Plot, canvas: Canvas) -> None:
    if isinstance(plot, StepChart):
        _steps(plot, canvas)
    elif isinstance(plot, LineChart):
        _lines(plot, canvas)
    else:
        _funnel(plot, canvas)


def nice_ticks(top: float, most: int = MOST_TICKS) -> list[float]:
    """From 0 to at least `top` in even steps that people count in; at most `most` of them after 0."""
    if top <= 0:
        return [0.0, 1.0]
    power = 10.0 ** math.floor(math.log10(top / most))
    step = next(power * each * scale for scale in (1, 10) for each in NICE if top / (power * each * scale) <= most)
    return [step * place for place in range(math.ceil(top / step - 1e-9) + 1)]


def log_ticks(top: float) -> list[float]:
    """1, 3, 10, 30 … up to at least `top`."""
    found, place = [1.0], 0
    while found[-1] < top:
        place += 1
        found.append(10.0 ** (place // 2) * (3 if place % 2 else 1))
    return found


# --- steps


def _steps(plot: StepChart, canvas: Canvas) -> None:
    last = max((band.until or 0 for band in plot.bands), default=0)
    highest = max([step.upper for band in plot.bands for step in _shown(band)] + [plot.standard or 0, 0.05])
    ticks = nice_ticks(min(highest * 1.1, 1.0), 5)
    _title(canvas, plot.y_axis)
    box = _box(canvas, 0, max(last, plot.at[-1] if plot.at else 1), lambda value: value / ticks[-1], room=8)
    _share_axis(canvas, box, ticks, standard_text)
    for day in plot.at:
        canvas.line((box.x(day), box.x(day)), (box.bottom, box.bottom + 4), colour="edge")
        canvas.text(box.x(day), box.bottom + 18, f"{day}", size=SMALL, colour="ink2", align="center")
    if plot.standard is not None and plot.standard_day is not None:
        _standard_mark(canvas, box, plot.standard_day, plot.standard)
    for place, band in enumerate(plot.bands):
        _step_band(canvas, box, band, place)
    canvas.y = box.bottom + 22
    _x_name(canvas, box, plot.x_axis)
    _keys(canvas, [band.label for band in plot.bands], joined=True)
    _observed(plot, canvas, box)
    if not any(_shown(band) for band in plot.bands):
        canvas.text(box.left + 8, (box.top + box.bottom) / 2, "Too few observed to draw", colour="ink2")


def _shown(band: StepBand) -> list:
    return [step for step in band.steps if band.until is not None and step.day <= band.until]


def _step_band(canvas: Canvas, box: Box, band: StepBand, place: int) -> None:
    steps = _shown(band)
    if band.until is None:
        return
    days = [0.0, *(step.day for step in steps), band.until]
    stretches = list(pairwise(days))
    lower, upper = [0.0, *(step.lower for step in steps)], [0.0, *(step.upper for step in steps)]
    colour = f"series{place + 1}"
    edges = {}
    for name, values in (("low", lower), ("high", upper)):
        xs, ys = [], []
        for (start, end), value in zip(stretches, values, strict=True):
            xs += [box.x(start), box.x(end)]
            ys += [box.y(value), box.y(value)]
        edges[name] = (xs, ys)
    outline = list(zip(*edges["low"], strict=True)) + list(zip(*edges["high"], strict=True))[::-1]
    look = {"facecolor": canvas.colours[colour], "alpha": 0.22, "linewidth": 0}
    canvas.axes.add_patch(Polygon(outline, closed=True, zorder=2 + place, clip_on=False, **look))
    for xs, ys in edges.values():
        canvas.line(tuple(xs), tuple(ys), colour=colour, width=1.8, style=DASHES[place], layer=4 + place)


def _observed(plot: StepChart, canvas: Canvas, box: Box) -> None:
    """Numbers still under observation below each day, a line for each group."""
    canvas.y += 6
    for line in wrapped(plot.observed_label, canvas.columns.width, SMALL, "normal"):
        canvas.text(0, canvas.y + 12, line, size=SMALL, colour="ink2")
        canvas.y += SMALL_LINE
    for band in plot.bands:
        if len(plot.bands) > 1:
            canvas.text(0, canvas.y + 12, band.label, size=SMALL, weight="bold")
            canvas.y += SMALL_LINE
        for day, number in zip(plot.at, band.observed, strict=True):
            canvas.text(box.x(day), canvas.y + 12, f"{number}", size=SMALL, align="center")
        canvas.y += SMALL_LINE


def _standard_mark(canvas: Canvas, box: Box, day: float, standard: float) -> None:
    x, y = box.x(day), box.y(standard)
    canvas.line((x - 16, x + 16), (y, y), colour="late", width=2.2, style=(0, (1.2, 1.4)), layer=8)
    words = f"standard {standard_text(standard)}"
    canvas.text(max(x - 20, 0), y - 6, words, size=SMALL, colour="late", weight="bold", align="right")


# --- lines


def _lines(plot: LineChart, canvas: Canvas) -> None:
    _title(canvas, plot.y_axis)
    dots = [dot for series in plot.series for dot in series.dots]
    if not dots:
        canvas.text(0, canvas.y + LINE, plot.empty or "No value yet", colour="ink2")
        canvas.y += LINE + 8
        return
    values = [dot.y for dot in dots] + [level.y for level in plot.levels] + list(plot.band or ())
    ticks, share = _value_scale(plot.scale, max(values))
    first, last = min(dot.x for dot in dots), max(dot.x for dot in dots)
    pad = (last - first) * 0.03 or 0.5
    room = 8 if canvas.columns.stacked else max([width_of(level.label, SMALL, "normal") for level in plot.levels] + [8])
    box = _box(canvas, first - pad, last + pad, share, room=min(room, 180))
    _share_axis(canvas, box, ticks, _tick_words(plot.scale))
    if plot.band is not None:
        _shade(canvas, box, plot.band)
    _levels(plot, canvas, box)
    for upright in plot.uprights:
        x = box.x(upright.x)
        canvas.line((x, x), (box.top, box.bottom), colour="ink2", width=1, style=(0, (2.0, 2.0)))
    for place, series in enumerate(plot.series):
        if series.joined and len(series.dots) > 1:
            xs, ys = tuple(box.x(dot.x) for dot in series.dots), tuple(box.y(dot.y) for dot in series.dots)
            canvas.line(xs, ys, colour=f"series{place + 1}", width=1.8, style=DASHES[place], layer=4)
        crowded = len(series.dots) > MOST_DOTS
        for dot in series.dots:
            # Along a line of many values only those to look at are marked.
            if dot.flagged or not (crowded and series.joined):
                _mark(canvas, box.x(dot.x), box.y(dot.y), place, flagged=dot.flagged, small=crowded)
    _ends(plot, canvas, box)
    canvas.y = box.bottom + 22
    _x_name(canvas, box, plot.x_axis)
    names = [series.label for series in plot.series] if len(plot.series) > 1 else []
    _keys(canvas, names, joined=False)
    notes = [f"{plot.band_label}: shaded"] if plot.band is not None else []
    notes += [f"upright: {upright.label}" for upright in plot.uprights]
    if canvas.columns.stacked:
        notes += [f"{'line' if level.firm else 'dashed line'}: {level.label}" for level in plot.levels]
    for note in notes:
        for line in wrapped(note, canvas.columns.width, SMALL, "normal"):
            canvas.text(0, canvas.y + 12, line, size=SMALL, colour="ink2")
            canvas.y += SMALL_LINE


def _value_scale(scale: Scale, top: float) -> tuple[list[float], Callable[[float], float]]:
    if scale is Scale.LOG:
        ticks = log_ticks(top)
        return ticks, lambda value: math.log10(max(value, 0.7) / 0.7) / math.log10(ticks[-1] / 0.7)
    if scale is Scale.SHARE:
        ticks = [0.0, 0.25, 0.5, 0.75, 1.0]
        return ticks, lambda value: value
    ticks = nice_ticks(top * 1.05)
    return ticks, lambda value: value / ticks[-1]


def _tick_words(scale: Scale) -> Callable[[float], str]:
    return standard_text if scale is Scale.SHARE else lambda value: f"{value:g}"


def _shade(canvas: Canvas, box: Box, band: tuple[float, float]) -> None:
    top, bottom = box.y(band[1]), box.y(band[0])
    look = {"facecolor": canvas.colours["band"], "alpha": 0.55, "linewidth": 0}
    patch = Rectangle((box.left, top), box.right - box.left, bottom - top, zorder=0, clip_on=False, **look)
    canvas.axes.add_patch(patch)


def _levels(plot: LineChart, canvas: Canvas, box: Box) -> None:
    """Lines across; their names at the right end, kept apart from each other."""
    floor = -math.inf
    for level in sorted(plot.levels, key=lambda each: box.y(each.y)):
        y = box.y(level.y)
        style = "-" if level.firm else (0, (4.0, 3.0))
        canvas.line((box.left, box.right), (y, y), colour="edge" if level.firm else "late", width=1.4, style=style)
        if not canvas.columns.stacked:
            at = max(y + 4, floor + SMALL_LINE)
            canvas.text(box.right + 8, at, level.label, size=SMALL, colour="ink2")
            floor = at


def _ends(plot: LineChart, canvas: Canvas, box: Box) -> None:
    """The first and the last place in words; those between are in the table."""
    dots = [dot for series in plot.series for dot in series.dots]
    first, last = min(dots, key=lambda dot: dot.x), max(dots, key=lambda dot: dot.x)
    canvas.text(box.left, box.bottom + 18, first.said, size=SMALL, colour="ink2")
    if last.x > first.x:
        canvas.text(box.right, box.bottom + 18, last.said, size=SMALL, colour="ink2", align="right")


# --- funnel


def _funnel(plot: FunnelChart, canvas: Canvas) -> None:
    _title(canvas, plot.y_axis)
    highest = max([unit.rate for unit in plot.units] + [line.alarm_high for line in plot.lines[-1:]] + [plot.target])
    widest = [line.warning_high for line in plot.lines]
    ticks = nice_ticks(min(max(highest, min([*widest[:1], 0.6])) * 1.1, 1.0), 5)
    largest = max([line.size for line in plot.lines] + [unit.size for unit in plot.units] + [1])
    box = _box(canvas, 0, largest, lambda value: value / ticks[-1], room=0 if canvas.columns.stacked else 96)
    _share_axis(canvas, box, ticks, standard_text)
    sizes = [line.size for line in plot.lines]
    for name, style, words in (
        ("alarm_high", "-", "99.8 %"), ("warning_high", (0, (4.0, 3.0)), "95 %"),
        ("warning_low", (0, (4.0, 3.0)), ""), ("alarm_low", "-", ""),
    ):  # fmt: skip
        values = [getattr(line, name) for line in plot.lines]
        places = [place for place, value in enumerate(values) if 0 < value <= ticks[-1]]
        if len(places) < 2:
            continue
        xs, ys = tuple(box.x(sizes[place]) for place in places), tuple(box.y(values[place]) for place in places)
        canvas.line(xs, ys, colour="band-edge", width=1.4, style=style)
        if words and not canvas.columns.stacked:
            canvas.text(box.right + 6, ys[-1] + 4, words, size=SMALL, colour="ink2")
    canvas.line((box.left, box.right), (box.y(plot.target),) * 2, colour="ink2", width=1.4)
    for unit in plot.units:
        _mark(canvas, box.x(unit.size), box.y(unit.rate), 0, flagged=False)
        canvas.text(box.x(unit.size) + 8, box.y(unit.rate) - 6, unit.label, size=SMALL, weight="bold")
    for tick in nice_ticks(largest, 5):
        if tick <= largest:
            canvas.text(box.x(tick), box.bottom + 18, f"{tick:g}", size=SMALL, colour="ink2", align="center")
    canvas.y = box.bottom + 22
    _x_name(canvas, box, plot.x_axis)
    said = f"{plot.target_label} {percent(plot.target)}; dashed 95 % limits, full 99.8 % limits"
    for line in wrapped(said, canvas.columns.width, SMALL, "normal"):
        canvas.text(0, canvas.y + 12, line, size=SMALL, colour="ink2")
        canvas.y += SMALL_LINE


# --- shared


def _box(canvas: Canvas, x_from: float, x_to: float, share: Callable[[float], float], *, room: float) -> Box:
    """room: what the names of levels need at the right."""
    left = 46.0
    height = HEIGHT["narrow" if canvas.columns.stacked else "wide"]
    top = canvas.y + 10
    return Box(left, canvas.columns.width - room - 8, top, top + height, x_from, x_to, share)


def _title(canvas: Canvas, words: str) -> None:
    for line in wrapped(words, canvas.columns.width, SMALL, "normal"):
        canvas.text(0, canvas.y + 12, line, size=SMALL, colour="ink2")
        canvas.y += SMALL_LINE


def _share_axis(canvas: Canvas, box: Box, ticks: Sequence[float], said: Callable[[float], str]) -> None:
    for tick in ticks:
        y = box.y(tick)
        canvas.line((box.left, box.right), (y, y), colour="line", width=0.8, layer=0)
        canvas.text(box.left - 6, y + 4, said(tick), size=SMALL, colour="ink2", align="right")
    canvas.line((box.left, box.right), (box.bottom, box.bottom), colour="edge", width=1.2)


def _x_name(canvas: Canvas, box: Box, words: str) -> None:
    for line in wrapped(words, canvas.columns.width, SMALL, "normal"):
        canvas.text((box.left + box.right) / 2, canvas.y + 14, line, size=SMALL, colour="ink2", align="center")
        canvas.y += SMALL_LINE
    canvas.y += 4


def _keys(canvas: Canvas, names: Sequence[str], *, joined: bool) -> None:
    """Which line is which, by dash and shape as well as by colour."""
    if len(names) < 2 and not joined:
        return
    for place, name in enumerate(names):
        y = canvas.y + 9
        colour = f"series{place + 1}"
        canvas.line((0, 30), (y, y), colour=colour, width=2, style=DASHES[place])
        if not joined:
            _mark(canvas, 15, y, place, flagged=False)
        canvas.text(38, y + 5, name, size=TEXT)
        canvas.y += LINE


def _mark(canvas: Canvas, x: float, y: float, place: int, *, flagged: bool, small: bool = False) -> None:
    colour = canvas.colours["late" if flagged else f"series{place + 1}"]
    look = {"facecolor": colour, "edgecolor": canvas.colours["surface"], "linewidth": 1.2 * PX}
    radius = 6.0 if flagged else (2.6 if small else 4.6)
    if flagged:
        canvas.axes.add_patch(Circle((x, y), radius + 3, fill=False, edgecolor=colour, linewidth=1.6 * PX, zorder=7))
    shape = SHAPES[place]
    if shape == "circle":
        patch = Circle((x, y), radius, zorder=6, clip_on=False, **look)
    elif shape == "diamond":
        corners = [(x, y - radius - 1), (x + radius + 1, y), (x, y + radius + 1), (x - radius - 1, y)]
        patch = Polygon(corners, closed=True, zorder=6, clip_on=False, **look)
    else:
        patch = Rectangle((x - radius, y - radius), 2 * radius, 2 * radius, zorder=6, clip_on=False, **look)
    canvas.axes.add_patch(patch)
