"""What the audit counts is set by the lead, and nobody overwrites anybody."""

from decimal import Decimal

import pytest

from clinic.access.models import Practice

GOOD = {"exposure_bands": "20, 40, 90", "exposure_note_seconds": "200", "recurrence_standard": "7,5", "version": "1"}


@pytest.fixture
def browser(client_of, lead):
    return client_of(lead)


def test_settings_are_saved_with_author(browser, lead):
    response = browser.post("/settings/", GOOD)

    practice = Practice.objects.get(pk=lead.practice_id)
    assert response.status_code == 302
    assert practice.exposure_bands_seconds == [20, 40, 90]
    assert practice.exposure_note_seconds == 200
    assert practice.recurrence_standard == Decimal("0.075")
    assert (practice.version, practice.history.first().history_user) == (2, lead)


def test_the_stored_values_are_shown(browser):
    text = browser.get("/settings/").content.decode()

    assert 'value="30, 60, 120, 180"' in text
    assert 'value="5"' in text


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("exposure_bands", "60, 30", "ascending order"),
        ("exposure_bands", "60, 60", "ascending order"),
        ("exposure_bands", "30.5", "whole seconds"),
        ("exposure_bands", "", "at least one limit"),
        ("exposure_bands", "٣٠", "whole seconds"),
        ("exposure_bands", "1,2,3,4,5,6,7,8,9", "one to eight"),
        ("exposure_note_seconds", "0", "between 1 and 1800 s"),
        ("recurrence_standard", "0", "between 0.1 and 99.9%"),
        ("recurrence_standard", "100", "between 0.1 and 99.9%"),
        ("recurrence_standard", "5.55", "at most 1 decimal place"),
    ],
)
def test_mistakes_are_named_and_nothing_is_saved(browser, practice, field, value, words):
    response = browser.post("/settings/", {**GOOD, field: value})

    practice.refresh_from_db()
    assert words in response.content.decode()
    assert practice.version == 1


@pytest.mark.parametrize("version", ["", "0", "-1", "x", "9" * 30])
def test_an_odd_version_saves_nothing(browser, practice, version):
    response = browser.post("/settings/", {**GOOD, "version": version})

    practice.refresh_from_db()
    assert response.status_code == 200
    assert practice.version == 1


def test_the_second_of_two_sees_both_and_then_decides(browser, practice):
    browser.post("/settings/", {**GOOD, "exposure_note_seconds": "150"})

    response = browser.post("/settings/", GOOD)

    text = response.content.decode()
    practice.refresh_from_db()
    assert response.status_code == 409
    assert practice.exposure_note_seconds == 150
    assert "Terry Testcase changed this" in text
    assert '<td data-label="Stored now">150</td><td data-label="Typed by you">200</td>' in text
    assert 'name="version" value="2"' in text
    assert browser.post("/settings/", {**GOOD, "version": "2"}).status_code == 302


def test_another_practice_is_not_touched(browser, other_practice):
    browser.post("/settings/", {**GOOD, "practice": other_practice.pk, "key": other_practice.key})

    other_practice.refresh_from_db()
    assert other_practice.version == 1
