"""Forms of the limits page. Amounts are typed, never filled in; an approval is a tick and the source that was read."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms

from clinic.access.answers import REASON_LENGTH, AskedWhenNeeded, ReasonForm
from clinic.access.forms import VersionedForm
from clinic.access.numbers import NumberField, WholeNumberField
from clinic.access.once import OneTimeForm
from clinic.dosing.amounts import Limit, said
from clinic.dosing.candidates import CANDIDATES
from clinic.dosing.models import DoseLimit
from clinic.vocabulary.procedure import Anaesthetic, VasoconstrictorKind

AMOUNTS = ("mg_per_kg", "absolute_mg", "per_digit_mg", "weight_cap_kg", "period_h")
TEXTS = ("profile", "source_text")


class ApproveForm(OneTimeForm, VersionedForm, forms.Form):
    """instead_of: the stamp of the row in force that this page showed; empty if there was none."""

    checked = forms.BooleanField(
        label="I have checked this against the current label/protocol",
        error_messages={"required": "Tick that you have checked this row, or leave it unapproved"},
    )
    checked_against = forms.CharField(
        label="Source you checked it against",
        help_text="The label or protocol with its date or version.",
        max_length=200,
        error_messages={
            "required": "Name the label or protocol you checked it against, with its date or version",
            "max_length": "The source may have at most 200 characters",
        },
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    instead_of = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)
    use_required_attribute = False

    def catch_up_with(self, version: int, instead_of: str) -> None:
        """After a conflict was shown: approving again is now a decision."""
        self.catch_up(version)
        self.data[self.add_prefix("instead_of")] = instead_of


class WithdrawForm(VersionedForm, ReasonForm):
    missing = "Give the reason for withdrawing it"


class LimitForm(OneTimeForm, AskedWhenNeeded, VersionedForm, forms.Form):
    """An own row, or another version of one.

    row: what is changed; None for a new row. Amounts above every source known here are saved after a tick, because a
    limit ten times too high would silence the arithmetic without anybody noticing.
    """

    agent = forms.ChoiceField(
        label="Agent",
        choices=[("", "Choose the agent"), *(pair for pair in Anaesthetic.choices() if pair[0] != Anaesthetic.OTHER)],
        error_messages={"required": "Choose the agent", "invalid_choice": "Choose the agent from the list"},
    )
    vasoconstrictor = forms.ChoiceField(
        label="Vasoconstrictor",
        choices=VasoconstrictorKind.choices(),
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose whether it is plain or holds a vasoconstrictor",
            "invalid_choice": "Choose the vasoconstrictor from the list",
        },
    )
    profile = forms.CharField(
        label="Name of this row",
        help_text="Like “Local protocol 2026”.",
        max_length=40,
        error_messages={"required": "Give the row a name", "max_length": "The name may have at most 40 characters"},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    mg_per_kg = NumberField(
        label="Per kilogram of weight", label_for_errors="The amount per kilogram", unit="mg/kg",
        min_value="0.1", max_value=20, decimal_places=2, required=False,
    )  # fmt: skip
    absolute_mg = NumberField(
        label="At most, whatever the weight", label_for_errors="The absolute amount", unit="mg",
        min_value=1, max_value=2000, required=False,
    )  # fmt: skip
    per_digit_mg = NumberField(
        label="At most in one toe", label_for_errors="The amount per digit", unit="mg",
        min_value=1, max_value=500, required=False,
    )  # fmt: skip
    weight_cap_kg = NumberField(
        label="Weight counted up to", label_for_errors="The weight counted", unit="kg",
        min_value=5, max_value=300, required=False, help_text="Where the source caps the weight.",
    )  # fmt: skip
    period_h = WholeNumberField(
        label="For a period of", label_for_errors="The period", unit="h", min_value=1, max_value=72, required=False
    )
    source_text = forms.CharField(
        label="Source",
        help_text="Label or protocol, with its date or version.",
        max_length=300,
        error_messages={
            "required": "Name the source of this limit",
            "max_length": "The source may have at most 300 characters",
        },
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    confirmed = forms.BooleanField(label="This is correct")
    reason = forms.CharField(
        label="Reason", max_length=REASON_LENGTH, error_messages={"required": "Give the reason for the change"}
    )
    asked_when_needed = ("confirmed", "reason")

    def __init__(self, *args, row: DoseLimit | None = None, **kwargs) -> None:
        super().__init__(*args, version=row.version if row else 1, **kwargs)
        self.row = row
        self.warnings: list[str] = []
        if row:  # another drug would be another row
            del self.fields["agent"], self.fields["vasoconstrictor"]

    def clean(self) -> dict[str, Any]:
        answers = super().clean() or self.cleaned_data
        self._limits_something(answers)
        if not self.errors:
            self.warnings = list(self._unusual(answers))
            if self.warnings and not answers.get("confirmed"):
                self.add_error("confirmed", f"Tick that this is correct, or change it: {self.warnings[0]}")
        if not answers.get("reason") and (self.row or self.warnings):
            self.add_error("reason", "Give the reason for the change" if self.row else "Give the reason")
        return answers

    def _limits_something(self, answers: dict[str, Any]) -> None:
        if not {"mg_per_kg", "absolute_mg"} & set(self.errors):
            if answers.get("mg_per_kg") is None and answers.get("absolute_mg") is None:
                self.add_error("mg_per_kg", "Enter an amount per kilogram, or an absolute amount")
            elif answers.get("mg_per_kg") is None and answers.get("weight_cap_kg") is not None:
                self.add_error("weight_cap_kg", "A weight is counted only with an amount per kilogram; clear it")

    def _unusual(self, answers: dict[str, Any]) -> Iterator[str]:
        agent = self.row.agent if self.row else answers["agent"]
        known = [candidate.limit for candidate in CANDIDATES if candidate.limit.agent == agent]
        for name, words, unit in (
            ("mg_per_kg", "the amount per kilogram", "mg/kg"),
            ("absolute_mg", "the absolute amount", "mg"),
            ("per_digit_mg", "the amount per digit", "mg"),
        ):
            most = greatest(known, name)
            if most is not None and answers.get(name) is not None and answers[name] > most:
                yield f"{words} is above {said(most)} {unit}, the most in any source listed here for this agent"

    def values(self) -> dict[str, Any]:
        """Columns of the row."""
        drug = () if self.row else ("agent", "vasoconstrictor")
        return {name: self.cleaned_data[name] for name in (*drug, *TEXTS, *AMOUNTS)}


def greatest(limits: list[Limit], name: str) -> Decimal | None:
    return max((getattr(limit, name) for limit in limits if getattr(limit, name) is not None), default=None)


def stored_values(row: DoseLimit) -> dict[str, Any]:
    """The row as the form shows it."""
    return {name: getattr(row, name) for name in (*TEXTS, *AMOUNTS)}
