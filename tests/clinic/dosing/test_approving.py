"""The lead checks and approves limits row by row; whoever comes second sees what the first one did."""

import re

import pytest
from django.urls import reverse

from clinic.access.rules import Role
from clinic.dosing.models import DoseLimit, approved_limits
from tests.clinic.dosing.browsing import CHECKED, approve, change_of, hidden
from tests.factories import create_limit, create_member


@pytest.fixture
def browser(client_of, lead):
    return client_of(lead)


@pytest.fixture
def second_lead(practice):
    return create_member(practice, role=Role.LEAD, username="second_lead")


# --- approving


def test_a_candidate_is_taken_over_and_approved(browser, practice, lead):
    response = approve(browser, reverse("limit-candidate", args=["mepivacaine-uk"]))

    row = DoseLimit.objects.get()
    assert response["Location"] == reverse("limit", args=[row.key])
    assert (row.practice, row.profile, row.agent) == (practice, "UK foot indication", "mepivacaine")
    assert (row.approved_by, row.checked_against) == (lead, "Label of March 2026")
    [limit] = approved_limits(practice)
    assert (limit.mg_per_kg, limit.per_digit_mg) == (6, 132)
    page = browser.get(response["Location"]).content.decode()
    assert "In force since" in page
    assert "Taken over and approved" in page


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"checked": ""}, "Tick that you have checked this row, or leave it unapproved"),
        ({"checked_against": " "}, "Name the label or protocol you checked it against, with its date or version"),
        ({"checked_against": "x" * 201}, "The source may have at most 200 characters"),
        ({"once": "short"}, "This page is too old. Open it again."),
    ],
)
def test_an_approval_needs_the_tick_and_the_source(browser, practice, changes, words):
    response = approve(browser, reverse("limit-candidate", args=["lidocaine-uk"]), **changes)

    assert response.status_code == 200
    assert words in response.content.decode()
    assert approved_limits(practice) == ()
    assert not DoseLimit.objects.exists()


def test_nothing_is_ticked_beforehand(browser):
    text = browser.get(reverse("limit-candidate", args=["lidocaine-uk"])).content.decode()

    assert "checked" in text
    assert not re.search(r"<input[^>]*type=\"checkbox\"[^>]*\schecked", text)


def test_a_value_from_memory_is_marked_until_it_is_approved(browser):
    url = reverse("limit-candidate", args=["articaine-memory"])
    assert "A value of this row was never read in its source" in browser.get(url).content.decode()

    page = browser.get(approve(browser, url)["Location"]).content.decode()

    assert "A value of this row was never read in its source" not in page


def test_another_profile_is_named_before_it_is_ended(browser, practice):
    approve(browser, reverse("limit-candidate", args=["lidocaine-uk"]))
    url = reverse("limit-candidate", args=["lidocaine-us"])
    assert "Approving this row ends the one in force" in browser.get(url).content.decode()

    approve(browser, url)

    assert [limit.absolute_mg for limit in approved_limits(practice)] == [300]
    assert DoseLimit.objects.count() == 2


def test_the_same_form_sent_twice_approves_once(browser, practice):
    url = reverse("limit-candidate", args=["lidocaine-uk"])
    answers = {**hidden(browser.get(url)), **CHECKED}

    first, second = browser.post(url, answers), browser.post(url, answers)

    assert first["Location"] == second["Location"]
    assert DoseLimit.objects.get().history.count() == 1


def test_a_candidate_that_was_taken_over_leads_to_the_row(browser):
    url = reverse("limit-candidate", args=["lidocaine-uk"])
    where = approve(browser, url)["Location"]

    assert browser.get(url)["Location"] == where


def test_a_candidate_that_does_not_exist(browser):
    assert browser.get(reverse("limit-candidate", args=["unheard-of"])).status_code == 404


# --- two leads at once


def test_two_leads_approve_two_profiles(browser, client_of, second_lead, practice):
    other, us = client_of(second_lead), reverse("limit-candidate", args=["lidocaine-us"])
    seen = {**hidden(other.get(us)), **CHECKED, "checked_against": "What the second one read"}
    approve(browser, reverse("limit-candidate", args=["lidocaine-uk"]))

    response = other.post(us, seen)

    text = response.content.decode()
    assert response.status_code == 409
    assert "Somebody else changed these limits meanwhile" in text
    assert "What the second one read" in text
    assert "Approving this row ends the one in force" in text
    assert [limit.absolute_mg for limit in approved_limits(practice)] == [200]

    again = other.post(us, {**hidden(response), **CHECKED})

    assert again.status_code == 302
    assert [limit.absolute_mg for limit in approved_limits(practice)] == [300]


