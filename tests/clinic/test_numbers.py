"""Numbers and days: what is read, what is refused, and in which words."""

from datetime import date
from decimal import Decimal

import pytest
from django import forms
from django.core.exceptions import ImproperlyConfigured, ValidationError

from clinic.access.numbers import DayField, NumberField, WholeNumberField, plain

VOLUME = NumberField(label_for_errors="Volume", unit="mL", min_value="0.1", max_value=20, decimal_places=2)
SECONDS = WholeNumberField(label_for_errors="Exposure", unit="s", min_value=1, max_value=1800)
OPERATED = DayField(label_for_errors="the operation date", question="When was the operation?", today=date(2026, 11, 25))


def complaint(field: forms.Field, text: object) -> str:
    with pytest.raises(ValidationError) as caught:
        field.clean(text)
    return caught.value.messages[0]


@pytest.mark.parametrize("text", ["2.5", "2,5", " 2.5 ", "2.50", "02.5"])
def test_point_and_comma_mean_the_same(text):
    assert VOLUME.clean(text) == Decimal("2.5")


@pytest.mark.parametrize("text", ["1,234.5", "1.234,5", "1..2", "2,5,0", "1,234,567"])
def test_two_signs_are_refused(text):
    assert complaint(VOLUME, text) == f"{text} has two decimal signs; enter one, like 2.5"


@pytest.mark.parametrize(
    "text",
    [
        "abc", "2.5 mL", "1e1", "1E-2", "NaN", "inf", "-Infinity", "٢", "２.５", "²", "1 000", "1\u202f000", "1'000",
        "1_0", "+2", "−2", "0x10", ".5", "5.", "--2", "2.5\n3", "9" * 5000, "1/2", "½",
    ],
)  # fmt: skip
def test_everything_else_is_no_number(text):
    assert complaint(VOLUME, text) == "Volume must be a plain number; enter a number like 2.5"


@pytest.mark.parametrize("text", ["0", "0.09", "20.01", "-2.5", "300"])
def test_the_range_is_said_with_its_unit(text):
    assert complaint(VOLUME, text) == "Volume must be between 0.1 and 20 mL"


def test_a_thousands_separator_never_passes_as_a_decimal_sign():
    assert complaint(VOLUME, "1,234") == "Volume may have at most 2 decimal places"


def test_missing_is_not_zero():
    assert complaint(VOLUME, "") == "Volume is missing; enter a number like 2.5"
    assert NumberField(label_for_errors="Volume", required=False).clean("  ") is None
    assert NumberField(label_for_errors="Volume", required=False).clean("0") == 0


def test_one_sided_ranges_and_percent():
    assert (
        complaint(NumberField(label_for_errors="Age", unit="years", min_value=1), "0") == "Age must be at least 1 years"
    )
    share = NumberField(label_for_errors="Strength", unit="%", min_value=1, max_value=100)
    assert complaint(share, "101") == "Strength must be between 1 and 100%"


@pytest.mark.parametrize("text", ["60.0", "60,5", "6e1", "٦٠", "1 0", "sixty", "1,000"])
def test_a_whole_number_is_whole(text):
    assert complaint(SECONDS, text) == "Exposure must be a whole number; enter a number like 60"


def test_a_whole_number_is_an_int():
    assert SECONDS.clean("60") == 60
    assert isinstance(SECONDS.clean("60"), int)
    assert complaint(SECONDS, "1801") == "Exposure must be between 1 and 1800 s"


def test_the_widget_is_a_text_field_with_a_unit():
    class VolumeForm(forms.Form):
        volume = VOLUME

    html = str(VolumeForm(initial={"volume": Decimal("2.500")})["volume"])

    assert 'type="text"' in html
    assert 'inputmode="decimal"' in html
    assert 'data-unit="mL"' in html
    assert 'value="2.5"' in html


def test_plain_numbers_keep_their_zeros():
    assert [plain(Decimal(text)) for text in ("20", "1E+2", "0.10", "0")] == ["20", "100", "0.1", "0"]


def test_a_day_is_read():
    assert OPERATED.clean("2024-02-29") == date(2024, 2, 29)
    assert OPERATED.clean("2026-11-25") == date(2026, 11, 25)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "When was the operation? Give day, month and year"),
        ("13/10", "The operation date has no year"),
        ("2024-06-31", "31 June does not exist; check the operation date"),
        ("2023-02-29", "29 February 2023 does not exist; check the operation date"),
        ("2024-13-01", "There is no month 13; check the operation date"),
        ("0000-01-01", "1 January does not exist; check the operation date"),
        ("2026-11-26", "The operation date lies in the future"),
        ("1899-12-31", "The operation date lies before 1900; check the year"),
        ("31/12/2024", "The operation date must be written as year-month-day, like 2026-03-09"),
        ("٢٠٢٤-01-01", "The operation date must be written as year-month-day, like 2026-03-09"),
    ],
)
def test_what_is_wrong_with_a_day_is_said(text, words):
    assert complaint(OPERATED, text) == words


def test_a_booking_may_lie_in_the_future():
    assert DayField(label_for_errors="the day", may_be_future=True).clean("2030-01-01") == date(2030, 1, 1)


def test_a_form_that_forgets_today_is_found_at_once():
    with pytest.raises(ImproperlyConfigured):
        DayField(label_for_errors="the day").clean("2020-01-01")
