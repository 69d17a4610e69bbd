"""Booking a review and logging a contact."""

from datetime import UTC, date, datetime, timedelta

from django import forms
from django.utils import timezone

from clinic.access.answers import choice
from clinic.access.numbers import DayField, say_day
from clinic.patients.forms import fault_of_death
from clinic.procedures.models import Operation
from clinic.reviews.models import Contact
from clinic.vocabulary.redflag import Reported
from clinic.vocabulary.review import ContactChannel, ContactResult

NEXT_TRY_AFTER_DAYS = 3
# The last window closes after 14 months; a later appointment is a slip of the pen.
FURTHEST_BOOKING_DAYS = 430
LOGGED_BY_HAND = [term for term in ContactResult if term != ContactResult.BOOKED]
TRIED_AGAIN = {
    ContactResult.SENT, ContactResult.LEFT_MESSAGE, ContactResult.NO_ANSWER, ContactResult.DID_NOT_ATTEND,
}  # fmt: skip


class OpensRadio(forms.RadioSelect):
    """Radio buttons of which one asks for the date of death."""

    opens = (ContactResult.DIED.value,)


class BookingForm(forms.Form):
    on = DayField(
        label="Date", label_for_errors="the appointment", question="When is the appointment?", may_be_future=True
    )
    at = forms.TimeField(
        label="Time",
        input_formats=["%H:%M"],
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        error_messages={"required": "Enter the time of the appointment", "invalid": "Enter the time like 09:20"},
    )

    channel = choice(
        "How it was agreed", ContactChannel, "Choose how it was agreed", required=False, columns=3,
        asked_when_open=True, initial=ContactChannel.PHONE.value,
    )  # fmt: skip

    def __init__(self, *args, operation: Operation, now: datetime, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.operation, self.now = operation, now

    def clean(self) -> dict:
        answers = super().clean()
        if died_on := self.operation.patient.died_on:
            raise forms.ValidationError(f"The patient died on {say_day(died_on)}; no review is booked")
        answers["channel"] = answers.get("channel") or ContactChannel.PHONE.value
        if answers.get("on") and answers.get("at"):
            starts_at = timezone.make_aware(datetime.combine(answers["on"], answers["at"]))
            if timezone.localtime(starts_at.astimezone(UTC)).time() != answers["at"]:
                self.add_error("at", f"{answers['at']:%H:%M} does not exist on that day: the clocks go forward")
            elif starts_at <= self.now:
                self.add_error("on", "The appointment lies in the past; to record a visit, open “Record review”")
            elif starts_at > self.now + timedelta(days=FURTHEST_BOOKING_DAYS):
                self.add_error("on", "The appointment lies more than 14 months ahead; check the year")
            answers["starts_at"] = starts_at
        return answers


class ContactForm(forms.Form):
    channel = forms.ChoiceField(
        label="How",
        choices=ContactChannel.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose how you tried", "invalid_choice": "Choose how you tried"},
    )
    result = forms.ChoiceField(
        label="What came of it",
        choices=[(term.value, term.label) for term in LOGGED_BY_HAND],
        widget=OpensRadio,
        error_messages={"required": "Choose what came of it", "invalid_choice": "Choose what came of it"},
    )
    died_on = DayField(
        label="Date of death",
        label_for_errors="the date of death",
        question="When did the patient die?",
        required=False,
    )
    next_try_on = DayField(label="Next try", label_for_errors="the next try", may_be_future=True, required=False)
    reported = choice(
        "Does the patient report one of these?",
        Reported,
        "Choose what the patient reports, or “Nothing of these”",
        required=False,
        columns=2,
        without=(Reported.NOT_ASKED,),
    )
    note = forms.CharField(label="Note", max_length=500, required=False)
    another = forms.BooleanField(label="This is another try", required=False)
    asks_whether_another = False

    def __init__(self, *args, today: date, operation: Operation, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.today, self.patient = today, operation.patient
        self.fields["died_on"].today = today
        self.fields["next_try_on"].initial = working_days_after(today, NEXT_TRY_AFTER_DAYS)

    def clean(self) -> dict:
        answers = super().clean()
        if answers.get("result") == ContactResult.DIED and not answers.get("died_on") and "died_on" not in self.errors:
            self.add_error("died_on", "When did the patient die? Give day, month and year")
        if answers.get("result") == ContactResult.DIED and answers.get("died_on"):
            self._check_death(answers["died_on"])
        if answers.get("result") == ContactResult.PROBLEM and not answers.get("reported"):
            self.add_error("reported", "Choose what the patient reports, or “Nothing of these”")
        answers["reported"] = answers.get("reported") or Reported.NOT_ASKED.value
        if answers.get("result") not in TRIED_AGAIN:
            answers["next_try_on"] = None
        elif answers.get("next_try_on") and answers["next_try_on"] <= self.today:
            self.add_error("next_try_on", "Next try must be after today")
        return answers

    def _check_death(self, died_on: date) -> None:
        if self.patient.died_on and self.patient.died_on != died_on:
            self.say_other_death(self.patient.died_on)
        elif fault := fault_of_death(self.patient, died_on):
            self.add_error("died_on", fault)

    def say_other_death(self, on_record: date) -> None:
        self.add_error(
            "died_on",
            f"{say_day(on_record)} is on record. If that is wrong, correct it in the patient's data, with the reason",
        )

    def ask_whether_another(self, theirs: Contact, now: datetime) -> None:
        """Somebody else logged the same a moment ago: the page says so, and asks."""
        self.asks_whether_another = True
        minutes = int((now - theirs.recorded_at).total_seconds() // 60)
        ago = "a moment ago" if minutes < 1 else "a minute ago" if minutes == 1 else f"{minutes} minutes ago"
        what = f"{theirs.get_channel_display()}, {theirs.get_result_display().lower()}"
        self.add_error(
            "another",
            f"{theirs.recorded_by} logged a contact {ago} ({what}). Tick if yours is another one, or leave it",
        )


def working_days_after(day: date, count: int) -> date:
    """The date `count` working days (Monday to Friday) after `day`."""
    while count:
        day += timedelta(days=1)
        count -= day.weekday() < 5
    return day
