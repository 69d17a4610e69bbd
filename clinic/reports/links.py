"""Secret addresses: made, found again, and whether one still works."""

import hashlib
import secrets
from datetime import datetime, time, timedelta

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from clinic.access.models import Member
from clinic.procedures.models import Operation
from clinic.reports.models import ReportLink
from clinic.vocabulary.recall import LinkReason
from clinic.vocabulary.schedule import ReviewCode

TOKEN_BYTES = 24  # 192 bits

ABOUT = {
    ReviewCode.SIX_MONTHS.value: LinkReason.SIX_MONTHS, ReviewCode.TWELVE_MONTHS.value: LinkReason.TWELVE_MONTHS,
}  # fmt: skip


def digest_of(token: str) -> str:
    """The token is random and long, so a plain digest cannot be turned back."""
    return hashlib.sha256(token.encode()).hexdigest()


@transaction.atomic
def make_link(*, by: Member, operation: Operation, about: str, now: datetime, days: int) -> tuple[ReportLink, str]:
    """A new link in place of an open one; gives it with its token, which is kept nowhere.

    days: it works until the end of that day, local time, so that no change of the clock shortens it.
    """
    Operation.objects.select_for_update().get(pk=operation.pk)
    for earlier in ReportLink.objects.filter(operation=operation, used_at__isnull=True, ended_at__isnull=True):
        earlier.ended_at = now
        earlier.save_version(by=by, reason="A newer link took its place")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    last_day = timezone.localtime(now).date() + timedelta(days=days)
    expires_at = timezone.make_aware(datetime.combine(last_day, time(23, 59, 59)))
    link = ReportLink(
        operation=operation, digest=digest_of(token), about=about, made_by=by, made_at=now, expires_at=expires_at
    )
    link.keep(by=by, reason="Link made")
    return link, token


def address_of(token: str) -> str:
    """The whole address, as a patient types or scans it."""
    return settings.SITE_URL.rstrip("/") + reverse("report", args=[token])


def find_link(token: str) -> ReportLink | None:
    """The link of a token with all that its page needs; one query."""
    related = ("made_by", "operation__practice__follow_up", "operation__patient", "operation__planned")
    return ReportLink.objects.select_related(*related).filter(digest=digest_of(token)).first()


def is_open(link: ReportLink, now: datetime) -> bool:
    """Whether answers may be sent through it. A patient who wishes no contact, or has died, is asked nothing."""
    if link.used_at or link.ended_at or now > link.expires_at or link.operation.struck_at:
        return False
    patient = link.operation.patient
    return not patient.no_contact_wished and patient.died_on is None
