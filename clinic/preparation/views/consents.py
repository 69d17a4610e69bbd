"""The consent: new, confirmed on the day, read, withdrawn, struck out."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.answers import MOVED_ON
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict, random_key
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action, may
from clinic.access.striking import may_strike
from clinic.patients.models import Patient
from clinic.patients.own import own_patient
from clinic.preparation.consent_forms import ConsentForm, EndForm, ReconfirmForm
from clinic.preparation.history import history_of_consent
from clinic.preparation.models import Consent
from clinic.preparation.questions import Subject
from clinic.preparation.reading import consent_lines, points_of
from clinic.preparation.recording import reconfirm_consent, record_consent, withdraw_consent
from clinic.preparation.views.shared import bar_of, strike_entry
from clinic.vocabulary.sites import capital, site_name


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def consent_new(request: HttpRequest, key: str) -> HttpResponse:
    patient, today = own_patient(request, key), timezone.localdate()
    subject = Subject.of(patient, today)
    earlier_ones = list(patient.consents.valid_on(today))
    if request.method == "GET":
        # Day and person are filled in; nothing that was said.
        first = {"discussed_on": today.isoformat(), "discussed_by": request.user.key}
        form = ConsentForm(initial=first, member=request.user, subject=subject, earlier=earlier_ones)
        return consent_form_page(request, patient, form)
    form = ConsentForm(request.POST, member=request.user, subject=subject, earlier=earlier_ones)
    valid = form.is_valid()
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    if valid:
        return redirect(recorded(request, patient, form, timezone.now()))
    return consent_form_page(request, patient, form)


def consent_form_page(request: HttpRequest, patient: Patient, form: ConsentForm) -> HttpResponse:
    return render(request, "preparation/consent_form.html", {**bar_of(patient), "form": form})


def recorded(request: HttpRequest, patient: Patient, form: ConsentForm, now: datetime) -> str:
    """Record it, or find the one that the same form made before; gives the address to go to."""
    key = random_key()
    goes_to = reverse("consent", args=[key])
    with transaction.atomic():
        if earlier := claim(request.user, form.once, goes_to):
            return earlier
        consent = record_consent(
            by=request.user,
            patient=patient,
            fields=form.values(),
            points=form.points_ticked(),
            now=now,
            reason=form.reason,
            key=key,
        )
    messages.success(request, f"Consent saved: {site_name(consent.foot, consent.toe, consent.part)}.")
    return goes_to


# --- one consent


def own_consent(request: HttpRequest, key: str) -> Consent:
    people = ("patient__identity", "discussed_by", "reconfirmed_by", "withdrawn_by", "recorded_by")
    visible = Consent.objects.visible_to(request.user).select_related(*people).prefetch_related("elements")
    return get_object_or_404(visible, key=key)


@require_methods("GET")
@allowed(Action.READ_RECORD)
def consent(request: HttpRequest, key: str) -> HttpResponse:
    consent = own_consent(request, key)
    ticked, left_out = points_of(consent)
    stands = not consent.struck_at and not consent.withdrawn_on
    may_change = may(request.user.role, Action.RECORD_REVIEW) and not consent.struck_at
    shown = {
        **bar_of(consent.patient),
        "consent": consent,
        "site": capital(site_name(consent.foot, consent.toe, consent.part)),
        "lines": consent_lines(consent),
        "ticked": ticked,
        "left_out": left_out,
        "stands": stands,
        "may_change": may_change and stands,
        "end_form": EndForm(version=consent.version),
        "may_strike": may_change and may_strike(request.user, consent.recorded_by_id),
        "steps": history_of_consent(consent),
    }
    return render(request, "preparation/consent.html", shown)


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def consent_confirm(request: HttpRequest, key: str) -> HttpResponse:
    """On the day the patient says foot, toe and side again."""
    consent, today = own_consent(request, key), timezone.localdate()
    if consent.struck_at or consent.withdrawn_on:
        messages.error(request, "This consent does not stand any more.")
        return redirect("consent", consent.key)
    if request.method == "GET":
        form = ReconfirmForm(initial={"reconfirmed_on": today.isoformat()}, consent=consent, today=today)
        return confirm_page(request, consent, form)
    form = ReconfirmForm(request.POST, consent=consent, today=today)
    if not form.is_valid():
        return confirm_page(request, consent, form)
    try:
        on = form.cleaned_data["reconfirmed_on"]
        reconfirm_consent(by=request.user, consent=consent, version=form.version, on=on)
    except Conflict:
        stored = own_consent(request, key)
        form.add_error(None, MOVED_ON)
        form.catch_up(stored.version)
        return confirm_page(request, stored, form, status=409)
    messages.success(request, f"Consent confirmed: {site_name(consent.foot, consent.toe, consent.part)}.")
    return redirect("consent", consent.key)


def confirm_page(request: HttpRequest, consent: Consent, form: ReconfirmForm, *, status: int = 200) -> HttpResponse:
    shown: dict[str, Any] = {**bar_of(consent.patient), "consent": consent, "form": form}
    return render(request, "preparation/consent_confirm.html", shown, status=status)


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def consent_withdraw(request: HttpRequest, key: str) -> HttpResponse:
    consent = own_consent(request, key)
    form = EndForm(request.POST, version=consent.version)
    if not form.is_valid():
        messages.error(request, "Give the patient's reason, or write that none was given.")
    elif not consent.withdrawn_on and not consent.struck_at:
        try:
            reason, today = form.cleaned_data["reason"], timezone.localdate()
            withdraw_consent(by=request.user, consent=consent, version=form.version, on=today, reason=reason)
        except Conflict:
            messages.error(request, MOVED_ON)
        else:
            messages.success(request, "Consent withdrawn. It stays readable and counts from today on no longer.")
    return redirect("consent", consent.key)


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def consent_strike(request: HttpRequest, key: str) -> HttpResponse:
    consent = own_consent(request, key)
    strike_entry(request, consent, what="consent")
    return redirect("consent", consent.key)
