"""The consent page, and its confirmation on the day. Nothing is ticked for anybody."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from django import forms

from clinic.access.answers import ConfirmForm, ReasonForm, choice, note_with
from clinic.access.forms import VersionedForm
from clinic.access.models import Member
from clinic.access.numbers import DayField, say_day
from clinic.access.once import OneTimeForm
from clinic.access.rules import Action
from clinic.preparation.fields import MemberField, TicksField, note_asked, toe_field
from clinic.preparation.matching import compare
from clinic.preparation.models import Consent
from clinic.preparation.questions import Subject
from clinic.vocabulary import preparation as words
from clinic.vocabulary.procedure import Answer, ConsentGiver
from clinic.vocabulary.sites import NailPart, listed, small, split_site, toe_name

ADULT_FROM = 18


def part_field() -> forms.ChoiceField:
    missing = "Choose which part of the nail"
    return forms.ChoiceField(
        label="Which part of the nail?",
        choices=NailPart.choices(),
        widget=forms.RadioSelect,
        error_messages={"required": missing, "invalid_choice": missing},
    )


class ConsentForm(OneTimeForm, ConfirmForm):
    """earlier: standing consents of the patient, to say that there is one already."""

    toe = toe_field()
    part = part_field()
    intent = choice("Intent", words.ConsentIntent, "Choose whether the result is meant to be permanent", columns=2)
    given_by = choice(
        "Consent given by", ConsentGiver, "Choose who gave consent", without=(ConsentGiver.NOT_RECORDED,), columns=3
    )
    discussed_on = DayField(
        label="Talked about on", label_for_errors="the date of the talk", question="When was it talked about?"
    )
    discussed_by = MemberField(label="Talked about by", missing="Choose who talked with the patient")
    points = TicksField(
        label="What was talked about",
        terms=words.ConsentPoint,
        help_text="Tick each thing that was talked about.",
        columns=3,
    )
    photographs = choice(
        "Consent to photographs",
        (Answer.YES, Answer.NO, Answer.NOT_ASSESSED),
        "Choose whether photographs may be taken, or “Not assessed”",
        columns=3,
    )
    interpreter = choice(
        "Interpreter", words.Interpreter, "Choose whether somebody interpreted",
        without=(words.Interpreter.NOT_RECORDED,), columns=4,
    )  # fmt: skip
    note = forms.CharField(
        label="Note",
        max_length=1850,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "The note may have at most 1850 characters"},
    )

    def __init__(self, *args, member: Member, subject: Subject, earlier: Sequence[Consent], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.subject, self.earlier = subject, earlier
        self.warnings: list[str] = []
        self.fields["discussed_on"].today = subject.today
        self.fields["discussed_by"].offer(member, Action.RECORD_REVIEW)

    def clean_discussed_on(self) -> date:
        day = self.cleaned_data["discussed_on"]
        if day < self.subject.born_on:
            raise forms.ValidationError("The date of the talk lies before the patient was born; check it")
        if self.subject.died_on and day > self.subject.died_on:
            raise forms.ValidationError("The date of the talk lies after the date of death on record")
        return day

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if not answers.get("note"):
            self._ask_for_a_note(answers)
        if not self.errors:
            self.warnings = list(self._unusual(answers))
            self.settles(self.warnings)
        return answers

    def _ask_for_a_note(self, answers: dict[str, Any]) -> None:
        if asked := note_asked(answers.get("given_by"), self._age(answers)):
            self.add_error("note", asked)
        elif answers.get("interpreter") == words.Interpreter.NOT_THERE:
            self.add_error("note", "Note how the talk was possible without an interpreter")

    def _age(self, answers: dict[str, Any]) -> int | None:
        day, born = answers.get("discussed_on"), self.subject.born_on
        return day and day.year - born.year - ((day.month, day.day) < (born.month, born.day))

    def _unusual(self, answers: dict[str, Any]) -> Iterator[str]:
        left_out = [small(each.label) for each in words.ConsentPoint if answers["points"][each] != Answer.YES]
        if left_out:
            yield f"not ticked: {listed(left_out)}"
        if answers["given_by"] == ConsentGiver.PARENT and (self._age(answers) or 0) >= ADULT_FROM:
            yield f"a parent or guardian consented for a patient of {self._age(answers)}"
        for consent in self.earlier:
            if (consent.foot, consent.toe) == split_site(answers["toe"]):
                name, on = toe_name(consent.foot, consent.toe), say_day(consent.discussed_on)
                yield f"a consent for the {name} of {on} is on record; the newer one counts"

    @property
    def reason(self) -> str:
        """Why unusual answers are right."""
        return self.reason_for(self.warnings)

    def values(self) -> dict[str, Any]:
        """Columns of the consent."""
        names = ("part", "intent", "given_by", "discussed_on", "discussed_by", "photographs", "interpreter")
        foot, toe = split_site(self.cleaned_data["toe"])
        note = note_with(self.cleaned_data["note"], self.reason)
        return {"foot": foot, "toe": toe, "note": note, **{name: self.cleaned_data[name] for name in names}}

    def points_ticked(self) -> list[str]:
        return [code for code, answer in self.cleaned_data["points"].items() if answer == Answer.YES]


class ReconfirmForm(VersionedForm, forms.Form):
    """The patient says foot, toe and side once more; what differs from the consent is refused in words."""

    toe = toe_field()
    part = part_field()
    reconfirmed_on = DayField(
        label="Confirmed on", label_for_errors="the date of confirmation", question="When was it confirmed?"
    )
    use_required_attribute = False

    def __init__(self, *args, consent: Consent, today: date, **kwargs) -> None:
        super().__init__(*args, version=consent.version, **kwargs)
        self.consent = consent
        self.fields["reconfirmed_on"].today = today

    def clean_reconfirmed_on(self) -> date:
        day, talked_on = self.cleaned_data["reconfirmed_on"], self.consent.discussed_on
        if day < talked_on:
            raise forms.ValidationError(f"The date of confirmation lies before the talk ({say_day(talked_on)})")
        return day

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("toe") and answers.get("part"):
            site = (*split_site(answers["toe"]), answers["part"])
            if mismatch := compare(self.consent, *site, who="The patient now says"):
                at = "part" if mismatch.differs == ("part",) else "toe"
                self.add_error(at, f"{mismatch.sentence} This consent does not cover it")
        return answers


class EndForm(VersionedForm, ReasonForm):
    """Why a consent no longer counts."""
