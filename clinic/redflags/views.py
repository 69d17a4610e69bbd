"""The red flags of one operation: each shown with the form that says what was done, and the log of all."""

from typing import Any
from urllib.parse import urlencode

from django.apps import apps
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from clinic.access.answers import MOVED_ON
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.rules import Action
from clinic.redflags.forms import AnswerForm
from clinic.redflags.models import RedFlag
from clinic.redflags.raising import answer_flag, note_seen
from clinic.redflags.reading import standing_of


def own_operation(request: HttpRequest, key: str) -> Any:
    """An operation of the member's practice; its slice lies above, so it is reached by name."""
    visible = apps.get_model("clinic", "Operation").objects.visible_to(request.user).standing()
    fetched = visible.select_related("patient__identity").prefetch_related("nail_procedures__treated_sides")
    return get_object_or_404(fetched, key=key)


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def red_flags(request: HttpRequest, key: str) -> HttpResponse:
    operation = own_operation(request, key)
    if request.method == "GET":
        return flags_page(request, operation)
    flag = get_object_or_404(RedFlag.objects.filter(operation=operation), key=request.POST.get("flag", ""))
    form = AnswerForm(request.POST, about=flag)
    if not flag.is_open:
        messages.info(request, "This flag is answered, or its entry was corrected.")
        return redirect(here(request, operation))
    if not form.is_valid():
        return flags_page(request, operation, asked=form)
    given = {name: form.cleaned_data[name] for name in ("action", "text")}
    try:
        answer_flag(by=request.user, flag=flag, version=form.version, now=timezone.now(), **given)
    except Conflict:
        messages.error(request, MOVED_ON)
        return redirect(here(request, operation))
    messages.success(request, f"Written down: {flag.get_action_display().lower()}.")
    left = standing_of(operation).red
    return redirect(here(request, operation) if left else onward(request, operation))


def flags_page(request: HttpRequest, operation: Any, *, asked: AnswerForm | None = None) -> HttpResponse:
    """asked: a form that was answered incompletely."""
    standing = standing_of(operation)
    note_seen(standing.still_open, by=request.user, now=timezone.now())
    forms = [asked if asked and asked.about.pk == flag.pk else AnswerForm(about=flag) for flag in standing.still_open]
    shown = {
        "operation": operation,
        "identity": operation.patient.identity,
        "age": operation.patient.identity.age_on(timezone.localdate()),
        "forms": forms,
        "asked": asked,
        "log": standing.log,
        "onward": onward(request, operation),
        "must_act": bool(standing.red),
        "next": safe_next(request),
    }
    return render(request, "redflags/flags.html", shown)


def safe_next(request: HttpRequest) -> str:
    """Where the page was on its way to, if that is one of our own."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    return wanted if wanted.startswith("/") and url_has_allowed_host_and_scheme(wanted, allowed_hosts=None) else ""


def onward(request: HttpRequest, operation: Any) -> str:
    return safe_next(request) or reverse("operation", args=[operation.key])


def here(request: HttpRequest, operation: Any) -> str:
    address, on_the_way = reverse("red-flags", args=[operation.key]), safe_next(request)
    return f"{address}?{urlencode({'next': on_the_way})}" if on_the_way else address
