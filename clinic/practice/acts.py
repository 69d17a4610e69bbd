"""What the practice lead does with settings and templates; each one transaction."""

from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction

from clinic.access.models import Conflict, Member, Practice, put
from clinic.access.rules import Action, may
from clinic.practice.models import OperationTemplate


@transaction.atomic
def change_settings(*, by: Member, version: int, values: Mapping[str, Any], reason: str) -> Practice:
    """The member's practice with these values, as its next version.

    version: the one that was shown. Raises Conflict if one of these columns was changed since; a change of another
    topic in between stands in nobody's way.
    """
    if not may(by.role, Action.SET_PRACTICE):
        raise PermissionError("Only the lead of the practice changes its settings")
    practice = Practice.objects.select_for_update().get(pk=by.practice_id)
    if practice.version != version and not same_as_shown(practice, version, values):
        raise Conflict(practice.key)
    put(practice, values)
    practice.save_version(by=by, reason=reason)
    return practice


def same_as_shown(practice: Practice, version: int, columns: Mapping[str, Any]) -> bool:
    """Whether the columns hold what they held in that version."""
    history: Any = practice.history  # type: ignore[attr-defined]
    then = history.filter(version=version).order_by("history_id").last()
    return then is not None and all(getattr(then, name) == getattr(practice, name) for name in columns)


def add_template(*, by: Member, row: OperationTemplate, reason: str = "Added") -> None:
    """Raises Conflict if the practice has a template of this name."""
    _refuse_unless_lead(by, row)
    try:
        with transaction.atomic():
            row.keep(by=by, reason=reason)
    except IntegrityError:
        raise Conflict(row.name) from None


def change_template(
    *, by: Member, row: OperationTemplate, version: int, values: Mapping[str, Any], reason: str
) -> None:
    """Operations that were started from it keep what they hold. Raises Conflict."""
    _refuse_unless_lead(by, row)
    put(row, values)
    row.version = version
    try:
        row.save_version(by=by, reason=reason)
    except IntegrityError:  # another template took the name
        raise Conflict(row.name) from None


def _refuse_unless_lead(by: Member, row: OperationTemplate) -> None:
    if not may(by.role, Action.SET_PRACTICE) or row.practice_id != by.practice_id:
        raise PermissionError("Only the lead of the practice changes its templates")
