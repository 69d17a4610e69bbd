"""Draws a chart. The only module that knows matplotlib; every length is in CSS pixels at the picture's natural size."""

import io
from dataclasses import dataclass

import fontpkg
import matplotlib
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, fontManager
from matplotlib.patches import Circle, FancyBboxPatch, Rectangle
from matplotlib.textpath import text_to_path

from audit.charts.spec import Chart, IntervalRow, Kind
from audit.charts.words import NO_CASES, counted, limits, missing, percent, remark, standard_text

for _weight in (400, 700):
    fontManager.addfont(fontpkg.path("Atkinson Hyperlegible", _weight))
# Set once, not in a context around each picture: a context changes the settings of every thread.
matplotlib.rcParams.update(
    {
        "font.family": ["sans-serif"],
        "font.sans-serif": ["Atkinson Hyperlegible", "DejaVu Sans"],
        "svg.fonttype": "none",
        "svg.hashsalt": "interval-chart",
        "path.sketch": None,
    }
)

PX = 72 / 96  # points in a CSS pixel
MARGIN = 4
TEXT, SMALL = 13.4, 12.4
LINE, SMALL_LINE = 18, 16
GAP = 12  # above and below each group
DOT, BAND = 5.5, 14
AXIS_TOPS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)
TICKS = {0.1: 2, 0.2: 2, 0.3: 3, 0.4: 2, 0.5: 5, 0.6: 3, 0.8: 4, 1.0: 4}

# The page's own colours; paper gets black and greys.
THEMES = {
    "light": {
        "surface": "#ffffff",
        "ink": "#10252b",
        "ink2": "#43575c",
        "line": "#cfdad9",
        "track": "#b9c8c8",
        "band": "#b3d8d6",
        "band-edge": "#4c8a8b",
        "late": "#96290f",
    },
    "dark": {
        "surface": "#142124",
        "ink": "#e8f0ef",
        "ink2": "#a9bcbd",
        "line": "#2b3f43",
        "track": "#486063",
        "band": "#2b5a5d",
        "band-edge": "#62a3a3",
        "late": "#ffb199",
    },
    "print": {
        "surface": "#ffffff",
        "ink": "#000000",
        "ink2": "#333333",
        "line": "#bbbbbb",
        "track": "#bbbbbb",
        "band": "#d9d9d9",
        "band-edge": "#555555",
        "late": "#000000",
    },
}


Places = tuple[float, ...]
Style = str | tuple[float, Places]  # a name, or an offset and the lengths of dots and gaps


@dataclass(frozen=True)
class Columns:
    """Where things stand across the picture. `stacked`: words above the strip, because side by side they do not fit."""

    width: float  # without the margins
    label: float  # widest line of a label
    count: float  # right end of "4 of 80"
    left: float  # strip
    right: float
    stacked: bool


COLUMNS = {
    "wide": Columns(width=702.4, label=212, count=306, left=328, right=518, stacked=False),
    "narrow": Columns(width=332.8, label=330, count=90, left=12, right=312, stacked=True),
}


def image(chart: Chart, *, theme: str = "light", width: str = "wide", form: str = "svg") -> bytes:
    """The picture of a chart; the same chart gives the same bytes.

    theme: "light", "dark" or "print".  width: "wide" (7.4 in) or "narrow" (3.55 in).  form: "svg" or "png".
    """
    canvas = Canvas(COLUMNS[width], THEMES[theme], backdrop=form == "png" or theme == "print")
    DRAW[chart.kind](chart, canvas)
    return canvas.saved(form, chart.title)


class Canvas:
    """A sheet that grows downwards: what is drawn keeps its place, the height is settled on saving."""

    def __init__(self, columns: Columns, colours: dict[str, str], *, backdrop: bool) -> None:
        self.columns, self.colours = columns, colours
        self.figure = Figure(facecolor=colours["surface"] if backdrop else "none")
        self.axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set_axis_off()
        self.y = float(MARGIN)  # how far down the sheet is filled

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = TEXT,
        colour: str = "ink",
        weight: str = "normal",
        align: str = "left",
    ) -> None:
        """Words on a base line. Never read as a formula: a label is somebody's text."""
        look = {"fontsize": size * PX, "color": self.colours[colour], "fontweight": weight}
        self.axes.text(x, y, words, ha=align, va="baseline", parse_math=False, **look)

    def line(self, x: Places, y: Places, *, colour: str, width: float = 1, style: Style = "-", layer: int = 1) -> None:
        look = {"color": self.colours[colour], "linewidth": width * PX, "linestyle": style}
        self.axes.plot(x, y, solid_capstyle="round", zorder=layer, clip_on=False, **look)

    def saved(self, form: str, title: str) -> bytes:
        width, height = self.columns.width + 2 * MARGIN, self.y + MARGIN
        self.figure.set_size_inches(width / 96, height / 96)
        self.axes.set(xlim=(-MARGIN, width - MARGIN), ylim=(height, 0))
        file = io.BytesIO()
        left_out = {"svg": ("Date", "Creator"), "png": ("Software",)}[form]
        metadata = {"Title": _clean(title), **dict.fromkeys(left_out)}
        self.figure.savefig(file, format=form, dpi=192, metadata=metadata)
        return file.getvalue()


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
    for line in _wrapped(chart.axis, canvas.columns.width, SMALL, "normal"):
        canvas.text(0, canvas.y + 12, line, size=SMALL, colour="ink2")
        canvas.y += SMALL_LINE
    canvas.y += 4


def _axis_ticks(chart: Chart, canvas: Canvas, scale: Scale) -> None:
    if chart.standard is not None:
        words = f"standard {standard_text(chart.standard)}"
        half = _width(words, SMALL, "bold") / 2
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
    for line in _wrapped(row.label, canvas.columns.label, TEXT, "bold"):
        canvas.text(0, y + 14, line, weight="bold")
        y += LINE
    for line in _wrapped(remark(row), canvas.columns.label, SMALL, "normal"):
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


def _wrapped(words: str, widest: float, size: float, weight: str) -> list[str]:
    """Lines no wider than `widest`. A word too long for a line of its own is broken."""
    lines, line = [], ""
    for word in _clean(words).split():
        for piece in _pieces(word, widest, size, weight):
            longer = f"{line} {piece}".strip()
            if line and _width(longer, size, weight) > widest:
                lines.append(line)
                longer = piece
            line = longer
    return [*lines, line] if line else lines


def _pieces(word: str, widest: float, size: float, weight: str) -> list[str]:
    pieces = [""]
    for letter in word:
        if pieces[-1] and _width(pieces[-1] + letter, size, weight) > widest:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def _width(words: str, size: float, weight: str) -> float:
    """Measured in the widest common screen font, because a picture in a page is set in whatever the reader has."""
    font = FontProperties(family="DejaVu Sans", size=size, weight=weight)
    return text_to_path.get_text_width_height_descent(words, font, ismath=False)[0]


def _clean(words: str) -> str:
    """Control characters are not allowed in an SVG, and end a picture where they stand."""
    return "".join(letter if letter.isprintable() else " " for letter in words)


DRAW = {Kind.INTERVALS: _intervals}
