"""Acts on a photograph: add, strike out, withdraw consent. Each is one transaction with its history."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from clinic.access.models import Conflict, Member
from clinic.photographs import storage
from clinic.photographs.cleaning import Clean
from clinic.photographs.models import Photograph
from clinic.procedures.models import NailProcedure, Operation


@transaction.atomic
def add_photograph(
    *,
    by: Member,
    nail: NailProcedure,
    picture: Clean,
    answers: Mapping[str, Any],
    now: datetime,
    write: storage.Write,
    reason: str = "",
) -> Photograph:
    """Keep a cleaned picture with the consent it was taken under.

    answers: taken_on, review, consent_for, consent_given_by, consent_given_on, note; a review of another operation is
    a ValueError. write: from storage.gone_unless_successful, which stands around the outermost transaction.
    Raises Conflict if the operation was struck out meanwhile.
    """
    operation = Operation.objects.select_for_update().get(pk=nail.operation_id)
    if operation.struck_at:
        raise Conflict(f"Operation {operation.key}")
    row = Photograph(nail_procedure=nail, added_by=by, added_at=now, **answers, **facts_of(picture))
    if row.review and row.review.operation_id != operation.pk:
        raise ValueError(f"review {row.review.key} belongs to another operation than {operation.key}")
    row.keep(by=by, reason=reason)
    write(row.file_name, storage.FULL, picture.data)
    write(row.file_name, storage.PREVIEW, picture.preview)
    return row


def facts_of(picture: Clean) -> dict[str, Any]:
    names = ("media_type", "width", "height", "sha256")
    return {name: getattr(picture, name) for name in names}


def withdraw_consent(*, by: Member, photograph: Photograph, version: int, now: datetime, reason: str) -> None:
    """Delete the picture for good and keep the line that says so. Raises Conflict if it moved on.

    The line first: from its commit on nobody is shown the picture. Raises OSError if a file cannot be removed then;
    `check_photographs` finds it, and removes it on demand.
    """
    with transaction.atomic():
        photograph.version = version
        photograph.withdrawn_by, photograph.withdrawn_at = by, now
        photograph.save_version(by=by, reason=reason)
    storage.remove(photograph.file_name)
