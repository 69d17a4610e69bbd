"""Requests that no browser of ours sends never end in a fault of the server."""

from io import BytesIO

import pytest
from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.test import Client, RequestFactory

from clinic.access import views
from clinic.wsgi import application

ODD = ["%00", "%ff%fe", "9" * 30, "-1", "x" * 5000, "%F0%9F%92%A9", "'%22%3E%3Cscript%3E", "..%2F..%2F", "%ED%A0%80"]
PATHS = [
    "/people/{}/",
    "/set-password/{}/aa-bb/",
    "/set-password/aa/{}/",
    "/settings/{}/",
    "/settings/templates/{}/",
    "/{}",
    "/sign-in/?next={}",
    "/account/?x={}",
]
FORMS = ["/sign-in/", "/account/", "/people/add/", "/settings/audit/", "/settings/templates/new/", "/sign-out/"]


@pytest.fixture
def browsers(client_of, administrator, lead) -> list[Client]:
    return [client_of(administrator, raise_request_exception=False), client_of(lead, raise_request_exception=False)]


@pytest.mark.parametrize("path", PATHS)
def test_odd_addresses(browsers, path):
    for odd in ODD:
        for browser in browsers:
            assert browser.get(path.format(odd)).status_code < 500, odd


@pytest.mark.parametrize("page", FORMS)
@pytest.mark.parametrize("value", ["\x00", "x" * 5000, "9" * 30, "-1", "\ud800".encode("utf-8", "replace"), "<script>"])
def test_odd_answers(browsers, page, value):
    fields = [
        "username", "password", "do", "role", "theme", "once", "version", "exposure_bands", "recurrence_standard",
        "seen", "name", "technique", "strength_percent",
    ]  # fmt: skip
    for browser in browsers:
        assert browser.post(page, dict.fromkeys(fields, value)).status_code < 500


@pytest.mark.parametrize("page", FORMS)
def test_many_and_repeated_and_missing_fields(browsers, page):
    for browser in browsers:
        assert browser.post(page, {f"f{number}": "x" for number in range(2000)}).status_code == 400
        assert browser.post(page, {"role": ["a", "b"], "username": ["a", "b"]}).status_code < 500
        assert browser.post(page, {}).status_code < 500
        assert browser.post(page, b"\xff\x00{", content_type="application/json").status_code < 500
        assert browser.post(page, b"--x", content_type="multipart/form-data").status_code < 500
        assert browser.post(page, b"a=%00", content_type="application/x-www-form-urlencoded").status_code == 400
        assert browser.post(page, b"x" * 2_000_000, content_type="text/plain").status_code < 500


def test_a_nul_in_a_cookie_is_refused(client, db):
    client.cookies.load('sessionid="\\000\\000\\000\\000\\000\\000\\000\\000"')

    assert client.get("/account/").status_code == 400


def test_an_unknown_host_is_refused(client, db):
    response = client.get("/sign-in/", HTTP_HOST="evil.example")

    assert response.status_code == 400
    assert "evil" not in response.content.decode()


def test_error_pages_work_without_a_database(monkeypatch):
    class Broken:
        @property
        def is_authenticated(self):
            raise OperationalError("gone")

    request = RequestFactory().get("/")
    for view, status in ((views.not_found, 404), (views.forbidden, 403), (views.bad_request, 400)):
        request.user = Broken()
        assert view(request, PermissionDenied()).status_code == status
    request.user = Broken()
    assert views.server_error(request).status_code == 500


def test_a_last_page_is_left_when_even_templates_fail(monkeypatch):
    monkeypatch.setattr(views, "render", lambda *args, **kwargs: 1 / 0)
    request = RequestFactory().get("/")
    request.id = "0123456789abcdef"

    response = views.server_error(request)

    assert response.status_code == 500
    assert b"Reference: 0123456789abcdef" in response.content


@pytest.mark.parametrize("charset", ["zlib", "rot13", "idna", "undefined", "utf-7", "unicode_escape", "latin-1"])
@pytest.mark.parametrize("kind", ["application/x-www-form-urlencoded", "multipart/form-data; boundary=x"])
def test_a_body_in_another_charset_is_refused(client, charset, kind):
    body = b'--x\r\nContent-Disposition: form-data; name="username"\r\n\r\n\\ud800+2AA-\r\n--x--\r\n'
    if "urlencoded" in kind:
        body = b"username=\\ud800"

    response = client.generic("POST", "/sign-in/", body, content_type=f"{kind}; charset={charset}")

    assert response.status_code == 400


def test_utf_8_is_taken_however_it_is_spelt(client):
    response = client.generic(
        "POST", "/sign-in/", b"username=a", content_type="application/x-www-form-urlencoded; charset=UTF-8"
    )

    assert response.status_code == 200


@pytest.mark.django_db
@pytest.mark.parametrize("parameter", ["charset=rot13", "charset=zlib", "charset*=nowhere''x", "charset*=utf-8''zlib"])
@pytest.mark.parametrize("query", ["", "next=/", "q=%ff"])
def test_the_server_itself_survives_another_charset(parameter, query):
    """The query is decoded before any middleware runs, so this goes through the entry point of the server."""
    environ = RequestFactory()._base_environ(
        REQUEST_METHOD="POST", PATH_INFO="/sign-in/", QUERY_STRING=query, CONTENT_LENGTH="1",
        CONTENT_TYPE=f"application/x-www-form-urlencoded; {parameter}",
    )  # fmt: skip
    environ["wsgi.input"] = BytesIO(b"a")
    statuses = []

    list(application(environ, lambda status, headers: statuses.append(status)))

    assert statuses == ["400 Bad Request"]
