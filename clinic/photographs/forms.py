"""Adding a photograph, and deleting one for good."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from django import forms
from django.conf import settings
from django.core.files.uploadedfile import UploadedFile

from clinic.access.answers import ConfirmForm, ReasonForm, choice
from clinic.access.forms import VersionedForm
from clinic.access.models import Member
from clinic.access.numbers import DayField, say_day
from clinic.access.once import OneTimeForm
from clinic.photographs.cleaning import Clean, clean, refuse_other_ending, too_large
from clinic.photographs.models import Photograph
from clinic.photographs.outline import Refusal
from clinic.preparation.fields import note_asked
from clinic.procedures.models import NailProcedure
from clinic.vocabulary.photograph import PhotographUse
from clinic.vocabulary.procedure import Answer, ConsentGiver

WAIT = "Ten pictures within a minute is the most; wait a minute and send it again"


class PhotographForm(OneTimeForm, ConfirmForm):
    """nail: with its operation, patient and identity fetched. reviews: of the operation, those that stand.

    may_send: False if the member has sent too many files just now.
    """

    picture = forms.FileField(
        label="Picture",
        # A tablet opens its camera, and the picture is not kept in the tablet's own album.
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png", "capture": "environment"}),
        help_text="JPEG or PNG, at most 8 MB. Place, time and device are not kept. Nothing but the toe in the picture.",
        error_messages={"required": "Take or choose the picture", "empty": "The file is empty; choose another one"},
    )
    taken_on = DayField(
        label="Taken on", label_for_errors="the date of the photograph", question="When was the photograph taken?"
    )
    review = forms.ChoiceField(label="At which review", required=False)
    consent_for = choice("Consent given for", PhotographUse, "Choose what consent was given for", columns=2)
    consent_given_by = choice(
        "Consent given by", ConsentGiver, "Choose who gave consent", without=(ConsentGiver.NOT_RECORDED,), columns=3
    )
    consent_given_on = DayField(
        label="Consent given on", label_for_errors="the date of consent", question="When was consent given?"
    )
    note = forms.CharField(
        label="Note",
        max_length=200,
        required=False,
        error_messages={"max_length": "The note may have at most 200 characters"},
    )

    def __init__(
        self,
        *args,
        nail: NailProcedure,
        member: Member,
        reviews: Sequence,
        today: date,
        may_send: bool = True,
        **kwargs,
    ) -> None:
        kwargs.setdefault("initial", {"taken_on": today.isoformat()})
        super().__init__(*args, **kwargs)
        self.nail, self.member, self.may_send = nail, member, may_send
        self.reviews = {review.key: review for review in reviews}
        self.warnings: list[str] = []
        self.fields["review"].choices = [("", "None"), *((review.key, named(review)) for review in reviews)]
        for name in ("taken_on", "consent_given_on"):
            self.fields[name].today = today

    def clean_picture(self) -> Clean:
        sent: UploadedFile = self.cleaned_data["picture"]
        if not self.may_send:
            raise forms.ValidationError(WAIT)
        most_bytes = settings.UPLOAD_MAX_FILE_BYTES
        if sent.size > most_bytes:
            raise forms.ValidationError(too_large(most_bytes))
        try:
            picture = clean(sent.read(), most_bytes=most_bytes, most_pixels=settings.PHOTOGRAPH_MAX_PIXELS)
            refuse_other_ending(sent.name, picture.media_type)
        except Refusal as refusal:
            raise forms.ValidationError(str(refusal)) from refusal
        self._refuse_second(picture)
        return picture

    def _refuse_second(self, picture: Clean) -> None:
        earlier = self.nail.photographs.standing().filter(sha256=picture.sha256).first()
        if earlier:
            raise forms.ValidationError(f"This picture is on record already, dated {say_day(earlier.taken_on)}")

    def clean_taken_on(self) -> date:
        return self._lived_through("taken_on", "photograph")

    def clean_consent_given_on(self) -> date:
        return self._lived_through("consent_given_on", "consent")

    def _lived_through(self, name: str, what: str) -> date:
        day, patient = self.cleaned_data[name], self.nail.operation.patient
        if day < patient.identity.born_on:
            raise forms.ValidationError(f"The date of the {what} lies before the patient was born; check it")
        if patient.died_on and day > patient.died_on:
            raise forms.ValidationError(f"The date of the {what} lies after the date of death on record")
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
        day = answers.get("consent_given_on")
        age = self.nail.operation.patient.identity.age_on(day) if day else None
        if asked := note_asked(answers.get("consent_given_by"), age):
            self.add_error("note", asked)

    def _unusual(self, answers: dict[str, Any]) -> Iterator[str]:
        patient = self.nail.operation.patient
        said_no = patient.consents.valid_on(answers["consent_given_on"]).order_by("discussed_on", "pk").last()
        if said_no and said_no.photographs == Answer.NO:
            yield f"the consent to the operation of {say_day(said_no.discussed_on)} says no to photographs"
        same = Photograph.objects.visible_to(self.member).standing().filter(sha256=answers["picture"].sha256)
        if same.exclude(nail_procedure__operation__patient_id=patient.pk).exists():
            yield "the same picture is on record for another patient; check whose toe it shows"

    @property
    def reason(self) -> str:
        """Why unusual answers are right."""
        return self.reason_for(self.warnings)

    def values(self) -> dict[str, Any]:
        """Columns of the photograph."""
        names = ("taken_on", "consent_for", "consent_given_by", "consent_given_on", "note")
        review = self.reviews.get(self.cleaned_data["review"])
        return {"review": review, **{name: self.cleaned_data[name] for name in names}}


def named(review: Any) -> str:
    """'3 Jun 2026, day 42'."""
    return f"{say_day(review.seen_on)}, day {review.day}"


class DeleteForm(VersionedForm, ReasonForm):
    """Why the picture goes, and a tick: there is no way back."""

    use_required_attribute = False
    sure = forms.BooleanField(
        label="Delete the picture for good", error_messages={"required": "Tick that the picture is to be deleted"}
    )
    field_order = ("reason", "sure")
