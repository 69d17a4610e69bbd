"""Headers of every answer, and pages without inline script or style."""

from html.parser import HTMLParser

import pytest
from django.core.checks import run_checks

from clinic.access.checks import check_content_policy, check_cookie_names, check_sqlite, check_throttle, sqlite_faults
from clinic.access.rules import Role
from tests.factories import create_member

PAGES = {
    Role.PRACTITIONER: ["/account/", "/help/", "/settings/", "/nowhere/"],
    Role.LEAD: ["/settings/"],
    Role.ADMINISTRATOR: ["/people/", "/people/add/"],
    Role.REVIEWER: ["/exchange/"],
}
OPEN_PAGES = ["/sign-in/", "/set-password/aa/bb-cc/", "/nowhere/", "/healthz", "/?q=%00"]


class Inline(HTMLParser):
    """Collects whatever a strict policy would block, and links to other hosts."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        names = dict(attrs)
        if tag == "style" or (tag == "script" and not names.get("src")):
            self.found.append(tag)
        self.found += [name for name in names if name == "style" or name.startswith("on")]
        addresses = [names.get(name) or "" for name in ("src", "href", "action")]
        self.found += [each for each in addresses if "//" in each or each.startswith("javascript:")]


def policy_of(response) -> dict[str, list[str]]:
    parts = [part.split() for part in response["Content-Security-Policy"].split(";") if part.strip()]
    return {name: sources for name, *sources in parts}


def assert_safe(response) -> None:
    policy = policy_of(response)
    for directive in ("default-src", "script-src", "style-src"):
        assert set(policy[directive]) <= {"'self'", "'none'"}
    for directive in ("object-src", "base-uri", "frame-ancestors"):
        assert policy[directive] == ["'none'"]
    assert policy["form-action"] == ["'self'"]
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Referrer-Policy"] == "same-origin"
    assert response["Cross-Origin-Opener-Policy"] == "same-origin"
    assert response["Cache-Control"] == "no-store"
    assert all(f"{part}=()" in response["Permissions-Policy"] for part in ("camera", "microphone", "geolocation"))


def assert_nothing_inline(response) -> None:
    parser = Inline()
    parser.feed(response.content.decode())
    assert parser.found == []


@pytest.mark.parametrize("page", OPEN_PAGES)
def test_open_pages(client, db, page):
    response = client.get(page)

    assert_safe(response)
    assert_nothing_inline(response)


@pytest.mark.parametrize(("role", "page"), [(role, page) for role, pages in PAGES.items() for page in pages])
def test_pages_of_each_role(client_of, practice, role, page):
    response = client_of(create_member(practice, role=role)).get(page)

    assert_safe(response)
    assert_nothing_inline(response)


def test_forms_with_mistakes_have_nothing_inline(client_of, practice, lead):
    for page in ("/settings/", "/account/"):
        assert_nothing_inline(client_of(lead).post(page, {"do": "password"}))


def test_trace_is_refused(client, db):
    response = client.generic("TRACE", "/sign-in/")

    assert response.status_code == 405
    assert_safe(response)


def test_the_checks_find_nothing_here():
    assert [each for each in run_checks() if each.id and each.id.startswith("clinic.")] == []


def test_the_checks_find_an_open_policy(settings):
    settings.CONTENT_SECURITY_POLICY = {"DIRECTIVES": {"script-src": ["'self'", "'unsafe-inline'"]}}
    assert {each.id for each in check_content_policy(None)} == {"clinic.E002", "clinic.E003"}

    settings.CONTENT_SECURITY_POLICY = {}
    assert [each.id for each in check_content_policy(None)] == ["clinic.E001"]


def test_the_checks_find_plain_cookie_names_in_production(settings):
    settings.PRODUCTION = True
    settings.SESSION_COOKIE_NAME = settings.CSRF_COOKIE_NAME = "plain"

    assert [each.id for each in check_cookie_names(None)] == ["clinic.E004"] * 2


def test_the_checks_find_a_careless_database():
    assert check_sqlite(None) == []
    assert len(sqlite_faults({})) == 5


def test_the_checks_find_a_lockout(settings):
    settings.SIGN_IN_LONGEST_WAIT_SECONDS = 3600

    assert [each.id for each in check_throttle(None)] == ["clinic.E006"]
