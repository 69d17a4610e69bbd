"""The cast: one practice with one person per role, and a colleague who works elsewhere."""

from collections.abc import Callable

import pytest
from django.test import Client

from clinic.access.models import Member, Practice
from clinic.access.rules import Role
from tests.factories import create_member, create_practice


@pytest.fixture
def practice(db) -> Practice:
    return create_practice(code="north", name="Northgate foot rooms (fictional)")


@pytest.fixture
def other_practice(db) -> Practice:
    return create_practice(code="south", name="Southbank foot rooms (fictional)")


@pytest.fixture
def practitioner(practice: Practice) -> Member:
    return create_member(practice, role=Role.PRACTITIONER, username="practitioner")


@pytest.fixture
def assistant(practice: Practice) -> Member:
    return create_member(practice, role=Role.ASSISTANT, username="assistant")


@pytest.fixture
def reception(practice: Practice) -> Member:
    return create_member(practice, role=Role.RECEPTION, username="reception")


@pytest.fixture
def lead(practice: Practice) -> Member:
    return create_member(practice, role=Role.LEAD, username="lead")


@pytest.fixture
def administrator(practice: Practice) -> Member:
    return create_member(practice, role=Role.ADMINISTRATOR, username="administrator")


@pytest.fixture
def reviewer(practice: Practice) -> Member:
    return create_member(practice, role=Role.REVIEWER, username="reviewer")


@pytest.fixture
def colleague_elsewhere(other_practice: Practice) -> Member:
    return create_member(other_practice, role=Role.PRACTITIONER, username="colleague_elsewhere")


@pytest.fixture
def client_of() -> Callable[[Member], Client]:
    """A browser in which this member is signed in."""

    def signed_in(member: Member, **options) -> Client:
        client = Client(**options)
        client.force_login(member)
        return client

    return signed_in
