"""Numbers of the yearly report in words: stretches of days, quartiles, ratios, verdicts."""

from typing import Any

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from audit.charts.words import percent, standard_text
from audit.measures.standards import DIRECTION_WORDS, Direction

register = template.Library()
PAGES = {
    "period": "audit-period", "quality": "audit-quality", "results": "audit-year-results", "standard": "audit-standard",
    "actions": "audit-actions", "sign-off": "audit-sign",
}  # fmt: skip
VERDICT_CSS = {"met": "ok", "not met": "late", "cannot tell": "care"}


@register.filter
def plain(value: float | None) -> str:
    """A number without needless decimals; nothing for nothing."""
    return "" if value is None else f"{value:.1f}".removesuffix(".0")


@register.filter
def ratio(value: float | None) -> str:
    """Two decimals, three below one tenth; no limit is said as such."""
    if value is None:
        return "no limit"
    return f"{value:.3f}" if abs(value) < 0.1 else f"{value:.2f}"


@register.filter
def stretch_words(day: dict[str, Any]) -> str:
    """'day 15', or 'after day 14, by day 31'."""
    if day["withheld"]:
        return str(day["withheld"])
    if day["by"] - day["after"] <= 1:
        return f"day {day['by']:.0f}"
    return f"after day {day['after']:.0f}, by day {day['by']:.0f}"


@register.filter
def day_limits(day: dict[str, Any]) -> str:
    if day["withheld"] or (day["low"] is None and day["high"] is None):
        return ""
    low = "no lower limit" if day["low"] is None else f"{day['low']:.0f}"
    high = "no upper limit" if day["high"] is None else f"{day['high']:.0f}"
    return f"95 % limits {low} to {high}"


@register.filter
def quartile_words(days: list[float]) -> str:
    return f"day {plain(days[1])} ({plain(days[0])} to {plain(days[2])})"


@register.filter
def target_words(row: dict[str, Any]) -> str:
    """'at least 95 %', 'at most 0', 'watched'."""
    direction = Direction(row["direction"])
    if direction is Direction.MONITOR or row["target"] is None:
        return DIRECTION_WORDS[Direction.MONITOR]
    if row["counts"]:
        return f"{DIRECTION_WORDS[direction]} {row['target']:g}"
    if direction is Direction.AT_LEAST and row["target"] >= 1:
        return "every case"
    return f"{DIRECTION_WORDS[direction]} {standard_text(row['target'])}"


@register.filter
def result_words(row: dict[str, Any]) -> str:
    """'6 of 108, 5.6 % (2.6 to 11.6)'."""
    if row["counts"]:
        return f"{row['events']} in {row['total']} operations"
    said = f"{row['events']} of {row['total']}"
    if row["rate"] is None:
        return said
    return f"{said}, {percent(row['rate'])} ({percent(row['low'])} to {percent(row['high'])})"


@register.filter
def verdict_words(verdict: str) -> str:
    """Short enough for a column."""
    return "Watched" if verdict.startswith("watched") else verdict[:1].upper() + verdict[1:]


@register.filter
def verdict_css(verdict: str) -> str:
    return VERDICT_CSS.get(verdict, "plain")


@register.filter
def step_address(step: Any, year: int) -> str:
    """The page of one of the six steps."""
    return reverse(PAGES[step.name.code], args=[year])


@register.inclusion_tag("audit/back.html", takes_context=True)
def audit_back(context: Any) -> dict[str, str]:
    """On a toe's page opened from an audit: the way back to the list it came from."""
    year = context["request"].GET.get("audit", "")
    named = year.isascii() and year.isdigit() and len(year) == 4
    return {"address": reverse("audit-quality", args=[int(year)]) if named else "", "year": year}


@register.simple_block_tag(end_name="endscrolled")
def scrolled(content: SafeString, label: str) -> SafeString:
    """A wide table that a narrow screen scrolls sideways, by keyboard too."""
    return format_html(
        '<div class="report-scroll" role="region" tabindex="0" aria-label="Table: {}">{}</div>', label, content
    )
