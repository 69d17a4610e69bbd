"""Open flags of an operation, for the banner of its pages; who sees them is written down."""

from typing import Any

from django import template
from django.utils import timezone

from clinic.access.rules import Action, may
from clinic.redflags.models import RedFlag
from clinic.redflags.raising import note_seen
from clinic.redflags.reading import open_with_seen

register = template.Library()


@register.simple_tag(takes_context=True)
def open_flags(context: template.Context, operation: Any) -> list[RedFlag]:
    member = context["request"].user
    flags = open_with_seen(operation, member)
    if new := [flag for flag in flags if not flag.is_known]:
        note_seen(new, by=member, now=timezone.now())
    return flags


@register.simple_tag(takes_context=True)
def may_answer(context: template.Context) -> bool:
    return may(context["request"].user.role, Action.RECORD_REVIEW)
