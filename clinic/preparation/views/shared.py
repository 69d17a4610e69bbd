"""What both kinds of page need: the patient, the bar that names them, striking out."""

from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from clinic.access.answers import StrikeForm
from clinic.access.striking import strike_out
from clinic.patients.forms import risks_of
from clinic.patients.models import Patient
from clinic.preparation.models import OfPatient


def bar_of(patient: Patient) -> dict[str, Any]:
    """Who the page is about, for the bar on top of it."""
    return {
        "patient": patient,
        "identity": patient.identity,
        "age": patient.identity.age_on(timezone.localdate()),
        "risks": [(label, answer) for label, answer, present in risks_of(patient) if present],
    }


def strike_entry(request: HttpRequest, row: OfPatient, *, what: str) -> None:
    """Strike out an assessment or a consent that was entered by mistake."""
    form = StrikeForm(request.POST, version=row.version)

    def act(reason: str) -> None:
        row.strike(by=request.user, now=timezone.now(), reason=reason, version=form.version)

    strike_out(request, row, form, act, what=what, author_id=row.recorded_by_id)
