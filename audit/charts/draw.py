"""Draws a chart on a sheet. This module and its neighbours `canvas` and `draw_plots` alone know matplotlib."""

from matplotlib.patches import Circle, FancyBboxPatch, Rectangle

from audit.charts.canvas import COLUMNS, LINE, PX, SMALL, SMALL_LINE, TEXT, THEMES, Canvas, Columns, width_of, wrapped
from audit.charts.draw_plots import draw_plot
from audit.charts.spec import Chart, IntervalRow, Kind
from audit.charts.telling import AnyChart
from audit.charts.words import NO_CASES, counted, limits, missing, percent, remark, standard_text

GAP = 12  # above and below each group
DOT, BAND = 5.5, 14
AXIS_TOPS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)
TICKS = {0.1: 2, 0.2: 2, 0.3: 3, 0.4: 2, 0.5: 5, 0.6: 3, 0.8: 4, 1.0: 4}


def image(chart: AnyChart, *, theme: str = "light", width: str = "wide", form: str = "svg") -> bytes:
    """The picture of a chart; the same chart gives the same bytes.

    theme: "light", "dark" or "print".  width: "wide" (7.4 in) or "narrow" (3.55 in).  form: "svg" or "png".
    """
    canvas = Canvas(COLUMNS[width], THEMES[theme], backdrop=form == "png" or theme == "print")
    if isinstance(chart, Chart):
        DRAW[chart.kind](chart, canvas)
    else:
        draw_plot(chart, canvas)
    return canvas.saved(form, chart.title)


class Scale:
    """Turns a proportion into a place on the strip."""

    def __init__(self, chart: Chart, columns: Columns) -> None:
        self.top = _axis_top(chart)
        self.left, self.right = columns.left, columns.right

    def at(self, rate: float) -> float:
        share = min(max(rate / self.top, 0.0), 1.0)
        return self.left + share * (self.right - self.left)

    def ticks(self) -> list[float]:
        parts = TICKS[self.top]
        return [self.top * part / parts for part in range(parts + 1)]


def _axis_top(chart: Chart) -> float:
    """Wide enough for every firm group and the standard; a hollow group may run off, lest it flatten all others."""
    firm = [row.high for row in chart.rows if row.high is not None and not row.hollow]
    needed = firm or [row.rate for row in chart.rows if row.rate is not None]
    if chart.standard is not None:
        needed = [*needed, chart.standard * 1.3]
    return next((top for top in AXIS_TOPS if top >= max(needed, default=0)), AXIS_TOPS[-1])


def _intervals(chart: Chart, canvas: Canvas) -> None:
    if not chart.rows:
        canvas.text(0, canvas.y + LINE, NO_CASES, colour="ink2")
        canvas.y += LINE + GAP
        return
    _axis_words(chart, canvas)
    scale = Scale(chart, canvas.columns)
    if any(row.rate is not None for row in chart.rows):
        _axis_ticks(chart, canvas, scale)
    for row in chart.rows:
        canvas.line((0, canvas.columns.width), (canvas.y, canvas.y), colour="line")
        _group(row, chart.standard, canvas, scale)


def _axis_words(chart: Chart, canvas: Canvas) -> None:
    for line in wrapped(chart.axis, canvas.columns.width, SMALL, "normal"):
        canvas.text(0, canvas.y + 12, line, size=SMALL, colour="ink2")
        canvas.y += SMALL_LINE
    canvas.y += 4


def _axis_ticks(chart: Chart, canvas: Canvas, scale: Scale) -> None:
    if chart.standard is not None:
        words = f"standard {standard_text(chart.standard)}"
        half = width_of(words, SMALL, "bold") / 2
        x = min(max(scale.at(chart.standard), half), canvas.columns.width - half)
        canvas.text(x, canvas.y + 13, words, size=SMALL, colour="late", weight="bold", align="center")
        canvas.y += LINE
    for tick in scale.ticks():
        canvas.text(scale.at(tick), canvas.y + 13, standard_text(tick), size=SMALL, colour="ink2", align="center")
    canvas.y += LINE + 4


