"""Whose failures are counted: the address that the practice's own proxy saw, and no forged one."""

import pytest
from django.test import RequestFactory

from clinic.access.requests import client_address

PROXIES = ["127.0.0.1", "::1", "10.0.7.0/24"]


def asked(peer: str, forwarded_for: str | None = None):
    more = {} if forwarded_for is None else {"HTTP_X_FORWARDED_FOR": forwarded_for}
    return RequestFactory().get("/", REMOTE_ADDR=peer, **more)


@pytest.mark.parametrize(
    ("peer", "forwarded_for", "address"),
    [
        ("127.0.0.1", "203.0.113.9", "203.0.113.9"),
        ("127.0.0.1", "198.51.100.1, 203.0.113.9", "203.0.113.9"),  # the client wrote the first one
        ("127.0.0.1", "203.0.113.9, 10.0.7.4", "203.0.113.9"),  # two proxies of our own
        ("::1", "2001:db8::5", "2001:db8::5"),
        ("", "203.0.113.9", "203.0.113.9"),  # over a socket file
        ("127.0.0.1", None, "127.0.0.1"),
        ("127.0.0.1", " , ", "127.0.0.1"),
        ("192.0.2.7", "203.0.113.9", "192.0.2.7"),  # not our proxy: what it says is not believed
        ("no address", "203.0.113.9", "no address"),
    ],
)
def test_behind_a_proxy(settings, peer, forwarded_for, address):
    settings.TRUSTED_PROXIES = PROXIES

    assert client_address(asked(peer, forwarded_for)) == address


def test_without_a_proxy_nothing_forwarded_is_believed(settings):
    settings.TRUSTED_PROXIES = []

    assert client_address(asked("127.0.0.1", "203.0.113.9")) == "127.0.0.1"


@pytest.mark.django_db
def test_one_guesser_behind_the_proxy_does_not_make_others_wait(client, practitioner, settings):
    settings.TRUSTED_PROXIES = PROXIES
    for number in range(settings.SIGN_IN_FREE_FAILURES + 1):
        client.post("/sign-in/", {"username": f"g{number}", "password": "x"}, HTTP_X_FORWARDED_FOR="203.0.113.9")

    data = {"username": practitioner.username, "password": "a long enough word"}
    waits = client.post("/sign-in/", data, HTTP_X_FORWARDED_FOR="203.0.113.9")
    passes = client.post("/sign-in/", data, HTTP_X_FORWARDED_FOR="203.0.113.10")

    assert (waits.status_code, passes.status_code) == (200, 302)
