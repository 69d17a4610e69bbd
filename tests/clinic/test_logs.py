"""One JSON line per request, and nothing in it that a person typed."""

import json
import logging
import sys

import pytest

from clinic.access.logs import JsonLines

SECRET = "Quartermaine"


def line_of(**record) -> dict:
    made = logging.makeLogRecord({"name": "clinic.test", "levelname": "INFO", **record})
    return json.loads(JsonLines().format(made))


def broken(value: str) -> None:
    raise ValueError(f"cannot read {value}")


@pytest.fixture
def lines(caplog, settings):
    """The log as the console would show it."""
    caplog.set_level(logging.DEBUG)

    def formatted() -> list[dict]:
        return [json.loads(JsonLines().format(record)) for record in caplog.records if record.name.startswith("clinic")]

    return formatted


def test_control_characters_are_escaped():
    made = logging.makeLogRecord({"name": "clinic.x", "msg": "a\nb\x1b[31m\x7f\u2028\r"})
    text = JsonLines().format(made)

    assert all(32 <= ord(letter) < 127 for letter in text)
    assert json.loads(text)["event"] == "a\nb\x1b[31m\x7f\u2028\r"


def test_time_has_an_offset():
    assert line_of(msg="event")["time"].endswith("+00:00")


def test_an_exception_gives_type_and_place_only():
    try:
        broken(SECRET)
    except ValueError:
        line = line_of(msg="event", exc_info=sys.exc_info())

    assert line["exception"] == "ValueError"
    assert all(":" in place for place in line["at"])
    assert SECRET not in json.dumps(line)


def test_other_packages_log_no_addresses():
    line = line_of(name="django.request", msg="Not Found: %s", args=(f"/patients/{SECRET}",))

    assert line["event"] == "Not Found: %s"


def test_a_request_is_one_line_without_its_query(client_of, practitioner, lines):
    client_of(practitioner).get(f"/account/?q={SECRET}")

    (line,) = [each for each in lines() if each["event"] == "request"]
    assert (line["route"], line["status"], line["user_id"]) == ("account", 200, practitioner.pk)
    assert len(line["request_id"]) == 16
    assert line["duration_ms"] >= 0
    assert SECRET not in json.dumps(lines())


def test_nothing_typed_at_sign_in_is_logged(client, practitioner, lines):
    client.post("/sign-in/", {"username": SECRET, "password": SECRET})
    client.get(f"/set-password/{SECRET}/{SECRET}/")

    assert SECRET not in json.dumps(lines())
    assert "sign_in_failed" in {each["event"] for each in lines()}


def test_refused_requests_are_logged(client, db, lines):
    client.get("/?q=%00")

    assert [each["status"] for each in lines()] == [400]


def test_an_error_shows_its_reference_and_nothing_else(client_of, practitioner, monkeypatch, lines, caplog):
    def fail(*args, **kwargs):
        raise RuntimeError(SECRET)

    monkeypatch.setattr("clinic.access.views.AccountForm", fail)
    client = client_of(practitioner, raise_request_exception=False)
    response = client.get("/account/")

    (line,) = [each for each in lines() if each["event"] == "request"]
    text = response.content.decode()
    assert response.status_code == line["status"] == 500
    assert line["request_id"] in text
    assert SECRET not in text
    assert "Traceback" not in text
    assert len([record for record in caplog.records if record.name == "django.request"]) == 1


def test_a_forged_request_id_is_not_taken_over(client, db, lines):
    client.get("/healthz", HTTP_X_REQUEST_ID=SECRET)

    assert SECRET not in json.dumps(lines())
