"""Which passwords are taken, and how long a first link lives."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from clinic.access.passwords import first_password_link

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "password", ["a long enough word", "kettle moss 42 lantern", "x" * 11 + "é", "pass phrase " * 8]
)
def test_accepted(practitioner, password):
    validate_password(password, practitioner)


@pytest.mark.parametrize(
    "password",
    [
        "short", "elevenchars", "password1234", "practitioner1", "Terry Testcase",
        "my Nail-Surgery word", "TOENAIL for ever", "regrowth regrowth", "phenol and more", "Northgate 2026 kettle",
    ],
)  # fmt: skip
def test_refused(practitioner, password):
    with pytest.raises(ValidationError):
        validate_password(password, practitioner)


def test_a_link_lives_one_day(practitioner):
    made_at = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    with time_machine.travel(made_at, tick=False):
        token = first_password_link.make_token(practitioner)

    with time_machine.travel(made_at + timedelta(hours=23), tick=False):
        assert first_password_link.check_token(practitioner, token)
    with time_machine.travel(made_at + timedelta(hours=25), tick=False):
        assert not first_password_link.check_token(practitioner, token)
