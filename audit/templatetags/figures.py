"""Charts and numbers of the audit on a page: one chart value gives picture, words, table and file."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django import template
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from audit.charts import telling, words
from audit.charts.telling import AnyChart
from audit.periods import said as said_day

register = template.Library()

LONGEST_TABLE = 60
WIDE = "(min-width: 47rem)"
# The strip of clinic.drawing: its line runs from 8 to 288 of 300.
STRIP_FROM, STRIP_WIDTH = 8, 280
AXIS_TOPS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)
TICKS = {0.1: 2, 0.2: 2, 0.3: 3, 0.4: 2, 0.5: 5, 0.6: 3, 0.8: 4, 1.0: 4}


@register.filter
def percent(rate: float | None) -> str:
    return "" if rate is None else kept_together(words.percent(rate))


@register.filter
def kept_together(text: str) -> str:
    """A number and its per-cent sign stay on one line."""
    return text.replace(" %", "\u00a0%")


@register.filter
def limits(interval: Any) -> str:
    """Both ends of an interval: “2.0 to 12.2 %”."""
    if not interval or interval["low"] is None:
        return ""
    return kept_together(f"{words.limits(interval['low'], interval['high'])} %")


@register.filter
def said(day: date | str) -> str:
    """A date, or one written as year-month-day, as people read it."""
    return said_day(date.fromisoformat(day) if isinstance(day, str) else day)


register.filter("chart_words", telling.alt_text)
register.filter("chart_table", telling.table)


@register.simple_tag
def address(name: str, query: Mapping[str, str], **more: str) -> str:
    """The address of another view of the same answer."""
    return f"{reverse(name)}?{urlencode({**query, **more})}"


@register.simple_tag
def chart_address(chart: AnyChart, form: str, query: Mapping[str, str], **look: str) -> str:
    return _address("audit-chart", chart, form, query, **look)


@register.simple_tag
def watch_address(chart: AnyChart, form: str, query: Mapping[str, str], **look: str) -> str:
    return _address("audit-monitoring-chart", chart, form, query, **look)


def _address(name: str, chart: AnyChart, form: str, query: Mapping[str, str], **look: str) -> str:
    return f"{reverse(name, args=[chart.slug, form])}?{urlencode({**query, **look})}"


@register.simple_tag
def chart_picture(chart: AnyChart, query: Mapping[str, str], theme: str = "") -> SafeString:
    """The picture in every size and theme a reader may need; the browser fetches one of them."""
    return _picture("audit-chart", chart, query, theme)


@register.simple_tag
def watch_picture(chart: AnyChart, query: Mapping[str, str], theme: str = "") -> SafeString:
    """The same for a chart of the page between two audits."""
    return _picture("audit-monitoring-chart", chart, query, theme)


def _picture(name: str, chart: AnyChart, query: Mapping[str, str], theme: str) -> SafeString:
    sources = format_html_join(
        "",
        '<source media="{}" srcset="{}">',
        (
            (media, _address(name, chart, "svg", query, theme=look, width=width))
            for media, look, width in picture_sources(theme)
        ),
    )
    plain = _address(name, chart, "svg", query, theme="dark" if theme == "dark" else "light", width="narrow")
    return format_html(
        '<picture>{}<img src="{}" alt="{}" loading="lazy"></picture>', sources, plain, telling.alt_text(chart)
    )


def picture_sources(theme: str) -> Iterable[tuple[str, str, str]]:
    """Media, theme and width. A theme chosen in the account wins over that of the device; paper has its own."""
    yield "print", "print", "wide"
    if not theme:
        yield f"{WIDE} and (prefers-color-scheme: dark)", "dark", "wide"
    yield WIDE, theme or "light", "wide"
    if not theme:
        yield "(prefers-color-scheme: dark)", "dark", "narrow"


def axis_top(rows: Iterable[Any], standard: float | None) -> float:
    """Wide enough for every group that can be judged; a hollow one may run off, lest it flatten all others."""
    highs = [row["interval"]["high"] for row in rows if row["shown"] == "full" and row["interval"]]
    needed = max([*highs, (standard or 0) * 1.3, 0.1])
    return next((top for top in AXIS_TOPS if top >= needed), 1.0)


@register.simple_tag
def strip_axis(top: float, standard: float | None = None) -> SafeString:
    """The scale above a column of strips; the standard is named once, here."""
    parts = TICKS[top]
    ends = {0: "start", parts: "end"}
    ticks = [
        (
            {0: 0, parts: 300}.get(part, STRIP_FROM + STRIP_WIDTH * part / parts),
            ends.get(part, "middle"),
            words.standard_text(top * part / parts),
        )
        for part in range(parts + 1)
    ]
    marks = format_html_join("", '<text class="d-text2" x="{}" y="44" text-anchor="{}" font-size="16">{}</text>', ticks)
    name: SafeString | str = ""
    if standard is not None:
        place = STRIP_FROM + STRIP_WIDTH * min(standard / top, 1)
        name = format_html(
            '<text class="d-standard-name" x="{}" y="20" text-anchor="{}" font-size="16">standard {}</text>',
            0 if place < 60 else place,
            "start" if place < 60 else "middle",
            words.standard_text(standard),
        )
    return format_html(
        '<svg class="strip" viewBox="0 0 300 48" width="300" height="48" aria-hidden="true">{}{}</svg>', name, marks
    )


COUNT_WORDS = {
    "event": "events",
    "ascertained": "known",
    "eligible": "eligible",
    "pending": "pending",
    "lost": "lost",
    "censored": "counted apart",
    "late_event": "first seen after the window",
}
FIELDS = {"event": "events", "late_event": "late_events"}


@register.simple_tag(takes_context=True)
def record_count(context: Any, group: str, row: Any, status: str) -> SafeString | str:
    """A number of a count, linked to the records behind it."""
    name = f"{group}/{row['code']}" if group else row["code"]
    number = row[FIELDS.get(status, status)]
    return record_link(context, name, status, number, f"{COUNT_WORDS[status]}, {row['label']}")


@register.simple_tag(takes_context=True)
def record_link(context: Any, group: str, status: str, number: int, words_for: str) -> SafeString | str:
    """A number that leads to its records; nought leads nowhere. The words are for a reader who hears only the link."""
    if not number:
        return "0"
    desk = context.get("desk")  # a step of the yearly audit, to which the records lead back
    back = {"audit": str(desk.starting_year), "step": context["current"]} if desk else {}
    where = address("audit-records", {**context["query"], **back}, group=group, status=status)
    return format_html('<a class="number" href="{}">{}<span class="vh"> {}</span></a>', where, number, words_for)


@register.simple_tag(takes_context=True)
def tally_words(context: Any, tally: Mapping[str, Any], group: str) -> SafeString:
    """One share with the records behind it: “3 of 84, 3.6 % (1.2 to 10.2 %)”."""
    number = record_link(context, group, "event", tally["events"], tally["label"])
    interval = tally["interval"]
    if not interval:
        return format_html("{} of {}; {}", number, tally["total"], tally["note"])
    return format_html("{} of {}, {} ({})", number, tally["total"], percent(interval["rate"]), limits(interval))


@register.filter
def last_rows(rows: tuple[Any, ...]) -> tuple[Any, ...]:
    """Of a long table the rows that a page has room for; the file has them all."""
    return rows[-LONGEST_TABLE:]
