"""Templates of operations: the list, a new one, a change with its effect and its history."""

from itertools import pairwise
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from clinic.access.decorators import allowed, require_methods
from clinic.access.forms import differences
from clinic.access.models import Conflict
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action
from clinic.patients.changes import Line, Step
from clinic.practice.acts import add_template, change_template
from clinic.practice.effect import counted
from clinic.practice.models import OperationTemplate
from clinic.practice.template_form import NewTemplateForm, TemplateForm, answers_of, name_taken, words_of
from clinic.practice.topics import with_values
from clinic.practice.views import NOTHING_CHANGED


@require_methods("GET")
@allowed(Action.SET_PRACTICE)
def templates(request: HttpRequest) -> HttpResponse:
    rows = OperationTemplate.objects.visible_to(request.user).order_by("-offered", "name")
    rows = rows.annotate(used=Count("operations"))
    listed = [(row, [(label, value) for label, value in words_of(row).items() if value][1:-1]) for row in rows]
    return render(request, "practice/templates.html", {"rows": listed})


# --- a new one


@require_methods("GET", "POST")
@allowed(Action.SET_PRACTICE)
def template_new(request: HttpRequest) -> HttpResponse:
    practice = request.user.practice
    form = NewTemplateForm(request.POST if request.method == "POST" else None, practice=practice,
                           initial={"offered": "yes"})  # fmt: skip
    valid = form.is_valid()
    # Looked up after validating: the name of a form sent twice is taken by its own first success.
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    if not valid:
        return template_page(request, form)
    row = OperationTemplate(practice=practice, **form.values())
    if not form.is_settled():
        return effect_page(request, form, None, row)
    try:
        return redirect(added(request, row, form))
    except Conflict:
        form.add_error("name", name_taken(row.name))
        return template_page(request, form)


def added(request: HttpRequest, row: OperationTemplate, form: NewTemplateForm) -> str:
    goes_to = reverse("operation-templates")
    with transaction.atomic():
        if earlier := claim(request.user, form.once, goes_to):
            return earlier
        add_template(by=request.user, row=row, reason=form.cleaned_data["reason"])
    messages.success(request, f"Added: {row.name}.")
    return goes_to


# --- a change


@require_methods("GET", "POST")
@allowed(Action.SET_PRACTICE)
def template_change(request: HttpRequest, key: str) -> HttpResponse:
    row = own_template(request, key)
    form = TemplateForm(request.POST if request.method == "POST" else None, practice=request.user.practice, row=row,
                        initial=answers_of(row))  # fmt: skip
    if not form.is_valid():
        return template_page(request, form, row)
    after = with_values(row, form.values())
    if not changes(row, after):
        form.add_error(None, NOTHING_CHANGED)
        return template_page(request, form, row)
    if not form.is_settled():
        return effect_page(request, form, row, after)
    reason = form.cleaned_data["reason"]
    try:
        change_template(by=request.user, row=after, version=form.version, values=form.values(), reason=reason)
    except Conflict:
        return conflict_page(request, key, form)
    messages.success(request, f"Changed: {after.name}. The earlier values are kept below.")
    return redirect("operation-template", key)


def own_template(request: HttpRequest, key: str) -> OperationTemplate:
    visible = OperationTemplate.objects.visible_to(request.user)
    return get_object_or_404(visible.annotate(used=Count("operations")), key=key)


def conflict_page(request: HttpRequest, key: str, form: TemplateForm) -> HttpResponse:
    """The stored values beside the typed ones; or the name was taken by another template meanwhile."""
    row = own_template(request, key)
    if row.version == form.version:
        form.add_error("name", name_taken(form.cleaned_data["name"]))
        return template_page(request, form, row)
    told = {
        "differences": differences(form, answers_of(row)),
        "last_change": row.history.select_related("history_user").first(),
    }
    form.catch_up(row.version)
    return effect_page(request, form, row, with_values(row, form.values()), status=409, **told)


# --- what the pages show


def changes(before: Any, after: Any) -> tuple[Line, ...]:
    """before: None for a template that is not there yet."""
    new = words_of(after)
    old = words_of(before) if before else dict.fromkeys(new, "")
    return tuple(Line(label, old[label], new[label]) for label in new if old[label] != new[label])


def effect_of(row: OperationTemplate | None, after: OperationTemplate) -> list[str]:
    said = []
    if after.offered:
        said.append("Whoever starts a new operation from it finds these answers filled in, marked, and open to change.")
    else:
        said.append("It is not offered at a new operation.")
    if row is not None and row.used:
        stay = "It stays as it is." if row.used == 1 else "They stay as they are."
        said.append(f"{counted(row.used, 'operation was', 'operations were')} started from it. {stay}")
    return said


def history_of(row: OperationTemplate) -> list[Step]:
    """Every version, newest first. One query."""
    versions = list(row.history.select_related("history_user").order_by("history_id"))
    return [
        Step(newer.history_date, str(newer.history_user or "unknown"), newer.history_change_reason or "",
             changes(older, newer))
        for older, newer in pairwise([None, *versions])
    ][::-1]  # fmt: skip


def effect_page(
    request: HttpRequest, form: TemplateForm, row: OperationTemplate | None, after: OperationTemplate, **more: Any
) -> HttpResponse:
    form.show_effect()
    shown = {"lines": changes(row, after), "effect": effect_of(row, after)}
    return template_page(request, form, row, **shown, **more)


def template_page(
    request: HttpRequest, form: TemplateForm, row: OperationTemplate | None = None, *, status: int = 200, **more: Any
) -> HttpResponse:
    shown = {"form": form, "row": row, "steps": history_of(row) if row else [], **more}
    return render(request, "practice/template_form.html", shown, status=status)
