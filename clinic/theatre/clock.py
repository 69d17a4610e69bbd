"""A time of day in a form."""

from typing import Any

from django import forms


class ClockField(forms.TimeField):
    """A time of day to the second."""

    def __init__(self, **options: Any) -> None:
        step = {"type": "time", "step": "1"}
        options.setdefault("widget", forms.TimeInput(format="%H:%M:%S", attrs=step))
        super().__init__(input_formats=["%H:%M:%S", "%H:%M"], **options)
        self.error_messages["invalid"] = "Enter the time like 09:20 or 09:20:30"
