"""The rows of local anaesthetic of one attendance: asked, stored, and added up against the approved limits."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.access.answers import REASON_LENGTH, AskedWhenNeeded, choice
from clinic.access.numbers import DayField, NumberField
from clinic.access.once import OneTimeForm
from clinic.dosing.arithmetic import Dose, Result, assess, check_strength
from clinic.dosing.models import approved_limits
from clinic.practice.offers import not_used, offer
from clinic.procedures.models import AnaestheticDose, NailProcedure, Operation
from clinic.theatre.clock import ClockField, instant_of
from clinic.vocabulary import procedure as words
from clinic.vocabulary import theatre as room
from clinic.vocabulary.sites import capital, toe_name

MOST_USUAL_ML = 5  # per toe; common practice, no source


class DoseForm(AskedWhenNeeded, OneTimeForm, forms.Form):
    """One injection or top-up at one toe; four injection sites of one block are one row."""

    agent = choice("Anaesthetic", words.Anaesthetic, "Choose the anaesthetic", columns=3)
    strength_percent = NumberField(
        label="Strength", label_for_errors="Strength", unit="%", min_value="0.1", max_value=100, decimal_places=2
    )
    vasoconstrictor = choice(
        "Vasoconstrictor", words.Vasoconstrictor, "Choose the vasoconstrictor, or “None”", columns=3
    )
    volume_ml = NumberField(
        label="Volume", label_for_errors="Volume", unit="mL", min_value="0.1", max_value=20, required=False
    )
    toe = forms.ChoiceField(
        label="At which toe", widget=forms.RadioSelect, error_messages={"required": "Choose at which toe"}
    )
    route = choice("Way", room.Route, "Choose how it was placed", columns=3)
    batch = forms.CharField(label="Batch", max_length=30, required=False,
                            widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}))  # fmt: skip
    expires_on = DayField(
        label="Expiry", label_for_errors="the expiry", may_be_future=True, required=False,
        help_text="Where the ampoule names a month only, its last day.",
    )  # fmt: skip
    given_at = ClockField(label="Time of injection", required=False)
    confirmed = forms.BooleanField(label="This is correct")
    reason = forms.CharField(label="Reason", max_length=REASON_LENGTH)
    asked_when_needed = ("confirmed", "reason")

    def __init__(self, *args, operation: Operation, nails: Sequence[NailProcedure], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.operation, self.nails = operation, {nail.key: nail for nail in nails}
        self.fields["toe"].choices = [(nail.key, capital(toe_name(nail.foot, nail.toe))) for nail in nails]
        offer(self, "agent", operation.practice, "anaesthetics_offered")
        self.only = nails[0] if len(nails) == 1 else None
        if self.only:  # where there is one toe, nobody is asked which
            self.fields["toe"].widget, self.initial["toe"] = forms.HiddenInput(), self.only.key
        self.warnings: list[str] = []

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("agent") and answers.get("strength_percent") is not None:
            try:
                check_strength(words.Anaesthetic(answers["agent"]), answers["strength_percent"])
            except ValueError as problem:
                self.add_error("strength_percent", str(problem))
        if answers.get("given_at"):
            try:
                answers["given_at"] = instant_of(self.operation.performed_on, answers["given_at"])
            except ValidationError as problem:
                self.add_error("given_at", problem)
        if not self.errors:
            self.warnings = list(self.unusual(answers))
            self.ask_to_confirm(answers)
        return answers

    def unusual(self, answers: dict[str, Any]) -> Iterator[str]:
        volume, expires_on = answers.get("volume_ml"), answers.get("expires_on")
        if volume is not None and volume > MOST_USUAL_ML:
            yield f"{volume} mL at one toe is more than the usual {MOST_USUAL_ML} mL"
        yield from map(capital, not_used(self.operation.practice, "anaesthetics_offered", [answers["agent"]]))
        if expires_on and expires_on < self.operation.performed_on:
            yield f"This batch expired in {expires_on:%B %Y}; see local protocol. It is kept as an event"

    def ask_to_confirm(self, answers: dict[str, Any]) -> None:
        if not self.warnings:
            return
        if not answers.get("confirmed"):
            self.add_error("confirmed", f"Tick that this is correct, or change the answer: {self.warnings[0]}")
        if not answers.get("reason"):
            self.add_error("reason", "Give the reason")

    @property
    def expired_reason(self) -> str:
        expires_on: date | None = self.cleaned_data["expires_on"]
        return self.cleaned_data["reason"] if expires_on and expires_on < self.operation.performed_on else ""

    def values(self) -> dict[str, Any]:
        """Columns of the dose."""
        names = ("agent", "strength_percent", "vasoconstrictor", "volume_ml", "route", "batch", "expires_on")
        given = {name: self.cleaned_data[name] for name in (*names, "given_at")}
        return given | {"nail_procedure": self.nails[self.cleaned_data["toe"]]}

    def refuse_future(self, now: datetime) -> bool:
        """Whether the time of injection lies ahead; then the field says so."""
        at = self.values()["given_at"]
        if at and at > now + timedelta(minutes=2):
            self.add_error("given_at", "The time of injection lies in the future")
            return True
        return False


def added_up(operation: Operation, doses: Sequence[AnaestheticDose]) -> Result:
    """All rows of the attendance, both feet, beside the limits the lead approved. One query."""
    return assess(
        [dose_of(row) for row in doses],
        approved_limits(operation.practice),
        weight_kg=operation.weight_kg,
        age_years=operation.age_years,
    )


def dose_of(row: AnaestheticDose) -> Dose:
    nail = row.nail_procedure
    return Dose(
        agent=words.Anaesthetic(row.agent),
        strength_percent=row.strength_percent,
        vasoconstrictor=words.Vasoconstrictor(row.vasoconstrictor),
        volume_ml=row.volume_ml,
        toe=(words.Foot(nail.foot), nail.toe) if nail else None,
    )
