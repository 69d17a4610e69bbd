"""Practices with signed audits, a group, and members of each."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date

import pytest
from django.db import transaction
from django.test import override_settings

from audit.exchange.simulated import Plan
from clinic.access.models import Member
from clinic.access.rules import Role
from tests.audit.exchange.signatures import sign
from tests.factories import create_member, create_practice

PASSWORD = "a long enough word"
SIZES = ((70, 0.05), (90, 0.08), (150, 0.05), (60, 0.1), (120, 0.06), (80, 0.03))


def lead_of(code: str, plan: Plan | None = None) -> Member:
    """The lead of a new practice; with a plan, its audit year is signed."""
    lead = create_member(create_practice(code=code), role=Role.LEAD, username=f"lead-{code}")
    if plan:
        sign(lead, plan)
    return lead


def signed_leads(number: int) -> list[Member]:
    """The leads of so many practices, each with a signed audit year."""
    return [
        lead_of(f"peer-{at}", Plan(f"peer-{at}", seed=at + 20, patients=patients, regrowth=regrowth))
        for at, (patients, regrowth) in enumerate(SIZES[:number])
    ]


def reviewer_of(code: str) -> Member:
    return create_member(create_practice(code=code), role=Role.REVIEWER, username=f"reviewer-{code}")


@pytest.fixture(scope="module")
def once_for_all(django_db_setup, django_db_blocker) -> Callable:
    """Rows that all tests of a module begin with; each test takes back only what it changed itself."""

    @contextmanager
    def rows() -> Iterator[None]:
        # The hash of the single tests, which begin later than this.
        fast = override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"])
        with fast, django_db_blocker.unblock(), transaction.atomic():
            yield
            transaction.set_rollback(True)

    return rows


def a_year(starting: int) -> tuple[date, date]:
    return date(starting, 4, 1), date(starting + 1, 3, 31)
