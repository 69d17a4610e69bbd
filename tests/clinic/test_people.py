"""The administrator adds people, changes roles and closes accounts."""

import re
from urllib.parse import urlsplit

import pytest

from clinic.access.models import Member, Submission
from clinic.access.once import new_token
from clinic.access.rules import Role
from tests.factories import create_member

NEW = {"first_name": "Robin", "last_name": "Invented", "username": "robin", "role": "assistant"}
SENTENCE = "kettle moss lantern"


@pytest.fixture
def browser(client_of, administrator):
    return client_of(administrator)


def link_in(response) -> str:
    return urlsplit(re.search(r">(http[^<]+)<", response.content.decode()).group(1)).path


def add(browser, **changes):
    return browser.post("/people/add/", {**NEW, "once": new_token(), **changes})


def test_a_new_person_sets_a_password_by_a_link_that_works_once(browser, client, administrator):
    link = link_in(add(browser))

    shown = client.get(link)
    answer = client.post(link, {"new_password1": SENTENCE, "new_password2": SENTENCE})

    robin = Member.objects.get(username="robin")
    assert shown.status_code == 200
    assert answer["Location"] == "/sign-in/"
    assert (robin.practice, robin.role) == (administrator.practice, "assistant")
    assert robin.check_password(SENTENCE)
    assert client.get(link).status_code == 410


def test_a_weak_first_password_is_refused(browser, client):
    link = link_in(add(browser))

    client.post(link, {"new_password1": "short", "new_password2": "short"})

    assert not Member.objects.get(username="robin").has_usable_password()


def test_a_closed_account_cannot_use_its_link(browser, client):
    link = link_in(add(browser))
    Member.objects.filter(username="robin").update(is_active=False)

    assert client.get(link).status_code == 410


def test_extra_fields_change_nothing(browser, other_practice, administrator):
    more = {"practice": other_practice.pk, "practice_id": other_practice.pk, "is_superuser": "on", "is_staff": "on"}
    add(browser, **more)

    robin = Member.objects.get(username="robin")
    assert robin.practice == administrator.practice
    assert not robin.is_superuser
    assert not robin.is_staff


def test_a_form_sent_twice_adds_one_person(browser):
    token = new_token()
    add(browser, once=token)
    again = add(browser, once=token)

    robin = Member.objects.get(username="robin")
    assert again["Location"] == f"/people/{robin.key}/"
    assert Submission.objects.count() == 1


def test_a_name_that_differs_in_capitals_is_taken(browser, practitioner):
    response = add(browser, username="PRACTITIONER")

    assert "This sign-in name is taken" in response.content.decode()


def test_only_the_own_practice_is_listed(browser, practitioner, colleague_elsewhere):
    text = browser.get("/people/").content.decode()

    assert practitioner.username in text
    assert colleague_elsewhere.username not in text


def test_a_colleague_of_another_practice_cannot_be_changed(browser, colleague_elsewhere):
    response = browser.post(f"/people/{colleague_elsewhere.key}/", {"do": "deactivate"})

    colleague_elsewhere.refresh_from_db()
    assert response.status_code == 404
    assert colleague_elsewhere.is_active


def test_role_and_access_change_by_post(browser, assistant):
    url = f"/people/{assistant.key}/"
    browser.post(url, {"do": "role", "role": "lead"})
    browser.post(url, {"do": "deactivate"})
    assistant.refresh_from_db()
    assert (assistant.role, assistant.is_active) == ("lead", False)

    browser.post(url, {"do": "reactivate"})

    assistant.refresh_from_db()
    assert assistant.is_active
    assert assistant.history.first().history_user.username == "administrator"


def test_looking_changes_nothing(browser, assistant):
    browser.get(f"/people/{assistant.key}/?do=deactivate")

    assistant.refresh_from_db()
    assert assistant.is_active


@pytest.mark.parametrize("data", [{}, {"do": "delete"}, {"do": "role"}, {"do": "role", "role": "owner"}])
def test_odd_changes_are_refused(browser, assistant, data):
    response = browser.post(f"/people/{assistant.key}/", data)

    assistant.refresh_from_db()
    assert response.status_code in {200, 400}
    assert assistant.role == Role.ASSISTANT


@pytest.mark.parametrize("data", [{"do": "deactivate"}, {"do": "role", "role": "lead"}])
def test_the_last_administrator_stays(browser, administrator, data):
    response = browser.post(f"/people/{administrator.key}/", data, follow=True)

    administrator.refresh_from_db()
    assert "only administrator" in response.content.decode()
    assert (administrator.role, administrator.is_active) == (Role.ADMINISTRATOR, True)


def test_one_of_two_administrators_may_go(browser, administrator, practice):
    create_member(practice, role=Role.ADMINISTRATOR)

    browser.post(f"/people/{administrator.key}/", {"do": "role", "role": "lead"})

    administrator.refresh_from_db()
    assert administrator.role == Role.LEAD


def test_an_administrator_elsewhere_does_not_count(browser, administrator, other_practice):
    create_member(other_practice, role=Role.ADMINISTRATOR)

    browser.post(f"/people/{administrator.key}/", {"do": "deactivate"})

    administrator.refresh_from_db()
    assert administrator.is_active
