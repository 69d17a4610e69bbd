"""Questions of the reviewer to one practice, and its answers."""

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from audit.peer_forms import RemarkForm, TopicForm
from audit.peers.groups import Place, groups_of, place_of
from audit.peers.models import Topic, TopicState
from audit.peers.threads import add_remark, open_topic
from audit.views.exchange.shared import MOVED_ON, run_place
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action


@require_methods("GET", "POST")
@allowed(Action.RUN_GROUP)
def topic_new(request: HttpRequest, key: str) -> HttpResponse:
    place = run_place(request, key)
    joined = list(place.group.memberships.filter(practice__isnull=False, left_at__isnull=True).order_by("code"))
    form = TopicForm(request.POST if request.method == "POST" else None, memberships=joined)
    if again := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(again)
    if form.is_valid():
        answers = form.cleaned_data
        with transaction.atomic():
            row = open_topic(by=request.user, membership=form.memberships[answers["membership"]],
                             title=answers["title"], text=answers["text"], now=timezone.now())  # fmt: skip
            if again := claim(request.user, form.once, reverse("topic", args=[row.key])):
                transaction.set_rollback(True)
                return redirect(again)
        messages.success(request, f"Asked. Practice {row.membership.code} finds it in the group.")
        return redirect("topic", row.key)
    return render(request, "exchange/topic_form.html", {"place": place, "form": form})


def own_topic(request: HttpRequest, key: str) -> tuple[Place, Topic]:
    rows = Topic.objects.filter(membership__group__in=groups_of(request.user)).select_related("membership__group")
    row = get_object_or_404(rows, key=key)
    place = place_of(request.user, row.membership.group)
    if not place.runs and row.membership_id != getattr(place.membership, "pk", None):
        raise Http404
    return place, row


@require_methods("GET", "POST")
@allowed(Action.READ_POOLED)
def topic(request: HttpRequest, key: str) -> HttpResponse:
    place, row = own_topic(request, key)
    form = RemarkForm(request.POST if request.method == "POST" else None, version=row.version)
    if again := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(again)
    status = 200
    if form.is_valid():
        try:
            return said(request, place, row, form)
        except Conflict:
            messages.error(request, MOVED_ON)
            row.refresh_from_db()
            form.catch_up(row.version)
            status = 409
    shown = {"place": place, "topic": row, "form": form, "remarks": list(row.remarks.all()),
             "is_practice": is_practice(place, row), "settled": row.state == TopicState.SETTLED}  # fmt: skip
    return render(request, "exchange/topic.html", shown, status=status)


def is_practice(place: Place, row: Topic) -> bool:
    """Whether the member answers for the practice that is asked; who runs the group and asks itself answers, too."""
    return place.membership is not None and row.membership_id == place.membership.pk


def said(request: HttpRequest, place: Place, row: Topic, form: RemarkForm) -> HttpResponse:
    settles = place.runs and request.POST.get("do") == "settle"
    answers = is_practice(place, row) and not settles
    with transaction.atomic():
        if again := claim(request.user, form.once, reverse("topic", args=[row.key])):
            return redirect(again)
        add_remark(by=request.user, topic=row, version=form.version, text=form.cleaned_data["text"],
                   from_practice=answers, settled=settles, now=timezone.now())  # fmt: skip
    messages.success(request, "Settled." if settles else "Sent.")
    return redirect("topic", row.key)
