"""What both kinds of page need: the patient, the bar that names them, and who may strike out."""

from typing import Any

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone

from clinic.access.models import Member
from clinic.access.rules import Role
from clinic.patients.forms import risks_of
from clinic.patients.models import Patient
from clinic.preparation.models import OfPatient

MOVED_ON = "Somebody changed this a moment ago. Read it, then try again."


def own_patient(request: HttpRequest, key: str) -> Patient:
    return get_object_or_404(Patient.objects.visible_to(request.user).select_related("identity"), key=key)


def bar_of(patient: Patient) -> dict[str, Any]:
    """Who the page is about, for the bar on top of it."""
    return {
        "patient": patient,
        "identity": patient.identity,
        "age": patient.identity.age_on(timezone.localdate()),
        "risks": [(label, answer) for label, answer, present in risks_of(patient) if present],
    }


def may_strike(member: Member, row: OfPatient) -> bool:
    """The lead, or whoever wrote it down."""
    return member.role == Role.LEAD or row.recorded_by_id == member.pk
