"""Secret addresses: made, found again, and whether one still works."""

import hashlib
import secrets
from datetime import date, datetime, time, timedelta

from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet
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


def new_token() -> str:
    return secrets.token_urlsafe(TOKEN_BYTES)


def last_day(now: datetime, days: int) -> date:
    """The last day of a link: it works until the end of it, local time, so that no change of the clock shortens it."""
    return timezone.localtime(now).date() + timedelta(days=days)


def open_links(operation: Operation) -> QuerySet[ReportLink]:
    """The one that may still be used, if any."""
    return ReportLink.objects.filter(operation=operation, used_at__isnull=True, ended_at__isnull=True)


@transaction.atomic
def make_link(
    *, by: Member, operation: Operation, about: str, now: datetime, days: int, token: str = ""
) -> tuple[ReportLink, str]:
    """A new link in place of an open one; gives it with its token, which is kept nowhere.

    days: as of `last_day`. token: where it had to be written into a text beforehand.
    """
    Operation.objects.select_for_update().get(pk=operation.pk)
    for earlier in open_links(operation):
        earlier.ended_at = now
        earlier.save_version(by=by, reason="A newer link took its place")
    token = token or new_token()
    expires_at = timezone.make_aware(datetime.combine(last_day(now, days), time(23, 59, 59)))
    link = ReportLink(
        operation=operation, digest=digest_of(token), about=about, made_by=by, made_at=now, expires_at=expires_at
    )
    link.keep(by=by, reason="Link made")
    return link, token


@transaction.atomic
def take_back(*, by: Member, link: ReportLink, replaced: ReportLink | None, now: datetime) -> None:
    """End a link that nobody has got, and let the one whose place it took work again."""
    Operation.objects.select_for_update().get(pk=link.operation_id)
    for unsent in open_links(link.operation).filter(pk=link.pk):
        unsent.ended_at = now
        unsent.save_version(by=by, reason="It never left")
        if replaced:
            printed = ReportLink.objects.get(pk=replaced.pk)
            printed.ended_at = None
            printed.save_version(by=by, reason="The newer link never left")


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
