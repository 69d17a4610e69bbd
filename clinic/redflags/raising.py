"""Acts on red flags: raise what an entry says, let lapse what it says no longer, answer. Each in one transaction."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db import transaction

from clinic.access.models import Member
from clinic.redflags.models import RedFlag, RedFlagSeen
from clinic.redflags.rules import Raised


@transaction.atomic
def keep_flags(
    operation: Any,
    found: Iterable[Raised],
    *,
    origin: str,
    source_key: str = "",
    by: Member,
    now: datetime,
    is_new: bool = False,
) -> list[RedFlag]:
    """Make the flags of one entry these; gives those that are new. What is answered already stays answered.

    operation: of the slice above. origin, source_key: which entry they come from. is_new: it cannot have any yet.
    """
    own = RedFlag.objects.filter(operation=operation, origin=origin, source_key=source_key, lapsed_at__isnull=True)
    stored = {} if is_new else {(row.alert, row.fact, row.toe_key): row for row in own}
    new = []
    for flag in found:
        row = stored.pop((flag.alert.value, flag.fact, flag.toe), None)
        if row is None:
            row = RedFlag(
                operation=operation, alert=flag.alert.value, level=flag.alert.level.value, fact=flag.fact,
                toe_key=flag.toe, origin=origin, source_key=source_key, raised_at=now, raised_by=by,
            )  # fmt: skip
            row.keep(by=by, reason="Raised")
            new.append(row)
    for row in stored.values():
        row.lapsed_at = now
        row.save_version(by=by, reason="Not so any more: the entry was changed")
    return new


@transaction.atomic
def answer_flag(*, by: Member, flag: RedFlag, version: int, action: str, text: str, now: datetime) -> None:
    """Write down what was done. Raises Conflict if somebody answered, or the entry changed, meanwhile."""
    flag.version = version
    flag.action, flag.action_text, flag.answered_by, flag.answered_at = action, text, by, now
    flag.save_version(by=by, reason="Answered")


def note_seen(flags: Iterable[RedFlag], *, by: Member, now: datetime) -> None:
    """Remember the first time that this member was shown each of them."""
    rows = [RedFlagSeen(flag=flag, by=by, at=now) for flag in flags]
    RedFlagSeen.objects.bulk_create(rows, ignore_conflicts=True)
