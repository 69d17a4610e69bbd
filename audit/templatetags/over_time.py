"""Estimated risks in words."""

from typing import Any

from django import template

from audit.charts.words import percent

register = template.Library()


@register.filter
def risk_rows(found: dict[str, Any]) -> list[dict[str, Any]]:
    return [found["all"], *found["technique"]]


@register.filter
def share_words(day: dict[str, Any]) -> str:
    """The middle of the bounds, or both where they are too far apart for one number."""
    if day["is_range"]:
        return f"{percent(day['lower_bound'])} to {percent(day['upper_bound'])}"
    return percent(day["risk"])


@register.filter
def limits_words(day: dict[str, Any]) -> str:
    return f"95 % interval {percent(day['low'])} to {percent(day['high'])}"
