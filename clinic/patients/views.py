"""Find, register, read and correct a patient."""

from datetime import date
from itertools import chain
from typing import Any

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.db.models import Max, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.decorators import allowed, require_methods
from clinic.access.forms import Difference, differences
from clinic.access.models import Conflict
from clinic.access.numbers import say_day
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action, may
from clinic.patients.changes import Step, newest_first, steps_of
from clinic.patients.forms import (
    IDENTITY_FIELDS,
    RISK_LABELS,
    ChangeForm,
    FindForm,
    RegisterForm,
    by_name,
    number_taken,
    risks_of,
)
from clinic.patients.identity import find_patients
from clinic.patients.models import RISK_FIELDS, Patient
from clinic.patients.own import own_patient
from clinic.patients.registering import change_identity, register_patient
from clinic.schedule import next_point, schedule_of, seen_on_days
from clinic.vocabulary.review import Observer

RECENT = 20
MOST_FOUND = 50
IDENTITY_LABELS = {
    "family_name": "family name",
    "given_name": "given name",
    "born_on_text": "born on",
    "record_number": "record number",
    "phone": "phone",
    "email": "e-mail",
}
PATIENT_LABELS = {"sex": "sex", "no_contact_wished": "wishes no contact", "died_on": "died on"}


@require_methods("GET")
@allowed(Action.FIND_PATIENT)
def patients(request: HttpRequest) -> HttpResponse:
    """The find form, and the patients operated on last."""
    recent = operated(Patient.objects.visible_to(request.user)).filter(last_operated_on__isnull=False)
    rows = recent.order_by("-last_operated_on", "-pk")[:RECENT]
    return render(request, "patients/find.html", {"form": FindForm(), "rows": rows, **may_do(request)})


@require_methods("POST")
@allowed(Action.FIND_PATIENT)
def find(request: HttpRequest) -> HttpResponse:
    """Posted, so that a name never stands in an address, a log or a browser's history."""
    form = FindForm(request.POST)
    shown: dict[str, Any] = {"form": form, "searched": True, **may_do(request)}
    if form.is_valid():
        found = list(operated(find_patients(request.user, form.cleaned_data["q"])).order_by("pk")[: MOST_FOUND + 1])
        shown |= {"rows": by_name(found[:MOST_FOUND]), "more": len(found) > MOST_FOUND, "query": form.cleaned_data["q"]}
    return render(request, "patients/find.html", shown)


def operated(patients: QuerySet[Patient]) -> QuerySet[Patient]:
    standing = Q(operations__struck_at__isnull=True)
    return patients.select_related("identity").annotate(
        last_operated_on=Max("operations__performed_on", filter=standing)
    )


def may_do(request: HttpRequest) -> dict[str, bool]:
    role = request.user.role
    return {
        "may_read": may(role, Action.READ_RECORD),
        "may_register": may(role, Action.REGISTER_PATIENT),
        "may_operate": may(role, Action.RECORD_OPERATION),
        "may_book": may(role, Action.BOOK_REVIEW),
        "may_merge": may(role, Action.SET_PRACTICE),
        "may_take": may(role, Action.TAKE_OWN_DATA),
    }


