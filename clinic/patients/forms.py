"""Finding, registering and correcting a patient. Sex and risk answers are asked, never filled in."""

import re
from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.access.answers import AskedWhenNeeded
from clinic.access.forms import LARGEST_VERSION, VersionedForm
from clinic.access.models import Member
from clinic.access.numbers import DayField, say_day
from clinic.access.once import OneTimeForm
from clinic.access.rules import Action, may
from clinic.patients.identity import Identity, find_entries
from clinic.patients.models import RISK_FIELDS, Patient
from clinic.patients.sealed import loose_number_digest, plain_letters, record_number_digest
from clinic.vocabulary.procedure import Answer, Sex

IDENTITY_FIELDS = ("family_name", "given_name", "record_number", "phone", "email")
RISK_LABELS = {
    "diabetes": "Diabetes",
    "antithrombotic": "Takes a blood thinner",
    "poor_circulation": "Poor circulation in the foot",
    "immunosuppressed": "Immune system suppressed",
}
RISK_ANSWERS = (Answer.YES, Answer.NO, Answer.NOT_ASSESSED)
PHONE = re.compile(r"[0-9+()/ .-]{3,40}")
LONGEST_LIFE_YEARS = 119
MOST_WORDS = 6  # each word is one join; more find nothing that six do not find


class FindForm(forms.Form):
    q = forms.CharField(
        label="Record number, or the beginning of the names",
        max_length=100,
        error_messages={"required": "Type a record number or the beginning of a name"},
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false", "type": "search"}),
    )

    def clean_q(self) -> str:
        query = self.cleaned_data["q"]
        words = plain_letters(query.replace("-", " ")).split()
        if not words:
            raise ValidationError("Type at least one letter or digit")
        if len(words) > MOST_WORDS:
            raise ValidationError(f"Type at most {MOST_WORDS} words")
        return query


