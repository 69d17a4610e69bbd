"""What for, in which form, and the password again."""

from django import forms

from clinic.access.again import PasswordAgain
from clinic.handover.models import Kind

NO_PURPOSE = "Say what the data is taken for"


class PurposeForm(PasswordAgain, forms.Form):
    purpose = forms.CharField(
        label="What for",
        max_length=300,
        help_text="Kept with your name and the time.",
        error_messages={"required": NO_PURPOSE, "max_length": "What for may have at most 300 characters"},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    use_required_attribute = False


class OwnDataForm(PurposeForm):
    kind = forms.ChoiceField(
        label="As",
        choices=[(Kind.CSV.value, "Zip of CSV files"), (Kind.XLSX.value, "Workbook (XLSX)")],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose the kind of file", "invalid_choice": "Choose the kind of file"},
    )
    field_order = ("kind", "purpose", "password")
