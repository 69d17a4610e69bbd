"""The patient's page behind a secret address; for staff a new link on a slip, and the end of a flagged report."""

from contextlib import suppress
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt

from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.once import claim
from clinic.access.requests import client_address
from clinic.access.rules import Action, may
from clinic.access.throttle import LINKS, claim_post, may_guess, note_guess
from clinic.photographs import storage
from clinic.planning.models import follow_up_of
from clinic.procedures.models import NailProcedure, Operation
from clinic.reports import wording
from clinic.reports.forms import ReportForm
from clinic.reports.links import address_of, find_link, is_open, make_link
from clinic.reports.models import PatientReport, ReportLink
from clinic.reports.recording import LinkSpent, answer_report, take_report
from clinic.reports.slips import LinkForm, log_slip, qr_picture
from clinic.reviews.stops import stop_about
from clinic.vocabulary.recall import ReportFlag

ADULT_FROM = 16
POSTS_WITHIN = timedelta(minutes=10)


# --- the patient's page


# The token in the address is what proves the sender, and a stranger who does not know it can forge no post: a cookie
# on the patient's device would prove nothing more, and would refuse those who keep none.
@csrf_exempt
@require_methods("GET", "POST")
def report(request: HttpRequest, token: str) -> HttpResponse:
    """Opening changes nothing, since mail scanners open links; sending spends the link."""
    return kept_private(answer(request, token))


def answer(request: HttpRequest, token: str) -> HttpResponse:
    now, address = timezone.localtime(), client_address(request)
    if not may_guess(LINKS, address=address, now=now):
        return closed_page(request, wording.TOO_MANY, status=429)
    link = find_link(token)
    if link is None:
        note_guess(LINKS, address=address, now=now)
        return closed_page(request, wording.UNKNOWN, status=404)
    if link.used_at:
        return used_page(request, link)
    if not is_open(link, now):
        return closed_page(request, wording.GONE, link=link, status=410)
    if request.method != "POST":  # scanners of links ask with HEAD
        return form_page(request, link, form_of(link, None, None, now.date()))
    if not claim_post(of=link.digest, most=settings.REPORT_POSTS_A_LINK, within=POSTS_WITHIN, now=now):
        return closed_page(request, wording.TOO_MANY, link=link, status=429)
    form = form_of(link, request.POST, request.FILES, now.date())
    if not form.is_valid():
        return form_page(request, link, form)
    with suppress(LinkSpent):  # sent from another device a moment ago: the page then says so
        take(link, form, now)
    return redirect("report", token)


def kept_private(response: HttpResponse) -> HttpResponse:
    """Neither the next site nor a search engine learns the address."""
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex, nofollow"
    return response


def form_of(link: ReportLink, posted: Any, files: Any, today: date) -> ReportForm:
    nails = NailProcedure.objects.filter(operation=link.operation, amputated_on__isnull=True)
    nails = nails.prefetch_related("treated_sides").order_by("-foot", "toe")
    age = link.operation.age_years
    return ReportForm(posted, files, nails=list(nails), takes_picture=age is not None and age >= ADULT_FROM)


def take(link: ReportLink, form: ReportForm, now: datetime) -> None:
    answers = form.cleaned_data
    with storage.gone_unless_successful() as write:
        take_report(
            link=link, toes=form.answers(), wants_call=answers["call"] == "yes", note=answers["note"], now=now,
            signs=answers["signs"], picture=answers.get("picture"), pictured=form.pictured, write=write,
        )  # fmt: skip


def form_page(request: HttpRequest, link: ReportLink, form: ReportForm) -> HttpResponse:
    toes = list(form.toes())
    shown = {
        "form": form,
        "toes": toes,
        "several": len(toes) > 1,
        "operated_on": wording.long_day(link.operation.performed_on),
        "until": wording.long_day(timezone.localdate(link.expires_at)),
        "text": wording,
        **practice_of(link),
    }
    return render(request, "reports/report.html", shown)


def practice_of(link: ReportLink) -> dict[str, Any]:
    return {"practice": link.operation.practice, "follow_up": follow_up_of(link.operation.practice)}


def used_page(request: HttpRequest, link: ReportLink) -> HttpResponse:
    """The same page right after sending and whenever the link is opened again: nothing can be sent twice."""
    assert link.used_at is not None  # noqa: S101 - asked by the caller
    sent_on = wording.long_day(timezone.localdate(link.used_at))
    sent = PatientReport.objects.filter(link=link).first()
    shown = {
        "sent_on": sent_on, "text": wording, "calls_now": sent is not None and sent.has_sign,
        "wrote": sent is not None and ReportFlag.WROTE.value in sent.flags, **practice_of(link),
    }  # fmt: skip
    return render(request, "reports/sent.html", shown)


def closed_page(request: HttpRequest, sentence: str, *, status: int, link: ReportLink | None = None) -> HttpResponse:
    """A link that takes nothing. Why is not said: it may have come into wrong hands."""
    shown: dict[str, Any] = {"sentence": sentence, "text": wording}
    if link:
        shown |= practice_of(link)
        if link.expires_at <= timezone.now() and not link.ended_at:
            shown["ended_on"] = wording.long_day(timezone.localdate(link.expires_at))
    return render(request, "reports/closed.html", shown, status=status)


# --- for staff


@require_methods("GET", "POST")
@allowed(Action.BOOK_REVIEW)
def report_link(request: HttpRequest, key: str) -> HttpResponse:
    """A new link, shown once on a slip to print; it takes the place of an earlier one."""
    own = Operation.objects.visible_to(request.user).standing()
    own = own.select_related("patient__identity")
    operation = get_object_or_404(own.prefetch_related("nail_procedures__treated_sides"), key=key)
    now = timezone.localtime()
    shown = {
        "operation": operation, "identity": operation.patient.identity, "stop": stop_about(operation),
        "follow_up": follow_up_of(request.user.practice),
    }  # fmt: skip
    shown["may_set"] = may(request.user.role, Action.SET_AUDIT)
    form = LinkForm(request.POST if request.method == "POST" else None)
    if shown["stop"] or not shown["follow_up"].phone or not form.is_valid():
        return render(request, "reports/link.html", {"form": form, **shown})
    days = follow_up_of(request.user.practice).link_days
    with transaction.atomic():
        if claim(request.user, form.once, reverse("report-link", args=[operation.key])):
            messages.error(request, "This link was made and shown before. Make a new one; the earlier one then ends.")
            return redirect("report-link", operation.key)
        link, token = make_link(
            by=request.user, operation=operation, about=form.cleaned_data["about"], now=now, days=days
        )
        log_slip(by=request.user, operation=operation, now=now)
    address = address_of(token)
    shown |= {
        "address": address, "qr": qr_picture(address), "text": wording,
        "until": wording.long_day(timezone.localdate(link.expires_at)),
        "practice": request.user.practice,
    }  # fmt: skip
    return render(request, "reports/slip.html", shown)


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def report_answered(request: HttpRequest, key: str) -> HttpResponse:
    """Somebody has called, booked, or decided that nothing is needed."""
    own = PatientReport.objects.filter(review__operation__practice_id=request.user.practice_id)
    row = get_object_or_404(own.select_related("review"), review__key=key)
    if not row.review.accepted_at and not row.review.struck_at:
        raise Http404  # read it first
    if row.answered_at is None:
        with suppress(Conflict):  # somebody did so at the same moment
            answer_report(by=request.user, report=row, now=timezone.now())
        messages.success(request, "Marked as dealt with.")
    return redirect("today")