def test_two_leads_approve_the_same_candidate(browser, client_of, second_lead, practice, lead):
    other, url = client_of(second_lead), reverse("limit-candidate", args=["lidocaine-uk"])
    seen = {**hidden(other.get(url)), **CHECKED}
    approve(browser, url)

    response = other.post(url, seen)

    assert response.status_code == 409
    assert "In force since" in response.content.decode()
    assert DoseLimit.objects.get().approved_by == lead


def test_one_changes_what_the_other_approves(browser, client_of, second_lead, practice):
    row, other = create_limit(practice), client_of(second_lead)
    url = reverse("limit", args=[row.key])
    seen = {**hidden(other.get(url)), **CHECKED}
    browser.post(reverse("limit-change", args=[row.key]), change_of(browser, row, absolute_mg="100"))

    response = other.post(url, seen)

    assert response.status_code == 409
    assert "100 mg" in response.content.decode()
    assert approved_limits(practice) == ()
    assert other.post(url, {**hidden(response), **CHECKED}).status_code == 302
    assert [limit.absolute_mg for limit in approved_limits(practice)] == [100]


def test_two_leads_change_one_row(browser, client_of, second_lead, practice):
    row, other = create_limit(practice), client_of(second_lead)
    theirs = change_of(other, row, absolute_mg="150", reason="Theirs")
    browser.post(reverse("limit-change", args=[row.key]), change_of(browser, row, absolute_mg="100"))

    response = other.post(reverse("limit-change", args=[row.key]), theirs)

    text = response.content.decode()
    row.refresh_from_db()
    assert response.status_code == 409
    assert row.absolute_mg == 100
    assert '<td data-label="Stored now">100</td><td data-label="Typed by you">150</td>' in text
    assert 'name="version" value="2"' in text
    assert "Theirs" in text


def test_withdrawn_twice(browser, client_of, second_lead, practice, lead):
    row = create_limit(practice, by=lead)
    url, other = reverse("limit-withdraw", args=[row.key]), client_of(second_lead)

    browser.post(url, {"version": "1", "reason": "First"})
    other.post(url, {"version": "1", "reason": "Second"})

    row.refresh_from_db()
    assert (row.version, row.history.first().history_change_reason) == (2, "First")


def test_six_approvals_at_the_same_moment_leave_one_in_force(race):
    """Of one drug nothing is in force yet; of the other a row is, which each of the six would end."""
    results, in_force = race(
        """
from datetime import date
from itertools import count
from clinic.access.models import Conflict
from clinic.dosing.acts import approve_limit
from clinic.dosing.models import DoseLimit
from tests.factories import create_limit
practice = create_practice()
leads = [create_member(practice, role="lead") for _ in range(6)]
first = create_limit(practice, by=leads[0], agent="mepivacaine")
shown = {"lidocaine": "", "mepivacaine": first.stamp}
rows = {agent: [create_limit(practice, agent=agent) for _ in range(6)] for agent in shown}
turn = count()
def attempt():
    mine = next(turn)
    return [outcome(leads[mine], rows[agent][mine], shown[agent]) for agent in shown]
def outcome(by, row, instead_of):
    try:
        approve_limit(by=by, row=row, version=1, instead_of=instead_of, on=date(2026, 11, 25), checked_against="x")
    except Conflict:
        return "conflict"
    return "approved"
def after():
    first.refresh_from_db()
    approved = DoseLimit.objects.approved().order_by("agent").values_list("agent", flat=True)
    return [list(approved), first.approved_on, first.history.count()]
"""
    )

    for of_one_drug in zip(*results, strict=True):
        assert sorted(of_one_drug) == ["approved"] + ["conflict"] * 5
    assert in_force == [["lidocaine", "mepivacaine"], None, 2]


# --- withdrawing


def test_a_withdrawal_needs_a_reason(browser, practice, lead):
    row = create_limit(practice, by=lead)
    url = reverse("limit-withdraw", args=[row.key])

    browser.post(url, {"version": "1", "reason": ""})
    assert len(approved_limits(practice)) == 1

    browser.post(url, {"version": "1", "reason": "The label was changed"})
    assert approved_limits(practice) == ()
    assert "The label was changed" in browser.get(reverse("limit", args=[row.key])).content.decode()
