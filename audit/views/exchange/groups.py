"""Open a peer group, invite practices into it, join one, close it."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from audit.measures.definitions import TWELVE_MONTHS, VERSION, Outcome, Unit
from audit.peer_forms import GroupForm, JoinForm
from audit.peers.groups import NotJoined, Place, close_group, invite, join, leave, open_group
from audit.peers.models import PeerSet, Refusal, Topic
from audit.views.exchange.shared import MOVED_ON, own_place, run_place
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action


@require_methods("GET", "POST")
@allowed(Action.RUN_GROUP)
def group_new(request: HttpRequest) -> HttpResponse:
    form = GroupForm(request.POST if request.method == "POST" else None)
    if again := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(again)
    if form.is_valid():
        answers = {name: form.cleaned_data[name] for name in ("name", "outcome", "unit", "audit_year")}
        answers |= {"definitions": VERSION, "window": f"{TWELVE_MONTHS.opens_day} to {TWELVE_MONTHS.closes_day}"}
        with transaction.atomic():
            row = open_group(by=request.user, answers=answers, now=timezone.now())
            if again := claim(request.user, form.once, reverse("group", args=[row.key])):
                transaction.set_rollback(True)
                return redirect(again)
        messages.success(request, f"Group opened. Its code is {row.code}.")
        return redirect("group", row.key)
    return render(request, "exchange/group_form.html", {"form": form, "definitions": VERSION})


@require_methods("GET", "POST")
@allowed(Action.HAND_IN)
def group_join(request: HttpRequest) -> HttpResponse:
    form = JoinForm(request.POST if request.method == "POST" else None)
    if again := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(again)
    if form.is_valid():
        try:
            with transaction.atomic():
                row = join(by=request.user, token=form.cleaned_data["token"].strip(), now=timezone.now())
                claim(request.user, form.once, reverse("group", args=[row.group.key]))
        except NotJoined as reason:
            form.add_error("token", str(reason))
        else:
            messages.success(request, f"This practice is in the group. Its code there is {row.code}.")
            return redirect("group", row.group.key)
    return render(request, "exchange/join.html", {"form": form})


@require_methods("GET")
@allowed(Action.READ_POOLED)
def group(request: HttpRequest, key: str) -> HttpResponse:
    return group_page(request, own_place(request, key))


def group_page(request: HttpRequest, place: Place, *, token: str = "", status: int = 200) -> HttpResponse:
    """What the member may see: who runs it sees every code and set, a practice its own."""
    row = place.group
    now = timezone.now()
    joined = row.memberships.filter(practice__isnull=False)
    sets = PeerSet.objects.filter(membership__group=row).select_related("membership").defer("file")
    topics = Topic.objects.filter(membership__group=row).select_related("membership")
    refusals = Refusal.objects.filter(group=row).select_related("membership")
    if not place.runs:
        sets, topics = sets.filter(membership=place.membership), topics.filter(membership=place.membership)
        refusals = refusals.filter(membership=place.membership)
    shown = {
        "place": place,
        "group": row,
        "outcome": Outcome(row.outcome),
        "unit": Unit(row.unit),
        "joined": list(joined.order_by("code")) if place.runs else [],
        "practices": joined.filter(left_at__isnull=True).count(),
        "waiting": row.memberships.filter(practice__isnull=True, expires_at__gt=now).count(),
        "sets": list(sets.order_by("membership__code", "received_at")),
        "topics": list(topics.order_by("-opened_at")),
        "refusals": list(refusals.order_by("-at")[:20]),
        "token": token,
    }
    return render(request, "exchange/group.html", shown, status=status)


@require_methods("POST")
@allowed(Action.RUN_GROUP)
def group_invite(request: HttpRequest, key: str) -> HttpResponse:
    """The invitation stands in this one answer and is kept nowhere."""
    place = run_place(request, key)
    try:
        token = invite(by=request.user, group=place.group, now=timezone.now())
    except Conflict:
        messages.error(request, "The group is closed, or has too many open invitations.")
        return redirect("group", place.group.key)
    return group_page(request, place, token=token)


@require_methods("POST")
@allowed(Action.RUN_GROUP)
def group_close(request: HttpRequest, key: str) -> HttpResponse:
    place = run_place(request, key)
    if not place.group.closed_at:
        try:
            close_group(by=request.user, group=place.group, version=version_of(request), now=timezone.now())
            messages.success(request, "The group is closed. What is in it can still be read.")
        except Conflict:
            messages.error(request, MOVED_ON)
    return redirect("group", place.group.key)


@require_methods("POST")
@allowed(Action.HAND_IN)
def group_leave(request: HttpRequest, key: str) -> HttpResponse:
    place = own_place(request, key)
    if place.membership is None:
        return redirect("group", place.group.key)
    try:
        leave(by=request.user, membership=place.membership, version=version_of(request), now=timezone.now())
        messages.success(request, "This practice has left the group. Its sets are no longer in the pool.")
    except Conflict:
        messages.error(request, MOVED_ON)
    return redirect("exchange")


def version_of(request: HttpRequest) -> int:
    text = request.POST.get("version", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0
