"""Forms of the settings, one a topic. Each gives the columns of the practice that it asks for."""

import hashlib
import json
import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.access.answers import REASON_LENGTH, AskedWhenNeeded, buttons
from clinic.access.forms import VersionedForm, shown
from clinic.access.models import ALWAYS_OFFERED, Practice, bands_are_ascending
from clinic.access.numbers import NumberField, WholeNumberField
from clinic.practice.offers import OFFERS
from clinic.vocabulary.procedure import STAGES, StageSystem
from clinic.vocabulary.theatre import CHECK_ITEMS, CheckItem, Phase

PERCENT = Decimal(100)
LONGEST_WORDING = 120
NO_SYSTEM = "all"
GIVE_REASON = "Give the reason for the change"


class AskedTwice(AskedWhenNeeded, VersionedForm):
    """Mixin before forms.Form: first what is to be changed; then, beside what it would mean, why.

    seen: names the answers whose effect the page showed, so that nothing is saved unseen.
    """

    asked_when_needed = ("reason",)
    not_questions = frozenset({"reason", "seen", "version", "once"})

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"] = forms.CharField(
            label="Reason for the change",
            max_length=REASON_LENGTH,
            error_messages={
                "required": GIVE_REASON,
                "max_length": f"The reason may have at most {REASON_LENGTH} characters",
            },
            widget=forms.TextInput(attrs={"autocomplete": "off"}),
        )
        self.fields["seen"] = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def values(self) -> dict[str, Any]:
        """Columns of the row, from valid answers."""
        raise NotImplementedError

    @property
    def stamp(self) -> str:
        text = json.dumps(self.values(), sort_keys=True, default=str)
        return hashlib.sha256(text.encode()).hexdigest()

    def is_settled(self) -> bool:
        """Whether the effect of exactly these answers was on the page they come from, and the reason is given."""
        if self.cleaned_data.get("seen") != self.stamp:
            return False
        if not self.cleaned_data.get("reason") and "reason" not in self.errors:
            self.add_error("reason", GIVE_REASON)
        return not self.errors

    def show_effect(self) -> None:
        """The page that is made now shows the effect of these answers."""
        self.data = self.data.copy()
        self.data[self.add_prefix("seen")] = self.stamp

    def questions(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name not in self.not_questions]


class TopicForm(AskedTwice, forms.Form):
    """One topic of the settings; values() gives columns of the practice."""

    @classmethod
    def answers_of(cls, practice: Practice) -> dict[str, Any]:
        """The stored settings as the form shows them."""
        raise NotImplementedError


class AuditForm(TopicForm):
    exposure_bands = forms.CharField(
        label="Limits of the exposure bands",
        max_length=60,
        help_text="Whole seconds with commas between, like 30, 60, 120, 180. A band ends at its limit.",
        error_messages={
            "required": "Enter at least one limit, like 60",
            "max_length": "The limits may have at most 60 characters",
        },
    )
    recurrence_standard = NumberField(
        label="Standard for recurrence",
        label_for_errors="The standard",
        unit="%",
        min_value="0.1",
        max_value="99.9",
        help_text="The audit compares the recurrence at twelve months with this share.",
    )

    def clean_exposure_bands(self) -> list[int]:
        parts = [part.strip() for part in self.cleaned_data["exposure_bands"].split(",")]
        if not all(re.fullmatch(r"[0-9]{1,4}", part) for part in parts):
            raise ValidationError("Write whole seconds with commas between, like 30, 60, 120, 180.")
        bands = [int(part) for part in parts]
        bands_are_ascending(bands)
        return bands

    def values(self) -> dict[str, Any]:
        return {
            "exposure_bands_seconds": self.cleaned_data["exposure_bands"],
            "recurrence_standard": self.cleaned_data["recurrence_standard"] / PERCENT,
        }

    @classmethod
    def answers_of(cls, practice: Practice) -> dict[str, Any]:
        return {
            "exposure_bands": shown(practice.exposure_bands_seconds),
            "recurrence_standard": Decimal(practice.recurrence_standard) * PERCENT,
        }


