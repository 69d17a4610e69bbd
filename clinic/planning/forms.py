"""Forms of the follow-up settings: one schedule, and how patients are tried and addressed."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django import forms

from clinic.access.answers import REASON_LENGTH
from clinic.access.forms import VersionedForm
from clinic.access.numbers import WholeNumberField
from clinic.planning.defaults import MOST_STEPS, WAYS
from clinic.planning.models import FollowUp
from clinic.planning.phone import fault_of
from clinic.planning.templates import LAST_DAY, faults
from clinic.schedule import SCHEDULE, ReviewPoint, Schedule, as_rows
from clinic.vocabulary.schedule import Item, ReviewCode, ReviewMode

UNITS = [("days", "days"), ("months", "calendar months")]
SHIPPED = {point.code: point for point in SCHEDULE}
LAST_MONTH, LONGEST_NAME = 36, 40


def small_number(words: str, high: int = LAST_DAY, low: int = 1) -> WholeNumberField:
    return WholeNumberField(label=words, label_for_errors=words, min_value=low, max_value=high, required=False)


def needed_when_used(field: forms.Field) -> forms.Field:
    """A field of a row that may be left out whole; the form says itself when it is missed."""
    field.required, field.widget.asked_when_open = False, True
    return field


@dataclass
class RowFields:
    """The fields of one review, as the page prints them."""

    code: ReviewCode
    used: forms.BoundField
    fields: list[forms.BoundField]
    minimum: forms.BoundField


class TemplateForm(VersionedForm, forms.Form):
    """One schedule: a row for each review there may be, used or not. Gives `schedule` once it is valid."""

    use_required_attribute = False
    reason = forms.CharField(
        label="Reason for the change", max_length=REASON_LENGTH, error_messages={"required": "Give the reason"}
    )
    previewed = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, shown: Schedule, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.schedule: Schedule = ()
        rows = {point.code: point for point in shown}
        for code in ReviewCode:
            self._add_row(code, rows.get(code.value))

    def _add_row(self, code: ReviewCode, point: ReviewPoint | None) -> None:
        name = point.name if point else code.label
        months = point.target_months if point else None
        target = None if point is None else months or point.target_day
        added = {
            "used": forms.BooleanField(label=f"{code.label} is planned", required=False, initial=point is not None),
            "name": forms.CharField(label="Name", max_length=LONGEST_NAME, required=False, initial=name),
            "target": small_number("Target"),
            "unit": forms.ChoiceField(label="Counted in", choices=UNITS, required=False),
            "opens": small_number("Opens on day"),
            "closes": small_number("Closes on day"),
            "mode": forms.ChoiceField(label="How", choices=ReviewMode.choices(), required=False),
            "minimum": forms.MultipleChoiceField(
                label="Counts as done only with", choices=Item.choices(), required=False,
                widget=forms.CheckboxSelectMultiple,
            ),
        }  # fmt: skip
        values = {
            "target": target, "unit": "months" if months else "days",
            "opens": point and point.opens_day, "closes": point and point.closes_day,
            "mode": point.mode.value if point else ReviewMode.ANY.value,
            "minimum": list(point.minimum) if point else [],
        }  # fmt: skip
        for part, field in added.items():
            field.initial = values.get(part, field.initial)
            self.fields[f"{code.value}_{part}"] = needed_when_used(field)

    def rows(self) -> Iterator[RowFields]:
        for code in ReviewCode:
            parts = [self[f"{code.value}_{part}"] for part in ("name", "target", "unit", "opens", "closes", "mode")]
            yield RowFields(code, self[f"{code.value}_used"], parts, self[f"{code.value}_minimum"])

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        used = [code for code in ReviewCode if answers.get(f"{code.value}_used")]
        complete = [self._is_complete(code, answers) for code in used]
        if all(complete) and not self.errors.keys() - {"reason"}:
            points = [self._point(code, answers) for code in used]
            self.schedule = tuple(sorted(points, key=lambda point: point.opens_day))
            for fault in faults(self.schedule):
                self.add_error(None, fault)
        return answers

    def _is_complete(self, code: ReviewCode, answers: dict[str, Any]) -> bool:
        complete = True
        for part, words in (("name", "name"), ("target", "target"), ("opens", "first day"), ("closes", "last day")):
            field = f"{code.value}_{part}"
            if not answers.get(field) and field not in self.errors:
                self.add_error(field, f"{code.label}: the {words} is missing")
            complete = complete and bool(answers.get(field))
        months = answers.get(f"{code.value}_unit") == "months"
        if complete and months and answers[f"{code.value}_target"] > LAST_MONTH:
            self.add_error(f"{code.value}_target", f"{code.label}: at most {LAST_MONTH} months")
            complete = False
        return complete

    def _point(self, code: ReviewCode, answers: dict[str, Any]) -> ReviewPoint:
        given = {part: answers[f"{code.value}_{part}"] for part in ("name", "target", "unit", "opens", "closes")}
        months = given["target"] if given["unit"] == "months" else None
        return ReviewPoint(
            code=code.value, name=given["name"], target_day=_day_of(given["target"], months), target_months=months,
            opens_day=given["opens"], closes_day=given["closes"],
            mode=ReviewMode(answers[f"{code.value}_mode"] or ReviewMode.ANY),
            minimum=tuple(item.value for item in Item if item.value in answers[f"{code.value}_minimum"]),
        )  # fmt: skip

    @property
    def stamp(self) -> str:
        """Tells whether the schedule that is applied is the one that was previewed."""
        return hashlib.sha256(json.dumps(as_rows(self.schedule), sort_keys=True).encode()).hexdigest()

    @property
    def was_previewed(self) -> bool:
        return bool(self.schedule) and self.cleaned_data.get("previewed") == self.stamp


def _day_of(target: int, months: int | None) -> int:
    """About which day a target lies; exact for days, a year being 365 days for months."""
    return target if months is None else round(months * 365 / 12)


class FollowUpForm(VersionedForm, forms.Form):
    """How patients are tried and addressed. The ladder has a row for each try; rows without days are not used."""

    use_required_attribute = False
    phone = forms.CharField(
        label="Phone number for patients", max_length=40, required=False,
        help_text="Stands first on the patient's page, in letters and in messages.",
    )  # fmt: skip
    out_of_hours = forms.CharField(
        label="When you are closed", max_length=200, required=False,
        help_text="Your own words, such as whom to call at night. Stands below the phone number.",
    )  # fmt: skip
    sender = forms.CharField(
        label="Name in letters and messages", max_length=60, required=False,
        help_text="Without one, the name of the practice. A name that tells nothing of feet protects patients.",
    )  # fmt: skip
    sends_email = needed_when_used(forms.BooleanField(label="Send messages by e-mail"))
    tries = WholeNumberField(
        label="Calls before the list asks about closing", label_for_errors="The number of calls", min_value=1,
        max_value=10,
    )  # fmt: skip
    close_after_days = WholeNumberField(
        label="The list asks about closing from", label_for_errors="Closing", unit="days after the target",
        min_value=1, max_value=400,
    )  # fmt: skip
    link_days = WholeNumberField(
        label="A patient's link works for", label_for_errors="The link", unit="days", min_value=1, max_value=60
    )
    reason = forms.CharField(
        label="Reason for the change", max_length=REASON_LENGTH, error_messages={"required": "Give the reason"}
    )

    def __init__(self, *args: Any, stored: FollowUp, **kwargs: Any) -> None:
        kwargs.setdefault("initial", stored_values(stored))
        super().__init__(*args, version=stored.version, **kwargs)
        for number in range(MOST_STEPS):
            self.fields[f"step{number}_days"] = WholeNumberField(
                label="Days from the target", label_for_errors="Days from the target", min_value=-60, max_value=120,
                required=False,
            )  # fmt: skip
            self.fields[f"step{number}_way"] = forms.ChoiceField(label="Way", choices=WAYS.items(), required=False)
            self.fields[f"step{number}_link"] = forms.BooleanField(label="With the patient's link", required=False)
            for part in ("days", "way", "link"):
                needed_when_used(self.fields[f"step{number}_{part}"])

    def clean_phone(self) -> str:
        phone: str = self.cleaned_data["phone"]
        if phone and (fault := fault_of(phone)):
            raise forms.ValidationError(fault)
        return phone

    def steps(self) -> Iterator[tuple[int, list[forms.BoundField]]]:
        for number in range(MOST_STEPS):
            yield number + 1, [self[f"step{number}_{part}"] for part in ("days", "way", "link")]

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("sends_email") and not answers.get("phone") and "phone" not in self.errors:
            self.add_error("phone", "Messages tell patients whom to call: give the phone number, or send no e-mail")
        rows = [self._step(number, answers) for number in range(MOST_STEPS)]
        answers["ladder"] = ladder = [row for row in rows if row["after_days"] is not None]
        days = [row["after_days"] for row in ladder]
        if not ladder:
            self.add_error("step0_days", "Give at least one try")
        elif days != sorted(set(days)):
            self.add_error("step0_days", "The tries must follow one another, each on a later day than the one before")
        return answers

    def _step(self, number: int, answers: dict[str, Any]) -> dict[str, Any]:
        way = answers.get(f"step{number}_way") or "phone"
        with_link = bool(answers.get(f"step{number}_link")) and way != "phone"
        return {"after_days": answers.get(f"step{number}_days"), "way": way, "with_link": with_link}

    def put_into(self, row: FollowUp) -> None:
        row.version = self.version
        names = ("phone", "out_of_hours", "sender", "sends_email", "tries", "close_after_days", "link_days", "ladder")
        for name in names:
            setattr(row, name, self.cleaned_data[name])


def stored_values(row: FollowUp) -> dict[str, Any]:
    """The stored settings as the form shows them."""
    names = ("phone", "out_of_hours", "sender", "sends_email", "tries", "close_after_days", "link_days")
    shown = {name: getattr(row, name) for name in names}
    for number, step in enumerate(row.ladder):
        shown |= {
            f"step{number}_days": step["after_days"], f"step{number}_way": step["way"],
            f"step{number}_link": step["with_link"],
        }  # fmt: skip
    return shown
