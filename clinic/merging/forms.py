"""Which other entry is the same person, and that it is."""

from typing import Any

from django import forms

from clinic.access.forms import LARGEST_VERSION, VersionedForm
from clinic.patients.identity import Identity
from clinic.patients.models import Patient
from clinic.patients.sealed import record_number_digest

REASON = {"label": "How you know", "max_length": 100}


class OtherForm(forms.Form):
    """The other entry, by its record number, which is no secret but stands in no address either."""

    use_required_attribute = False
    record_number = forms.CharField(
        label="Record number of the other entry",
        max_length=30,
        error_messages={"required": "Enter the record number of the other entry"},
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )

    def __init__(self, *args: Any, kept: Patient, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kept = kept
        self.other: Patient | None = None

    def clean_record_number(self) -> str:
        number = self.cleaned_data["record_number"]
        digest = record_number_digest(self.kept.practice_id, number)
        own = Identity.objects.filter(practice_id_of_patient=self.kept.practice_id, record_number_digest=digest)
        found = own.select_related("patient").first()
        if found is None:
            raise forms.ValidationError(f"No patient of this practice has the record number {number}; check it")
        if found.patient.person == self.kept:
            same = "this entry" if found.patient == self.kept else "merged into this entry already"
            raise forms.ValidationError(f"Record number {number} is {same}; enter the number of the other one")
        if found.patient.merged_into_id:
            raise forms.ValidationError(f"Record number {number} is merged into another entry; use the number of that")
        self.other = found.patient
        return number


class MergeForm(VersionedForm, forms.Form):
    """version: of the entry that stays; other_version: of the one whose rows move."""

    use_required_attribute = False
    same_person = forms.BooleanField(
        label="Both entries are this one person",
        error_messages={"required": "Tick that both are one person, or leave them apart"},
    )
    reason = forms.CharField(**REASON, error_messages={"required": "Say how you know that both are one person"})

    def __init__(self, *args: Any, kept: Patient, other: Patient, **kwargs: Any) -> None:
        super().__init__(*args, version=kept.version, **kwargs)
        self.fields["other_version"] = forms.IntegerField(
            widget=forms.HiddenInput, min_value=1, max_value=LARGEST_VERSION, initial=other.version
        )


class ApartForm(VersionedForm, forms.Form):
    use_required_attribute = False
    reason = forms.CharField(**REASON, error_messages={"required": "Say how you know that they are two people"})
