"""The sheet that charts are drawn on: typeface, colours, words in lines. Every length is in CSS pixels."""

import io
from dataclasses import dataclass

import fontpkg
import matplotlib
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, fontManager
from matplotlib.textpath import text_to_path

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

# The page's own colours; paper gets black and greys.
THEMES = {
    "light": {
        "surface": "#ffffff",
        "ink": "#10252b",
        "ink2": "#43575c",
        "line": "#cfdad9",
        "edge": "#6b8383",
        "track": "#b9c8c8",
        "band": "#b3d8d6",
        "band-edge": "#4c8a8b",
        "late": "#96290f",
        "series1": "#0a5761",
        "series2": "#b34c00",
        "series3": "#5d67c4",
    },
    "dark": {
        "surface": "#142124",
        "ink": "#e8f0ef",
        "ink2": "#a9bcbd",
        "line": "#2b3f43",
        "edge": "#7d9799",
        "track": "#486063",
        "band": "#2b5a5d",
        "band-edge": "#62a3a3",
        "late": "#ffb199",
        "series1": "#8fe0da",
        "series2": "#e06c1f",
        "series3": "#a79fff",
    },
    "print": {
        "surface": "#ffffff",
        "ink": "#000000",
        "ink2": "#333333",
        "line": "#bbbbbb",
        "edge": "#555555",
        "track": "#bbbbbb",
        "band": "#d9d9d9",
        "band-edge": "#555555",
        "late": "#000000",
        "series1": "#000000",
        "series2": "#5c5c5c",
        "series3": "#8a8a8a",
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
        metadata = {"Title": clean(title), **dict.fromkeys(left_out)}
        self.figure.savefig(file, format=form, dpi=192, metadata=metadata)
        return file.getvalue()


def wrapped(words: str, widest: float, size: float, weight: str) -> list[str]:
    """Lines no wider than `widest`. A word too long for a line of its own is broken."""
    lines, line = [], ""
    for word in clean(words).split():
        for piece in _pieces(word, widest, size, weight):
            longer = f"{line} {piece}".strip()
            if line and width_of(longer, size, weight) > widest:
                lines.append(line)
                longer = piece
            line = longer
    return [*lines, line] if line else lines


def _pieces(word: str, widest: float, size: float, weight: str) -> list[str]:
    pieces = [""]
    for letter in word:
        if pieces[-1] and width_of(pieces[-1] + letter, size, weight) > widest:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def width_of(words: str, size: float, weight: str) -> float:
    """Measured in the widest common screen font, because a picture in a page is set in whatever the reader has."""
    font = FontProperties(family="DejaVu Sans", size=size, weight=weight)
    return text_to_path.get_text_width_height_descent(words, font, ismath=False)[0]


def clean(words: str) -> str:
    """Control characters are not allowed in an SVG, and end a picture where they stand."""
    return "".join(letter if letter.isprintable() else " " for letter in words)
