"""Limits of local anaesthetic: what the practice lead checks, approves, changes and withdraws."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.decorators import allowed, require_methods
from clinic.access.forms import differences
from clinic.access.models import Conflict
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action
from clinic.dosing.acts import (
    add_limit,
    approve_limit,
    approved_instead,
    change_limit,
    taken_over,
    withdraw_limit,
)
from clinic.dosing.candidates import Candidate, candidate_of
from clinic.dosing.effect import effect_of, recorded_attendances
from clinic.dosing.forms import ApproveForm, LimitForm, WithdrawForm, stored_values
from clinic.dosing.models import DoseLimit
from clinic.dosing.pages import amounts_of, groups_of, history_of, shipped_otherwise
from clinic.vocabulary.sites import capital

MOVED_ON = "Somebody else changed these limits meanwhile. Nothing was saved; look at them again."


@require_methods("GET")
@allowed(Action.SET_AUDIT)
def limits(request: HttpRequest) -> HttpResponse:
    rows = DoseLimit.objects.visible_to(request.user).select_related("approved_by")
    groups = groups_of(request.user, rows, recorded_attendances(request.user.practice))
    return render(request, "dosing/limits.html", {"groups": groups})


def own_limit(request: HttpRequest, key: str) -> DoseLimit:
    return get_object_or_404(DoseLimit.objects.visible_to(request.user).select_related("approved_by"), key=key)


# --- one row, stored or shipped


@require_methods("GET", "POST")
@allowed(Action.SET_AUDIT)
def limit(request: HttpRequest, key: str) -> HttpResponse:
    return one_limit(request, lambda: own_limit(request, key))


@require_methods("GET", "POST")
@allowed(Action.SET_AUDIT)
def limit_candidate(request: HttpRequest, code: str) -> HttpResponse:
    """A shipped row; once the practice has taken it over, its own page."""
    candidate = candidate_of(code)
    if candidate is None:
        raise Http404(code)
    row = stored_or_shipped(request, candidate)
    if row.pk and request.method == "GET":
        return redirect("limit", row.key)
    return one_limit(request, lambda: stored_or_shipped(request, candidate), shown_as_new=True)


def stored_or_shipped(request: HttpRequest, candidate: Candidate) -> DoseLimit:
    row = taken_over(candidate, by=request.user)
    same = DoseLimit.objects.visible_to(request.user).select_related("approved_by")
    same = same.filter(profile=row.profile, agent=row.agent, vasoconstrictor=row.vasoconstrictor)
    return same.first() or row


def one_limit(request: HttpRequest, find: Callable[[], DoseLimit], *, shown_as_new: bool = False) -> HttpResponse:
    """shown_as_new: the page that is posted showed a row that was not stored."""
    row = find()
    if request.method == "GET":
        return limit_page(request, row, new_approval(row))
    form = ApproveForm(request.POST, version=row.version)
    valid = form.is_valid()
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    if not valid:
        return limit_page(request, row, form)
    try:
        if row.approved_on or (shown_as_new and row.pk):
            raise Conflict(row.key)
        return redirect(approved(request, row, form))
    except Conflict:
        return approval_conflict(request, find(), form)


def new_approval(row: DoseLimit) -> ApproveForm | None:
    """The form of a row that is not in force."""
    if row.approved_on:
        return None
    return ApproveForm(version=row.version, initial={"instead_of": stamp_of(row)})


def stamp_of(row: DoseLimit) -> str:
    return "".join(each.stamp for each in approved_instead(row))


def approved(request: HttpRequest, row: DoseLimit, form: ApproveForm) -> str:
    """Approve it, or find that the same form did; gives the address to go to."""
    goes_to = reverse("limit", args=[row.key])
    with transaction.atomic():
        if earlier := claim(request.user, form.once, goes_to):
            return earlier
        approve_limit(
            by=request.user,
            row=row,
            version=form.version,
            instead_of=form.cleaned_data["instead_of"],
            on=timezone.localdate(),
            checked_against=form.cleaned_data["checked_against"],
        )
    messages.success(request, f"Approved: {row.drug_name}, “{row.profile}”. It is in force from now on.")
    return goes_to


def approval_conflict(request: HttpRequest, row: DoseLimit, form: ApproveForm) -> HttpResponse:
    """The row as it is now, with what was typed kept in the form, if there is still something to approve."""
    form.add_error(None, MOVED_ON)
    form.catch_up_with(row.version, stamp_of(row))
    return limit_page(request, row, form, status=409)


def limit_page(request: HttpRequest, row: DoseLimit, form: ApproveForm | None, *, status: int = 200) -> HttpResponse:
    shown: dict[str, Any] = {
        "row": row,
        "drug": capital(row.drug_name),
        "amounts": amounts_of(row),
        "shipped": shipped_otherwise(row),
        "effect": effect_of(row.limit, recorded_attendances(request.user.practice)),
        "ends": approved_instead(row).select_related("approved_by").first(),
        "form": form,
        "address": reverse("limit", args=[row.key]) if row.pk else request.path,
        "withdraw_form": WithdrawForm(version=row.version),
        "steps": history_of(row),
    }
    return render(request, "dosing/limit.html", shown, status=status)


@require_methods("POST")
@allowed(Action.SET_AUDIT)
def limit_withdraw(request: HttpRequest, key: str) -> HttpResponse:
    row = own_limit(request, key)
    form = WithdrawForm(request.POST, version=row.version)
    if not form.is_valid():
        messages.error(request, "Give the reason for withdrawing this limit.")
    elif row.approved_on:
        try:
            withdraw_limit(by=request.user, row=row, version=form.version, reason=form.cleaned_data["reason"])
        except Conflict:
            messages.error(request, MOVED_ON)
        else:
            messages.success(request, f"Withdrawn: {row.drug_name}, “{row.profile}”. It is no longer in force.")
    return redirect("limit", row.key)


# --- own rows


@require_methods("GET", "POST")
@allowed(Action.SET_AUDIT)
def limit_new(request: HttpRequest) -> HttpResponse:
    form = LimitForm(request.POST if request.method == "POST" else None)
    valid = form.is_valid()
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    if valid:
        row = DoseLimit(practice=request.user.practice, **form.values())
        try:
            return redirect(added(request, row, form))
        except Conflict:
            form.add_error("profile", name_taken(row.profile, row))
    return render(request, "dosing/limit_form.html", {"form": form})


def added(request: HttpRequest, row: DoseLimit, form: LimitForm) -> str:
    goes_to = reverse("limit", args=[row.key])
    with transaction.atomic():
        if earlier := claim(request.user, form.once, goes_to):
            return earlier
        add_limit(by=request.user, row=row, reason=form.cleaned_data["reason"] or "Added")
    messages.success(request, f"Added: {row.drug_name}, “{row.profile}”. It is not in force until it is approved.")
    return goes_to


def name_taken(profile: str, row: DoseLimit) -> str:
    return f"There is a row “{profile}” for {row.drug_name} already; give another name or change that one"


@require_methods("GET", "POST")
@allowed(Action.SET_AUDIT)
def limit_change(request: HttpRequest, key: str) -> HttpResponse:
    row = own_limit(request, key)
    if request.method == "GET":
        form = LimitForm(row=row, initial=stored_values(row))
        return change_page(request, row, form)
    form = LimitForm(request.POST, row=row)
    valid = form.is_valid()
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    if not valid:
        return change_page(request, row, form)
    try:
        return redirect(changed(request, row, form))
    except Conflict:
        return change_conflict(request, key, form)


def changed(request: HttpRequest, row: DoseLimit, form: LimitForm) -> str:
    goes_to, was_approved = reverse("limit", args=[row.key]), bool(row.approved_on)
    with transaction.atomic():
        if earlier := claim(request.user, form.once, goes_to):
            return earlier
        reason = form.cleaned_data["reason"]
        change_limit(by=request.user, row=row, version=form.version, values=form.values(), reason=reason)
    lapsed = " Its approval has lapsed; it is not in force until it is approved again." if was_approved else ""
    messages.success(request, f"Changed: {row.drug_name}, “{row.profile}”.{lapsed}")
    return goes_to


def change_page(
    request: HttpRequest, row: DoseLimit, form: LimitForm, *, status: int = 200, **more: Any
) -> HttpResponse:
    return render(request, "dosing/limit_form.html", {"row": row, "form": form, **more}, status=status)


def change_conflict(request: HttpRequest, key: str, form: LimitForm) -> HttpResponse:
    """The stored values beside the typed ones; or the name was taken by another row meanwhile."""
    row = own_limit(request, key)
    if row.version == form.version:
        form.add_error("profile", name_taken(form.cleaned_data["profile"], row))
        return change_page(request, row, form)
    shown = {
        "differences": differences(form, stored_values(row)),
        "last_change": row.history.select_related("history_user").first(),
    }
    form.catch_up(row.version)
    return change_page(request, row, form, status=409, **shown)
