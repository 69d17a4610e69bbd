"""The secret address of a member's calendar, and the calendar behind it."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.decorators import allowed, require_methods
from clinic.access.requests import client_address
from clinic.access.rules import Action, may
from clinic.access.throttle import CALENDARS, may_guess, note_guess
from clinic.recall.calendar import bookings_of, feed, member_of, new_address
from clinic.recall.models import CalendarAddress


@require_methods("GET", "POST")
@allowed(Action.BOOK_REVIEW)
def calendar(request: HttpRequest) -> HttpResponse:
    """Make an address, which ends the one before, or end it. It is shown in this one answer."""
    row = CalendarAddress.objects.filter(member=request.user)
    if request.method == "POST" and request.POST.get("do") == "end":
        row.delete()
        return redirect("calendar")
    address = ""
    if request.method == "POST":
        token = new_address(request.user, timezone.now())
        address = settings.SITE_URL.rstrip("/") + reverse("calendar-feed", args=[token])
    return render(request, "recall/calendar.html", {"address": address, "stored": row.first()})


@require_methods("GET")
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """Times of appointments and nothing else. Calendars cannot sign in, so the address is the secret."""
    now, address = timezone.now(), client_address(request)
    if not may_guess(CALENDARS, address=address, now=now):
        return plain("Too many tries. Wait a little.", status=429)
    member = member_of(token)
    if member is None or not may(member.role, Action.BOOK_REVIEW):
        note_guess(CALENDARS, address=address, now=now)
        return plain("There is no such calendar.", status=404)
    response = HttpResponse(feed(token, bookings_of(member, now), now), content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="reviews.ics"'
    return private(response)


def plain(sentence: str, *, status: int) -> HttpResponse:
    return private(HttpResponse(f"{sentence}\n", content_type="text/plain; charset=utf-8", status=status))


def private(response: HttpResponse) -> HttpResponse:
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex, nofollow"
    return response
