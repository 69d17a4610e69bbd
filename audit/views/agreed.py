"""Steps 4 and 5 of the yearly audit: the standards with their verdicts, and the actions."""

import json
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from audit import cycle
from audit.cycle import SignedYear
from audit.measures.standards import Direction, Standard
from audit.models import Action, PracticeStandard
from audit.views.desk import Desk, desk_of, has_moved_on, page, step_page
from audit.views.numbers import with_parts
from audit.workspace_forms import PERCENT, ActionForm, CloseForm, NoActionForm, ReadForm, StandardForm
from clinic.access.decorators import allowed, require_methods
from clinic.access.forms import differences
from clinic.access.models import Conflict
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action as Right

MOVED_ON = "Somebody else changed this meanwhile. Nothing was saved; look at it again."


@require_methods("GET", "POST")
@allowed(Right.SET_AUDIT)
@step_page("standard")
def standard(request: HttpRequest, desk: Desk) -> HttpResponse:
    """Each criterion with result, target, verdict by rule, and last year's beside it."""
    from audit.report.benchmarks import beside_published
    from audit.report.criteria_table import beside

    row = desk.year
    form = ReadForm(request.POST if request.method == "POST" else None, version=row.version)
    digest = cycle.digest_of_standards(desk.standards)
    if request.method == "POST" and has_moved_on(request, digest):
        messages.error(
            request, "A standard was changed since this page was shown. Nothing was confirmed; read it again."
        )
        return redirect("audit-standard", desk.starting_year)
    if request.method == "POST" and form.is_valid():
        values = {
            "standards_confirmed_by": request.user, "standards_confirmed_at": desk.now, "standards_digest": digest,
        }  # fmt: skip
        try:
            cycle.change_year(
                by=request.user, year=row, version=form.version, values=values, reason="Standards confirmed"
            )
        except (Conflict, SignedYear):
            messages.error(request, MOVED_ON)
            return redirect("audit-standard", desk.starting_year)
        messages.success(request, "Confirmed: these are the standards of this audit.")
        return redirect("audit-actions", desk.starting_year)
    figures, last = desk.annual(), cycle.last_signed_before(row)
    before = json.loads(last.snapshot.body)["figures"] if last else None
    context = {
        "form": form,
        "seen": digest,
        "criteria": [with_parts(each, desk.question().query) for each in beside(figures["criteria"], before)],
        "last": last,
        "published": beside_published(figures["outcomes"]),
    }
    return page(request, "audit/step_standard.html", desk, "standard", **context)


@require_methods("GET", "POST")
@allowed(Right.SET_AUDIT)
@step_page("standard")
def standard_edit(request: HttpRequest, desk: Desk, code: str) -> HttpResponse:
    """A new version of one standard; audits that were signed keep theirs."""
    from audit.measures.criteria import BY_CODE

    criterion = BY_CODE.get(code)
    if criterion is None:
        raise Http404
    current = next(each for each in desk.standards if each.code == code)
    form = StandardForm(
        request.POST if request.method == "POST" else None, counts=criterion.counts, version=current.version,
        initial=_values(current, criterion.counts),
    )  # fmt: skip
    row = PracticeStandard.objects.visible_to(request.user).filter(code=code).first()
    context = {
        "criterion": criterion,
        "form": form,
        "history": row.history.select_related("history_user") if row else [],
    }
    if request.method == "GET" or not form.is_valid():
        return page(
            request, "audit/standard_edit.html", desk, "standard", status=400 if form.is_bound else 200, **context
        )
    try:
        cycle.set_standard(
            by=request.user, code=code, version=form.version, direction=Direction(form.cleaned_data["direction"]),
            target=form.stored_target, source=form.cleaned_data["source"], reason=form.cleaned_data["reason"],
        )  # fmt: skip
    except Conflict:
        fresh = desk_of(request, desk.starting_year)
        stored = next(each for each in fresh.standards if each.code == code)
        form.catch_up(stored.version)
        context |= {
            "differences": differences(form, _values(stored, criterion.counts)),
            "last_change": row.history.select_related("history_user").first() if row else None,
        }
        return page(request, "audit/standard_edit.html", fresh, "standard", status=409, **context)
    messages.success(request, f"Standard {code} changed. Audits that were signed keep theirs.")
    return redirect("audit-standard", desk.starting_year)


