"""The patient's page: four taps for each toe, one more, and send. Nothing is filled in; a sign that is not ticked is
not a sign that is not there."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.core.files.uploadedfile import UploadedFile

from clinic.access.answers import buttons
from clinic.photographs.cleaning import Clean, clean, refuse_other_ending, too_large
from clinic.photographs.outline import Refusal
from clinic.procedures.models import NailProcedure, TreatedSide
from clinic.reports import wording
from clinic.vocabulary.procedure import NailSide
from clinic.vocabulary.recall import FluidSeen, SeenAtSide

PAIN_CHOICES = [(str(score), str(score)) for score in range(11)]
YES_NO = [("no", "No"), ("yes", "Yes, please")]
BOTH = "both"
LONGEST_NOTE = 300


@dataclass(frozen=True)
class ToeAnswers:
    """One toe, as the patient sees it. nail and sore: by treated side; nail is None where growth is expected."""

    pain: int
    fluid: str
    nail: dict[TreatedSide, SeenAtSide | None]
    sore: dict[TreatedSide, SeenAtSide]


def asked(label: str, choices: list[tuple[str, str]], missing: str, **options: Any) -> forms.Field:
    """Three answers in a row, else two; the numbers as many as fit."""
    columns = 0 if len(choices) > len(SeenAtSide) * 2 else 3 if len(choices) == len(SeenAtSide) else 2
    return forms.ChoiceField(
        label=label, choices=choices, widget=buttons(columns=columns),
        error_messages={"required": missing, "invalid_choice": missing}, **options,
    )  # fmt: skip


class ReportForm(forms.Form):
    """nails: the toes that are still there, with their treated sides fetched. takes_picture: of adults only."""

    use_required_attribute = False

    def __init__(self, *args: Any, nails: Sequence[NailProcedure], takes_picture: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.nails = list(nails)
        self.fields["signs"] = forms.MultipleChoiceField(
            label=wording.ANY_SIGN, help_text=wording.ANY_SIGN_HINT, required=False,
            choices=[(sign.value, words) for sign, words in wording.SIGNS.items()],
            widget=buttons(forms.CheckboxSelectMultiple, columns=2, asked_when_open=True),
            error_messages={"invalid_choice": "Tick only what is on the list"},
        )  # fmt: skip
        for number, nail in enumerate(self.nails):
            self._add_toe(number, nail)
        self.fields["call"] = asked(wording.CALL, YES_NO, "Choose whether we shall call you")
        self.fields["note"] = forms.CharField(
            label=wording.NOTE, help_text=wording.NOTE_HINT, max_length=LONGEST_NOTE, required=False,
            widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off"}),
            error_messages={"max_length": "The note is too long: at most 300 letters"},
        )  # fmt: skip
        if takes_picture:
            self._add_picture()

    def _add_toe(self, number: int, nail: NailProcedure) -> None:
        where = f": {wording.toe_in_words(nail.foot, nail.toe)}" if len(self.nails) > 1 else ""
        missing = f"Choose a number from 0 to 10{where}"
        pain = asked(wording.PAIN, PAIN_CHOICES, missing, help_text=wording.PAIN_HINT)
        pain.widget.attrs["class"] = "scale"
        self.fields[f"pain{number}"] = pain
        self.fields[f"fluid{number}"] = asked(wording.FLUID, FluidSeen.choices(), f"Choose what you see{where}")
        sides = side_choices(nail)
        if nail.matrix_destroyed:
            self.fields[f"nail{number}"] = asked(wording.NAIL, sides, f"Choose whether you see new nail{where}")
        self.fields[f"sore{number}"] = asked(wording.SORE, sides, f"Choose whether that side is sore{where}")

    def _add_picture(self) -> None:
        self.fields["picture"] = forms.FileField(
            label=wording.PICTURE, help_text=wording.PICTURE_HINT, required=False,
            widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png"}),
            error_messages={"empty": "The photo is empty. Choose another one"},
        )  # fmt: skip
        if len(self.nails) > 1:
            toes = [(str(n), wording.toe_in_words(nail.foot, nail.toe)) for n, nail in enumerate(self.nails)]
            self.fields["picture_toe"] = asked(
                "Which toe does the photo show?", toes, "Choose the toe on the photo", required=False
            )
        self.fields["picture_consent"] = forms.BooleanField(label=wording.PICTURE_CONSENT, required=False)

    def toes(self) -> Iterator[tuple[str, list[forms.BoundField]]]:
        """The toe in words and its questions, in the order of the page."""
        for number, nail in enumerate(self.nails):
            names = [f"{name}{number}" for name in ("pain", "fluid", "nail", "sore")]
            yield wording.toe_in_words(nail.foot, nail.toe), [self[name] for name in names if name in self.fields]

    @property
    def takes_picture(self) -> bool:
        return "picture" in self.fields

    def clean_picture(self) -> Clean | None:
        sent: UploadedFile | None = self.cleaned_data["picture"]
        if not sent:
            return None
        most_bytes = settings.UPLOAD_MAX_FILE_BYTES
        if sent.size > most_bytes:
            raise forms.ValidationError(too_large(most_bytes))
        try:
            picture = clean(sent.read(), most_bytes=most_bytes, most_pixels=settings.PHOTOGRAPH_MAX_PIXELS)
            refuse_other_ending(sent.name, picture.media_type)
        except Refusal as refusal:
            raise forms.ValidationError(str(refusal)) from refusal
        return picture

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("picture"):
            if not answers.get("picture_consent"):
                self.add_error("picture_consent", "Tick that we may keep the photo, or send no photo")
            if "picture_toe" in self.fields and not answers.get("picture_toe"):
                self.add_error("picture_toe", "Choose the toe on the photo")
        return answers

    def answers(self) -> dict[NailProcedure, ToeAnswers]:
        return {nail: self._toe(number, nail) for number, nail in enumerate(self.nails)}

    def _toe(self, number: int, nail: NailProcedure) -> ToeAnswers:
        given = self.cleaned_data
        sides = list(nail.treated_sides.all())
        nail_seen = given.get(f"nail{number}")
        return ToeAnswers(
            pain=int(given[f"pain{number}"]),
            fluid=given[f"fluid{number}"],
            nail={side: at_side(nail_seen, side) if nail_seen else None for side in sides},
            sore={side: at_side(given[f"sore{number}"], side) for side in sides},
        )

    @property
    def pictured(self) -> NailProcedure | None:
        """The toe on the photograph; None without one."""
        if not self.cleaned_data.get("picture"):
            return None
        return self.nails[int(self.cleaned_data.get("picture_toe") or 0)]


def side_choices(nail: NailProcedure) -> list[tuple[str, str]]:
    """Yes and no for one edge or a whole nail; for two edges, which of them."""
    if len(nail.sides) < 2:
        return SeenAtSide.choices()
    named = [(side, f"Yes, {wording.side_in_words(nail.toe, side)}") for side in nail.sides]
    return [("no", "No"), *named, (BOTH, "Yes, both sides"), ("not_sure", "Not sure")]


def at_side(answer: str, side: TreatedSide) -> SeenAtSide:
    """What one answer about a toe says of one of its sides."""
    if answer in SeenAtSide.codes():
        return SeenAtSide(answer)
    assert answer in {BOTH, NailSide.TIBIAL.value, NailSide.FIBULAR.value}  # noqa: S101 - the field knows no other
    return SeenAtSide.YES if answer in {BOTH, side.side} else SeenAtSide.NO