class PatientForm(forms.Form):
    """Who the patient is, and the risk answers for those who may read them."""

    family_name = forms.CharField(
        label="Family name",
        max_length=80,
        error_messages={"required": "Enter the family name"},
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    given_name = forms.CharField(
        label="Given name",
        max_length=80,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    born_on = DayField(label="Born on", label_for_errors="the date of birth", question="When was the patient born?")
    sex = forms.ChoiceField(
        label="Sex",
        choices=Sex.choices(),
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose the sex as registered, or “Not recorded”",
            "invalid_choice": "Choose the sex from the list",
        },
    )
    record_number = forms.CharField(
        label="Record number",
        max_length=30,
        error_messages={"required": "Enter the record number"},
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    phone = forms.CharField(
        label="Phone",
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off", "type": "tel"}),
    )
    email = forms.EmailField(
        label="E-mail",
        max_length=200,
        required=False,
        error_messages={"invalid": "Enter an e-mail address like name@example.org"},
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args, member: Member, today: date, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.member, self.today = member, today
        born_on = self.fields["born_on"]
        born_on.today, born_on.earliest = today, date(today.year - LONGEST_LIFE_YEARS, 1, 1)
        self.asks_risks = may(member.role, Action.READ_RECORD)
        for name in RISK_FIELDS if self.asks_risks else ():
            self.fields[name] = risk_field(RISK_LABELS[name], self.risk_answers(name))

    def risk_answers(self, name: str) -> tuple[Answer, ...]:
        return RISK_ANSWERS

    def risks(self) -> list[forms.BoundField]:
        return [self[name] for name in RISK_FIELDS if name in self.fields]

    def clean_phone(self) -> str:
        phone = self.cleaned_data["phone"]
        if phone and not PHONE.fullmatch(phone):
            raise ValidationError("A phone number has digits, spaces and the signs + ( ) / - only")
        return phone

    def clean_record_number(self) -> str:
        number = self.cleaned_data["record_number"]
        if not plain_letters(number).split():
            raise ValidationError("The record number needs a letter or a digit")
        if self.same_number(number).exists():
            raise ValidationError(number_taken(number))
        return number

    def same_number(self, number: str):
        digest = record_number_digest(self.member.practice_id, number)
        return Identity.objects.filter(practice_id_of_patient=self.member.practice_id, record_number_digest=digest)

    def identity_values(self) -> dict[str, str]:
        given = {name: self.cleaned_data[name] for name in IDENTITY_FIELDS}
        return given | {"born_on_text": self.cleaned_data["born_on"].isoformat()}

    def patient_values(self) -> dict[str, Any]:
        asked = [name for name in ("sex", *RISK_FIELDS, "no_contact_wished", "died_on") if name in self.fields]
        return {name: self.cleaned_data[name] for name in asked}


class RegisterForm(AskedWhenNeeded, OneTimeForm, PatientForm):
    another_person = forms.BooleanField(label="This is another person")
    asked_when_needed = ("another_person",)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.namesakes: list[Patient] = []

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("family_name") and answers.get("born_on"):
            self.namesakes = namesakes(
                self.member, answers["family_name"], answers.get("given_name", ""), answers["born_on"]
            )
        shared = "name and date of birth"
        if not self.namesakes and answers.get("record_number"):
            self.namesakes = near_numbers(self.member, answers["record_number"])
            shared = "record number, but for its signs,"
        if self.namesakes and not answers.get("another_person"):
            self.add_error(
                "another_person",
                f"Somebody with this {shared} is registered. Open that record, or tick that this is another person",
            )
        return answers


class ChangeForm(VersionedForm, PatientForm):
    no_contact_wished = forms.BooleanField(label="Wishes no contact from the practice", required=False)
    reason = forms.CharField(
        label="Reason for the change", max_length=100, error_messages={"required": "Give the reason for the change"}
    )

    def __init__(self, *args, patient: Patient, **kwargs) -> None:
        self.patient = patient
        super().__init__(*args, version=patient.identity.version, **kwargs)
        if patient.died_on:  # told at a contact; here it is corrected, or taken away
            self.fields["died_on"] = DayField(
                label="Died on", label_for_errors="the date of death", today=self.today, required=False,
                help_text="Empty if the patient has not died.",
            )  # fmt: skip
        self.fields["patient_version"] = forms.IntegerField(
            widget=forms.HiddenInput, min_value=1, max_value=LARGEST_VERSION, initial=patient.version
        )

    def risk_answers(self, name: str) -> tuple[Answer, ...]:
        """A stored answer outside the usual ones stays one, so that a new phone number changes no risk."""
        stored = Answer(getattr(self.patient, name))
        return RISK_ANSWERS if stored in RISK_ANSWERS else (*RISK_ANSWERS, stored)

    def clean_died_on(self) -> date | None:
        died_on = self.cleaned_data["died_on"]
        if died_on and (fault := fault_of_death(self.patient, died_on)):
            raise ValidationError(fault)
        return died_on

    def same_number(self, number: str):
        return super().same_number(number).exclude(patient=self.patient)

    def catch_up_with(self, patient: Patient) -> None:
        self.catch_up(patient.identity.version)
        self.data["patient_version"] = str(patient.version)


def fault_of_death(patient: Patient, died_on: date) -> str:
    """Why the patient cannot have died on that day; empty where nothing speaks against it."""
    operated_on = patient.operated_after(died_on)
    return f"The date of death lies before the operation of {say_day(operated_on)}; check both" if operated_on else ""


def number_taken(number: str) -> str:
    return f"Record number {number} belongs to another patient of this practice; check it"


def risk_field(label: str, answers: Iterable[Answer]) -> forms.ChoiceField:
    message = f"Choose an answer for “{label}”"
    return forms.ChoiceField(
        label=label,
        choices=[(answer.value, answer.label) for answer in answers],
        widget=forms.RadioSelect,
        error_messages={"required": message, "invalid_choice": message},
    )


def risks_of(patient: Patient) -> list[tuple[str, str, bool]]:
    """Word, answer, and whether it deserves attention."""
    return [
        (RISK_LABELS[name], getattr(patient, f"get_{name}_display")(), getattr(patient, name) == "yes")
        for name in RISK_FIELDS
    ]


def near_numbers(member: Member, record_number: str) -> list[Patient]:
    """Patients whose record number has the same letters and digits."""
    digest = loose_number_digest(member.practice_id, record_number)
    near = Patient.objects.visible_to(member).filter(identity__digests__digest=digest)
    return list(near.select_related("identity").order_by("pk"))


def namesakes(member: Member, family_name: str, given_name: str, born_on: date) -> list[Patient]:
    """Registered patients with the same name, accents and capitals apart, and the same date of birth."""
    wanted = _letters(family_name), _letters(given_name)
    words = f"{family_name} {given_name}".replace("-", " ").split()[:MOST_WORDS]
    return [
        patient
        for patient in find_entries(member, " ".join(words))
        if (_letters(patient.identity.family_name), _letters(patient.identity.given_name)) == wanted
        and patient.identity.born_on == born_on
    ]


def _letters(name: str) -> list[str]:
    return plain_letters(name.replace("-", " ")).split()


def by_name(patients: Iterable[Patient]) -> list[Patient]:
    """Names are sealed, so the database cannot sort them."""
    return sorted(patients, key=lambda patient: plain_letters(patient.identity.name))
