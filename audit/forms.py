"""The question put to the audit: which operations, known by when, counted how."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from crispy_forms.helper import FormHelper
from django import forms
from django.core.exceptions import ValidationError

from audit.measures.definitions import OUTCOMES, UNITS
from audit.periods import Period, last_matured_year, problems
from clinic.access.models import Practice, bands_are_ascending


@dataclass(frozen=True)
class Question:
    """A checked question. Every page, chart and file of one answer is made from the same one."""

    period: Period
    as_of: date
    unit: str
    outcome: str
    bands: tuple[int, ...]

    @property
    def query(self) -> dict[str, str]:
        """The same question as an address."""
        return {
            "performed_from": self.period.performed_from.isoformat(),
            "performed_to": self.period.performed_to.isoformat(),
            "as_of": self.as_of.isoformat(),
            "unit": self.unit,
            "outcome": self.outcome,
            "bands": ", ".join(str(limit) for limit in self.bands),
        }


def day_field(label: str, hint: str = "") -> forms.DateField:
    """A calendar day; the message repeats what was typed, so that a slip is seen at once."""
    return DayField(
        label=label,
        help_text=hint,
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        input_formats=["%Y-%m-%d", "%d %b %Y", "%d %B %Y"],
    )


class DayField(forms.DateField):
    def to_python(self, value: Any) -> date | None:
        try:
            return super().to_python(value)
        except ValidationError as error:
            raise ValidationError(
                f"{self.label}: \u201c{value}\u201d is not a day in the calendar; enter one like 2024-04-01."
            ) from error


class BandsField(forms.CharField):
    """Exposure limits in seconds, as “30, 60, 120, 180”."""

    def to_python(self, value: Any) -> tuple[int, ...]:
        words = [word.strip() for word in str(value or "").split(",") if word.strip()]
        strange = [word for word in words if not (word.isascii() and word.isdigit() and len(word) <= 4)]
        if strange:
            raise ValidationError(
                f"\u201c{strange[0]}\u201d is not a whole number of seconds; write limits like 30, 60, 120."
            )
        limits = [int(word) for word in words]
        bands_are_ascending(limits)
        return tuple(limits)

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(str(limit) for limit in value) if isinstance(value, list | tuple) else value


class QuestionForm(forms.Form):
    """Sent by GET: the address of an answer can be kept, compared and printed."""

    performed_from = day_field("Surgery from")
    performed_to = day_field("Surgery to")
    as_of = day_field("Data as of", "Later findings are left out")
    outcome = forms.ChoiceField(label="Outcome", choices=list(OUTCOMES))
    unit = forms.ChoiceField(label="Counted per", choices=list(UNITS))
    bands = BandsField(label="Exposure limits, seconds", help_text="For this view only; each limit belongs to its band")

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.disable_csrf = True

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if {"performed_from", "performed_to", "as_of"} <= cleaned.keys():
            period = Period(cleaned["performed_from"], cleaned["performed_to"])
            for field, sentence in problems(period, as_of=cleaned["as_of"], today=self.today):
                self.add_error(field, sentence)
        return cleaned

    @property
    def question(self) -> Question:
        """The question of a valid form."""
        cleaned = self.cleaned_data
        period = Period(cleaned["performed_from"], cleaned["performed_to"])
        return Question(period, cleaned["as_of"], cleaned["unit"], cleaned["outcome"], cleaned["bands"])


def usual_answers(practice: Practice, today: date) -> dict[str, Any]:
    """What is asked when nothing is asked: the last year whose outcomes are all due."""
    year = last_matured_year(practice, today)
    return {
        "performed_from": year.performed_from.isoformat(),
        "performed_to": year.performed_to.isoformat(),
        "as_of": today.isoformat(),
        "unit": "side",
        "outcome": "symptomatic_recurrence",
        "bands": ", ".join(str(limit) for limit in practice.exposure_bands_seconds),
    }
