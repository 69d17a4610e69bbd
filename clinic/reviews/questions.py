"""The questions of a review: the visit, one treated toe, one treated side.

No finding is filled in. What must be answered is asked; what opens only under an answer is ignored elsewhere.
"""

from datetime import date
from functools import partial
from typing import Any

from django import forms

from clinic.access import answers
from clinic.access.numbers import DayField, NumberField, WholeNumberField, say_day
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.reviews.models import GRAVE_FIELDS, MEASURED_FIELDS, OTHER_FIELDS, SIGN_FIELDS
from clinic.reviews.recording import explicit_retreatment, explicit_signs
from clinic.vocabulary import review as words
from clinic.vocabulary.procedure import Answer

PAIN_CHOICES = [*((str(score), str(score)) for score in range(11)), ("not_asked", "Not asked")]
OTHER_LABELS = {
    "over_granulation": "Over-granulation",
    "skin_burn": "Skin burn",
    "numbness": "Numbness",
    "dusky": "Toe dusky, white or cold",
    "altered_pain": "Pain out of proportion, or altered colour, warmth or sweating",
    "pigment": "Pigment",
    "untreated_ingrowth": "Ingrowth at the untreated side",
}
SIGN_LABELS = {
    "spreading": "Redness spreading",
    "swelling": "Swelling",
    "warmth": "Warmth",
    "tenderness": "New or worse tenderness",
    "odour": "Odour",
    "lymphangitis": "Red streaks",
    "wound_opened": "Wound opened by a clinician",
    "bone_signs": "Sausage toe, or a probe reaches bone",
    "unwell": "Shivering, confused or very unwell",
}
YES_NO = [(Answer.YES.value, "Yes"), (Answer.NO.value, "No")]
NONE_OF_THESE = "none"
SHORT = {
    words.Extent.FULL: "Full width",
    words.Symptoms.INGROWTH: "Ingrowing, inflamed",
}
buttons = partial(answers.buttons, asked_when_open=True)
choice = partial(answers.choice, short=SHORT, asked_when_open=True)