def _group(row: IntervalRow, standard: float | None, canvas: Canvas, scale: Scale) -> None:
    columns, top = canvas.columns, canvas.y + GAP
    below = _label(row, canvas, top)
    if columns.stacked:
        _numbers(row, canvas, below + 14)
        below += LINE
        if row.rate is not None:
            below += 12 + BAND
            _strip(row, standard, canvas, scale, below - BAND / 2)
    else:
        middle = (top + below) / 2
        _numbers(row, canvas, middle + 4.5)
        _strip(row, standard, canvas, scale, middle)
    canvas.y = below + GAP


def _label(row: IntervalRow, canvas: Canvas, y: float) -> float:
    """Writes a group's name and note from `y` down; gives where they end."""
    for line in wrapped(row.label, canvas.columns.label, TEXT, "bold"):
        canvas.text(0, y + 14, line, weight="bold")
        y += LINE
    for line in wrapped(remark(row), canvas.columns.label, SMALL, "normal"):
        canvas.text(0, y + 12, line, size=SMALL, colour="ink2")
        y += SMALL_LINE
    return y


def _numbers(row: IntervalRow, canvas: Canvas, y: float) -> None:
    columns = canvas.columns
    if row.total and columns.stacked:
        canvas.text(0, y, counted(row))
    elif row.total:
        canvas.text(columns.count, y, counted(row), align="right")
    if row.rate is None:
        canvas.text(columns.width, y, missing(row), colour="ink2", align="right")
    else:
        words = f"{percent(row.rate)} ({limits(row.low, row.high)})"
        canvas.text(columns.width, y, words, align="right")


def _strip(row: IntervalRow, standard: float | None, canvas: Canvas, scale: Scale, y: float) -> None:
    """Track, band, standard, dot. A group without a rate gets none of it: an empty track would look like nought."""
    if row.rate is None:
        return
    canvas.line((scale.left, scale.right), (y, y), colour="track")
    _band(row, canvas, scale, y)
    if standard is not None:
        x = scale.at(standard)
        canvas.line((x, x), (y - BAND, y + BAND), colour="late", width=1.8, style=(0, (1.2, 1.4)), layer=3)
    if row.high > scale.top:
        _chevron(canvas, scale.right, y)
    if row.rate <= scale.top:
        _dot(canvas, scale.at(row.rate), y, hollow=row.hollow)


def _band(row: IntervalRow, canvas: Canvas, scale: Scale, y: float) -> None:
    """The interval, with an outline. Where it runs off the axis its end is square, because it does not end there."""
    left, right = scale.at(row.low), scale.at(row.high)
    if row.low >= scale.top:
        return
    width = max(right - left, 2)
    look = {"facecolor": canvas.colours["band"], "edgecolor": canvas.colours["band-edge"], "linewidth": 1.2 * PX}
    if row.high > scale.top:
        canvas.axes.add_patch(Rectangle((left, y - BAND / 2), width, BAND, zorder=2, clip_on=False, **look))
        return
    look["boxstyle"] = f"round,pad=0,rounding_size={min(BAND, width) / 2}"
    canvas.axes.add_patch(FancyBboxPatch((left, y - BAND / 2), width, BAND, zorder=2, clip_on=False, **look))


def _chevron(canvas: Canvas, x: float, y: float) -> None:
    canvas.line((x + 4, x + 10, x + 4), (y - 6, y, y + 6), colour="ink", width=1.8, layer=4)


def _dot(canvas: Canvas, x: float, y: float, *, hollow: bool) -> None:
    fill, edge = ("surface", "ink") if hollow else ("ink", "surface")
    look = {"facecolor": canvas.colours[fill], "edgecolor": canvas.colours[edge]}
    look["linewidth"] = (2.4 if hollow else 1.2) * PX
    radius = DOT - 0.5 if hollow else DOT
    canvas.axes.add_patch(Circle((x, y), radius, zorder=5, clip_on=False, **look))


DRAW = {Kind.INTERVALS: _intervals}
