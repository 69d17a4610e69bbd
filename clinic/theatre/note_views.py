"""The signature, the co-signature, and the note on screen and on paper."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from clinic.access.answers import typed_version
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.rules import Action
from clinic.planning.recording import planned_words, sign_and_plan
from clinic.procedures.clearance import clearance_of
from clinic.procedures.models import Amendment
from clinic.procedures.signing import NotReady, NotTheirs, cosign, seen_by_lead, tourniquet_left
from clinic.theatre import acts
from clinic.theatre.forms import SignForm
from clinic.theatre.views import own_operation, room_page, with_sum


@require_methods("GET", "POST")
@allowed(Action.RECORD_OPERATION)
def signing(request: HttpRequest, key: str) -> HttpResponse:
    operation = own_operation(request, key)
    clearance = clearance_of(operation)
    in_the_way = [*tourniquet_left(operation), *acts.obstacles(operation, clearance)]
    gaps = acts.gaps(operation, clearance)
    form = SignForm(request.POST if request.method == "POST" else None, gaps=gaps)
    if request.method == "POST" and form.is_valid():
        try:
            read = request.POST.get("stamp", "")
            operation.practice = request.user.practice  # the same row, with its schedules
            plan = sign_and_plan(
                by=request.user, operation=operation, version=typed_version(request), now=timezone.localtime(),
                obstacles=in_the_way, still_as_read=lambda: acts.stamp_of(operation) == read,
            )  # fmt: skip
        except NotTheirs:
            form.add_error(None, f"Only the operator, {operation.operator}, signs this operation")
        except NotReady as refusal:
            in_the_way = refusal.obstacles
        except Conflict:
            form.add_error(None, "Somebody changed this operation a moment ago. Read it again, then sign")
            operation = own_operation(request, key)
        else:
            words = f"Operation signed. From now on it changes only by amendments. {planned_words(plan)}"
            messages.success(request, words)
            return redirect("operation-note", operation.key)
    stamp = acts.stamp_of(operation)
    shown = room_page(request, operation, clearance=clearance, form=form, obstacles=in_the_way, gaps=gaps, stamp=stamp)
    return render(request, "theatre/sign.html", with_sum(shown))


@require_methods("POST")
@allowed(Action.RECORD_OPERATION)
def cosigning(request: HttpRequest, key: str) -> HttpResponse:
    operation = own_operation(request, key)
    try:
        cosign(by=request.user, operation=operation, now=timezone.now())
    except NotTheirs:
        messages.error(request, "Only the supervisor of this operation signs beside the operator.")
    except NotReady as refusal:
        messages.error(request, f"{refusal}.")
    else:
        messages.success(request, "Signed as supervisor.")
    return redirect("operation-note", operation.key)


@require_methods("POST")
@allowed(Action.SET_AUDIT)
def amendment_seen(request: HttpRequest, key: str, number: int) -> HttpResponse:
    """The lead has read that a site was changed after signing."""
    visible = Amendment.objects.filter(operation__practice_id=request.user.practice_id)
    row = get_object_or_404(visible.select_related("operation"), operation__key=key, number=number)
    seen_by_lead(by=request.user, amendment=row, now=timezone.now())
    messages.success(request, "Marked as read.")
    return redirect("operation", row.operation.key)


@require_methods("GET")
@allowed(Action.READ_RECORD)
def note(request: HttpRequest, key: str) -> HttpResponse:
    """The operation note on one page, to read and to print."""
    return render(request, "theatre/note.html", note_page(request, key))


def note_page(request: HttpRequest, key: str) -> dict[str, Any]:
    operation = own_operation(request, key)
    clearance = clearance_of(operation)
    return room_page(request, operation, clearance=clearance, printed_at=timezone.localtime(), may_cosign=(
        operation.awaits_cosignature and operation.supervisor_id == request.user.pk
    ))  # fmt: skip


@require_methods("GET")
@allowed(Action.READ_RECORD)
def note_pdf(request: HttpRequest, key: str) -> HttpResponse:
    from clinic.theatre.paper import NoPaper, pdf_of

    shown = note_page(request, key)
    try:
        response = HttpResponse(pdf_of(request, "theatre/note_paper.html", shown), content_type="application/pdf")
    except NoPaper:
        messages.error(request, "This server cannot make PDFs: Pango is missing. Print the page instead.")
        return redirect("operation-note", key)
    response["Content-Disposition"] = 'inline; filename="operation-note.pdf"'
    return response
