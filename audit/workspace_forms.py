"""Forms of the yearly audit: period, what was written, standards, actions, signature, notes of changes."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator

from audit.forms import day_field
from audit.measures.standards import Direction
from audit.models import Action, ActionState
from audit.periods import EARLIEST, audit_year, matured, said
from clinic.access.forms import LARGEST_VERSION, VersionedForm, fields_only
from clinic.access.models import Member, Practice
from clinic.access.numbers import NumberField
from clinic.access.once import OneTimeForm

PERCENT = Decimal(100)


def text_field(label: str, *, longest: int, hint: str = "", rows: int = 3, required: str = "") -> forms.CharField:
    """Free text of the report. required: what is said if it is empty; empty for an optional one."""
    return forms.CharField(
        label=label,
        max_length=longest,
        help_text=hint,
        required=bool(required),
        widget=forms.Textarea(attrs={"rows": rows}),
        error_messages={"required": required},
    )


def allow_none_yet(form: VersionedForm) -> None:
    """Version 0 says that no row was stored when the page was shown."""
    form.fields["version"].min_value = 0
    form.fields["version"].validators = [MinValueValidator(0), MaxValueValidator(LARGEST_VERSION)]


class PeriodForm(VersionedForm, forms.Form):
    """version 0: the audit of this year had not been begun."""

    as_of = day_field("Data as of", "Findings and contacts after this day are left out")
    preliminary = forms.BooleanField(
        label="Go on as preliminary",
        help_text="The report says so on every page; nothing that is still open is in any percentage.",
        required=False,
    )
    aim = text_field("Why this audit", longest=1000, hint="The problem, and what the practice wants to know.")
    context = text_field("Setting", longest=1000, hint="What a reader from elsewhere must know of the practice.")
    helper = fields_only()

    def __init__(self, *args: Any, practice: Practice, starting_year: int, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        allow_none_yet(self)
        self.period, self.today = audit_year(practice, starting_year), today

    def clean_as_of(self) -> date:
        day = self.cleaned_data["as_of"]
        if day > self.today:
            raise ValidationError(f"The data date, {said(day)}, is in the future; the latest is {said(self.today)}.")
        if day < max(self.period.performed_from, EARLIEST):
            first = said(self.period.performed_from)
            raise ValidationError(f"The data date, {said(day)}, is before the first day of surgery, {first}.")
        return day

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        day = cleaned.get("as_of")
        if day and not matured(self.period, day) and not cleaned.get("preliminary"):
            self.add_error("preliminary", _immature(self.period.performed_to, day))
        return cleaned

    def values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("as_of", "aim", "context")}


def _immature(last: date, day: date) -> str:
    return (
        f"Surgery up to {said(last)} cannot have a 12-month outcome by {said(day)}. Choose a later data date or an "
        "earlier year, or tick that the report is preliminary"
    )


class ReadForm(VersionedForm, forms.Form):
    """Nothing but a version: the button says what was done."""

    helper = fields_only()


class MeaningForm(VersionedForm, forms.Form):
    interpretation = text_field(
        "What the results mean", longest=4000, rows=6, required="Write what the results mean; one sentence is enough",
        hint="It stands in the report as you write it. Say association, not cause.",
    )  # fmt: skip
    limitations = text_field("Limits", longest=2000, hint="What a reader should hold against these figures.")
    helper = fields_only()


class StandardForm(VersionedForm, forms.Form):
    """version 0: the shipped standard is shown, no row of the practice is stored yet."""

    direction = forms.ChoiceField(
        label="How the target is read",
        choices=[
            (Direction.AT_LEAST.value, "At least"),
            (Direction.AT_MOST.value, "At most"),
            (Direction.MONITOR.value, "No target, only watched"),
        ],
        widget=forms.RadioSelect,
    )
    source = forms.CharField(
        label="Where it comes from", max_length=300, help_text="A citation, or: local decision, with its date",
        error_messages={"required": "Say where the standard comes from"},
    )  # fmt: skip
    reason = forms.CharField(
        label="Why it is changed", max_length=200, error_messages={"required": "Give the reason for the change"}
    )
    helper = fields_only()

    def __init__(self, *args: Any, counts: bool, version: int, **kwargs: Any) -> None:
        super().__init__(*args, version=version, **kwargs)
        allow_none_yet(self)
        self.counts = counts
        unit, highest = ("", "99") if counts else ("%", "100")
        self.fields["target"] = NumberField(
            label="Target", label_for_errors="The target", unit=unit, min_value="0", max_value=highest, required=False
        )
        self.order_fields(["direction", "target", "source", "reason", "version"])

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        watched = cleaned.get("direction") == Direction.MONITOR.value
        target = cleaned.get("target")
        if not watched and target is None and "target" not in self.errors:
            self.add_error("target", "Enter the target, or choose that it is only watched")
        if watched and target is not None:
            self.add_error("target", "A criterion that is only watched has no target; empty the field")
        return cleaned

    @property
    def stored_target(self) -> Decimal | None:
        """As stored: a share, 0 to 1, or a number of cases."""
        target = self.cleaned_data["target"]
        return target if target is None or self.counts else target / PERCENT


class ActionForm(OneTimeForm, forms.Form):
    what = forms.CharField(
        label="What will be done", max_length=300, widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say what will be done"},
    )  # fmt: skip
    who = forms.ModelChoiceField(
        label="Who", queryset=Member.objects.none(), empty_label="Choose a person",
        error_messages={
            "required": "Give every action a person", "invalid_choice": "Choose a person of this practice",
        },
    )  # fmt: skip
    due_on = day_field("By when")
    how_known = forms.CharField(
        label="How we will know", max_length=300, widget=forms.Textarea(attrs={"rows": 2}),
        help_text="The figure or the fact that will show that it worked",
        error_messages={"required": "Say how you will know that it worked"},
    )  # fmt: skip
    criterion = forms.ChoiceField(
        label="Criterion", required=False, help_text="The re-audit compares it with this year"
    )
    helper = fields_only()

    def __init__(self, *args: Any, practice: Practice, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        from audit.measures.criteria import SHIPPED

        self.today = today
        people = Member.objects.filter(practice=practice, is_active=True).order_by("last_name", "first_name", "pk")
        self.fields["who"].queryset = people
        self.fields["due_on"].error_messages["required"] = "Give every action a date"
        self.fields["criterion"].choices = [
            ("", "None"),
            *((each.code, f"{each.code} {each.label}") for each in SHIPPED),
        ]

    def clean_due_on(self) -> date:
        day = self.cleaned_data["due_on"]
        if day <= self.today:
            raise ValidationError(f"The date must be after today, {said(self.today)}")
        return day

    def values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("what", "who", "due_on", "how_known", "criterion")}


class CloseForm(VersionedForm, forms.Form):
    """What came of an action of an earlier year."""

    state = forms.ChoiceField(
        label="What came of it",
        choices=[
            (ActionState.DONE.value, "Done"),
            (ActionState.DROPPED.value, "Given up"),
            (ActionState.OPEN.value, "Goes on, until another day"),
        ],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what came of it"},
    )
    outcome = forms.CharField(
        label="What was found", max_length=300, required=False, widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed if it is done or given up",
    )  # fmt: skip
    due_on = day_field("New day", "Needed if it goes on")
    helper = fields_only()

    def __init__(self, *args: Any, action: Action, today: date, **kwargs: Any) -> None:
        super().__init__(*args, version=action.version, **kwargs)
        self.action, self.today = action, today
        self.fields["due_on"].required = False

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        goes_on = cleaned.get("state") == ActionState.OPEN.value
        day = cleaned.get("due_on")
        if goes_on and "due_on" not in self.errors and (day is None or day <= self.today):
            self.add_error("due_on", f"Give a day after today, {said(self.today)}, on which it will be done")
        if cleaned.get("state") and not goes_on and not cleaned.get("outcome"):
            self.add_error("outcome", "Say what was found")
        return cleaned

    def values(self, today: date) -> dict[str, Any]:
        state = self.cleaned_data["state"]
        if state == ActionState.OPEN.value:
            return {"state": state, "closed_on": None, "outcome": "", "due_on": self.cleaned_data["due_on"]}
        return {"state": state, "closed_on": today, "outcome": self.cleaned_data["outcome"]}


class NoActionForm(VersionedForm, forms.Form):
    reason = forms.CharField(
        label="Why none is needed", max_length=300, error_messages={"required": "Say why no action is needed"}
    )
    helper = fields_only()


class SignForm(VersionedForm, forms.Form):
    read = forms.BooleanField(
        label="I have read the report", error_messages={"required": "Tick that you have read the report"}
    )
    password = forms.CharField(
        label="Your password", strip=False, max_length=1000,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        error_messages={"required": "Enter your password to sign"},
    )  # fmt: skip
    helper = fields_only()


class ReopenForm(VersionedForm, forms.Form):
    reason = forms.CharField(
        label="Why the audit is opened again", max_length=300,
        error_messages={"required": "Give the reason for opening it again"},
    )  # fmt: skip
    helper = fields_only()


class NoteForm(OneTimeForm, forms.Form):
    changed_on = day_field("Day of the change")
    what = forms.CharField(
        label="What was changed", max_length=120, error_messages={"required": "Say what was changed"}
    )
    helper = fields_only()

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["changed_on"].error_messages["required"] = "Give the day of the change"

    def clean_changed_on(self) -> date:
        day = self.cleaned_data["changed_on"]
        if not EARLIEST <= day <= self.today:
            raise ValidationError(f"The day must not be after today, {said(self.today)}")
        return day
