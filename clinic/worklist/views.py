"""Today, booking a review, logging a contact."""

from contextlib import suppress
from datetime import datetime, time
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.numbers import say_day
from clinic.access.once import claim, first_or_result, new_token
from clinic.access.rules import Action, may
from clinic.procedures.models import Operation
from clinic.recall.lists import next_words
from clinic.recall.queries import standing_of
from clinic.recall.recording import OtherDeath, PerhapsTheSame, log_contact
from clinic.redflags.reading import through_flags, waiting
from clinic.redflags.watching import watch_contact
from clinic.reviews.models import Booking, Contact
from clinic.reviews.seen import seen_of, with_gaps
from clinic.reviews.stops import stop_about
from clinic.reviews.timeline import clinic_ended, window_words
from clinic.schedule import next_point, point_of, schedule_of
from clinic.vocabulary.redflag import AlertLevel
from clinic.vocabulary.review import ContactChannel, ContactResult
from clinic.worklist.forms import BookingForm, ContactForm
from clinic.worklist.queries import day_list

FIRST_ROWS = 25
RED = "This is a red flag. It stands on top of Today until a clinician has written down what was done."


@require_methods("GET")
@allowed(Action.SEE_WORKLIST)
def today(request: HttpRequest) -> HttpResponse:
    now = timezone.localtime()
    starts_at = timezone.make_aware(datetime.combine(now.date(), time.min))
    lists = day_list(request.user, today=now.date(), day_starts_at=starts_at)
    shown = None if request.GET.get("all") else FIRST_ROWS
    context = {
        "lists": lists,
        "red_flags": waiting(request.user) if may(request.user.role, Action.READ_RECORD) else [],
        "today": now.date(),
        "unfinished": lists.unfinished[:shown],
        "overdue": lists.overdue[:shown],
        "due": lists.due[:shown],
        "hidden": max(len(lists.overdue), len(lists.due), len(lists.unfinished)) - FIRST_ROWS if shown else 0,
        "may_review": may(request.user.role, Action.RECORD_REVIEW),
        "may_assist": may(request.user.role, Action.ASSIST_OPERATION),
        "may_operate": may(request.user.role, Action.RECORD_OPERATION),
        "has_operations": any(lists.rows()) or Operation.objects.visible_to(request.user).exists(),
    }
    return render(request, "worklist/today.html", context)


def _operation(request: HttpRequest, key: str) -> Operation:
    visible = Operation.objects.visible_to(request.user).standing().select_related("patient__identity", "planned")
    operation = get_object_or_404(visible.prefetch_related("nail_procedures__treated_sides"), key=key)
    operation.practice = request.user.practice  # the same row, with its schedules, without asking again
    return operation


@require_methods("GET", "POST")
@allowed(Action.BOOK_REVIEW)
def book(request: HttpRequest, key: str) -> HttpResponse:
    operation = _operation(request, key)
    once = request.POST.get("once") or new_token()
    if request.method == "POST" and (earlier := first_or_result(request.user, once)):
        return redirect(earlier)
    tapped = {"channel": request.GET["channel"]} if "channel" in request.GET else {}
    form = BookingForm(request.POST or None, operation=operation, now=timezone.now(), initial=tapped)
    if request.method == "POST" and form.is_valid():
        starts_at = form.cleaned_data["starts_at"]
        with transaction.atomic():
            if earlier := claim(request.user, once, leads_to=reverse("today")):
                return redirect(earlier)
            _book(request, operation, starts_at, form.cleaned_data["channel"])
        when = timezone.localtime(starts_at)
        messages.success(request, f"Review booked for {say_day(when.date())}, {when:%H:%M}.")
        return redirect("today")
    return render(request, "worklist/book.html", book_page(operation, form, once, now=timezone.localtime()))


def book_page(operation: Operation, form: BookingForm, once: str, *, now: datetime) -> dict[str, Any]:
    """What whoever answers the phone needs: which review, when it should be, how to reach them, what is booked."""
    reviews = list(with_gaps(operation.reviews.counting()))
    point = next_point(
        performed_on=operation.performed_on,
        seen=seen_of(reviews),
        today=now.date(),
        clinic_ended=clinic_ended(reviews),
        schedule=schedule_of(operation, operation.practice),
    )
    return {
        "form": form,
        "operation": operation,
        "once": once,
        "point": point,
        "stop": stop_about(operation),
        "window": window_words(point, operation.performed_on) if point else "",
        "standing": operation.bookings.filter(cancelled_at__isnull=True, starts_at__gte=now).order_by("starts_at"),
    }


