"""Signing in, signing out, and where it leads."""

import pytest
from django.urls import reverse

from clinic.access.models import Member
from clinic.access.rules import Action, Role, roles_that_may
from clinic.access.views import DOES_NOT_FIT
from tests.factories import create_member

PASSWORD = "a long enough word"
SIGN_IN = "/sign-in/"


def sign_in(client, username: str, password: str = PASSWORD, **more):
    return client.post(SIGN_IN, {"username": username, "password": password, **more})


def test_the_right_password_signs_in(client, practitioner):
    response = sign_in(client, practitioner.username)

    assert response.status_code == 302
    assert client.session["_auth_user_id"] == str(practitioner.pk)


def test_unknown_wrong_and_inactive_get_the_same_answer(client, practitioner, assistant):
    Member.objects.filter(pk=assistant.pk).update(is_active=False)

    answers = [
        sign_in(client, "nobody"),
        sign_in(client, practitioner.username, "wrong"),
        sign_in(client, assistant.username),
    ]

    assert {answer.status_code for answer in answers} == {200}
    assert all(DOES_NOT_FIT in answer.content.decode() for answer in answers)
    assert not client.session.keys()


def test_the_right_password_during_the_wait_gets_the_same_text(client, practitioner, settings):
    for _ in range(settings.SIGN_IN_FREE_FAILURES):
        sign_in(client, practitioner.username, "wrong")

    response = sign_in(client, practitioner.username)

    assert response.status_code == 200
    assert DOES_NOT_FIT in response.content.decode()


def test_a_forged_forwarded_address_does_not_evade_the_wait(client, practitioner, settings):
    for number in range(settings.SIGN_IN_FREE_FAILURES):
        sign_in(client, f"guess{number}", "wrong")

    response = client.post(
        SIGN_IN, {"username": practitioner.username, "password": PASSWORD}, HTTP_X_FORWARDED_FOR="203.0.113.9"
    )

    assert response.status_code == 200


def test_the_session_gets_a_new_key(client, practitioner):
    session = client.session
    session["before"] = True
    session.save()
    old_key = session.session_key

    sign_in(client, practitioner.username)

    assert client.session.session_key != old_key
    assert not client.session.exists(old_key)


@pytest.mark.parametrize(
    "target",
    [
        "https://evil", "//evil", "/\\evil", "https:evil", "///evil", "/%09/evil", "/\t/evil", "javascript:alert(1)",
        "user@evil", "/%5cevil", "/%2fevil", "\\\\evil", " //evil", "/nowhere-known/", "", "/\x0b/evil", "/%00",
    ],
)  # fmt: skip
def test_leads_to_own_pages_only(client, practitioner, target):
    response = sign_in(client, practitioner.username, next=target)

    assert response.get("Location", "/") == "/" or response.status_code == 400


def test_leads_back_to_the_page_that_was_asked_for(client, practitioner):
    asked = client.get("/account/")
    shown = client.get(asked["Location"])

    assert 'name="next" value="/account/"' in shown.content.decode()
    assert sign_in(client, practitioner.username, next="/account/")["Location"] == "/account/"


def test_signing_out_is_a_post_and_clears_the_cache(client_of, practitioner):
    client = client_of(practitioner)

    assert client.get("/sign-out/").status_code == 405
    response = client.post("/sign-out/")

    assert response["Clear-Site-Data"] == '"cache"'
    assert client.get("/account/").status_code == 302


def test_a_form_without_its_token_changes_nothing(client_of, practitioner):
    client = client_of(practitioner, enforce_csrf_checks=True)

    response = client.post("/account/", {"do": "settings", "theme": "dark"})

    practitioner.refresh_from_db()
    assert response.status_code == 403
    assert "This form was not accepted" in response.content.decode()
    assert practitioner.theme == ""


@pytest.mark.parametrize(
    ("role", "name"), [(Role.ADMINISTRATOR, "people"), (Role.REVIEWER, "exchange"), (Role.PRACTITIONER, "today")]
)
def test_home_is_the_first_page_of_the_role(client_of, practice, role, name):
    response = client_of(create_member(practice, role=role)).get("/")

    assert response["Location"] == reverse(name)


def test_a_refused_page_says_who_may(client_of, reception):
    response = client_of(reception).get("/settings/")

    who = [role.label for role in roles_that_may(Action.SET_AUDIT)]
    assert response.status_code == 403
    assert ", ".join(who) in response.content.decode()


def test_a_closed_account_ends_at_the_next_request(client_of, practitioner):
    client = client_of(practitioner)
    Member.objects.filter(pk=practitioner.pk).update(is_active=False)

    assert client.get("/account/").status_code == 302


def test_a_changed_role_counts_at_the_next_request(client_of, lead):
    client = client_of(lead)
    Member.objects.filter(pk=lead.pk).update(role=Role.RECEPTION)

    assert client.get("/settings/").status_code == 403


def test_changing_the_password_ends_other_sessions_only(client_of, practitioner):
    here, elsewhere = client_of(practitioner), client_of(practitioner)
    new = "quite another sentence 7"

    response = here.post(
        "/account/", {"do": "password", "old_password": PASSWORD, "new_password1": new, "new_password2": new}
    )

    assert response.status_code == 302
    assert here.get("/account/").status_code == 200
    assert elsewhere.get("/account/").status_code == 302


def test_health_needs_nobody_and_starts_no_session(client, db):
    response = client.get("/healthz")

    assert response.status_code == 200
    assert not response.cookies


def test_readiness_is_for_this_machine_and_administrators(client, client_of, administrator, practitioner):
    passed_on = {"HTTP_X_FORWARDED_FOR": "203.0.113.9"}

    assert client.get("/readyz").status_code == 200
    assert not client.get("/readyz").cookies
    assert client.get("/readyz", **passed_on).status_code == 403
    assert client_of(practitioner).get("/readyz", **passed_on).status_code == 403
    assert client_of(administrator).get("/readyz", **passed_on).status_code == 200


def test_not_ready_without_space(client, db, monkeypatch):
    monkeypatch.setattr("clinic.access.views.has_space", lambda: False)

    response = client.get("/readyz")

    assert response.status_code == 503
    assert response.json() == {"database": True, "migrations": True, "disk": False}


def test_signing_in_is_noted_without_a_version_of_the_member(client, practitioner):
    versions = practitioner.history.count()

    sign_in(client, practitioner.username)

    practitioner.refresh_from_db()
    assert practitioner.last_login is not None
    assert practitioner.history.count() == versions
