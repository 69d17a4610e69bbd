"""Who may touch limits, and what the list shows of all of them."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.once import new_token
from clinic.access.rules import Role
from clinic.dosing.models import DoseLimit
from tests.clinic.dosing.browsing import CHECKED, OWN, weighed
from tests.factories import create_limit, create_member


@pytest.fixture
def browser(client_of, lead):
    return client_of(lead)


# --- who may


@pytest.mark.parametrize("role", [role for role in Role if role != Role.LEAD])
def test_no_other_role_approves_changes_or_withdraws(client_of, practice, lead, role):
    client, row = client_of(create_member(practice, role=role)), create_limit(practice, by=lead)
    posts = {
        reverse("limit", args=[row.key]): {**CHECKED, "once": new_token(), "version": "1"},
        reverse("limit-candidate", args=["lidocaine-us"]): {**CHECKED, "once": new_token(), "version": "1"},
        reverse("limit-change", args=[row.key]): {**OWN, "once": new_token(), "reason": "x"},
        reverse("limit-withdraw", args=[row.key]): {"version": "1", "reason": "x"},
        reverse("limit-new"): {**OWN, "once": new_token()},
    }

    assert {client.post(url, answers).status_code for url, answers in posts.items()} == {403}
    assert DoseLimit.objects.get().version == 1


def test_the_lead_of_another_practice_finds_nothing(client_of, practice, other_practice, lead):
    row = create_limit(practice, by=lead)
    stranger = client_of(create_member(other_practice, role=Role.LEAD))

    for name, answers in (
        ("limit", {**CHECKED, "once": new_token(), "version": "1"}),
        ("limit-change", {**OWN, "once": new_token(), "reason": "x"}),
        ("limit-withdraw", {"version": "1", "reason": "x"}),
    ):
        assert stranger.post(reverse(name, args=[row.key]), answers).status_code == 404
    assert row.profile not in stranger.get(reverse("limits")).content.decode()
    row.refresh_from_db()
    assert (row.version, row.approved_by) == (1, lead)


def test_fields_the_form_does_not_ask_change_nothing(browser, practice, other_practice, lead):
    extra = {"practice": other_practice.pk, "approved_by": lead.pk, "approved_on": "2026-01-01", "needs_check": ""}

    browser.post(reverse("limit-new"), {**OWN, **extra, "once": new_token()})

    row = DoseLimit.objects.get()
    assert (row.practice, row.approved_by, row.approved_on) == (practice, None, None)


# --- the list


def test_the_list_shows_source_and_state_of_every_row(browser, practice, lead):
    create_limit(practice, by=lead, profile="Ours")

    text = browser.get(reverse("limits")).content.decode()

    assert text.index("In force: Ours") < text.index("UK and Irish label")
    assert "summary of product characteristics, Irish regulator" in text
    assert text.count("From memory") == 9
    assert "No limit in force" in text


def test_the_settings_lead_to_the_limits(browser):
    assert f'href="{reverse("limits")}"' in browser.get(reverse("practice-settings")).content.decode()


def test_the_list_takes_a_fixed_number_of_statements(browser, practice, lead):
    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert browser.get(reverse("limits")).status_code == 200
        return len(captured)

    weighed(practice, "70", ("lidocaine", "2", "4"))
    create_limit(practice, by=lead)
    few = statements()
    for _ in range(20):
        weighed(practice, "70", ("lidocaine", "2", "4"), ("mepivacaine", "3", "2"))
        create_limit(practice)

    assert statements() == few <= 8
