"""Form fields for numbers and days, where a misread sign would be a tenfold error.

They accept a decimal point or a decimal comma, and refuse everything whose meaning would have to be guessed.
"""

import re
from datetime import date
from decimal import Decimal

from django import forms
from django.core.exceptions import ImproperlyConfigured, ValidationError

# [0-9], not \d: digits of other scripts look alike and mean something else.
PLAIN = re.compile(r"-?[0-9]{1,12}(?:[.,][0-9]{1,12})?")
WHOLE = re.compile(r"-?[0-9]{1,12}")
DAY = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
DAY_WITHOUT_YEAR = re.compile(r"[0-9]{1,2}[-/. ][0-9]{1,2}[-/. ]?")
MONTHS = (
    "January February March April May June July August September October November December".split()
)  # strftime would follow the machine's language


class NumberField(forms.Field):
    """A decimal number in `unit`. `label_for_errors` begins the sentences: "Volume must be between 0.1 and 20 mL"."""

    widget = forms.TextInput
    input_mode = "decimal"

    def __init__(
        self,
        *,
        label_for_errors: str,
        unit: str = "",
        min_value: Decimal | int | str | None = None,
        max_value: Decimal | int | str | None = None,
        decimal_places: int = 1,
        **options,
    ) -> None:
        self.label_for_errors = label_for_errors
        self.unit = unit
        self.low = None if min_value is None else Decimal(str(min_value))
        self.high = None if max_value is None else Decimal(str(max_value))
        self.decimal_places = decimal_places
        super().__init__(**options)
        self.error_messages["required"] = f"{label_for_errors} is missing; {self.example()}"

    def widget_attrs(self, widget: forms.Widget) -> dict[str, str]:
        unit = {"data-unit": self.unit} if self.unit else {}
        return {"inputmode": self.input_mode, "autocomplete": "off", **unit}

    def prepare_value(self, value: object) -> object:
        """Show 2.500 from the database as 2.5; typed text comes back as it was typed."""
        return plain(value) if isinstance(value, Decimal) else value

    def to_python(self, value: object) -> Decimal | int | None:
        text = str(value).strip() if value is not None else ""
        return None if text == "" else self.number(text)

    def number(self, text: str) -> Decimal | int:
        if len(re.findall(r"[.,]", text)) > 1 and re.fullmatch(r"[-0-9.,]{1,40}", text):
            raise ValidationError(f"{text} has two decimal signs; enter one, like 2.5", "two_signs")
        if not PLAIN.fullmatch(text):
            raise ValidationError(f"{self.label_for_errors} must be a plain number; {self.example()}", "not_plain")
        number = Decimal(text.replace(",", "."))
        self.refuse_many_decimals(number)
        return number

    def refuse_many_decimals(self, number: Decimal) -> None:
        if -number.as_tuple().exponent > self.decimal_places:  # type: ignore[operator]
            places = "1 decimal place" if self.decimal_places == 1 else f"{self.decimal_places} decimal places"
            raise ValidationError(f"{self.label_for_errors} may have at most {places}", "many_decimals")

    def validate(self, value: Decimal | int | None) -> None:
        super().validate(value)
        if value is None:
            return
        if (self.low is not None and value < self.low) or (self.high is not None and value > self.high):
            raise ValidationError(f"{self.label_for_errors} must be {self.range()}", "out_of_range")

    def range(self) -> str:
        if self.low is not None and self.high is not None:
            return f"between {plain(self.low)} and {self.with_unit(self.high)}"
        return f"at least {self.with_unit(self.low)}" if self.high is None else f"at most {self.with_unit(self.high)}"

    def with_unit(self, number: Decimal | None) -> str:
        return f"{plain(number)}{'' if self.unit in {'', '%'} else ' '}{self.unit}"

    def example(self) -> str:
        return "enter a number like 2.5"


class WholeNumberField(NumberField):
    """A whole number in `unit`; gives an int. "60.0" is refused, since somebody who writes it measured otherwise."""

    input_mode = "numeric"

    def number(self, text: str) -> int:
        if not WHOLE.fullmatch(text):
            raise ValidationError(f"{self.label_for_errors} must be a whole number; {self.example()}", "not_whole")
        return int(text)

    def example(self) -> str:
        return "enter a number like 60"


def plain(number: object) -> str:
    """2.50 as 2.5 and 1E+1 as 10."""
    text = f"{number:f}" if isinstance(number, Decimal) else str(number)
    return text.rstrip("0").rstrip(".") if "." in text else text


class DayInput(forms.DateInput):
    """A browser's date field takes and gives only year-month-day, whatever it shows."""

    input_type = "date"

    def __init__(self, attrs: dict[str, str] | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


class DayField(forms.Field):
    """A calendar day. The form sets `today` before it is used: no field reads the clock.

    label_for_errors: how sentences call it, such as "the operation date".
    question: begins the message when it is missing, such as "When was the operation?".
    """

    widget = DayInput

    def __init__(
        self,
        *,
        label_for_errors: str,
        question: str = "",
        today: date | None = None,
        may_be_future: bool = False,
        earliest: date = date(1900, 1, 1),
        **options,
    ) -> None:
        self.label_for_errors, self.today = label_for_errors, today
        self.may_be_future, self.earliest = may_be_future, earliest
        super().__init__(**options)
        asked = question or f"{self.start} is missing."
        self.error_messages["required"] = f"{asked} Give day, month and year"

    @property
    def start(self) -> str:
        """The name at the start of a sentence."""
        return self.label_for_errors[:1].upper() + self.label_for_errors[1:]

    def to_python(self, value: object) -> date | None:
        if value is None or isinstance(value, date):
            return value
        text = str(value).strip()
        return None if text == "" else self.day(text)

    def day(self, text: str) -> date:
        if DAY_WITHOUT_YEAR.fullmatch(text):
            raise ValidationError(f"{self.start} has no year", "no_year")
        match = DAY.fullmatch(text)
        if not match:
            raise ValidationError(f"{self.start} must be written as year-month-day, like 2026-03-09", "not_a_day")
        year, month, day = (int(part) for part in match.groups())
        try:
            return date(year, month, day)
        except ValueError:
            raise ValidationError(
                f"{impossible(year, month, day)}; check {self.label_for_errors}", "no_such_day"
            ) from None

    def validate(self, value: date | None) -> None:
        super().validate(value)
        if value is None:
            return
        if value < self.earliest:
            raise ValidationError(f"{self.start} lies before {self.earliest.year}; check the year", "too_early")
        if not self.may_be_future:
            self.refuse_future(value)

    def refuse_future(self, value: date) -> None:
        if self.today is None:
            raise ImproperlyConfigured(f"The form must set today on the field for {self.label_for_errors}")
        if value > self.today:
            raise ValidationError(f"{self.start} lies in the future", "future")


def impossible(year: int, month: int, day: int) -> str:
    """What is wrong with a day that the calendar does not have."""
    if not 1 <= month <= 12:
        return f"There is no month {month}"
    shown_year = f" {year}" if (month, day) == (2, 29) else ""
    return f"{day} {MONTHS[month - 1]}{shown_year} does not exist"


def say_day(day: date) -> str:
    """'3 Jun 2026'."""
    return f"{day.day} {MONTHS[day.month - 1][:3]} {day.year}"
