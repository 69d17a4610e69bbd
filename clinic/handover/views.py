"""The practice's own data out of the program: all records, or one patient for another provider. All noted."""

import hashlib
import json

from django.db import transaction
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from clinic.access.decorators import allowed, require_methods
from clinic.access.requests import client_address
from clinic.access.rules import Action
from clinic.handover.files import csv_zip, workbook
from clinic.handover.forms import OwnDataForm, PurposeForm
from clinic.handover.models import Handover, Kind
from clinic.handover.tables import TABLES, sheets
from clinic.patients.models import Patient
from clinic.procedures.models import Operation
from clinic.reviews.models import Review

MAKERS = {
    Kind.CSV.value: (csv_zip, "records.zip", "application/zip"),
    Kind.XLSX.value: (workbook, "records.xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
}


@require_methods("GET", "POST")
@allowed(Action.TAKE_OWN_DATA)
def own_data(request: HttpRequest) -> HttpResponse:
    form = OwnDataForm(request.POST if request.method == "POST" else None, **about(request))
    if form.is_valid():
        kind = form.cleaned_data["kind"]
        make, filename, media_type = MAKERS[kind]
        # Reading and packing take long; SQLite would let nobody write meanwhile.
        data, rows = make(sheets(request.user.practice))
        with transaction.atomic():
            note(request, kind, form.cleaned_data["purpose"], data, rows)
        return download(data, filename, media_type)
    taken = request.user.practice.handovers.select_related("member").order_by("-at")[:20]
    shown = {"form": form, "taken": taken, "tables": [name.replace("_", " ") for name, *_ in TABLES]}
    return render(request, "handover/own_data.html", shown)


@require_methods("GET", "POST")
@allowed(Action.TAKE_OWN_DATA)
def patient_fhir(request: HttpRequest, key: str) -> HttpResponse:
    """One patient's procedures, reviews and findings as FHIR R4 JSON."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user).select_related("identity"), key=key)
    form = PurposeForm(request.POST if request.method == "POST" else None, **about(request))
    if form.is_valid():
        from clinic.handover.fhir import bundle

        found = bundle(patient, operations_of(patient))
        data = (json.dumps(found, ensure_ascii=False, indent=1) + "\n").encode()
        with transaction.atomic():
            note(request, Kind.FHIR, form.cleaned_data["purpose"], data, len(found["entry"]), patient=patient)
        return download(data, "patient-fhir-r4.json", "application/fhir+json")
    taken = patient.handovers.select_related("member").order_by("-at")[:20]
    return render(request, "handover/patient_fhir.html", {"form": form, "patient": patient,
                                                          "identity": patient.identity, "taken": taken})  # fmt: skip


def operations_of(patient: Patient) -> list[Operation]:
    """Standing operations with all that is handed over, in a fixed number of statements."""
    reviews = Review.objects.filter(operation__patient=patient).prefetch_related(
        "toe_findings__nail_procedure", "side_findings__treated_side__nail_procedure"
    )
    found = Operation.objects.filter(patient=patient).standing().order_by("performed_on", "pk")
    return list(found.prefetch_related("nail_procedures__treated_sides__applications", Prefetch("reviews", reviews)))


def about(request: HttpRequest) -> dict[str, object]:
    return {"member": request.user, "address": client_address(request), "now": timezone.now()}


def note(
    request: HttpRequest, kind: str, purpose: str, data: bytes, rows: int, *, patient: Patient | None = None
) -> None:  # fmt: skip
    Handover.objects.create(
        practice=request.user.practice, member=request.user, patient=patient, kind=kind, purpose=purpose, rows=rows,
        sha256=hashlib.sha256(data).hexdigest(), at=timezone.now(),
    )  # fmt: skip


def download(data: bytes, filename: str, media_type: str) -> HttpResponse:
    response = HttpResponse(data, content_type=media_type)
    response["Content-Disposition"] = f'attachment; filename="{filename}"'
    response["X-Content-Type-Options"] = "nosniff"
    return response
