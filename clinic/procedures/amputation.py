"""Notes that a toe was amputated after its operation: nothing can grow there, so the audit counts its sides apart."""

from datetime import date, datetime

from django import forms
from django.db import transaction

from clinic.access.models import Member
from clinic.access.numbers import DayField
from clinic.procedures.models import NailProcedure, Operation
from clinic.procedures.signing import amending
from clinic.vocabulary.procedure import AmendmentKind


class AmputationForm(forms.Form):
    """The date, or empty to take back a wrong entry; a reason whenever a date stood before."""

    amputated_on = DayField(
        label="Date of amputation",
        label_for_errors="the amputation",
        question="When was the toe amputated?",
        required=False,
        help_text="Leave empty to take back a date that was entered by mistake.",
    )
    reason = forms.CharField(
        label="How you know, or why you change it",
        max_length=200,
        error_messages={"required": "Say how you know, or why you change it"},
    )

    def __init__(self, *args, nail: NailProcedure, today: date, **kwargs) -> None:
        super().__init__(*args, initial={"amputated_on": nail.amputated_on}, **kwargs)
        self.nail = nail
        self.fields["amputated_on"].today = today

    def clean_amputated_on(self) -> date | None:
        day, operation = self.cleaned_data["amputated_on"], self.nail.operation
        if day and day < operation.performed_on:
            said = f"{operation.performed_on.day} {operation.performed_on:%B %Y}"
            raise forms.ValidationError(f"The amputation lies before the nail operation on {said}")
        if day and operation.patient.died_on and day > operation.patient.died_on:
            raise forms.ValidationError("The amputation lies after the date of death on record")
        if not day and not self.nail.amputated_on:
            raise forms.ValidationError("When was the toe amputated? Give day, month and year")
        return day


def note_amputation(
    *, by: Member, nail: NailProcedure, version: int, now: datetime, amputated_on: date | None, reason: str
) -> None:
    """Keeps the date as a new version of the nail procedure.

    version: the one the page showed. Raises Conflict if somebody changed the toe meanwhile.
    """
    with transaction.atomic():
        operation = Operation.objects.select_for_update().get(pk=nail.operation_id)
        # It belongs to the follow-up, so a signed note gets it as a late entry.
        with amending(operation, by=by, now=now, reason=reason, kind=AmendmentKind.LATE_ENTRY):
            nail.version = version
            nail.amputated_on = amputated_on
            nail.save_version(by=by, reason=reason)
