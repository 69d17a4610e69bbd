"""Own rows and changes: mistakes are named, more than every source asks back, an approval lapses with a change."""

from decimal import Decimal

import pytest
from django.urls import reverse

from clinic.access.once import new_token
from clinic.dosing.models import DoseLimit, approved_limits
from tests.clinic.dosing.browsing import OWN, approve, change_of
from tests.factories import create_limit


@pytest.fixture
def browser(client_of, lead):
    return client_of(lead)


def test_an_own_row_is_added_and_not_in_force(browser, practice, lead):
    response = browser.post(reverse("limit-new"), {**OWN, "once": new_token(), "mg_per_kg": "2,5"})

    row = DoseLimit.objects.get()
    assert response["Location"] == reverse("limit", args=[row.key])
    assert (row.practice, row.mg_per_kg, row.weight_cap_kg) == (practice, Decimal("2.5"), 70)
    assert row.history.get().history_user == lead
    assert approved_limits(practice) == ()


def test_an_own_row_sent_twice_is_one(browser):
    answers = {**OWN, "once": new_token()}

    first, second = (browser.post(reverse("limit-new"), answers) for _ in range(2))

    assert first["Location"] == second["Location"]
    assert DoseLimit.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"agent": ""}, "Choose the agent"),
        ({"agent": "other"}, "Choose the agent from the list"),
        ({"vasoconstrictor": ""}, "Choose whether it is plain or holds a vasoconstrictor"),
        ({"vasoconstrictor": "not_recorded"}, "Choose the vasoconstrictor from the list"),
        ({"profile": ""}, "Give the row a name"),
        ({"source_text": " "}, "Name the source of this limit"),
        ({"mg_per_kg": "45"}, "The amount per kilogram must be between 0.1 and 20 mg/kg"),
        ({"mg_per_kg": "4.5.1"}, "4.5.1 has two decimal signs"),
        ({"mg_per_kg": "NaN"}, "The amount per kilogram must be a plain number"),
        ({"absolute_mg": "0"}, "The absolute amount must be between 1 and 2000 mg"),
        ({"per_digit_mg": "501"}, "The amount per digit must be between 1 and 500 mg"),
        ({"weight_cap_kg": "4"}, "The weight counted must be between 5 and 300 kg"),
        ({"period_h": "24.5"}, "The period must be a whole number"),
        ({"mg_per_kg": "", "absolute_mg": "", "weight_cap_kg": ""}, "Enter an amount per kilogram, or an absolute"),
        ({"mg_per_kg": ""}, "A weight is counted only with an amount per kilogram"),
        ({"once": ""}, "This page is too old"),
    ],
)
def test_mistakes_are_named_and_what_was_typed_stays(browser, changes, words):
    response = browser.post(reverse("limit-new"), {"once": new_token(), **OWN, **changes})

    text = response.content.decode()
    assert response.status_code == 200
    assert words in text
    assert "Our protocol, 2026" in text or "source_text" in changes
    assert not DoseLimit.objects.exists()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"mg_per_kg": "9"}, "the amount per kilogram is above 7 mg/kg"),
        ({"absolute_mg": "2000"}, "the absolute amount is above 500 mg"),
    ],
)
def test_more_than_every_source_is_saved_only_after_a_tick_and_a_reason(browser, changes, words):
    # Source of the borders: US label and UK label wording of lidocaine with adrenaline, 7 mg/kg and 500 mg.
    answers = {**OWN, **changes, "once": new_token()}
    asked = browser.post(reverse("limit-new"), answers)
    assert words in asked.content.decode()
    assert not DoseLimit.objects.exists()

    without_reason = browser.post(reverse("limit-new"), {**answers, "confirmed": "on"})
    assert "Give the reason" in without_reason.content.decode()
    browser.post(reverse("limit-new"), {**answers, "confirmed": "on", "reason": "Protocol of the hospital"})

    assert DoseLimit.objects.get().history.get().history_change_reason == "Protocol of the hospital"


def test_a_name_in_use_is_refused_in_words(browser, practice):
    create_limit(practice, profile=OWN["profile"])

    response = browser.post(reverse("limit-new"), {**OWN, "once": new_token()})

    assert "There is a row “Local protocol 2026” for plain lidocaine already" in response.content.decode()
    assert DoseLimit.objects.count() == 1


def test_a_change_shows_what_is_stored_and_needs_a_reason(browser, practice, lead):
    row = create_limit(practice, by=lead)
    url = reverse("limit-change", args=[row.key])
    text = browser.get(url).content.decode()
    assert 'value="4.5"' in text
    assert "It lapses when you save" in text

    refused = browser.post(url, change_of(browser, row, absolute_mg="150", reason=""))
    assert "Give the reason for the change" in refused.content.decode()
    assert len(approved_limits(practice)) == 1

    browser.post(url, change_of(browser, row, absolute_mg="150"))
    row.refresh_from_db()
    assert (row.absolute_mg, row.version, approved_limits(practice)) == (150, 2, ())
    page = browser.get(reverse("limit", args=[row.key])).content.decode()
    assert "New label" in page
    assert "At most, in mg: 200 → 150" in page


def test_a_change_to_a_name_in_use(browser, practice):
    row = create_limit(practice)
    create_limit(practice, profile="Taken")

    response = browser.post(reverse("limit-change", args=[row.key]), change_of(browser, row, profile="Taken"))

    assert "There is a row “Taken” for plain lidocaine already" in response.content.decode()


def test_a_change_keeps_the_drug(browser, practice):
    row = create_limit(practice)

    browser.post(
        reverse("limit-change", args=[row.key]),
        change_of(browser, row, agent="articaine", vasoconstrictor="adrenaline"),
    )

    row.refresh_from_db()
    assert (row.agent, row.vasoconstrictor, row.version) == ("lidocaine", "none", 2)


def test_a_row_that_left_its_source_says_what_was_shipped(browser):
    where = approve(browser, reverse("limit-candidate", args=["lidocaine-uk"]))["Location"]
    row = DoseLimit.objects.get()

    browser.post(reverse("limit-change", args=[row.key]), change_of(browser, row, absolute_mg="150"))

    assert "Shipped under this name with other amounts:" in browser.get(where).content.decode()
