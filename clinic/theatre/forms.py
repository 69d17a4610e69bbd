"""What is asked in the room: a tap, a corrected time, a phase of the checklist, an event, the signature."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django import forms

from clinic.access.answers import CorrectionReasonForm, choice
from clinic.access.numbers import DayField
from clinic.access.once import OneTimeForm
from clinic.theatre.clock import ClockField, instant_of
from clinic.vocabulary import procedure as words
from clinic.vocabulary import theatre as room

LONGEST_WAIT_MS = 24 * 3600 * 1000


class TapForm(forms.Form):
    """One tap. `tap` names it; `ago_ms` says how long it waited for the network, whatever the device's clock shows."""

    kind = forms.ChoiceField(choices=room.MarkKind.choices)
    nail = forms.SlugField(required=False)
    side = forms.SlugField(required=False)
    tap = forms.RegexField(r"\A[A-Za-z0-9_-]{20,40}\Z")
    ago_ms = forms.IntegerField(required=False, min_value=0, max_value=LONGEST_WAIT_MS)

    def at(self, now: datetime) -> datetime:
        return now - timedelta(milliseconds=self.cleaned_data["ago_ms"] or 0)


class MarkForm(CorrectionReasonForm):
    """A moment corrected, or taken back."""

    on = DayField(label="Day", label_for_errors="the day", question="Which day?")
    at = ClockField(label="Time", error_messages={"required": "Enter the time like 09:20:30"})
    field_order = ("on", "at", "reason")

    def __init__(self, *args, today: date, was: datetime, taken_back: bool = False, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fold = was.fold
        self.fields["on"].today = today
        if taken_back:
            del self.fields["on"], self.fields["at"]

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("on") and answers.get("at"):
            try:
                answers["moment"] = instant_of(answers["on"], answers["at"], fold=self.fold)
            except forms.ValidationError as problem:
                self.add_error("at", problem)
        return answers

    def moment(self) -> datetime:
        return self.cleaned_data["moment"]


class PhaseForm(forms.Form):
    """All lines of one phase, the second initials, and a note for whatever was not so."""

    second_initials = forms.CharField(
        label="Initials of the second person",
        max_length=10,
        error_messages={"required": "Enter the initials of the second person; alone, those of the patient or carer"},
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    note = forms.CharField(label="Note", max_length=500, required=False)

    def __init__(self, *args, lines: Sequence[room.CheckItem], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        for line in lines:
            self.fields[line.code] = choice(line.wording, room.CheckAnswer, f"Answer “{line.wording}”", columns=3)
        self.order_fields([*(line.code for line in lines), "note", "second_initials"])

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if any(answers.get(line.code) == room.CheckAnswer.NO for line in self.lines) and not answers.get("note"):
            self.add_error("note", "Say what was not so and what was done about it")
        return answers

    def answers(self) -> dict[str, str]:
        return {line.code: self.cleaned_data[line.code] for line in self.lines}

    def questions(self) -> list[forms.BoundField]:
        return [self[line.code] for line in self.lines]


class EventForm(OneTimeForm, forms.Form):
    """Something that went, or nearly went, wrong."""

    kind = choice("What happened", words.EventKind, "Choose what happened")
    harm = choice("Harm", words.Harm, "Choose how much harm came of it")
    note = forms.CharField(label="In words", max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3}))

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("kind") == words.EventKind.OTHER and not answers.get("note"):
            self.add_error("note", "Say in words what happened")
        return answers


class SignForm(forms.Form):
    """The operator's signature: a tick, and that what is missing was seen."""

    read = forms.BooleanField(
        label="I have read this note and sign it", error_messages={"required": "Tick that you have read the note"}
    )
    seen_gaps = forms.BooleanField(
        label="I sign with these things not recorded",
        error_messages={"required": "Tick that you sign with these things not recorded, or record them first"},
    )

    def __init__(self, *args, gaps: Sequence[str], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if not gaps:
            del self.fields["seen_gaps"]
