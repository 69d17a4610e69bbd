"""Widths of intervals in percentage points."""

from typing import TYPE_CHECKING

from django import template

from audit.charts.words import percent

if TYPE_CHECKING:
    from audit.measures.outlook import Width  # every start of Django imports this module, and pandas with it

register = template.Library()


@register.filter
def points(width: float) -> str:
    """A difference of two proportions: 0.211 gives "21.1 points"."""
    return f"{percent(width).removesuffix(' %')} points"


@register.filter
def less(before: "Width", after: "Width") -> str:
    """By how much an interval shrinks."""
    return points(before.points - after.points)
