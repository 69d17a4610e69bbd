"""Words for the moments of an operation."""

from django import template

from clinic.theatre.models import Mark
from clinic.vocabulary.sites import capital, part_name, toe_name

register = template.Library()
LATE_AFTER_SECONDS = 5


@register.filter
def mark_place(mark: Mark) -> str:
    """'Right 1st toe (hallux), tibial (medial) side'."""
    nail = mark.nail_procedure
    toe = capital(toe_name(nail.foot, nail.toe)) if nail else ""
    return f"{toe}, {part_name(mark.treated_side.side)}" if mark.treated_side else toe


@register.filter
def arrived_late(mark: Mark) -> bool:
    """Whether the tap waited for the network, so that both times are shown."""
    return (mark.received_at - mark.at).total_seconds() > LATE_AFTER_SECONDS