@require_methods("GET", "POST")
@allowed(Action.REGISTER_PATIENT)
def patient_new(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    if request.method == "GET":
        return render(request, "patients/new.html", {"form": RegisterForm(member=request.user, today=today)})
    form = RegisterForm(request.POST, member=request.user, today=today)
    valid = form.is_valid()
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    if valid and (address := registered(request, form)):
        return redirect(address)
    return render(request, "patients/new.html", {"form": form})


def registered(request: HttpRequest, form: RegisterForm) -> str:
    """The address of the new patient; empty if somebody took the record number a moment before."""
    patient = Patient()
    address = reverse("patient", args=[patient.key])
    try:
        with transaction.atomic():
            if earlier := claim(request.user, form.once, address):
                return earlier
            register_patient(
                by=request.user, patient=patient, identity=form.identity_values(), answers=form.patient_values()
            )
    except IntegrityError:
        form.add_error("record_number", number_taken(form.cleaned_data["record_number"]))
        return ""
    messages.success(request, f"Patient registered {timezone.localtime():%H:%M}: {patient.identity.spoken_name}.")
    return address


@require_methods("GET")
@allowed(Action.FIND_PATIENT)
def patient(request: HttpRequest, key: str) -> HttpResponse:
    """Everything about one patient; for reception who it is, and which reviews are planned."""
    shown = may_do(request)
    patient = own_patient(request, key)
    if patient.key != key:
        return redirect("patient", patient.key)  # entered twice; the other entry stands for both
    operations = list(
        patient.operations.select_related("operator", "planned")
        .prefetch_related("nail_procedures__treated_sides", "reviews", "bookings")
        .order_by("-performed_on", "-pk")
    )
    today = timezone.localdate()
    standing = [operation for operation in operations if not operation.struck_at]
    shown |= {
        "patient": patient,
        "identity": patient.identity,
        "merged": patient.merged.select_related("identity").order_by("pk"),
        "age": patient.identity.age_on(today),
        "planned": planned_reviews(standing, today=today, practice=request.user.practice),
        "steps": history_of(patient, clinical=shown["may_read"]),
    }
    if shown["may_read"]:
        shown |= {"risks": risks_of(patient), "operations": operations, "toes": toes_of(standing)}
    return render(request, "patients/patient.html", shown)


def toes_of(operations: list[Any]) -> list[Any]:
    """Operated toes, newest operation first; reads what was fetched."""
    for operation in operations:
        for nail in operation.nail_procedures.all():
            nail.operation = operation  # the same row, without asking the database again
    return list(chain.from_iterable(operation.nail_procedures.all() for operation in operations))


def planned_reviews(operations: list[Any], *, today: date, practice: Any) -> list[dict[str, Any]]:
    """The next review of each operation, with its window and booking, if any is still to come."""
    planned = []
    for operation in operations:
        seen = seen_on_days(review.day for review in operation.reviews.all() if counts(review))
        point = next_point(
            performed_on=operation.performed_on, seen=seen, today=today, schedule=schedule_of(operation, practice)
        )
        booked = [booking.starts_at for booking in operation.bookings.all() if not booking.cancelled_at]
        coming = [starts_at for starts_at in booked if timezone.localdate(starts_at) >= today]
        if point or coming:
            booked_at = min(coming, default=None)
            planned.append({"operation": operation, "booked_at": booked_at, **window_of(operation, point)})
    return planned


def counts(review: Any) -> bool:
    """A patient's report counts once a clinician has accepted it."""
    return not review.struck_at and (review.observer != Observer.PATIENT or review.accepted_at is not None)


def window_of(operation: Any, point: Any) -> dict[str, Any]:
    if point is None:
        return {"point": None}
    opens, closes = point.opens_on(operation.performed_on), point.closes_on(operation.performed_on)
    return {"point": point, "opens_on": opens, "closes_on": closes}


def history_of(patient: Patient, *, clinical: bool) -> list[Step]:
    """Changes of identity and, for those who may read them, of the risk answers."""
    labels = PATIENT_LABELS | ({name: label.lower() for name, label in RISK_LABELS.items()} if clinical else {})
    identity = patient.identity.history.select_related("history_user")
    own = patient.history.select_related("history_user")
    return newest_first(
        [*steps_of(identity, IDENTITY_LABELS, with_first=False), *steps_of(own, labels, with_first=False)]
    )


@require_methods("GET", "POST")
@allowed(Action.REGISTER_PATIENT)
def patient_change(request: HttpRequest, key: str) -> HttpResponse:
    patient = own_patient(request, key)
    today = timezone.localdate()
    if request.method == "GET":
        form = ChangeForm(initial=stored_values(patient), patient=patient, member=request.user, today=today)
        return change_page(request, form, patient)
    form = ChangeForm(request.POST, patient=patient, member=request.user, today=today)
    if not form.is_valid():
        return change_page(request, form, patient)
    try:
        change_identity(
            by=request.user,
            patient=patient,
            identity=form.identity_values(),
            answers=form.patient_values(),
            versions=(form.version, form.cleaned_data["patient_version"]),
            reason=form.cleaned_data["reason"],
        )
    except Conflict:
        return conflict_page(request, form, own_patient(request, key))
    except IntegrityError:
        form.add_error("record_number", number_taken(form.cleaned_data["record_number"]))
        return change_page(request, form, patient)
    messages.success(request, f"Changes saved {timezone.localtime():%H:%M}. The earlier values are kept.")
    return redirect("patient", patient.key)


def change_page(request: HttpRequest, form: ChangeForm, patient: Patient, **more: Any) -> HttpResponse:
    shown = {"form": form, "patient": patient, "differences": None, **more}
    return render(request, "patients/change.html", shown, status=409 if more else 200)


def conflict_page(request: HttpRequest, form: ChangeForm, patient: Patient) -> HttpResponse:
    """What is stored now beside what was typed; saving again is then a decision."""
    found = differences(form, stored_values(patient))
    identity, own = (row.history.select_related("history_user").first() for row in (patient.identity, patient))
    last = max((row for row in (identity, own) if row), key=lambda row: row.history_date, default=None)
    form.catch_up_with(patient)
    return change_page(request, form, patient, differences=worded(form, found), last_change=last)


def stored_values(patient: Patient) -> dict[str, Any]:
    identity = {name: getattr(patient.identity, name) for name in IDENTITY_FIELDS}
    own = {name: getattr(patient, name) for name in ("sex", "no_contact_wished", "died_on", *RISK_FIELDS)}
    return {**identity, "born_on": patient.identity.born_on, **own}


def worded(form: ChangeForm, found: list[Difference]) -> list[Difference]:
    """Codes and dates as people read them."""
    words = {code: str(label) for field in form.fields.values() for code, label in getattr(field, "choices", ())}
    return [Difference(each.label, said(each.stored, words), said(each.typed, words)) for each in found]


def said(text: str, words: dict[str, str]) -> str:
    try:
        return say_day(date.fromisoformat(text))
    except ValueError:
        return words.get(text, {"True": "yes", "False": "no"}.get(text, text))
