"""Every page of the site map × every role × own practice, other practice and signed out.

A new URL is one line in TABLE. A URL with keys also gets one line in objects().
"""

import pytest
from django.test import Client
from django.urls import get_resolver, reverse
from django.urls.resolvers import URLPattern, URLResolver

from clinic.access.models import Practice
from clinic.access.rules import Action, Role, may
from tests.factories import create_member

# An address of documentation: a request from the machine itself may see more.
ELSEWHERE = {"REMOTE_ADDR": "192.0.2.7"}
SIGN_IN = "sign-in"

# name: (method, action that guards it or None for open pages, status for those who may, status signed out)
# POST-only pages are asked without data: they answer, but never 403 or 405, to those who may.
TABLE: dict[str, tuple[str, Action | None, int, int | str]] = {
    "sign-in": ("GET", None, 302, 200),
    "sign-out": ("POST", None, 302, 302),
    "set-password": ("GET", None, 410, 410),
    "home": ("GET", Action.OWN_ACCOUNT, 302, SIGN_IN),
    "account": ("GET", Action.OWN_ACCOUNT, 200, SIGN_IN),
    "help": ("GET", Action.OWN_ACCOUNT, 200, SIGN_IN),
    "people": ("GET", Action.MANAGE_PEOPLE, 200, SIGN_IN),
    "person-add": ("GET", Action.MANAGE_PEOPLE, 200, SIGN_IN),
    "person-change": ("GET", Action.MANAGE_PEOPLE, 200, SIGN_IN),
    "practice-settings": ("GET", Action.SET_AUDIT, 200, SIGN_IN),
    "pooled": ("GET", Action.READ_POOLED, 200, SIGN_IN),
    "healthz": ("GET", None, 200, 200),
    "readyz": ("GET", Action.MANAGE_PEOPLE, 200, 403),
}
# Pages whose own check stands in the view, so that they carry no action.
UNDECORATED = {"readyz"}


def objects(practice: Practice) -> dict[str, list[object]]:
    """The arguments of each URL that names a row: a row of `practice`."""
    member = create_member(practice)
    return {
        "set-password": [member.key, "none-none"],
        "person-change": [member.key],
    }


# Rows that anybody may be asked for, since the key itself is the secret.
NOT_OF_A_PRACTICE = {"set-password"}


def patterns(resolver: URLResolver | None = None) -> list[URLPattern]:
    found: list[URLPattern] = []
    for each in (resolver or get_resolver()).url_patterns:
        found += patterns(each) if isinstance(each, URLResolver) else [each]
    return found


def ask(client: Client, name: str, arguments: list[object]):
    method = TABLE[name][0]
    return client.generic(method, reverse(name, args=arguments), **ELSEWHERE)


def expected(name: str, role: str) -> int:
    _, action, status, _ = TABLE[name]
    return status if action is None or may(role, action) else 403


def test_every_page_stands_in_the_table():
    names = [pattern.name for pattern in patterns()]

    assert sorted(names, key=str) == sorted(TABLE)


def test_every_page_carries_the_action_of_the_table():
    for pattern in patterns():
        action = None if pattern.name in UNDECORATED else TABLE[pattern.name][1]

        assert getattr(pattern.callback, "action", None) == action, pattern.name


def test_every_page_that_names_a_row_has_an_object(practice):
    named = {pattern.name for pattern in patterns() if pattern.pattern.converters}

    assert named == set(objects(practice))


@pytest.mark.parametrize("role", Role.values)
@pytest.mark.parametrize("name", TABLE)
def test_own_practice(name, role, practice, client_of):
    client = client_of(create_member(practice, role=role))

    response = ask(client, name, objects(practice).get(name, []))

    assert response.status_code == expected(name, role)


@pytest.mark.parametrize("role", Role.values)
@pytest.mark.parametrize("name", TABLE)
def test_rows_of_another_practice_do_not_exist(name, role, practice, other_practice, client_of):
    rows = objects(other_practice)
    if name not in rows or name in NOT_OF_A_PRACTICE:
        pytest.skip("names no row of a practice")
    client = client_of(create_member(practice, role=role))

    response = ask(client, name, rows[name])

    assert response.status_code == (404 if may(role, TABLE[name][1]) else 403)


@pytest.mark.parametrize("name", TABLE)
def test_signed_out(name, practice):
    wanted = TABLE[name][3]
    arguments = objects(practice).get(name, [])

    response = ask(Client(), name, arguments)

    if wanted == SIGN_IN:
        assert response.status_code == 302
        assert response["Location"].startswith(reverse("sign-in") + "?next=")
    else:
        assert response.status_code == wanted


@pytest.mark.parametrize("name", TABLE)
def test_a_member_without_a_practice_sees_nothing(name, practice, client_of):
    if TABLE[name][1] is None:
        pytest.skip("open to all")
    for role in Role.values:
        client = client_of(create_member(None, role=role))

        response = ask(client, name, objects(practice).get(name, []))

        assert response.status_code == 403


@pytest.mark.parametrize("name", TABLE)
def test_a_method_that_no_page_takes_is_refused(name, practice, administrator, client_of):
    url = reverse(name, args=objects(practice).get(name, []))

    for method in ("PUT", "DELETE", "PATCH"):
        assert client_of(administrator).generic(method, url, **ELSEWHERE).status_code == 405
