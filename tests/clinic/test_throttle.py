"""Guessing passwords slows down."""

from datetime import UTC, datetime, timedelta

import pytest

from clinic.access.models import SignInThrottle
from clinic.access.throttle import FORGOTTEN_AFTER, claim_try, note_failure, note_success, wait_after

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db


def fail(username: str, address: str, *, now: datetime = NOW) -> bool:
    may = claim_try(username=username, address=address, now=now)
    if may:
        note_failure(address=address, now=now)
    return may


def test_five_failures_are_free_and_the_sixth_waits():
    tries = [fail("terry", "192.0.2.1") for _ in range(6)]

    assert tries == [True] * 5 + [False]


def test_the_wait_doubles_up_to_the_longest():
    waits = [wait_after(failures) for failures in range(4, 14)]

    seconds = [wait.total_seconds() if wait else 0 for wait in waits]
    assert seconds == [0, 15, 30, 60, 120, 240, 480, 900, 900, 900]
    assert wait_after(10_000) == timedelta(minutes=15)


def test_the_wait_ends():
    for _ in range(5):
        fail("terry", "192.0.2.1")

    assert not claim_try(username="terry", address="192.0.2.9", now=NOW + timedelta(seconds=14))
    assert claim_try(username="terry", address="192.0.2.9", now=NOW + timedelta(seconds=15))


def test_tries_during_the_wait_do_not_prolong_it():
    for _ in range(50):
        fail("terry", "192.0.2.1")

    assert claim_try(username="terry", address="192.0.2.9", now=NOW + timedelta(seconds=15))


def test_an_account_waits_whatever_the_address_and_the_capitals():
    for number in range(5):
        fail("Terry", f"192.0.2.{number}")

    assert not fail("tERRY", "198.51.100.1")
    assert fail("someone", "198.51.100.1")


def test_an_address_waits_whatever_the_account():
    for number in range(5):
        fail(f"guess{number}", "192.0.2.1")

    assert not fail("terry", "192.0.2.1")
    assert fail("terry", "198.51.100.1")


def test_success_forgets_the_failures_of_the_account():
    for _ in range(4):
        fail("terry", "192.0.2.1")
    claim_try(username="terry", address="192.0.2.1", now=NOW)
    note_success(username="terry", address="192.0.2.1", now=NOW)

    assert [fail("terry", "192.0.2.1") for _ in range(6)] == [True] * 5 + [False]


def test_success_with_an_own_account_buys_no_guesses_at_others():
    for number in range(4):
        fail(f"victim{number}", "192.0.2.1")
    claim_try(username="own", address="192.0.2.1", now=NOW)
    note_success(username="own", address="192.0.2.1", now=NOW)
    fail("victim4", "192.0.2.1")

    assert not fail("victim5", "192.0.2.1")


def test_failures_are_forgotten_after_a_quiet_day():
    for _ in range(5):
        fail("terry", "192.0.2.1")
    later = NOW + FORGOTTEN_AFTER + timedelta(minutes=1)

    assert [fail("terry", "192.0.2.1", now=later) for _ in range(6)] == [True] * 5 + [False]


def test_the_table_names_nobody():
    fail("terry", "192.0.2.1")

    stored = str(list(SignInThrottle.objects.values()))
    assert "terry" not in stored
    assert "192.0.2.1" not in stored


def test_twelve_tries_at_once_are_not_one(race):
    body = """
from datetime import UTC, datetime
from clinic.access.throttle import claim_try
def attempt():
    return claim_try(username="terry", address="192.0.2.1", now=datetime(2026, 11, 25, tzinfo=UTC))
def after():
    from clinic.access.throttle import account_digest
    from clinic.access.models import SignInThrottle
    return SignInThrottle.objects.get(digest=account_digest("terry")).failures
"""
    results, failures = race(body, runners=12)

    assert sorted(results) == [False] * 7 + [True] * 5
    assert failures == 5
