"""Pages of the practice lead: two entries of one person become one, or are taken apart again."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from clinic.access.answers import MOVED_ON
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.rules import Action
from clinic.merging.forms import ApartForm, MergeForm, OtherForm
from clinic.merging.recording import NotMergeable, contents_of, merge, obstacles, take_apart
from clinic.patients.forms import risks_of
from clinic.patients.models import Patient


@require_methods("GET", "POST")
@allowed(Action.SET_PRACTICE)
def patient_merge(request: HttpRequest, key: str) -> HttpResponse:
    """Name the other entry, see both, then merge. The address of a merged entry takes it apart."""
    visible = Patient.objects.visible_to(request.user).select_related("identity", "merged_into__identity")
    patient = get_object_or_404(visible, key=key)
    if patient.merged_into_id:
        return _apart(request, patient)
    posted = request.POST if request.method == "POST" else None
    which = OtherForm(posted, kept=patient)
    shown: dict[str, Any] = {"which": which, "patient": patient, "identity": patient.identity}
    if not which.is_valid() or which.other is None:
        return render(request, "merging/which.html", shown)
    other = which.other
    form = MergeForm(posted if posted and "merge" in posted else None, kept=patient, other=other)
    if form.is_valid() and _merged(request, form, patient, other):
        return redirect("patient", patient.key)
    entries = [(entry, entry.identity, contents_of(entry), risks_of(entry)) for entry in (patient, other)]
    born_apart = patient.identity.born_on != other.identity.born_on
    shown |= {"form": form, "entries": entries, "born_apart": born_apart, "obstacles": obstacles(patient, other)}
    return render(request, "merging/merge.html", shown)


def _merged(request: HttpRequest, form: MergeForm, kept: Patient, other: Patient) -> bool:
    """Merge, or say on the page why not."""
    versions = (form.version, form.cleaned_data["other_version"])
    try:
        merge(
            by=request.user, kept=kept, other=other, versions=versions, reason=form.cleaned_data["reason"],
            now=timezone.now(),
        )  # fmt: skip
    except Conflict:
        form.catch_up(kept.version)
        form.data["other_version"] = str(other.version)
        form.add_error(None, MOVED_ON)
    except NotMergeable as refusal:
        for sentence in refusal.obstacles:
            form.add_error(None, sentence)
    else:
        number = other.identity.record_number
        messages.success(request, f"Merged. What stood under record number {number} stands here now.")
        return True
    return False


def _apart(request: HttpRequest, other: Patient) -> HttpResponse:
    form = ApartForm(request.POST if request.method == "POST" else None, version=other.version)
    if form.is_valid():
        try:
            take_apart(
                by=request.user, other=other, version=form.version, reason=form.cleaned_data["reason"],
                now=timezone.now(),
            )  # fmt: skip
        except Conflict:
            messages.error(request, MOVED_ON)
        else:
            messages.success(request, "Taken apart. Check phone, e-mail, risks and wishes of both entries.")
        return redirect("patient", other.key)
    shown = {"form": form, "patient": other, "identity": other.identity, "kept": other.merged_into}
    return render(request, "merging/apart.html", shown)
