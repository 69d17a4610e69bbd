"""Small drawings made by hand as SVG: the nail, the window line, the time line, the interval.

No drawing carries a style attribute, because the page policy forbids them; colours come
from the classes in drawing.css and so follow light, dark and print. Each drawing that
says something has its words as a label; the bare nail is silent, for the words always
stand beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

TIBIAL, FIBULAR, WHOLE, BOTH = "tibial", "fibular", "whole", "both"
EMPTY = mark_safe("")


class Point(NamedTuple):
    """Something on the time line. kind: surgery, visit, planned or report."""

    day: int
    kind: str
    label: str = ""


class Window(NamedTuple):
    opens: int
    closes: int
    label: str = ""


# --- the nail ---------------------------------------------------------------


def _number(value: float) -> str:
    """Short, locale-free number for an attribute."""
    return f"{value:.1f}".rstrip("0").rstrip(".")


def viewer_side(foot: str, side: str) -> str:
    """Which side of the picture a border of the nail is on.

    The operator sits at the foot of the chair, so the patient's right foot is on the left
    and its tibial border, facing the other foot, is on the right of the picture.
    """
    if foot not in ("right", "left"):
        raise ValueError(f"foot must be right or left, not {foot!r}")
    if side not in (TIBIAL, FIBULAR):
        raise ValueError(f"side must be tibial or fibular, not {side!r}")
    return "right" if (foot == "right") == (side == TIBIAL) else "left"


def _sides(sides: str | Iterable[str]) -> set[str]:
    chosen = {sides} if isinstance(sides, str) else {str(side) for side in sides}
    chosen.discard("")
    if BOTH in chosen:
        chosen = (chosen - {BOTH}) | {TIBIAL, FIBULAR}
    unknown = chosen - {TIBIAL, FIBULAR, WHOLE}
    if unknown:
        raise ValueError(f"unknown side of the nail: {sorted(unknown)}")
    return chosen


# Fold on top, free edge at the bottom; 48 by 48.
_TOE = mark_safe(
    '<path class="d-skin" stroke-width="1.3" '
    'd="M5.5 1C4.5 19 5.5 31 10 39c3 5.4 8 8 14 8s11-2.6 14-8c4.5-8 5.5-20 4.5-38"/>'
)
_PLATE = mark_safe(
    '<path class="d-plate" stroke-width="1.5" d="M13 20c0-5 4-7 11-7s11 2 11 7v14c0 3.5-2 5-11 5s-11-1.5-11-5z"/>'
    '<path class="d-moon" d="M16 17.5c1-2 4-3 8-3s7 1 8 3c-2 2.5-5 3.5-8 3.5s-6-1-8-3.5z"/>'
)
_WHOLE = mark_safe('<path class="d-cut" d="M12 15c0-6 4-9 12-9s12 3 12 9v19c0 4.5-3 6.5-12 6.5S12 38.5 12 34z"/>')
_CUT_X = {"left": 10.5, "right": 29.5}


def _nail(foot: str, sides: set[str]) -> SafeString:
    if WHOLE in sides:
        return format_html("{}{}", _TOE, _WHOLE)
    cuts = format_html_join(
        "",
        '<rect class="d-cut" data-side="{}" x="{}" y="6.5" width="8" height="33.5" rx="2.5"/>',
        ((side, _CUT_X[viewer_side(foot, side)]) for side in sorted(sides)),
    )
    return format_html("{}{}{}", _TOE, _PLATE, cuts)


def nail_glyph(foot: str, sides: str | Iterable[str], size: int = 48, label: str | None = None) -> SafeString:
    """The nail as the operator sees it; what was taken is filled. Silent without a label."""
    chosen = _sides(sides)
    viewer_side(foot, TIBIAL)
    return format_html(
        '<svg class="glyph" viewBox="0 0 48 48" width="{0}" height="{0}" {1}>{2}</svg>',
        size,
        _speech(label),
        _nail(foot, chosen),
    )


def _speech(label: str | None) -> SafeString:
    if not label:
        return mark_safe('aria-hidden="true" focusable="false"')
    return format_html('role="img" aria-label="{}"', label)


def side_picture(foot: str | None, part: str) -> SafeString:
    """The card picture: nail with its neighbour toe as a landmark; no foot, no cut."""
    if foot is None:
        return format_html(
            '<svg class="on-none" viewBox="0 0 84 48" width="105" height="60" {}>'
            '<g transform="translate(18 0)">{}{}</g></svg>',
            _speech(None), _TOE, _PLATE,
        )  # fmt: skip
    neighbour_left = viewer_side(foot, FIBULAR) == "left"
    return format_html(
        '<svg class="on-{}" viewBox="0 0 84 48" width="105" height="60" {}>'
        '<g transform="translate({} 0)" opacity="0.75"><path class="d-skin" stroke-width="1.3" '
        'd="M2 1v27c0 6 3 9.5 8 9.5s8-3.5 8-9.5V1"/>'
        '<rect class="d-plate" stroke-width="1.2" x="5.5" y="20" width="9" height="12" rx="3.5"/></g>'
        '<g transform="translate({} 0)">{}</g></svg>',
        foot,
        _speech(None),
        4 if neighbour_left else 60,
        30 if neighbour_left else 6,
        _nail(foot, _sides(part)),
    )


# --- the window --------------------------------------------------------------

_BAND_FROM, _BAND_TO, _TRACK_FROM, _TRACK_TO = 80.0, 160.0, 20.0, 220.0
_DOTS = {"due": "d-dot", "booked": "d-dot", "late": "d-dot-late", "new": "d-dot-new"}


def track_position(day: float, opens_day: float, closes_day: float) -> float:
    """Days are drawn to the scale of the window; far away days stop at the end of the line."""
    span = max(closes_day - opens_day, 1)
    x = _BAND_FROM + (day - opens_day) / span * (_BAND_TO - _BAND_FROM)
    return min(max(x, _TRACK_FROM), _TRACK_TO)


def window_track(
    opens_day: int, closes_day: int, target_day: int | None, today_day: int | None, kind: str = "due"
) -> SafeString:
    """A line, the window as a band, the target as a notch, today as a dot."""
    if kind not in _DOTS:
        raise ValueError(f"unknown kind of track: {kind!r}")
    if closes_day < opens_day:
        raise ValueError("a window cannot close before it opens")
    words = [_("Window from day %(opens)s to %(closes)s") % {"opens": opens_day, "closes": closes_day}]
    notch = dot = EMPTY
    if target_day is not None:
        words.append(_("target day %s") % target_day)
        notch = format_html(
            '<path class="d-notch" d="M{} 6v12"/>', _number(track_position(target_day, opens_day, closes_day))
        )
    if today_day is not None:
        words.append(_place_in_words(opens_day, closes_day, today_day))
        x = track_position(today_day, opens_day, closes_day)
        dot = format_html('<circle class="{} d-halo" cx="{}" cy="12" r="6.5"/>', _DOTS[kind], _number(x))
        if x in (_TRACK_FROM, _TRACK_TO):
            dot = format_html("{}{}", _run_off(x, late=kind == "late"), dot)
    return format_html(
        '<svg class="track" viewBox="0 0 240 40" width="240" height="40" role="img" aria-label="{}">'
        '<path class="d-line" d="M2 12h236"/>'
        '<rect class="d-band" x="80" y="5" width="80" height="14" rx="7"/>{}{}'
        '<text class="d-text2" x="80" y="35" font-size="13" text-anchor="middle">{}</text>'
        '<text class="d-text2" x="160" y="35" font-size="13" text-anchor="middle">{}</text></svg>',
        "; ".join(words),
        notch,
        dot,
        _("day %s") % opens_day,
        closes_day,
    )


def _run_off(x: float, *, late: bool) -> SafeString:
    """An arrow head: the true place lies beyond the end of the line."""
    points = "M{} 7l5 5-5 5" if x == _TRACK_TO else "M{} 7l-5 5 5 5"
    at = x + 11 if x == _TRACK_TO else x - 11
    return format_html('<path class="d-arrow{}" d="' + points + '"/>', " d-arrow-late" if late else "", _number(at))


def _place_in_words(opens_day: int, closes_day: int, today_day: int) -> str:
    if today_day < opens_day:
        return _("now day %(day)s, %(gap)s before it opens") % {"day": today_day, "gap": opens_day - today_day}
    if today_day > closes_day:
        return _("now day %(day)s, %(gap)s after it closed") % {"day": today_day, "gap": today_day - closes_day}
    return _("now day %s, inside the window") % today_day


# --- the toe over time ---------------------------------------------------------

_AXIS = (
    (0, "surgery"),
    (3, "3 d"),
    (7, "1 wk"),
    (14, "2 wk"),
    (42, "6 wk"),
    (91, "3 mo"),
    (182, "6 mo"),
    (365, "12 mo"),
)
_LETTER = 0.56  # average width of a letter, in ems; enough to keep words apart


def toe_timeline(
    points: Sequence[Any], windows: Sequence[Any] = (), pain: Sequence[tuple[int, int]] = ()
) -> SafeString:
    """Surgery to twelve months on a square-root scale, so that the first weeks have room.

    points: Point, (day, kind, label) or a mapping with these names; windows: Window,
    (opens, closes, label) or a mapping; pain: (day, score) pairs. Two drawings are made and
    the style sheet shows the one that keeps its text readable in the space there is.
    """
    marks = sorted((_coerce(Point, item) for item in points), key=lambda mark: mark.day)
    bands = sorted((_coerce(Window, item) for item in windows), key=lambda band: band.opens)
    scores = sorted((int(day), int(score)) for day, score in pain)
    label = _timeline_words(marks, bands, scores)
    return format_html(
        '<div class="toe-line"><div class="toe-line-box" tabindex="0" role="region" aria-label="{}">{}{}</div></div>',
        _("Time line of this toe"),
        _timeline_svg(marks, bands, scores, label, width=1080, font=14.5, css="wide"),
        _timeline_svg(marks, bands, scores, label, width=720, font=13.5, css="narrow"),
    )


def _coerce(kind: type[Any], item: Any) -> Any:
    if isinstance(item, kind):
        return item
    if isinstance(item, Mapping):
        return kind(**{name: item[name] for name in kind._fields if name in item})
    if isinstance(item, (tuple, list)):
        return kind(*item)
    return kind(**{name: getattr(item, name) for name in kind._fields if hasattr(item, name)})


def timeline_position(day: float, last_day: float, left: float, right: float) -> float:
    return left + math.sqrt(max(day, 0) / last_day) * (right - left)


def _timeline_svg(
    marks: list[Point], bands: list[Window], scores: list[tuple[int, int]], label: str,
    *, width: int, font: float, css: str,
) -> SafeString:  # fmt: skip
    days = [425, *(mark.day for mark in marks), *(band.closes for band in bands), *(day for day, _score in scores)]
    last = max(days)

    def x_of(day: float) -> float:
        return timeline_position(day, last, 34, width - 26)

    names, rows = _names(bands, x_of, font)
    level = 42.0 + (rows - 1) * (font + 5)
    parts = [format_html('<path class="d-line" d="M34 {}H{}"/>', level, width - 12)]
    parts += [_band(x_of(band.opens), x_of(band.closes), level) for band in bands]
    parts += [_text(x, level - 20 - row * (font + 5), name, font, "d-text") for x, row, name in names]
    parts += [_mark(mark, x_of(mark.day), level) for mark in marks]
    floor = level + (112 if scores else 46)
    parts += _pain_line(scores, x_of, font, level + 84)
    parts += _axis(x_of, last, floor, font)
    return format_html(
        '<svg class="{0}" viewBox="0 0 {1} {2}" width="{1}" height="{2}" role="img" aria-label="{3}">{4}</svg>',
        css, width, _number(floor + 10), label, format_html_join("", "{}", ((part,) for part in parts)),
    )  # fmt: skip


def _band(left: float, right: float, level: float) -> SafeString:
    # A window of one day still has to be seen.
    wide = max(right - left, 14.0)
    start = (left + right - wide) / 2
    return format_html(
        '<rect class="d-band" x="{}" y="{}" width="{}" height="22" rx="8"/>',
        _number(start), _number(level - 11), _number(wide),
    )  # fmt: skip


def _names(bands: list[Window], x_of: Any, font: float) -> tuple[list[tuple[float, int, str]], int]:
    """Places of the names above the bands; one that would touch its neighbour goes a line higher."""
    places, ends = [], [-99.0, -99.0]
    for band in bands:
        middle = (x_of(band.opens) + x_of(band.closes)) / 2
        half = len(band.label) * font * _LETTER / 2
        row = 0 if middle - half > ends[0] + 6 else 1
        ends[row] = middle + half
        places.append((middle, row, band.label))
    return places, 1 + any(row for _x, row, _name in places)


def _mark(mark: Point, x: float, level: float) -> SafeString:
    if mark.kind == "surgery":
        return format_html(
            '<rect class="d-square d-halo" x="{}" y="{}" width="14" height="14" rx="2"/>', _number(x - 7), level - 7
        )
    css, radius = {"planned": ("d-hollow", 6), "report": ("d-dot-new d-halo", 7.5)}.get(
        mark.kind, ("d-dot d-halo", 7.5)
    )
    return format_html('<circle class="{}" cx="{}" cy="{}" r="{}"/>', css, _number(x), level, radius)


def _pain_line(scores: list[tuple[int, int]], x_of: Any, font: float, base: float) -> list[SafeString]:
    if not scores:
        return []
    places = [(x_of(day), base - score * 3.4, score) for day, score in scores]
    parts = []
    if len(places) > 1:
        line = " ".join(f"{_number(x)},{_number(y)}" for x, y, _score in places)
        parts.append(format_html('<polyline class="d-pain" points="{}"/>', line))
    taken = -99.0
    for x, y, score in places:
        parts.append(format_html('<circle class="d-pain-dot" cx="{}" cy="{}" r="3.5"/>', _number(x), _number(y)))
        # Two scores within a few days would print over each other; the label says them all.
        if x - taken > font:
            parts.append(_text(x, y - 9, str(score), font, "d-text"))
            taken = x
    x, y, _score = places[-1]
    name = _("pain 0–10")
    if x + 14 + len(name) * font * _LETTER < x_of(425) + 20:
        parts.append(_text(x + 13, y + 5, name, font, "d-text2", anchor="start"))
    return parts


def _axis(x_of: Any, last: float, floor: float, font: float) -> list[SafeString]:
    parts, end = [], -99.0
    for day, name in _AXIS:
        words = _(name)
        half = len(words) * font * _LETTER / 2
        x = x_of(day)
        start = 34.0 - 12 if day == 0 else x - half
        if start < end + 6:
            continue
        end = start + 2 * half
        parts.append(_text(start + half, floor, words, font, "d-text2"))
    return parts


def _text(x: float, y: float, words: str, font: float, css: str, anchor: str = "middle") -> SafeString:
    return format_html(
        '<text class="{}" x="{}" y="{}" font-size="{}" text-anchor="{}">{}</text>',
        css, _number(x), _number(y), font, anchor, words,
    )  # fmt: skip


def _timeline_words(marks: list[Point], bands: list[Window], scores: list[tuple[int, int]]) -> str:
    names = {"surgery": _("surgery"), "visit": _("review"), "planned": _("planned"), "report": _("patient report")}
    words = []
    for mark in marks:
        name = names.get(mark.kind, mark.kind)
        extra = f" ({mark.label})" if mark.label and mark.label.lower() != name else ""
        words.append(_("%(what)s day %(day)s") % {"what": name + extra, "day": mark.day})
    sentences = [_("Events: %s") % ", ".join(words)] if words else [_("No event yet")]
    if bands:
        spans = ", ".join(
            _("%(name)s day %(opens)s to %(closes)s") % {"name": b.label, "opens": b.opens, "closes": b.closes}
            for b in bands
        )
        sentences.append(_("Windows: %s") % spans)
    if scores:
        pairs = ", ".join(_("%(score)s on day %(day)s") % {"score": score, "day": day} for day, score in scores)
        sentences.append(_("Pain 0 to 10: %s") % pairs)
    return ". ".join(sentences) + "."


# --- a rate with its interval ---------------------------------------------------

_STRIP_FROM, _STRIP_WIDTH = 8.0, 280.0


def interval_strip(
    rate: float | None, low: float | None, high: float | None, axis_max: float,
    standard: float | None = None, hollow: bool = False,
) -> SafeString:  # fmt: skip
    """A proportion and its interval on a fixed axis. All numbers are proportions, 0 to 1.

    What lies beyond the axis ends in a square end and a chevron; a dot beyond it is left out,
    so that nothing is drawn where it is not.
    """
    if axis_max <= 0:
        raise ValueError("the axis needs a length")

    def x_of(value: float) -> float:
        return _STRIP_FROM + value / axis_max * _STRIP_WIDTH

    parts = [mark_safe('<path class="d-line" d="M8 14H288"/>')]
    words = [_("No rate")]
    if rate is not None and low is not None and high is not None:
        words = [
            _percent(rate),
            _("95%% interval %(low)s to %(high)s") % {"low": _percent(low), "high": _percent(high)},
        ]
        parts.append(_interval_band(low, high, axis_max, x_of))
    if standard is not None:
        words.append(_("standard %s") % _percent(standard))
        if standard <= axis_max:
            parts.append(format_html('<path class="d-standard" d="M{} 2v24"/>', _number(x_of(standard))))
    if rate is not None and rate <= axis_max:
        css, radius = ("d-hollow", "5.5") if hollow else ("d-dot d-halo", "6.5")
        parts.append(format_html('<circle class="{}" cx="{}" cy="14" r="{}"/>', css, _number(x_of(rate)), radius))
    if hollow:
        words.append(_("few toes"))
    return format_html(
        '<svg class="strip" viewBox="0 0 300 28" width="300" height="28" role="img" aria-label="{}">{}</svg>',
        "; ".join(words),
        format_html_join("", "{}", ((part,) for part in parts)),
    )


def _interval_band(low: float, high: float, axis_max: float, x_of: Any) -> SafeString:
    end = x_of(axis_max)
    if low > axis_max:
        return format_html('<path class="d-arrow" d="M{} 8l6 6-6 6"/>', _number(end + 2))
    left, right = x_of(max(low, 0)), min(x_of(high), end)
    if high <= axis_max:
        return format_html(
            '<rect class="d-band" x="{}" y="7" width="{}" height="14" rx="{}"/>',
            _number(left), _number(max(right - left, 2)), 6,
        )  # fmt: skip
    return format_html(
        '<path class="d-band" d="M{} 7H{}v14H{}z"/><path class="d-arrow" d="M{} 8l6 6-6 6"/>',
        _number(left), _number(end), _number(left), _number(end + 2),
    )  # fmt: skip


def _percent(value: float) -> str:
    text = f"{value * 100:.1f}"
    return f"{text.removesuffix('.0') if value in (0, 1) else text}%"


def meter(share: float) -> SafeString:
    """A bar of completeness; the number stands beside it, so the bar is silent."""
    width = _number(min(max(share, 0), 1) * 100)
    return format_html(
        '<svg viewBox="0 0 100 4" preserveAspectRatio="none" {}>'
        '<rect class="d-meter-rest" width="100" height="4"/><rect class="d-meter" width="{}" height="4"/></svg>',
        _speech(None), width,
    )  # fmt: skip
