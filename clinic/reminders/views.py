"""Messages: how they read, who approved that, what waits, and what a person has to decide."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from clinic.access.decorators import allowed, require_methods
from clinic.access.rules import Action, may
from clinic.planning.models import follow_up_of
from clinic.reminders.models import Message, TextApproval
from clinic.reminders.queueing import approval_of, due_of
from clinic.reminders.sending import Moved, drop, say_it_arrived, send_again
from clinic.reminders.texts import digest_of, written
from clinic.vocabulary.recall import MessageKind, MessageState

RECENT = 50
DECIDABLE = (MessageState.UNCLEAR, MessageState.FAILED, MessageState.QUEUED)


@require_methods("GET")
@allowed(Action.BOOK_REVIEW)
def message_list(request: HttpRequest) -> HttpResponse:
    practice, now = request.user.practice, timezone.localtime()
    settings = follow_up_of(practice)
    own = Message.objects.filter(operation__practice=practice).select_related(
        "operation__patient__identity", "settled_by"
    )
    due = due_of(practice, today=now.date(), now=now)
    shown = {
        "settings": settings,
        "texts": [(kind, written(kind, settings)) for kind in MessageKind],
        "approval": approval_of(practice, settings),
        "stamp": digest_of(settings),
        "due": due,
        "open": own.filter(state__in=DECIDABLE).order_by("state", "queued_at", "pk"),
        "recent": own.exclude(state__in=DECIDABLE).order_by("-queued_at", "-pk")[:RECENT],
        "may_approve": may(request.user.role, Action.SET_AUDIT),
    }
    return render(request, "reminders/messages.html", shown)


@require_methods("POST")
@allowed(Action.SET_AUDIT)
def message_approve(request: HttpRequest) -> HttpResponse:
    """The texts as this page showed them; if they have changed since, they are read again first."""
    settings = follow_up_of(request.user.practice)
    if not settings.phone:
        messages.error(request, "The messages tell patients whom to call: set the phone number first.")
    elif request.POST.get("stamp") != digest_of(settings):
        messages.error(request, "The messages have changed since you read them. Read them again, then approve.")
    elif approval_of(request.user.practice, settings) is None:
        row = TextApproval(practice=request.user.practice, digest=digest_of(settings), by=request.user)
        row.at = timezone.now()
        row.save()
        messages.success(request, "Approved as they read now. They are sent at the next run.")
    return redirect("messages")


@require_methods("POST")
@allowed(Action.BOOK_REVIEW)
def message_decide(request: HttpRequest, key: str) -> HttpResponse:
    own = Message.objects.filter(operation__practice_id=request.user.practice_id)
    row = get_object_or_404(own.select_related("operation__practice", "approved_by"), key=key)
    act: dict[str, Any] = {"by": request.user, "message": row, "now": timezone.now()}
    match request.POST.get("do"):
        case "arrived" if row.state == MessageState.UNCLEAR:
            done = arrived(**act)
        case "again" if row.state in {MessageState.UNCLEAR, MessageState.FAILED}:
            done = send_again(**act)
        case "drop" if row.state in DECIDABLE:
            done = drop(**act)
        case "arrived" | "again" | "drop":
            done = False
        case _:
            raise BadRequest("No such decision about a message.")
    if done:
        messages.success(request, "Decided.")
    else:
        messages.error(request, "Somebody decided about this message a moment ago, or it has left. Look again.")
    return redirect("messages")


def arrived(**act: Any) -> bool:
    try:
        say_it_arrived(**act)
    except Moved:
        return False
    return True