def _values(standard: Standard, counts: bool) -> dict[str, Any]:
    target = standard.target
    if target is not None and not counts:
        target = float(round(target * float(PERCENT), 4))
    said = "" if target is None else f"{target:g}"
    return {"direction": standard.direction.value, "target": said, "source": standard.source}


@require_methods("GET", "POST")
@allowed(Right.SET_AUDIT)
@step_page("actions")
def actions(request: HttpRequest, desk: Desk) -> HttpResponse:
    """What was agreed, what of earlier years is still open, and what came of it."""
    today = timezone.localdate()
    form = ActionForm(request.POST if request.method == "POST" else None, practice=desk.practice, today=today)
    valid = form.is_valid()
    if request.method == "POST" and (earlier := first_or_result(request.user, request.POST.get("once", ""))):
        return redirect(earlier)
    if valid:
        goes_to = reverse("audit-actions", args=[desk.starting_year])
        with transaction.atomic():
            if earlier := claim(request.user, form.once, goes_to):
                return redirect(earlier)
            cycle.agree_action(by=request.user, year=desk.year, values=form.values(), now=desk.now)
        messages.success(request, "Action agreed.")
        return redirect(goes_to)
    return _actions_page(request, desk, form=form, status=400 if form.is_bound else 200)


def _actions_page(request: HttpRequest, desk: Desk, *, status: int = 200, **more: Any) -> HttpResponse:
    today = timezone.localdate()
    context = {
        "form": ActionForm(practice=desk.practice, today=today),
        "none_form": NoActionForm(version=desk.year.version, initial={"reason": desk.year.no_action_reason}),
        "compared": compared(desk),
        "today": today,
        **more,
    }
    return page(request, "audit/step_actions.html", desk, "actions", status=status, **context)


def compared(desk: Desk) -> list[dict[str, Any]]:
    """Actions carried over, each with its criterion's result then and now."""
    figures, last = desk.annual(), cycle.last_signed_before(desk.year)
    now = {row["code"]: row for row in figures["criteria"]}
    then = {row["code"]: row for row in json.loads(last.snapshot.body)["figures"]["criteria"]} if last else {}
    return [
        {"action": action, "then": then.get(action.criterion), "now": now.get(action.criterion)}
        for action in desk.carried
    ]


@require_methods("POST")
@allowed(Right.SET_AUDIT)
@step_page("actions")
def no_action(request: HttpRequest, desk: Desk) -> HttpResponse:
    form = NoActionForm(request.POST, version=desk.year.version)
    if not form.is_valid():
        return _actions_page(request, desk, none_form=form, status=400)
    values = {"no_action_reason": form.cleaned_data["reason"]}
    try:
        cycle.change_year(by=request.user, year=desk.year, version=form.version, values=values, reason="No action")
    except (Conflict, SignedYear):
        fresh = desk_of(request, desk.starting_year)
        form.catch_up(fresh.year.version)
        form.add_error(None, MOVED_ON)
        return _actions_page(request, fresh, none_form=form, status=409)
    messages.success(request, "Kept: no action is needed, with the reason.")
    return redirect("audit-actions", desk.starting_year)


@require_methods("GET", "POST")
@allowed(Right.SET_AUDIT)
def action(request: HttpRequest, key: str) -> HttpResponse:
    """One action: what came of it, or until when it goes on."""
    own = Action.objects.filter(audit_year__practice_id=request.user.practice_id)
    row = get_object_or_404(own.select_related("who", "audit_year"), key=key)
    today = timezone.localdate()
    form = CloseForm(request.POST if request.method == "POST" else None, action=row, today=today)
    shown = {"action": row, "form": form, "history": row.history.select_related("history_user", "who")}
    if not form.is_valid():
        return render(request, "audit/action.html", shown, status=400 if form.is_bound else 200)
    try:
        cycle.change_action(
            by=request.user, action=row, version=form.version, values=form.values(today),
            reason=form.cleaned_data["outcome"] or "Goes on",
        )  # fmt: skip
    except Conflict:
        row = get_object_or_404(own.select_related("who", "audit_year"), key=key)
        form.catch_up(row.version)
        form.add_error(None, MOVED_ON)
        return render(request, "audit/action.html", {**shown, "action": row}, status=409)
    messages.success(request, "Kept what came of it.")
    return redirect("audit-action", key)
