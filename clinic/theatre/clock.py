"""A time of day in a form, and the instant that it means on a day."""

from datetime import UTC, date, datetime, time
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone


class ClockField(forms.TimeField):
    """A time of day to the second."""

    def __init__(self, **options: Any) -> None:
        step = {"type": "time", "step": "1"}
        options.setdefault("widget", forms.TimeInput(format="%H:%M:%S", attrs=step))
        super().__init__(input_formats=["%H:%M:%S", "%H:%M"], **options)
        self.error_messages["invalid"] = "Enter the time like 09:20 or 09:20:30"


def instant_of(day: date, clock: time, *, fold: int = 0) -> datetime:
    """The instant of a local time; fold chooses between two alike. ValidationError where the clock skips the time."""
    local = datetime.combine(day, clock, tzinfo=timezone.get_current_timezone()).replace(fold=fold)
    back = local.astimezone(UTC).astimezone(local.tzinfo)
    if back.replace(tzinfo=None, fold=0) != local.replace(tzinfo=None, fold=0):
        raise ValidationError(f"{clock:%H:%M} does not exist on that day: the clock is put forward then")
    return local
