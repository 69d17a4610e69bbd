"""Add a photograph to a toe, look at it, strike it out, delete it where consent is withdrawn."""

import logging
from datetime import datetime
from typing import Any

from csp.decorators import csp_update
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.answers import MOVED_ON, StrikeForm
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action, may
from clinic.access.striking import may_strike, strike_out
from clinic.access.uploads import claim_upload
from clinic.photographs import storage
from clinic.photographs.cleaning import PREVIEW_TYPE
from clinic.photographs.forms import DeleteForm, PhotographForm
from clinic.photographs.models import Photograph
from clinic.photographs.reading import history_of, shown
from clinic.photographs.recording import add_photograph, withdraw_consent
from clinic.procedures.models import NailProcedure, Operation
from clinic.vocabulary.sites import capital, toe_name

logger = logging.getLogger("clinic.photographs")
NOT_KEPT = "The picture could not be written to the disk, so nothing was saved. Tell your administrator."
FILE_NAMES = {"image/jpeg": "photograph.jpg", "image/png": "photograph.png"}


# --- adding


def own_nail(request: HttpRequest, key: str) -> NailProcedure:
    standing = NailProcedure.objects.filter(operation__in=Operation.objects.visible_to(request.user).standing())
    return get_object_or_404(standing.select_related("operation__patient__identity"), key=key)


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def photograph_add(request: HttpRequest, key: str) -> HttpResponse:
    nail = own_nail(request, key)
    reviews = nail.operation.reviews.filter(struck_at__isnull=True)
    about = {"nail": nail, "member": request.user, "reviews": list(reviews), "today": timezone.localdate()}
    if request.method == "GET":
        return add_page(request, nail, PhotographForm(**about))
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    may_send = not request.FILES or claim_upload(request.user, timezone.now())
    form = PhotographForm(request.POST, request.FILES, may_send=may_send, **about)
    if form.is_valid():
        try:
            return redirect(added(request, nail, form, timezone.localtime()))
        except Conflict:
            raise Http404 from None  # the operation was struck out a moment ago
        except OSError as fault:
            logger.exception("photograph not written", extra={"fields": {"errno": fault.errno}})
            form.add_error(None, NOT_KEPT)
    elif earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)  # invalid by the success of the same form a moment ago
    return add_page(request, nail, form, status=200 if may_send else 429)


def added(request: HttpRequest, nail: NailProcedure, form: PhotographForm, now: datetime) -> str:
    """Keep it, or find the one that the same form made before; gives the address to go to."""
    goes_to = reverse("toe", args=[nail.key])
    with storage.gone_unless_successful() as write, transaction.atomic():
        if earlier := claim(request.user, form.once, goes_to):
            return earlier
        add_photograph(
            by=request.user,
            nail=nail,
            picture=form.cleaned_data["picture"],
            answers=form.values(),
            now=now,
            write=write,
            reason=form.reason,
        )
    who, toe = nail.operation.patient.identity.spoken_name, toe_name(nail.foot, nail.toe)
    messages.success(request, f"Photograph saved {now:%H:%M} for {who}, {toe}.")
    return goes_to


def add_page(request: HttpRequest, nail: NailProcedure, form: PhotographForm, *, status: int = 200) -> HttpResponse:
    return render(request, "photographs/add.html", {**about_toe(nail), "form": form}, status=status)


def about_toe(nail: NailProcedure) -> dict[str, Any]:
    """Who the page is about, and which toe."""
    operation = nail.operation
    site = capital(toe_name(nail.foot, nail.toe))
    return {"nail": nail, "operation": operation, "identity": operation.patient.identity, "site": site}


# --- looking


def own_photograph(request: HttpRequest, key: str) -> Photograph:
    visible = Photograph.objects.visible_to(request.user).select_related(
        "nail_procedure__operation__patient__identity", "review", "added_by", "withdrawn_by"
    )
    return get_object_or_404(visible, key=key)


@require_methods("GET")
@allowed(Action.READ_RECORD)
def photograph(request: HttpRequest, key: str) -> HttpResponse:
    row = own_photograph(request, key)
    may_change = may(request.user.role, Action.RECORD_REVIEW)
    more = {
        "photograph": shown(row),
        "steps": history_of(row),
        "end_form": StrikeForm(version=row.version),
        "may_strike": may_change and may_strike(request.user, row.added_by_id) and not row.struck_at,
        "may_delete": may_change and row.has_file,
    }
    return render(request, "photographs/photograph.html", {**about_toe(row.nail_procedure), **more})


@require_methods("GET")
@allowed(Action.READ_RECORD)
@csp_update({"sandbox": True})
def photograph_file(request: HttpRequest, key: str, size: str) -> HttpResponse:
    """The picture itself, full or as a preview, to whoever may read the record; there is no other way to it."""
    if size not in storage.SIZES:
        raise Http404
    row = own_photograph(request, key)
    if not row.has_file:
        raise Http404
    try:
        data = storage.read(row.file_name, size)
    except FileNotFoundError:
        logger.exception("file of a photograph is missing", extra={"fields": {"photograph": row.key}})
        raise Http404 from None
    media_type = row.media_type if size == storage.FULL else PREVIEW_TYPE
    response = HttpResponse(data, content_type=media_type)
    response["Content-Disposition"] = f'inline; filename="{FILE_NAMES[media_type]}"'
    response["X-Content-Type-Options"] = "nosniff"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    return response


# --- taking back


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def photograph_strike(request: HttpRequest, key: str) -> HttpResponse:
    row = own_photograph(request, key)
    form = StrikeForm(request.POST, version=row.version)

    def act(reason: str) -> None:
        row.strike(by=request.user, now=timezone.now(), reason=reason, version=form.version)

    about = {"what": "photograph", "author_id": row.added_by_id, "wrote": "added"}
    strike_out(request, row, form, act, stays="Its line stays, marked, without the picture.", **about)
    return redirect("photograph", row.key)


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def photograph_withdraw(request: HttpRequest, key: str) -> HttpResponse:
    """Delete the picture for good: consent was withdrawn, or never given."""
    row = own_photograph(request, key)
    if not row.has_file:
        return redirect("photograph", row.key)
    form = DeleteForm(request.POST if request.method == "POST" else None, version=row.version)
    status = 200
    if form.is_valid():
        try:
            answers = {"version": form.version, "reason": form.cleaned_data["reason"]}
            withdraw_consent(by=request.user, photograph=row, now=timezone.now(), **answers)
        except Conflict:
            row, status = own_photograph(request, key), 409
            form.add_error(None, MOVED_ON)
            form.catch_up(row.version)
        except OSError as fault:
            logger.exception("photograph not deleted", extra={"fields": {"photograph": row.key, "errno": fault.errno}})
            messages.error(request, "Nobody is shown the picture now, but its file could not be deleted. "
                           "Tell your administrator to run check_photographs.")  # fmt: skip
            return redirect("photograph", row.key)
        else:
            messages.success(request, "Picture deleted. Its line stays and says so.")
            return redirect("toe", row.nail_procedure.key)
    shown_here = {**about_toe(row.nail_procedure), "photograph": shown(row), "form": form}
    return render(request, "photographs/withdraw.html", shown_here, status=status)