@require_methods("POST")
@allowed(Action.BOOK_REVIEW)
def booking_cancel(request: HttpRequest, key: str) -> HttpResponse:
    visible = Booking.objects.filter(operation__practice_id=request.user.practice_id)
    booking = get_object_or_404(visible.select_related("operation"), key=key)
    if booking.cancelled_at is None:
        booking.cancelled_at = timezone.now()
        with suppress(Conflict):  # somebody did so, or booked anew, at the same moment
            booking.save_version(by=request.user, reason="Cancelled")
    when = timezone.localtime(booking.starts_at)
    messages.success(request, f"The appointment on {say_day(when.date())}, {when:%H:%M}, is cancelled.")
    return redirect("book", booking.operation.key)


def _book(request: HttpRequest, operation: Operation, starts_at: datetime, channel: str) -> None:
    """One booking stands at a time: the earlier one is cancelled and keeps its row. It is in the log as a contact."""
    Operation.objects.select_for_update().get(pk=operation.pk)  # two people booking at once wait for each other
    now = timezone.now()
    for earlier in Booking.objects.filter(operation=operation, cancelled_at__isnull=True, starts_at__gte=now):
        earlier.cancelled_at = now
        earlier.save_version(by=request.user, reason="Booked anew")
    day = (timezone.localtime(starts_at).date() - operation.performed_on).days
    point = point_of(day, schedule_of(operation, operation.practice))
    booking = Booking(
        operation=operation, starts_at=starts_at, point=point.code if point else "", booked_by=request.user
    )
    booking.keep(by=request.user)
    answers = {"channel": channel, "result": ContactResult.BOOKED.value}
    log_contact(by=request.user, operation=operation, answers=answers, now=timezone.localtime(now), another=True)


@require_methods("GET", "POST")
@allowed(Action.BOOK_REVIEW)
def contact(request: HttpRequest, key: str) -> HttpResponse:
    operation = _operation(request, key)
    now = timezone.localtime()
    once = request.POST.get("once") or new_token()
    if request.method == "POST" and (earlier := first_or_result(request.user, once)):
        return redirect(earlier)
    if request.POST.get("do") == "book":  # the channel that was tapped goes along; the note stays here
        tapped = request.POST.get("channel", "")
        query = f"?channel={tapped}" if tapped in ContactChannel.codes() else ""
        return redirect(f"{reverse('book', args=[operation.key])}{query}")
    back = "recall" if "recall" in (request.POST.get("back"), request.GET.get("back")) else "today"
    form = ContactForm(request.POST or None, today=now.date(), operation=operation)
    if request.method == "POST" and form.is_valid():
        try:
            with transaction.atomic():
                if earlier := claim(request.user, once, leads_to=reverse(back)):
                    return redirect(earlier)
                row = log_contact(
                    by=request.user, operation=operation, answers=form.cleaned_data, now=now,
                    another=form.cleaned_data["another"],
                )  # fmt: skip
                raised = watch_contact(row, by=request.user, now=now)
        except PerhapsTheSame as same:
            form.ask_whether_another(same.contact, now)
        except OtherDeath as other:  # told to a colleague at the same moment
            form.say_other_death(other.on_record)
        else:
            return logged(request, operation, row, raised, back)
    stands = standing_of(request.user, key, today=now.date(), now=now)
    context = {
        "form": form,
        "operation": operation,
        "once": once,
        "back": back,
        "stands": stands,
        "next": next_words(stands, now.date()) if stands else "",
        "earlier": operation.contacts.select_related("recorded_by").order_by("-made_on", "-pk")[:10],
    }
    return render(request, "worklist/contact.html", context)


def logged(request: HttpRequest, operation: Operation, row: Contact, raised: list[Any], back: str) -> HttpResponse:
    """Says what was logged, with a way to take it back; a red flag is read first by whoever may act on it."""
    undo = "" if raised else reverse("contact-undo", args=[row.key])
    messages.success(request, _logged(row), extra_tags=undo)
    if any(flag.level == AlertLevel.RED for flag in raised):
        messages.warning(
            request, "This is a red flag. It stands on top of Today until a clinician has written down what was done."
        )
    acts = may(request.user.role, Action.RECORD_REVIEW)
    return redirect(through_flags(operation, reverse(back)) if acts else back)


def _logged(row: Contact) -> str:
    if row.result == ContactResult.PROBLEM:
        return "Contact logged. It stands under Unexpected until it is dealt with."
    return f"Contact logged. Next try {say_day(row.next_try_on)}." if row.next_try_on else "Contact logged."


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def contact_dealt_with(request: HttpRequest, key: str) -> HttpResponse:
    visible = Contact.objects.filter(operation__practice_id=request.user.practice_id)
    row = get_object_or_404(visible, key=key)
    if row.handled_at is None:
        row.handled_at = timezone.now()
        with suppress(Conflict):  # somebody did so at the same moment
            row.save_version(by=request.user, reason="Dealt with")
        messages.success(request, "Marked as dealt with.")
    return redirect("today")