class VisitForm(forms.Form):
    """When, how it came about, who looked, by what means, and what is next."""

    seen_on = DayField(label="Date of the review", label_for_errors="the review date", question="When was the review?")
    means = choice("Seen how", words.Means, "Choose how the toe was seen")
    origin = choice("How it came about", words.Origin, "Choose whether the review was planned")
    observer = choice("Who looked", words.Observer, "Choose who looked at the toe")
    next_step = choice("Next", words.NextStep, "Choose what is next", opens=(words.NextStep.END_CLINIC.value,))
    next_reason = forms.CharField(label="Reason for ending clinic reviews", max_length=200, required=False)
    note = forms.CharField(label="Note", max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args, operation: Operation, today: date, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.operation = operation
        self.fields["seen_on"].today = today

    def clean_seen_on(self) -> date:
        seen_on = self.cleaned_data["seen_on"]
        performed_on = self.operation.performed_on
        if seen_on < performed_on:
            raise forms.ValidationError(f"This review is dated before the operation ({say_day(performed_on)})")
        return seen_on

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        means, observer = answers.get("means"), answers.get("observer")
        if observer == words.Observer.PATIENT and means in {words.Means.IN_PERSON, words.Means.LETTER}:
            self.add_error("observer", "A patient's own report comes by questionnaire, phone or photograph")
        if means == words.Means.QUESTIONNAIRE and observer and observer != words.Observer.PATIENT:
            self.add_error("observer", "A questionnaire holds the patient's own report; choose “The patient”")
        return answers


class ToeForm(forms.Form):
    """One treated toe: healing, infection components, antibiotic, pain, anything else."""

    healing = choice("Healing", words.Healing, "Choose how the toe is healing")
    signs = choice(
        "Signs of infection",
        words.Signs,
        "Choose whether you see signs of infection",
        opens=(words.Signs.SOME.value,),
        columns=4,
    )
    fluid_colour = choice("Wound fluid, colour", words.FluidColour, "Choose a colour from the list", required=False)
    fluid_consistency = choice(
        "Wound fluid, consistency", words.FluidConsistency, "Choose from the list", required=False
    )
    fluid_amount = choice("Wound fluid, amount", words.FluidAmount, "Choose an amount from the list", required=False)
    erythema_mm = WholeNumberField(
        label="Redness from the wound edge",
        label_for_errors="Redness",
        unit="mm",
        min_value=0,
        max_value=100,
        required=False,
    )
    temperature_c = NumberField(
        label="Temperature", label_for_errors="Temperature", unit="°C", min_value=34, max_value=42, required=False
    )
    pulse = WholeNumberField(
        label="Pulse", label_for_errors="Pulse", unit="/min", min_value=30, max_value=220, required=False
    )
    respiratory_rate = WholeNumberField(
        label="Breathing rate", label_for_errors="Breathing rate", unit="/min", min_value=5, max_value=60,
        required=False,
    )  # fmt: skip
    swab = choice("Swab", words.Swab, "Choose from the list", required=False)
    diagnosis = choice("Your diagnosis", words.Diagnosis, "Choose your diagnosis, or “Not assessed”", required=False)
    antibiotic = choice("Antibiotic since the last review", words.Antibiotic, "Choose whether an antibiotic was given")
    pain = forms.ChoiceField(
        label="Pain today",
        choices=PAIN_CHOICES,
        widget=buttons(**{"class": "scale"}),
        help_text="0 none, 10 worst",
        error_messages={
            "required": "Choose the pain score, or “Not asked”",
            "invalid_choice": "Pain is a whole number from 0 to 10",
        },
    )
    other = forms.MultipleChoiceField(
        label="Anything else",
        widget=buttons(forms.CheckboxSelectMultiple),
        help_text="All that apply",
        error_messages={
            "required": "Choose what else you see, or “None of these”",
            "invalid_choice": "Choose from the list",
        },
    )
    satisfaction = choice(
        "Satisfied with the result", words.Satisfaction, "Choose from the list", required=False,
    )  # fmt: skip

    def __init__(self, *args, nail: NailProcedure, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.nail = nail
        self.asks_untreated = len(nail.sides) == 1 and "whole" not in nail.sides
        others = [(code, OTHER_LABELS[code]) for code in OTHER_FIELDS]
        if self.asks_untreated:
            others.append(("untreated_ingrowth", OTHER_LABELS["untreated_ingrowth"]))
        self.fields["other"].choices = [
            (NONE_OF_THESE, "None of these"),
            *others,
            ("not_assessed", "Not assessed"),
        ]
        for name in (*SIGN_FIELDS, *GRAVE_FIELDS):
            self.fields[name] = forms.ChoiceField(
                label=SIGN_LABELS[name],
                choices=YES_NO,
                required=False,
                widget=buttons(columns=2),
            )

    def sign_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in SIGN_FIELDS]

    def grave_fields(self) -> list[forms.BoundField]:
        """What is asked only where somebody thinks of it."""
        return [self[name] for name in (*GRAVE_FIELDS, *MEASURED_FIELDS)]

    @property
    def shows_grave(self) -> bool:
        answered = (str(bound.value() or "") for bound in self.grave_fields())
        return any(text and text != Answer.NOT_ASSESSED for text in answered)

    def clean_other(self) -> list[str]:
        chosen = self.cleaned_data["other"]
        for alone in (NONE_OF_THESE, "not_assessed"):
            rest = [code for code in chosen if code != alone]
            if alone in chosen and rest:
                first = dict(self.fields["other"].choices)[rest[0]]
                alone_label = dict(self.fields["other"].choices)[alone]
                raise forms.ValidationError(f"“{alone_label}” cannot go with “{first}”; take one away")
        return chosen

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("signs") == words.Signs.SOME and not answers.get("diagnosis"):
            self.add_error("diagnosis", "Choose your diagnosis, or “Not assessed”")
        return answers

    def answers(self) -> dict[str, object]:
        """Every column of a toe finding, explicit."""
        given = self.cleaned_data
        components = ("fluid_colour", "fluid_consistency", "fluid_amount", "erythema_mm", "swab", "diagnosis")
        asked = (*components, *SIGN_FIELDS, *GRAVE_FIELDS, *MEASURED_FIELDS)
        signs = explicit_signs(given["signs"], given["healing"], {name: given.get(name) for name in asked})
        return {
            **signs,
            "healing": given["healing"],
            "antibiotic": given["antibiotic"],
            "pain_state": words.PainState.NOT_ASKED if given["pain"] == "not_asked" else words.PainState.SCORED,
            "pain": None if given["pain"] == "not_asked" else int(given["pain"]),
            "satisfaction": given["satisfaction"] or words.Satisfaction.NOT_ASKED,
            **self._others(given["other"]),
        }

    def _others(self, chosen: list[str]) -> dict[str, object]:
        if "not_assessed" in chosen:
            found = dict.fromkeys(OTHER_FIELDS, Answer.NOT_ASSESSED)
            untreated = words.UntreatedSide.NOT_ASSESSED
        else:
            found = {name: Answer.YES if name in chosen else Answer.NO for name in OTHER_FIELDS}
            new = "untreated_ingrowth" in chosen
            untreated = words.UntreatedSide.INGROWTH if new else words.UntreatedSide.NONE
        return {**found, "untreated_side": untreated if self.asks_untreated else words.UntreatedSide.NOT_APPLICABLE}


class SideForm(forms.Form):
    """One treated side: regrowth, symptoms (asked whatever the regrowth), what is done about it."""

    extent = choice(
        "Regrowth",
        words.Extent,
        "Choose what you see of regrowth",
        opens=tuple(term.value for term in words.Extent if term.regrown),
        columns=3,
    )
    symptoms = choice(
        "Symptoms",
        words.Symptoms,
        "Choose whether this side troubles the patient",
        opens=(words.Symptoms.PAIN.value, words.Symptoms.INGROWTH.value, words.Symptoms.INFECTED.value),
        columns=3,
    )
    retreatment = choice(
        "What was done", words.Retreatment, "Choose what was done about it", required=False,
        without=(words.Retreatment.NOT_ASSESSED,),
    )  # fmt: skip

    def __init__(self, *args, treated: TreatedSide, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.treated = treated
        if treated.nail_procedure.matrix_destroyed:
            kept = [pair for pair in self.fields["extent"].choices if pair[0] != words.Extent.NOT_APPLICABLE]
            self.fields["extent"].choices = kept

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        extent, symptoms = answers.get("extent"), answers.get("symptoms")
        regrown = bool(extent) and words.Extent(extent).regrown
        troubled = symptoms in {words.Symptoms.PAIN, words.Symptoms.INGROWTH, words.Symptoms.INFECTED}
        if (regrown or troubled) and not answers.get("retreatment"):
            self.add_error("retreatment", "Choose what was done about it, or “None”")
        return answers

    def answers(self) -> dict[str, object]:
        given = self.cleaned_data
        return {
            "extent": given["extent"],
            "symptoms": given["symptoms"],
            "retreatment": explicit_retreatment(given["extent"], given["symptoms"], given["retreatment"]),
        }
