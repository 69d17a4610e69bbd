"""Booked reviews as an iCalendar feed (RFC 5545). No name, no number, nothing of the record leaves with it.

Every event reads the same but for its time. Its identifier is a digest made for this one address, so that two
calendars of one practice cannot be matched by it.
"""

import hashlib
import hmac
import secrets
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from django.db import transaction
from django.db.models import Q
from icalendar import Calendar, Event

from clinic.access.models import Member
from clinic.recall.models import CalendarAddress
from clinic.reviews.models import Booking

LASTS = timedelta(minutes=20)
BACK_TO = timedelta(days=31)
SUMMARY, DESCRIPTION = "Review", "See Today in the follow-up program."


def digest_of(token: str) -> str:
    """The token is random and long, so a plain digest cannot be turned back."""
    return hashlib.sha256(token.encode()).hexdigest()


@transaction.atomic
def new_address(member: Member, now: datetime) -> str:
    """A new secret token; the earlier one ends. Given once: only its digest is kept."""
    token = secrets.token_urlsafe(32)
    CalendarAddress.objects.update_or_create(member=member, defaults={"digest": digest_of(token), "made_at": now})
    return token


def member_of(token: str) -> Member | None:
    """Whose calendar this is; None for a wrong token or for somebody who may no longer sign in."""
    row = CalendarAddress.objects.select_related("member__practice").filter(digest=digest_of(token)).first()
    return row.member if row and row.member.is_active and row.member.practice_id else None


def bookings_of(member: Member, now: datetime) -> Iterable[Booking]:
    """Appointments of the practice from a month ago on, cancelled ones too, so that calendars take them out.

    With the patient, as nobody comes to the appointment of somebody who has died.
    """
    own = Booking.objects.filter(operation__practice_id=member.practice_id, operation__struck_at__isnull=True)
    return own.filter(Q(starts_at__gte=now - BACK_TO)).select_related("operation__patient").order_by("starts_at", "pk")


def feed(token: str, bookings: Iterable[Booking], now: datetime) -> bytes:
    """The calendar as a file; times in UTC, so that no change of the clock moves an appointment."""
    calendar = Calendar()
    calendar.add("prodid", "-//nail surgery follow-up//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    for booking in bookings:
        calendar.add_component(event_of(token, booking, now))
    return calendar.to_ical()


def event_of(token: str, booking: Booking, now: datetime) -> Event:
    off = booking.cancelled_at is not None or booking.operation.patient.died_on is not None
    event = Event()
    name = hmac.new(token.encode(), booking.key.encode(), hashlib.sha256).hexdigest()[:32]
    event.add("uid", f"{name}@follow-up.invalid")
    event.add("dtstamp", now.astimezone(UTC))
    event.add("dtstart", booking.starts_at.astimezone(UTC))
    event.add("dtend", (booking.starts_at + LASTS).astimezone(UTC))
    event.add("summary", SUMMARY)
    event.add("description", DESCRIPTION)
    # The death is no version of the booking, and a calendar takes a change only with a higher number.
    event.add("sequence", booking.version + (off and booking.cancelled_at is None))
    event.add("status", "CANCELLED" if off else "CONFIRMED")
    event.add("class", "PRIVATE")
    return event
