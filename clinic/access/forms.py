"""Forms of accounts and people, and the hidden version that every editing form carries."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from crispy_forms.helper import FormHelper
from django import forms
from django.contrib.auth.forms import PasswordChangeForm, SetPasswordForm
from django.core.exceptions import ValidationError

from clinic.access.models import Member
from clinic.access.numbers import plain
from clinic.access.once import OneTimeForm
from clinic.access.rules import Role

LARGEST_VERSION = 2**31 - 1
NUMBER_LIKE = re.compile(r"-?[0-9]+[.,]?[0-9]*")
WHAT_IS_ACCEPTED = (
    "At least 12 characters, such as four words that do not belong together. Not a common password, not your name, "
    "not the name of the practice and no word of nail surgery."
)


def fields_only(*, error_title: str = "") -> FormHelper:
    """The page writes the form element and its button; crispy writes the fields."""
    helper = FormHelper()
    helper.form_error_title = error_title
    helper.form_tag = False
    helper.disable_csrf = True
    return helper


class VersionedForm:
    """Mixin before forms.Form or forms.ModelForm: the hidden field `version` for optimistic locking.

    Pass version=row.version to show the form; set row.version = form.version before row.save_version().
    """

    def __init__(self, *args, version: int, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["version"] = forms.IntegerField(
            widget=forms.HiddenInput, min_value=1, max_value=LARGEST_VERSION, initial=version
        )

    @property
    def version(self) -> int:
        return self.cleaned_data["version"]

    def catch_up(self, version: int) -> None:
        """After a conflict was shown: saving the typed values again is now a decision."""
        self.data = self.data.copy()
        self.data[self.add_prefix("version")] = str(version)


@dataclass(frozen=True)
class Difference:
    label: str
    stored: str
    typed: str


def differences(form: forms.BaseForm, stored: Mapping[str, object]) -> list[Difference]:
    """Fields whose typed text is not the stored one, in the order of the form."""
    pairs = [(form[name], shown(stored[name])) for name in form.fields if name in stored]
    return [
        Difference(str(bound.label), before, shown(bound.data))
        for bound, before in pairs
        if shown(bound.data) != before
    ]


def shown(value: object) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(shown(each) for each in value)
    # Only a number loses its last noughts; a sentence keeps its full stop.
    is_text = isinstance(value, str) and not NUMBER_LIKE.fullmatch(value.strip())
    return "" if value is None else (value if is_text else plain(value)).strip()


class SignInForm(forms.Form):
    username = forms.CharField(
        label="Sign-in name",
        max_length=150,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}),
        error_messages={"required": "Enter your sign-in name"},
    )
    password = forms.CharField(
        label="Password",
        strip=False,
        max_length=1000,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        error_messages={"required": "Enter your password"},
    )
    helper = fields_only(error_title="You are not signed in")


class PasswordWords:
    """The rules as one sentence; and no field takes the focus of a page that holds more than one form."""

    helper = fields_only()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["new_password1"].help_text = WHAT_IS_ACCEPTED
        self.fields["new_password2"].label = "New password again"
        self.fields["new_password2"].help_text = ""
        for field in self.fields.values():
            field.widget.attrs.pop("autofocus", None)


class FirstPasswordForm(PasswordWords, SetPasswordForm):
    pass


class NewPasswordForm(PasswordWords, PasswordChangeForm):
    pass


class AccountForm(forms.ModelForm):
    helper = fields_only()

    class Meta:
        model = Member
        fields = ("theme", "slash_finds")
        labels = {"theme": "Colours", "slash_finds": "The key / finds a patient"}


class RoleForm(forms.ModelForm):
    helper = fields_only()

    class Meta:
        model = Member
        fields = ("role",)


class PersonForm(OneTimeForm, forms.ModelForm):
    helper = fields_only()
    role = forms.ChoiceField(
        choices=[("", "Choose a role"), *Role.choices], error_messages={"required": "Choose a role"}
    )

    class Meta:
        model = Member
        fields = ("first_name", "last_name", "username", "role")
        labels = {"first_name": "Given name", "last_name": "Family name", "username": "Sign-in name"}
        help_texts = {"username": "Letters, digits and . - _ @ +"}

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        # Records name who wrote them; a sign-in name alone would not do in ten years.
        for name, words in (("first_name", "given name"), ("last_name", "family name")):
            self.fields[name].required = True
            self.fields[name].error_messages["required"] = f"Enter the {words}"

    def clean_username(self) -> str:
        """Two names that differ only in capitals would be confused."""
        username = Member.normalize_username(self.cleaned_data["username"])
        if Member.objects.filter(username__iexact=username).exists():
            raise ValidationError("This sign-in name is taken; choose another.")
        return username
