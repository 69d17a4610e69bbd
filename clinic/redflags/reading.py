"""Red flags as pages show them."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.db.models import Exists, OuterRef
from django.urls import reverse

from clinic.access.models import Member
from clinic.redflags.models import RedFlag, RedFlagSeen
from clinic.vocabulary.redflag import AlertLevel, AlertOrigin


@dataclass(frozen=True)
class Standing:
    """Flags of one operation: open ones by level, and the log of all, newest first."""

    red: tuple[RedFlag, ...]
    amber: tuple[RedFlag, ...]
    log: tuple[RedFlag, ...]

    @property
    def still_open(self) -> tuple[RedFlag, ...]:
        return self.red + self.amber


def standing_of(operation: Any) -> Standing:
    """With who saw each of them. Two statements."""
    flags = list(
        RedFlag.objects.filter(operation=operation)
        .select_related("raised_by", "answered_by")
        .prefetch_related("seen__by")
        .order_by("raised_at", "pk")
    )
    still_open = [flag for flag in flags if flag.is_open]
    red = tuple(flag for flag in still_open if flag.level == AlertLevel.RED)
    amber = tuple(flag for flag in still_open if flag.level == AlertLevel.AMBER)
    return Standing(red, amber, tuple(reversed(flags)))


def open_with_seen(operation: Any, member: Member) -> list[RedFlag]:
    """Open flags of an operation, the red ones first, each with whether this member was shown it before."""
    seen = RedFlagSeen.objects.filter(flag=OuterRef("pk"), by=member)
    flags = RedFlag.objects.still_open().filter(operation=operation).annotate(is_known=Exists(seen))
    return sorted(flags.order_by("raised_at", "pk"), key=lambda flag: flag.level != AlertLevel.RED)


def unanswered(operation: Any) -> list[str]:
    """Red flags of the operation itself that nobody has answered: in the way of its signature."""
    flags = RedFlag.objects.still_open().red().filter(operation=operation, origin=AlertOrigin.OPERATION)
    return [f"Red flag without an answer: {flag.fact}" for flag in flags.order_by("raised_at", "pk")]


def through_flags(operation: Any, goes_to: str) -> str:
    """Where a page leads after saving: to the red flags while one is open, and from there on."""
    if not RedFlag.objects.still_open().red().filter(operation=operation).exists():
        return goes_to
    return f"{reverse('red-flags', args=[operation.key])}?{urlencode({'next': goes_to})}"


def waiting(member: Member) -> list[RedFlag]:
    """Open red flags of the practice, oldest first, with all that a line of Today prints."""
    flags = RedFlag.objects.visible_to(member).still_open().red()
    return list(
        flags.select_related("operation__patient__identity", "raised_by")
        .prefetch_related("operation__nail_procedures__treated_sides")
        .order_by("raised_at", "pk")
    )
