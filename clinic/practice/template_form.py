"""The form of a template: every answer but the technique may be left open."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.access.answers import buttons
from clinic.access.models import Practice
from clinic.access.numbers import NumberField, plain
from clinic.access.once import OneTimeForm
from clinic.practice.forms import AskedTwice
from clinic.practice.models import OperationTemplate
from clinic.practice.offers import offer
from clinic.vocabulary import procedure as words
from clinic.vocabulary import theatre as room
from clinic.vocabulary.terms import Term, label_of

LEFT_OPEN = [("", "Leave open")]
COLUMNS: dict[str, type[Term]] = {
    "technique": words.Technique,
    "agent": words.Agent,
    "strength_basis": words.StrengthBasis,
    "lavage": words.Lavage,
    "tourniquet": words.Tourniquet,
    "skin_protected": words.Answer,
    "haemostasis": room.Haemostasis,
    "dressing": room.Dressing,
    "outer_dressing": room.OuterDressing,
    "aftercare": room.Aftercare,
}
AGENT_NAMES = ("agent", "strength_percent", "strength_basis", "lavage", "skin_protected")


def maybe(label: str, terms: Iterable[Term], **options: Any) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        choices=[*LEFT_OPEN, *((term.value, term.label) for term in terms)],
        required=False,
        error_messages={"invalid_choice": "Choose from the list, or “Leave open”"},
        **options,
    )


def without(terms: type[Term], *left_out: Term) -> list[Term]:
    return [term for term in terms if term not in left_out]


class TemplateForm(AskedTwice, forms.Form):
    name = forms.CharField(
        label="Name",
        max_length=60,
        help_text="As it is read on the button, like “Partial, phenol”.",
        error_messages={
            "required": "Give the template a name",
            "max_length": "The name may have at most 60 characters",
        },
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    technique = forms.ChoiceField(
        label="Technique",
        choices=[("", "Choose the technique"), *words.Technique.choices()],
        error_messages={"required": "Choose the technique", "invalid_choice": "Choose the technique"},
    )
    agent = maybe("Agent", without(words.Agent, words.Agent.NONE, words.Agent.NOT_RECORDED))
    strength_percent = NumberField(
        label="Strength", label_for_errors="Strength", unit="%", min_value=1, max_value=100, required=False
    )
    strength_basis = maybe("Strength given as", (words.StrengthBasis.W_W, words.StrengthBasis.W_V))
    lavage = maybe("Lavage", without(words.Lavage, words.Lavage.NOT_RECORDED))
    skin_protected = maybe("Skin protected", (words.Answer.YES, words.Answer.NO))
    tourniquet = maybe(
        "Tourniquet", without(words.Tourniquet, words.Tourniquet.GLOVE_FINGER, words.Tourniquet.NOT_RECORDED)
    )
    haemostasis = maybe("Bleeding controlled by", without(room.Haemostasis, room.Haemostasis.NOT_RECORDED))
    dressing = maybe("Dressing", without(room.Dressing, room.Dressing.NOT_RECORDED))
    outer_dressing = maybe("Outer dressing", without(room.OuterDressing, room.OuterDressing.NOT_RECORDED))
    aftercare = maybe("Aftercare", without(room.Aftercare, room.Aftercare.NOT_GIVEN, room.Aftercare.NOT_RECORDED))
    aftercare_sheet = forms.CharField(
        label="Aftercare sheet",
        max_length=60,
        required=False,
        help_text="Its name and version.",
        error_messages={"max_length": "The sheet may have at most 60 characters"},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    offered = forms.ChoiceField(
        label="Offered at a new operation",
        choices=[("yes", "Yes"), ("no", "No")],
        widget=buttons(columns=2),
        error_messages={
            "required": "Choose whether it is offered at a new operation",
            "invalid_choice": "Choose whether it is offered at a new operation",
        },
    )

    def __init__(self, *args, practice: Practice, row: OperationTemplate | None = None, **kwargs) -> None:
        super().__init__(*args, version=row.version if row else 1, **kwargs)
        self.practice, self.row = practice, row
        offer(self, "agent", practice, "agents_offered", stored=row.agent if row else "")
        offer(self, "dressing", practice, "dressings_offered", stored=row.dressing if row else "")

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        others = self.practice.operation_templates.exclude(pk=self.row.pk if self.row else None)
        if others.filter(name__iexact=name).exists():
            raise ValidationError(name_taken(name))
        return name

    def clean(self) -> dict[str, Any]:
        answers = super().clean() or self.cleaned_data
        if answers.get("technique"):
            self._check_agent(words.Technique(answers["technique"]), answers)
        return answers

    def _check_agent(self, technique: words.Technique, answers: Mapping[str, Any]) -> None:
        given = [name for name in AGENT_NAMES if answers.get(name)]
        if given and not technique.takes_agent:
            self.add_error(given[0], f"“{technique.label}” takes no agent; leave this open")
            return
        strength, basis = answers.get("strength_percent"), answers.get("strength_basis")
        if strength and not answers.get("agent") and "agent" not in self.errors:
            self.add_error("agent", "Choose the agent that this strength is of")
        if strength and not basis and "strength_basis" not in self.errors:
            self.add_error("strength_basis", "Choose what the strength is a percentage of")
        if basis and not strength and "strength_percent" not in self.errors:
            self.add_error("strength_percent", "Enter the strength, or leave its basis open")

    def values(self) -> dict[str, Any]:
        names = [*COLUMNS, "name", "strength_percent", "aftercare_sheet"]
        return {name: self.cleaned_data[name] for name in names} | {"offered": self.cleaned_data["offered"] == "yes"}


class NewTemplateForm(OneTimeForm, TemplateForm):
    """The same for a row that is not there yet."""


def answers_of(row: OperationTemplate) -> dict[str, Any]:
    """A stored template as its form shows it."""
    names = [*COLUMNS, "name", "strength_percent", "aftercare_sheet"]
    return {name: getattr(row, name) for name in names} | {"offered": "yes" if row.offered else "no"}


def words_of(row: Any) -> dict[str, str]:
    """Label and value of everything a template, or an earlier version of it, holds; empty where it is left open."""
    found = {"Name": row.name}
    for name, terms in COLUMNS.items():
        found[str(TemplateForm.base_fields[name].label)] = (
            label_of(terms, value) if (value := getattr(row, name)) else ""
        )
        if name == "agent":
            found["Strength"] = "" if row.strength_percent is None else f"{plain(row.strength_percent)}%"
    found["Aftercare sheet"] = row.aftercare_sheet
    found["Offered at a new operation"] = "yes" if row.offered else "no"
    return found


def name_taken(name: str) -> str:
    return f"There is a template “{name}” already; give another name or change that one"
