"""The parts of the assessment page, one small form each. Nothing clinical is filled in.

Every part gives its columns with `values()`, and with `unusual()` what is possible but asks for a tick and a reason.
Where "unusual" begins is common practice, without a source.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from clinic.access.answers import AskedWhenNeeded, choice
from clinic.access.models import Member
from clinic.access.numbers import DayField, NumberField, WholeNumberField, plain
from clinic.access.rules import Action
from clinic.patients.models import Patient
from clinic.preparation.fields import MemberField, TicksField, toe_field
from clinic.vocabulary import preparation as words
from clinic.vocabulary.procedure import Answer, LocalInfection
from clinic.vocabulary.sites import NailPart, capital, split_site, toe_name
from clinic.vocabulary.terms import label_of

UNUSUAL_WEIGHT = (15, 200)
UNUSUAL_WEEKS = 520
UNUSUAL_ABPI = (Decimal("0.30"), Decimal("1.60"))
TREATED_BEFORE = [term.value for term in words.PriorSurgery if term.treated]


@dataclass(frozen=True)
class Subject:
    """Whom the page is about, as far as answers are checked against it."""

    born_on: date
    died_on: date | None
    sex: str
    today: date

    @classmethod
    def of(cls, patient: Patient, today: date) -> "Subject":
        return cls(patient.identity.born_on, patient.died_on, patient.sex, today)


class Part(AskedWhenNeeded, forms.Form):
    def __init__(self, *args, subject: Subject, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.subject = subject
        for field in self.fields.values():
            if isinstance(field, DayField):
                field.today = subject.today

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        for name, field in self.fields.items():
            if isinstance(field, DayField) and answers.get(name) and answers[name] < self.subject.born_on:
                self.add_error(name, f"{field.start} lies before the patient was born; check it")
        return answers

    def result_days(self) -> Iterator[tuple[str, str]]:
        """Fields with the date of a result, and its words."""
        yield from ()

    def unusual(self) -> Iterator[str]:
        yield from ()

    def values(self) -> dict[str, Any]:
        return dict(self.cleaned_data)

    def number(self, name: str) -> Any:
        return self.cleaned_data.get(name)


def result_day(what: str, label: str = "Date of the result") -> DayField:
    return DayField(label=label, label_for_errors=f"the date of {what}", required=False)


class AttendanceForm(Part):
    """When, and who looked."""

    assessed_on = DayField(
        label="Date of the assessment", label_for_errors="the assessment date", question="When was the assessment?"
    )
    assessed_by = MemberField(label="Assessed by", missing="Choose who assessed the patient")
    note = forms.CharField(
        label="Note",
        max_length=1850,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "The note may have at most 1850 characters"},
    )

    def __init__(self, *args, member: Member, stored: Member | None = None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["assessed_by"].offer(member, Action.RECORD_REVIEW, stored)

    def clean_assessed_on(self) -> date:
        day, died_on = self.cleaned_data["assessed_on"], self.subject.died_on
        if died_on and day > died_on:
            raise forms.ValidationError("The assessment lies after the date of death on record")
        return day


class WhyForm(Part):
    """Was surgery indicated?"""

    indication = choice("Main reason", words.Indication, "Choose the main reason for surgery", columns=3)
    further = TicksField(label="Further reasons", terms=words.Indication, columns=3)
    indication_other = forms.CharField(label="Which other reason", max_length=200)
    tried = TicksField(
        label="Tried before surgery",
        terms=words.Conservative,
        none="Nothing tried",
        not_asked="Not asked",
        missing="Choose what was tried before, or “Nothing tried”, or “Not asked”",
        columns=4,
    )
    symptoms_weeks = WholeNumberField(
        label="Symptoms for",
        label_for_errors="The duration of symptoms",
        unit="weeks",
        min_value=0,
        max_value=1000,
        required=False,
    )
    considered = TicksField(
        label="Look-alikes considered",
        terms=words.LookAlike,
        help_text="Tick what was thought of and found unlikely.",
        columns=3,
    )
    asked_when_needed = ("indication_other",)

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        main, further = answers.get("indication"), answers.get("further") or {}
        if main and further.get(main) == Answer.YES:
            label = label_of(words.Indication, main)
            self.add_error("further", f"“{label}” is the main reason already; take it away here")
        other = words.Indication.OTHER
        if other in {main, *(code for code, answer in further.items() if answer == Answer.YES)}:
            if not answers.get("indication_other"):
                self.add_error("indication_other", "Say which other reason")
        else:
            answers["indication_other"] = ""
        return answers

    def unusual(self) -> Iterator[str]:
        weeks = self.number("symptoms_weeks")
        if weeks is not None and weeks > UNUSUAL_WEEKS:
            yield f"symptoms for {weeks} weeks are more than ten years"


class FootForm(Part):
    """Blood supply and feeling of one foot."""

    dorsalis_pedis = choice(
        "Dorsalis pedis pulse", words.Pulse, "Choose the dorsalis pedis pulse, or “Not examined”",
        without=(words.Pulse.NOT_RECORDED,), columns=3,
    )  # fmt: skip
    posterior_tibial = choice(
        "Posterior tibial pulse", words.Pulse, "Choose the posterior tibial pulse, or “Not examined”",
        without=(words.Pulse.NOT_RECORDED,), columns=3,
    )  # fmt: skip
    doppler = choice(
        "Doppler signal", words.Doppler, "Choose the Doppler signal from the list",
        without=(words.Doppler.NOT_RECORDED,), columns=3, required=False,
    )  # fmt: skip
    abpi = NumberField(
        label="ABPI", label_for_errors="ABPI", min_value=0, max_value=2, decimal_places=2, required=False
    )
    toe_pressure = WholeNumberField(
        label="Toe pressure", label_for_errors="Toe pressure", unit="mmHg", min_value=0, max_value=250, required=False
    )
    tbi = NumberField(
        label="TBI", label_for_errors="TBI", min_value=0, max_value="1.5", decimal_places=2, required=False
    )
    ankle_pressure = WholeNumberField(
        label="Ankle pressure", label_for_errors="Ankle pressure", unit="mmHg", min_value=0, max_value=300,
        required=False,
    )  # fmt: skip
    measured_on = result_day("the pressures", "Ratios and pressures measured on")
    monofilament_sites = WholeNumberField(
        label="Monofilament sites felt", label_for_errors="Monofilament sites felt", unit="of 10", min_value=0,
        max_value=10, required=False,
    )  # fmt: skip
    measured = ("abpi", "toe_pressure", "tbi", "ankle_pressure")

    def __init__(self, *args, foot: str, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.foot = foot
        self.name = f"{foot.capitalize()} foot"

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        typed = [name for name in self.measured if answers.get(name) is not None or name in self.errors]
        if answers.get("measured_on") and not typed:
            self.add_error("measured_on", "A date is given, but no ratio or pressure; enter one or clear the date")
        return answers

    def result_days(self) -> Iterator[tuple[str, str]]:
        yield "measured_on", f"The pressures of the {self.foot} foot are"

    def unusual(self) -> Iterator[str]:
        abpi, low, high = self.number("abpi"), *UNUSUAL_ABPI
        if abpi is not None and not low <= abpi <= high:
            yield f"{self.name}: ABPI {abpi:.2f} is unusual ({low} to {high} is usual)"
        toe, ankle = self.number("toe_pressure"), self.number("ankle_pressure")
        if toe is not None and ankle is not None and toe > ankle:
            yield f"{self.name}: the toe pressure of {toe} mmHg is above the ankle pressure of {ankle} mmHg"
        if any(self.number(name) is not None for name in self.measured) and not self.number("measured_on"):
            yield f"{self.name}: ratios or pressures without the date they were measured on"

    def values(self) -> dict[str, Any]:
        answers = super().values()
        return answers | {"doppler": answers["doppler"] or words.Doppler.NOT_RECORDED.value}


class BodyForm(Part):
    weight_kg = NumberField(
        label="Weight", label_for_errors="Weight", unit="kg", min_value=5, max_value=300, required=False,
        help_text="Without it the limit of the anaesthetic cannot be worked out.",
    )  # fmt: skip
    weight_basis = choice(
        "The weight was", words.WeightBasis, "Choose whether the weight was measured or stated",
        without=(words.WeightBasis.NOT_RECORDED,), columns=2,
    )  # fmt: skip
    weight_on = result_day("the weight", "Weighed or stated on")
    asked_when_needed = ("weight_basis",)

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("weight_kg") is not None:
            if not answers.get("weight_basis") and "weight_basis" not in self.errors:
                self.add_error("weight_basis", "Choose whether the weight was measured or stated")
            if not answers.get("weight_on") and "weight_on" not in self.errors:
                self.add_error("weight_on", "When was the weight taken? Give day, month and year")
        return answers

    def result_days(self) -> Iterator[tuple[str, str]]:
        if self.number("weight_kg") is not None:
            yield "weight_on", "The weight is"

    def unusual(self) -> Iterator[str]:
        weight, (low, high) = self.number("weight_kg"), UNUSUAL_WEIGHT
        if weight is not None and not low <= weight <= high:
            yield f"a weight of {plain(weight)} kg is unusual ({low} to {high} kg is usual)"

    def values(self) -> dict[str, Any]:
        if self.number("weight_kg") is None:  # the date may have been filled in beforehand
            return {"weight_kg": None, "weight_basis": words.WeightBasis.NOT_RECORDED.value, "weight_on": None}
        return super().values()


class ToeForm(Part):
    """A toe that may be operated on."""

    toe = toe_field()
    infection = choice(
        "Infection now", LocalInfection, "Choose whether there is infection, or “Not assessed”",
        without=(LocalInfection.NOT_RECORDED,), columns=3,
    )  # fmt: skip
    bone_infection = choice(
        "Infection of the bone suspected", (Answer.YES, Answer.NO, Answer.NOT_ASSESSED),
        "Choose whether infection of the bone is suspected, or “Not assessed”", columns=3,
    )  # fmt: skip
    prior_surgery = choice(
        "Done to this nail before", words.PriorSurgery, "Choose what was done to this nail before, or “Not asked”",
        without=(words.PriorSurgery.NOT_RECORDED,), opens=TREATED_BEFORE, columns=3,
    )  # fmt: skip
    prior_part = choice("At which part", NailPart, "Choose the part from the list", columns=4, required=False)
    prior_year = WholeNumberField(
        label="In which year", label_for_errors="The year", min_value=1900, max_value=2200, required=False
    )
    prior_elsewhere = choice(
        "By another provider", (Answer.YES, Answer.NO), "Choose from the list", columns=2, required=False
    )

    @property
    def site(self) -> tuple[str, int]:
        return split_site(self.cleaned_data["toe"])

    @property
    def name(self) -> str:
        return capital(toe_name(*self.site))

    def clean_prior_year(self) -> int | None:
        year, first, last = self.cleaned_data["prior_year"], self.subject.born_on.year, self.subject.today.year
        if year is not None and not first <= year <= last:
            raise forms.ValidationError(f"The year must be between {first}, when the patient was born, and {last}")
        return year

    def values(self) -> dict[str, Any]:
        answers = super().values()
        del answers["toe"]
        if answers["prior_surgery"] not in TREATED_BEFORE:
            answers |= {"prior_part": "", "prior_year": None, "prior_elsewhere": ""}
        return answers | {"prior_elsewhere": answers["prior_elsewhere"] or Answer.NOT_RECORDED.value}
