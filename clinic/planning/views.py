"""Settings of following up: schedules with a preview of what would move, the ladder of tries, how patients are told."""

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access.decorators import allowed, require_methods
from clinic.access.forms import differences
from clinic.access.models import Conflict
from clinic.access.rules import Action
from clinic.patients.changes import newest_first, steps_of
from clinic.planning.forms import FollowUpForm, TemplateForm, stored_values
from clinic.planning.models import FollowUp, follow_up_of
from clinic.planning.recording import change_template, changed, moved_by
from clinic.schedule import COMMON, in_force
from clinic.vocabulary.procedure import Technique
from clinic.vocabulary.sites import site_name

LABELS = {
    "phone": "phone number for patients", "out_of_hours": "when closed", "sender": "name in messages",
    "sends_email": "e-mail", "tries": "calls before closing", "close_after_days": "closing from day",
    "link_days": "days of a link", "ladder": "tries", "templates": "schedules",
}  # fmt: skip
NAMES = {COMMON: "All other techniques", **{term.value: term.label for term in Technique}}


@require_methods("GET", "POST")
@allowed(Action.SET_AUDIT)
def follow_up(request: HttpRequest) -> HttpResponse:
    stored = follow_up_of(request.user.practice)
    form = FollowUpForm(request.POST if request.method == "POST" else None, stored=stored)
    if form.is_valid():
        try:
            save_settings(request, form)
        except Conflict:
            return settings_conflict(request, form)
        messages.success(request, "The settings of following up are saved.")
        return redirect("follow-up")
    return follow_up_page(request, form)


@transaction.atomic
def save_settings(request: HttpRequest, form: FollowUpForm) -> None:
    row, _ = FollowUp.objects.select_for_update().get_or_create(practice=request.user.practice)
    form.put_into(row)
    row.save_version(by=request.user, reason=form.cleaned_data["reason"])


def settings_conflict(request: HttpRequest, form: FollowUpForm) -> HttpResponse:
    row = FollowUp.objects.get(practice=request.user.practice)
    found = differences(form, stored_values(row))
    form.catch_up(row.version)
    last = row.history.select_related("history_user").first()
    return follow_up_page(request, form, differences=found, last_change=last, status=409)


def follow_up_page(request: HttpRequest, form: FollowUpForm, *, status: int = 200, **more: Any) -> HttpResponse:
    row = follow_up_of(request.user.practice)
    own = {code: rows for code, rows in row.templates.items() if code in NAMES}
    listed = [(COMMON, NAMES[COMMON], in_force(row.templates, COMMON))]
    listed += [(code, NAMES[code], in_force(row.templates, code)) for code in NAMES if code in own and code != COMMON]
    history = row.history.select_related("history_user").order_by("-history_id")[:20] if row.pk else []
    shown = {
        "form": form,
        "schedules": listed,
        "without": [(code, name) for code, name in NAMES.items() if code not in own and code != COMMON],
        "steps": newest_first(steps_of(history, {name: LABELS[name] for name in LABELS if name not in UNREADABLE})),
        **more,
    }
    return render(request, "planning/follow_up.html", shown, status=status)


UNREADABLE = {"ladder", "templates"}  # shown as they stand, not as stored lists


# --- one schedule

SAVES, SAVES_REMOVAL = ("save", "save_and_move"), ("remove_now", "remove_and_move")
REMOVAL = "removal"  # what was previewed, where a schedule is taken away


@require_methods("GET", "POST")
@allowed(Action.SET_AUDIT)
def schedule(request: HttpRequest, technique: str) -> HttpResponse:
    if technique not in NAMES:
        raise Http404
    row = follow_up_of(request.user.practice)
    shown = in_force(row.templates, technique)
    if request.method == "GET":
        return schedule_page(request, technique, TemplateForm(shown=shown, version=row.version))
    form = TemplateForm(request.POST, shown=shown, version=row.version)
    do = request.POST.get("do")
    taking_away = do in {"remove", *SAVES_REMOVAL} and technique in row.templates
    if not form.is_valid() and not (taking_away and not form.errors.keys() - {"__all__"} and form.cleaned_data):
        return schedule_page(request, technique, form)
    wanted = None if taking_away else form.schedule
    read = form.cleaned_data.get("previewed") == REMOVAL if taking_away else form.was_previewed
    if do in (SAVES_REMOVAL if taking_away else SAVES) and read:
        return saved(request, technique, form, wanted)
    templates = changed(row.templates, technique, wanted)
    moved = moved_by(request.user.practice, row, templates, today=timezone.localdate())
    return schedule_page(request, technique, form, preview=preview_of(moved), removes=taking_away)


def saved(request: HttpRequest, technique: str, form: TemplateForm, wanted: Any) -> HttpResponse:
    now = timezone.localtime()
    try:
        count = change_template(
            by=request.user, version=form.version, technique=technique, schedule=wanted,
            moving=request.POST.get("do", "").endswith("_and_move"), reason=form.cleaned_data["reason"], now=now,
            today=now.date(),
        )  # fmt: skip
    except Conflict:
        row = FollowUp.objects.get(practice=request.user.practice)
        form.catch_up(row.version)
        last = row.history.select_related("history_user").first()
        return schedule_page(request, technique, form, differences=[], last_change=last, status=409)
    moved = f" The plans of {count} operations moved with it." if count else ""
    messages.success(request, f"Schedule saved; it goes for operations signed from now on.{moved}")
    return redirect("follow-up")


def schedule_page(
    request: HttpRequest, technique: str, form: TemplateForm, *, preview: Any = None, removes: bool = False,
    status: int = 200, **more: Any,
) -> HttpResponse:  # fmt: skip
    has_own = technique in follow_up_of(request.user.practice).templates
    if preview is not None:
        form.data = form.data.copy()
        form.data["previewed"] = REMOVAL if removes else form.stamp
    shown = {
        "form": form, "technique": technique, "name": NAMES[technique], "has_own": has_own,
        "is_common": technique == COMMON, "preview": preview, "removes": removes, **more,
    }  # fmt: skip
    return render(request, "planning/schedule.html", shown, status=status)


def preview_of(moved: list[Any]) -> dict[str, Any]:
    """What would move, as the page prints it."""
    lines = [
        {
            "nail": found.operation.nail_procedures.all()[0],
            "sites": [site_name(n.foot, n.toe, "both" if len(n.sides) > 1 else n.sides[0] if n.sides else "whole")
                      for n in found.operation.nail_procedures.all()],
            "performed_on": found.operation.performed_on,
            "moves": found.moves,
        }
        for found in moved
    ]  # fmt: skip
    return {"lines": lines, "reviews": sum(len(found.moves) for found in moved), "operations": len(moved)}
