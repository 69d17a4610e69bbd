"""What the practice lead does with limits: take over, add, change, approve, withdraw; each one transaction."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction

from clinic.access.models import Conflict, Member
from clinic.access.rules import Action, may
from clinic.dosing.candidates import Candidate
from clinic.dosing.models import DoseLimit, DoseLimitQuerySet


def taken_over(candidate: Candidate, *, by: Member) -> DoseLimit:
    """The candidate as a row of the member's practice; not saved, not approved."""
    limit = candidate.limit
    return DoseLimit(
        practice=by.practice,
        profile=candidate.profile,
        agent=limit.agent.value,
        vasoconstrictor=limit.vasoconstrictor.value,
        mg_per_kg=limit.mg_per_kg,
        absolute_mg=limit.absolute_mg,
        per_digit_mg=limit.per_digit_mg,
        weight_cap_kg=limit.weight_cap_kg,
        period_h=limit.period_h,
        source_text=limit.source,
        needs_check=candidate.needs_check,
    )


def add_limit(*, by: Member, row: DoseLimit, reason: str = "Added") -> None:
    """A new row, not approved. reason: why unusual amounts are right.

    Raises Conflict if the practice has a row of this profile and drug already.
    """
    _refuse_unless_lead(by, row)
    try:
        with transaction.atomic():
            row.keep(by=by, reason=reason)
    except IntegrityError:
        raise Conflict(row.drug_name) from None


def change_limit(*, by: Member, row: DoseLimit, version: int, values: Mapping[str, Any], reason: str) -> None:
    """A new version with these values; an approval was for the old ones and lapses. Raises Conflict."""
    _refuse_unless_lead(by, row)
    for name, value in values.items():
        setattr(row, name, value)
    row.version = version
    _lapse(row)
    try:
        row.save_version(by=by, reason=reason)
    except IntegrityError:  # another row took the profile's name
        raise Conflict(row.drug_name) from None


def approved_instead(row: DoseLimit, *, lock: bool = False) -> DoseLimitQuerySet:
    """The row in force for the same drug, which approving this one ends; none, or one."""
    rows = DoseLimit.objects.filter(practice_id=row.practice_id).approved()
    rows = rows.filter(agent=row.agent, vasoconstrictor=row.vasoconstrictor).exclude(pk=row.pk)
    return rows.select_for_update() if lock else rows


def approve_limit(*, by: Member, row: DoseLimit, version: int, instead_of: str, on: date, checked_against: str) -> None:
    """Puts a row in force, and ends the one that was in force for the same drug.

    version: the one that was shown; of a row not stored yet it does not count. instead_of: the stamp of the row in
    force that was shown, empty if there was none. Raises Conflict if either is another one by now.
    """
    _refuse_unless_lead(by, row)
    try:
        with transaction.atomic():
            ended = list(approved_instead(row, lock=True))
            if "".join(each.stamp for each in ended) != instead_of:
                raise Conflict(row.drug_name)
            for each in ended:
                _lapse(each)
                each.save_version(by=by, reason=f"Ended: “{row.profile}” was approved instead")
            _approve(by, row, version, on, checked_against)
    except IntegrityError:  # somebody else's approval was written between the look and the write
        raise Conflict(row.drug_name) from None


def withdraw_limit(*, by: Member, row: DoseLimit, version: int, reason: str) -> None:
    """The row stays and is no longer in force. Raises Conflict if it moved on."""
    _refuse_unless_lead(by, row)
    row.version = version
    _lapse(row)
    row.save_version(by=by, reason=reason)


def _approve(by: Member, row: DoseLimit, version: int, on: date, checked_against: str) -> None:
    row.approved_by, row.approved_on = by, on
    row.checked_against, row.needs_check = checked_against, False
    if row.pk is None:
        row.keep(by=by, reason="Taken over and approved")
    else:
        row.version = version
        row.save_version(by=by, reason="Approved")


def _lapse(row: DoseLimit) -> None:
    row.approved_by, row.approved_on, row.checked_against = None, None, ""


def _refuse_unless_lead(by: Member, row: DoseLimit) -> None:
    """Limits are the lead's, whoever calls. Raises PermissionError."""
    if not may(by.role, Action.SET_AUDIT) or row.practice_id != by.practice_id:
        raise PermissionError("Only the lead of the practice approves or changes its limits")
