"""The attendance as a form: when, who operated, who consented."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.db.models import Q, QuerySet

from clinic.access.answers import AskedWhenNeeded, buttons, choice
from clinic.access.models import Member
from clinic.access.numbers import DayField
from clinic.access.rules import Action, roles_that_may
from clinic.preparation.fields import note_asked
from clinic.procedures.models import Operation
from clinic.vocabulary import procedure as words

OTHER_DAY = "another"


class VisitForm(AskedWhenNeeded, forms.Form):
    """The attendance: when, who operated, who consented."""

    when = forms.CharField(
        label="Date of the operation",
        widget=buttons(opens=(OTHER_DAY,), columns=3),
    )
    performed_on = DayField(
        label="Which day",
        label_for_errors="the operation date",
        question="When was the operation?",
    )
    operator = forms.ModelChoiceField(
        label="Operator",
        queryset=Member.objects.none(),
        to_field_name="key",
        empty_label="Choose who operated",
        error_messages={
            "required": "Choose who operated",
            "invalid_choice": "Choose an operator of this practice who may operate",
        },
    )
    consent_given_by = choice(
        "Consent given by", words.ConsentGiver, "Choose who gave consent, or “Not recorded”", columns=4
    )
    note = forms.CharField(
        label="Note",
        max_length=1850,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "The note may have at most 1850 characters"},
    )
    asked_when_needed = ("when", "performed_on")

    def __init__(
        self, *args, member: Member, born_on: date, today: date, operation: Operation | None = None, **kwargs
    ) -> None:
        super().__init__(*args, **kwargs)
        self.born_on, self.today = born_on, today
        self.fields["performed_on"].today = today
        self.fields["operator"].queryset = operators_of(member, stored=operation.operator_id if operation else None)
        self.fields["when"].widget.choices = self.days()

    def days(self) -> list[tuple[str, str]]:
        """The days stand as dates in the answers, so that a draft opened tomorrow still means the same day."""
        yesterday = self.today - timedelta(days=1)
        near = [("Today", self.today), ("Yesterday", yesterday)]
        return [*((day.isoformat(), f"{name}, {day.day} {day:%b}") for name, day in near), (OTHER_DAY, "Another day")]

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        self.settle_day(answers)
        day = answers.get("performed_on")
        if day and day < self.born_on:
            self.add_error("performed_on", "The operation date lies before the patient was born; check it")
        elif day:
            self.check_child(answers, day)
        return answers

    def settle_day(self, answers: dict[str, Any]) -> None:
        """One date from the quick choice and the date field."""
        when, typed = answers.get("when"), answers.get("performed_on")
        if "performed_on" in self.errors:
            return
        if when in dict(self.days()) and when != OTHER_DAY:
            answers["performed_on"] = date.fromisoformat(when)
        elif typed is None:
            asked = "performed_on" if when == OTHER_DAY else "when"
            self.add_error(asked, "When was the operation? Give day, month and year")

    def check_child(self, answers: dict[str, Any], day: date) -> None:
        born = self.born_on
        age = day.year - born.year - ((day.month, day.day) < (born.month, born.day))
        asked = note_asked(answers.get("consent_given_by"), age)
        if asked and not answers.get("note"):
            self.add_error("note", asked)


def operators_of(member: Member, *, stored: int | None = None) -> QuerySet[Member]:
    """People of the member's practice who may operate.

    stored: who operated, in a correction; they did so even if they have since left or changed their role.
    """
    may = roles_that_may(Action.RECORD_OPERATION)
    today = Q(practice_id=member.practice_id, is_active=True, role__in=may)
    people = Member.objects.filter(today | Q(pk=stored) if stored else today)
    return people.order_by("last_name", "first_name", "username")
