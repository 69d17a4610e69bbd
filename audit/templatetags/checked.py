"""Numbers of the page about checks, with as many digits as say something."""

from typing import Any

from django import template

register = template.Library()
DIGITS = 7


@register.filter
def exactly(value: Any) -> str:
    """0.2553 as 0.2553, 1.23e-16 as 1.2e-16, nothing as a dash."""
    if value is None:
        return "–"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if isinstance(value, int):
        return str(value)
    return f"{value:.1e}" if value and abs(value) < 1e-6 else f"{value:.{DIGITS}g}"
