"""Hand a set in, look at the answer, take the original out again, withdraw it."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from audit.exchange.problems import Refused
from audit.exchange.words import period_words
from audit.peer_forms import UploadForm, WithdrawForm
from audit.peers.exporting import take
from audit.peers.groups import Place, groups_of, place_of
from audit.peers.intake import AsksToReplace, note_refusal, receive, withdraw_set
from audit.peers.models import PeerSet, SetState, Taking
from audit.views.exchange.shared import MOVED_ON, download, own_place
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.requests import client_address
from clinic.access.rules import Action
from clinic.access.uploads import claim_upload


@require_methods("GET", "POST")
@allowed(Action.READ_POOLED)
def hand_in(request: HttpRequest, key: str) -> HttpResponse:
    """A practice hands in its own set; who runs the group may bring one that a practice sent by other ways."""
    place = own_place(request, key)
    if not place.runs and place.membership is None:
        raise Http404
    now = timezone.now()
    more = {"member": request.user, "address": client_address(request), "now": now}
    if request.method == "GET":
        return render(request, "exchange/hand_in.html", {"place": place, "form": UploadForm(None, **more)})
    may_send = not request.FILES or claim_upload(request.user, now)
    form = UploadForm(request.POST, request.FILES, may_send=may_send, **more)
    shown = {"place": place, "form": form}
    if form.is_valid():
        answer = answered(request, place, form)
        if isinstance(answer, HttpResponse):
            return answer
        shown |= answer
    return render(request, "exchange/hand_in.html", shown, status=200 if may_send else 429)


def answered(request: HttpRequest, place: Place, form: UploadForm) -> HttpResponse | dict[str, object]:
    """To the group where the set was taken; else every reason why not."""
    data, now = form.cleaned_data["file"], timezone.now()
    about = {"data": data, "group": place.group, "membership": place.membership, "by": request.user, "now": now}
    try:
        row = receive(**about, replace=form.cleaned_data["replace"])
    except Refused as refused:
        note_refusal(refused=refused, **about)
        return {"refused": refused}
    except AsksToReplace as question:
        form.add_error("replace", str(question))
        return {}
    if row.state == SetState.APART:
        messages.warning(request, row.state_reason)
    else:
        period = period_words(row.audit_year)
        messages.success(request, f"Taken: {row.rows} rows of {period}, checksum {row.sha256[:8]}.")
    return redirect("group", place.group.key)


def own_set(request: HttpRequest, key: str) -> tuple[Place, PeerSet]:
    """A set of a group that the member runs, or of the member's own practice."""
    groups = groups_of(request.user)
    row = get_object_or_404(PeerSet.objects.filter(membership__group__in=groups).select_related("membership__group"),
                            key=key)  # fmt: skip
    place = place_of(request.user, row.membership.group)
    if not place.runs and row.membership_id != getattr(place.membership, "pk", None):
        raise Http404
    return place, row


@require_methods("POST")
@allowed(Action.READ_POOLED)
def original(request: HttpRequest, key: str) -> HttpResponse:
    """The file as it came, row by row."""
    place, row = own_set(request, key)
    if not place.may_take(row):
        raise Http404
    take(practice=request.user.practice, by=request.user, what=Taking.What.ORIGINAL, now=timezone.now(),
         about=f"set {row.key}", sha256=row.sha256)  # fmt: skip
    return download(bytes(row.file), "received-set.zip", "application/zip")


@require_methods("POST")
@allowed(Action.READ_POOLED)
def set_withdraw(request: HttpRequest, key: str) -> HttpResponse:
    place, row = own_set(request, key)
    form = WithdrawForm(request.POST, version=row.version)
    if not form.is_valid():
        messages.error(request, "Give the reason for withdrawing this set.")
    elif row.state in (SetState.POOLED, SetState.APART):
        try:
            withdraw_set(by=request.user, row=row, version=form.version, reason=form.cleaned_data["reason"])
            messages.success(request, "Withdrawn. The pooled figures are counted without it from now on.")
        except Conflict:
            messages.error(request, MOVED_ON)
    return redirect("group", place.group.key)
