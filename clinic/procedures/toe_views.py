"""Pages about one toe of an operation: a decision where consent differs, an amputation later on."""

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.answers import typed_version
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action
from clinic.procedures.amputation import AmputationForm, note_amputation
from clinic.procedures.clearance import clearance_of
from clinic.procedures.forms import DecideForm
from clinic.procedures.models import NailProcedure
from clinic.procedures.recording import decide_site
from clinic.procedures.views import own_operation
from clinic.vocabulary.procedure import SiteOutcome


@require_methods("GET", "POST")
@allowed(Action.RECORD_OPERATION)
def site_decide(request: HttpRequest, key: str, nail: str) -> HttpResponse:
    """A named clinician says what was decided about a difference; several are decided one after the other."""
    operation = own_operation(request, key)
    check = next((site for site in clearance_of(operation).sites if site.nail.key == nail), None)
    if check is None or operation.struck_at:
        raise Http404
    if request.method == "POST" and (earlier := first_or_result(request.user, request.POST.get("once", ""))):
        return redirect(earlier)
    if not check.still_open:
        messages.info(request, "Consent and operation agree here, or it is decided already.")
        return redirect("operation", operation.key)
    fact = check.still_open[0].fact
    form = DecideForm(request.POST if request.method == "POST" else None, initial={"fact": fact})
    if form.is_valid() and form.cleaned_data["fact"] != fact:
        form.add_error(None, "Consent or operation were changed meanwhile. Read the sentence again, then decide.")
        form.data = form.data | {"fact": fact}
    elif form.is_valid():
        return redirect(site_decided(request, check.nail, form))
    shown = {"operation": operation, "identity": operation.patient.identity, "site": check, "fact": fact, "form": form}
    return render(request, "procedures/site_decide.html", shown)


def site_decided(request: HttpRequest, nail: NailProcedure, form: DecideForm) -> str:
    """Keep the decision once; gives the address to go to: the room while the operation is open."""
    operation = nail.operation
    goes_to = reverse("operation" if operation.signed_at else "room", args=[operation.key])
    given = {name: form.cleaned_data[name] for name in ("fact", "outcome", "text")}
    with transaction.atomic():
        if earlier := claim(request.user, form.once, goes_to):
            return earlier
        decide_site(by=request.user, nail=nail, now=timezone.now(), **given)
    messages.success(request, f"Decision recorded: {SiteOutcome(given['outcome']).label}.")
    return goes_to


# --- an amputation later on


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def toe_amputated(request: HttpRequest, key: str) -> HttpResponse:
    visible = NailProcedure.objects.filter(operation__practice_id=request.user.practice_id)
    nail = get_object_or_404(visible.select_related("operation__patient__identity"), key=key)
    posted = request.POST if request.method == "POST" else None
    form = AmputationForm(posted, nail=nail, today=timezone.localdate())
    version, status = nail.version, 200
    if form.is_valid():
        try:
            note_amputation(
                by=request.user, nail=nail, version=typed_version(request), now=timezone.now(), **form.cleaned_data
            )
        except Conflict:
            nail.refresh_from_db()
            form.add_error(None, "Somebody changed this toe a moment ago. Check the date on record, then save again.")
            version, status = nail.version, 409
        else:
            messages.success(request, "Saved. The sides of this toe are counted accordingly from now on.")
            return redirect("toe", nail.key)
    shown = {"nail": nail, "form": form, "version": version, "identity": nail.operation.patient.identity}
    return render(request, "procedures/amputated.html", shown, status=status)