class TimesForm(TopicForm):
    exposure_note_seconds = WholeNumberField(
        label="Note for an exposure above",
        label_for_errors="The upper limit of exposure",
        unit="s",
        min_value=1,
        max_value=1800,
        help_text="Total at one side. Exactly this many seconds need no note; one more does.",
    )
    exposure_note_below_seconds = WholeNumberField(
        label="Note for an exposure below",
        label_for_errors="The lower limit of exposure",
        unit="s",
        min_value=1,
        max_value=1800,
        required=False,
        help_text="Empty: a short exposure needs no note.",
    )
    tourniquet_note_minutes = WholeNumberField(
        label="Tourniquet: note after",
        label_for_errors="The tourniquet note",
        unit="min",
        min_value=1,
        max_value=119,
        help_text="20 is common practice, without a source; no maximum for a toe is agreed in print.",
    )
    tourniquet_alarm_minutes = WholeNumberField(
        label="Tourniquet: alarm after",
        label_for_errors="The tourniquet alarm",
        unit="min",
        min_value=2,
        max_value=120,
        help_text="30 is common practice, without a source. Above it the end of the operation asks for a reason.",
    )
    columns = (
        "exposure_note_seconds", "exposure_note_below_seconds", "tourniquet_note_minutes", "tourniquet_alarm_minutes",
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        answers = super().clean() or self.cleaned_data
        above, below = answers.get("exposure_note_seconds"), answers.get("exposure_note_below_seconds")
        note, alarm = answers.get("tourniquet_note_minutes"), answers.get("tourniquet_alarm_minutes")
        if above and below and below >= above:
            self.add_error("exposure_note_below_seconds", f"The lower limit must be less than the upper one, {above} s")
        if note and alarm and alarm <= note:
            self.add_error("tourniquet_alarm_minutes", f"The alarm must come after the note, later than {note} min")
        return answers

    def values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.columns}

    @classmethod
    def answers_of(cls, practice: Practice) -> dict[str, Any]:
        return {name: getattr(practice, name) for name in cls.columns}


class StagingForm(TopicForm):
    staging_system = forms.ChoiceField(
        label="Staging system",
        choices=[
            *(
                (system.value, f"{system.label}: {', '.join(stages)}")
                for system, stages in STAGES.items()
                if system != StageSystem.NONE
            ),
            (NO_SYSTEM, "Not chosen, offer all"),
        ],
        widget=buttons(columns=2),
        help_text="How well any of these systems performs has not been evaluated; no rule here depends on a stage.",
        error_messages={
            "required": "Choose a system, or “Not chosen, offer all”",
            "invalid_choice": "Choose a system, or “Not chosen, offer all”",
        },
    )

    def values(self) -> dict[str, Any]:
        system = self.cleaned_data["staging_system"]
        return {"staging_system": "" if system == NO_SYSTEM else system}

    @classmethod
    def answers_of(cls, practice: Practice) -> dict[str, Any]:
        return {"staging_system": practice.staging_system or NO_SYSTEM}


def offered_field(column: str, label: str) -> forms.MultipleChoiceField:
    terms, what = OFFERS[column]
    return forms.MultipleChoiceField(
        label=label,
        choices=[(term.value, term.label) for term in terms if term not in ALWAYS_OFFERED],
        widget=buttons(forms.CheckboxSelectMultiple, columns=3),
        error_messages={
            "required": f"Tick at least one of the {what}",
            "invalid_choice": f"Tick {what} from the list",
            "invalid_list": f"Tick {what} from the list",
        },
    )


class OffersForm(TopicForm):
    """Ticks of what is offered, kept in the order of the vocabulary."""

    def values(self) -> dict[str, Any]:
        return {
            column: [code for code in OFFERS[column][0].codes() if code in self.cleaned_data[column]]
            for column in self.fields
            if column in OFFERS
        }

    @classmethod
    def answers_of(cls, practice: Practice) -> dict[str, Any]:
        return {column: getattr(practice, column) for column in cls.base_fields if column in OFFERS}


class AgentsForm(OffersForm):
    agents_offered = offered_field("agents_offered", "Agents for the matrix")
    anaesthetics_offered = offered_field("anaesthetics_offered", "Local anaesthetics")


class DressingsForm(OffersForm):
    dressings_offered = offered_field("dressings_offered", "Dressings")


class ChecklistForm(TopicForm):
    """One line of text for each item. A line that is empty or says the shipped words is not kept as an own one."""

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for item in CHECK_ITEMS:
            self.fields[item.code] = wording_field(item)

    def phases(self) -> list[tuple[Phase, list[forms.BoundField]]]:
        return [(phase, [self[item.code] for item in CHECK_ITEMS if item.phase == phase]) for phase in Phase]

    def values(self) -> dict[str, Any]:
        typed = {item: " ".join(self.cleaned_data[item.code].split()) for item in CHECK_ITEMS}
        return {
            "checklist_wording": {item.code: text for item, text in typed.items() if text not in {"", item.wording}}
        }

    @classmethod
    def answers_of(cls, practice: Practice) -> dict[str, Any]:
        return {item.code: practice.checklist_wording.get(item.code, "") for item in CHECK_ITEMS}


def wording_field(item: CheckItem) -> forms.CharField:
    field = forms.CharField(
        label=item.wording,
        required=False,
        max_length=LONGEST_WORDING,
        error_messages={"max_length": f"A line may have at most {LONGEST_WORDING} characters: “{item.wording}”"},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    field.widget.asked_when_open = True  # the page says once that an empty line is read as shipped
    return field


FORMS: dict[str, type[TopicForm]] = {
    "times": TimesForm,
    "agents": AgentsForm,
    "dressings": DressingsForm,
    "staging": StagingForm,
    "checklist": ChecklistForm,
    "audit": AuditForm,
}
