"""Forms of the exchange: what leaves and to whom, groups, uploads, remarks."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.conf import settings

from audit.exchange.columns import YEAR
from audit.exchange.manifest import GROUP_CODE, PRACTICE_CODE
from audit.exchange.outline import MOST_BYTES
from audit.exchange.words import in_order
from audit.measures.definitions import OUTCOMES, UNITS
from audit.peers.models import Membership
from audit.stats.disclosure import FEWEST_ALIKE
from clinic.access.again import PasswordAgain
from clinic.access.forms import VersionedForm
from clinic.access.numbers import WholeNumberField
from clinic.access.once import OneTimeForm

ELSEWHERE = "other"
WAIT = "Ten files within a minute is the most; wait a minute and send it again"
_TYPED = {"autocomplete": "off", "spellcheck": "false"}


def text(label: str, missing: str, most: int, *, hint: str = "", **options: Any) -> forms.CharField:
    errors = {"required": missing, "max_length": f"{label} may have at most {most} characters"}
    options.setdefault("widget", forms.TextInput(attrs=_TYPED))
    return forms.CharField(label=label, max_length=most, help_text=hint, error_messages=errors, **options)


def one_below_the_other() -> forms.RadioSelect:
    """Choices too long to stand side by side."""
    widget = forms.RadioSelect()
    widget.columns = 1
    return widget


class ExportForm(PasswordAgain, OneTimeForm, forms.Form):
    """What, to whom, how protected. memberships: groups on this installation. has_before: the year before is signed.

    The password is asked for only when the file is made.
    """

    with_before = forms.BooleanField(
        label="Together with the year before", required=False,
        help_text="A small practice needs two years before enough patients look alike.",
    )  # fmt: skip
    group = forms.ChoiceField(
        label="To which group", widget=one_below_the_other(),
        error_messages={"required": "Choose the group", "invalid_choice": "Choose the group from the list"},
    )  # fmt: skip
    group_code = text("Group code", "", 10, hint="Like G-AB2CD3, from the group’s page", required=False)
    practice_code = text("Code of this practice there", "", 10, hint="Like P-AB34", required=False)
    recipient = text("Who will read it", "Say who will read the file", 100)
    purpose = text("What for", "Say what the file is for", 300)
    k = WholeNumberField(
        label="Patients that must look alike", label_for_errors="Patients that must look alike", min_value=1,
        max_value=50, initial=FEWEST_ALIKE,
    )  # fmt: skip
    harmless_declared = forms.BooleanField(
        label="A group in which nobody has the outcome may be shown", required=False, initial=True,
        help_text="That tells of its patients that they do not have it. A group that all have it is never shown.",
    )  # fmt: skip
    row = forms.CharField(required=False, widget=forms.HiddenInput, max_length=10)
    use_required_attribute = False

    def __init__(self, *args: Any, memberships: Sequence[Membership], has_before: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.memberships = {row.key: row for row in memberships}
        own = [(row.key, f"{row.group.name} ({row.group.code}), as {row.code}") for row in memberships]
        self.fields["group"].choices = [*own, (ELSEWHERE, "A group on another installation")]
        if not has_before:
            del self.fields["with_before"]

    def clean_k(self) -> int:
        k = self.cleaned_data["k"]
        if k < FEWEST_ALIKE:
            raise forms.ValidationError(f"Smallest group must be {FEWEST_ALIKE} or more")
        return int(k)

    def clean(self) -> dict[str, Any]:
        answers = super().clean() or {}
        chosen = answers.get("group")
        if chosen == ELSEWHERE:
            self._check_code("group_code", GROUP_CODE, "G-AB2CD3")
            self._check_code("practice_code", PRACTICE_CODE, "P-AB34")
        elif chosen in self.memberships:
            row = self.memberships[chosen]
            answers["group_code"], answers["practice_code"] = row.group.code, row.code
        return answers

    def _check_code(self, name: str, pattern: str, like: str) -> None:
        typed = str(self.cleaned_data.get(name, "")).strip().upper()
        if not re.fullmatch(pattern, typed):
            self.add_error(name, f"{self.fields[name].label} looks like {like}; the group’s page shows it")
        self.cleaned_data[name] = typed


class WithdrawForm(VersionedForm, forms.Form):
    reason = text("Reason", "Give the reason", 200)


class GroupForm(OneTimeForm, forms.Form):
    """The definitions are those this program counts by; a group cannot choose others."""

    name = text("Name of the group", "Give the group a name", 100, hint="Every practice in it reads the name")
    outcome = forms.ChoiceField(label="Outcome", choices=list(OUTCOMES))
    unit = forms.ChoiceField(label="Counted per", choices=list(UNITS))
    audit_year = text(
        "Audit year", "", 15, required=False,
        hint="Like 2023-04/2024-03, first and last month. Leave it empty to pool whatever years come in.",
    )  # fmt: skip
    use_required_attribute = False

    def clean_audit_year(self) -> str:
        typed = str(self.cleaned_data["audit_year"]).strip()
        if typed and not re.fullmatch(YEAR, typed):
            raise forms.ValidationError("The audit year looks like 2023-04/2024-03")
        if typed and not in_order(typed):
            raise forms.ValidationError("The last month of the audit year lies before its first")
        return typed


class JoinForm(OneTimeForm, forms.Form):
    token = text("Invitation", "Paste the invitation you were given", 100)
    use_required_attribute = False


class UploadForm(PasswordAgain, forms.Form):
    """may_send: False if the member has sent too many files just now."""

    file = forms.FileField(
        label="File",
        widget=forms.FileInput(attrs={"accept": ".zip"}),
        help_text=f"The zip as the export page made it, at most {MOST_BYTES // (1024 * 1024)} MB",
        error_messages={"required": "Choose the file", "empty": "The file is empty; choose another one"},
    )
    replace = forms.BooleanField(label="Replace the file of the same year that is here", required=False)
    use_required_attribute = False

    def __init__(self, *args: Any, may_send: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.may_send = may_send

    def clean_file(self) -> bytes:
        sent = self.cleaned_data["file"]
        if not self.may_send:
            raise forms.ValidationError(WAIT)
        if sent.size > min(MOST_BYTES, settings.UPLOAD_MAX_FILE_BYTES):
            raise forms.ValidationError(f"The file has {sent.size} bytes; at most {MOST_BYTES} are taken")
        return bytes(sent.read())


class TopicForm(OneTimeForm, forms.Form):
    membership = forms.ChoiceField(
        label="To practice", error_messages={"required": "Choose the practice", "invalid_choice": "Choose the practice"}
    )
    title = text("About", "Say in a few words what it is about", 100)
    text = text("Question", "Write the question", 1000, widget=forms.Textarea(attrs={"rows": 4}))
    use_required_attribute = False

    def __init__(self, *args: Any, memberships: Sequence[Membership], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.memberships = {row.key: row for row in memberships}
        self.fields["membership"].choices = [("", "Choose"), *((row.key, row.code) for row in memberships)]


class RemarkForm(OneTimeForm, VersionedForm, forms.Form):
    """Names of people do not belong here: the practice stays a code."""

    text = text("Your words", "Write something", 1000, widget=forms.Textarea(attrs={"rows": 4}))
    use_required_attribute = False
