"""The settings of the practice: an overview, and a page for each topic with its effect and its history."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from clinic.access.decorators import allowed, require_methods
from clinic.access.forms import differences
from clinic.access.models import Conflict
from clinic.access.rules import Action
from clinic.patients.changes import Step
from clinic.practice.acts import change_settings
from clinic.practice.forms import FORMS, TopicForm
from clinic.practice.topics import TOPICS, Topic, changes, history_of, versions_of, with_values

NOTHING_CHANGED = "Nothing is changed; the settings stay as they are"


@require_methods("GET")
@allowed(Action.SET_PRACTICE)
def overview(request: HttpRequest) -> HttpResponse:
    practice = request.user.practice
    versions = versions_of(practice)
    topics = [(each, each.in_short(practice), last_step(each, versions)) for each in TOPICS.values()]
    templates = practice.operation_templates.filter(offered=True).order_by("name")
    return render(request, "practice/overview.html", {"practice": practice, "topics": topics, "templates": templates})


def last_step(topic: Topic, versions: list[Any]) -> Step | None:
    return next(iter(history_of(topic, versions)), None)


@require_methods("GET", "POST")
@allowed(Action.SET_PRACTICE)
def topic(request: HttpRequest, code: str) -> HttpResponse:
    if code not in TOPICS:
        raise Http404(code)
    found, practice = TOPICS[code], request.user.practice
    kind = FORMS[code]
    form = kind(
        request.POST if request.method == "POST" else None,
        initial=kind.answers_of(practice),
        version=practice.version,
    )
    if not form.is_valid():
        return topic_page(request, found, form)
    if not changes(found, practice, with_values(practice, form.values())):
        form.add_error(None, NOTHING_CHANGED)
        return topic_page(request, found, form)
    if not form.is_settled():
        return effect_page(request, found, form)
    try:
        change_settings(by=request.user, version=form.version, values=form.values(), reason=form.cleaned_data["reason"])
    except Conflict:
        return conflict_page(request, found, form)
    messages.success(request, f"Saved: {found.title}. The earlier values are kept below.")
    return redirect("settings-topic", code)


def effect_page(request: HttpRequest, topic: Topic, form: TopicForm, *, status: int = 200, **more: Any) -> HttpResponse:
    """What the typed answers would change, with the question why."""
    practice = request.user.practice
    after = with_values(practice, form.values())
    form.show_effect()
    shown = {"lines": changes(topic, practice, after), "effect": topic.effect(practice, after), **more}
    return topic_page(request, topic, form, status=status, **shown)


def conflict_page(request: HttpRequest, topic: Topic, form: TopicForm) -> HttpResponse:
    """Somebody else saved first: both versions side by side, and what was typed stays in the form."""
    practice = request.user.practice
    practice.refresh_from_db()
    last = last_step(topic, versions_of(practice))
    told = {
        "differences": differences(form, type(form).answers_of(practice)),
        "last_change": {"history_user": last.by, "history_date": last.at} if last else {},
    }
    form.catch_up(practice.version)
    return effect_page(request, topic, form, status=409, **told)


def topic_page(request: HttpRequest, topic: Topic, form: TopicForm, *, status: int = 200, **more: Any) -> HttpResponse:
    practice = request.user.practice
    steps = history_of(topic, versions_of(practice))
    shown = {"topic": topic, "form": form, "practice": practice, "steps": steps, "words": topic.words(practice)}
    return render(request, "practice/topic.html", {**shown, **more}, status=status)
