"""Templates: added and changed by the lead after a look at the effect, refused in words, kept with their history."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.rules import Role
from clinic.practice.models import OperationTemplate
from tests.clinic.practice.browsing import TEMPLATE, hidden, save, show, text
from tests.factories import create_member, create_operation, create_template

NEW = "/settings/templates/new/"


@pytest.fixture
def browser(client_of, lead):
    return client_of(lead)


def page_of(row) -> str:
    return reverse("operation-template", args=[row.key])


def stored_answers(row, **changes) -> dict[str, str]:
    return {**TEMPLATE, "name": row.name, **changes}


def test_a_template_is_shown_first_and_then_added(browser, practice, lead):
    shown = show(browser, NEW, TEMPLATE)

    assert not OperationTemplate.objects.exists()
    assert (
        '<th scope="row">Agent</th><td data-label="Now">open</td><td data-label="With the change">Phenol</td>'
        in text(shown)
    )
    saved = browser.post(NEW, {**TEMPLATE, **hidden(shown), "reason": "Agreed"})

    row = OperationTemplate.objects.get()
    assert (saved.status_code, row.practice, row.name, str(row.strength_percent)) == (
        302,
        practice,
        TEMPLATE["name"],
        "89.0",
    )
    assert (row.history.get().history_user, row.history.get().history_change_reason) == (lead, "Agreed")
    listed = text(browser.get(saved["Location"]))
    assert "Sheet A, version 3" in listed
    assert "0 operations were started from it." in listed


def test_sending_the_same_new_template_twice_makes_one(browser):
    shown = show(browser, NEW, TEMPLATE)
    answers = {**TEMPLATE, **hidden(shown), "reason": "Agreed"}

    first, second = browser.post(NEW, answers), browser.post(NEW, answers)

    assert first["Location"] == second["Location"]
    assert OperationTemplate.objects.count() == 1


def test_only_the_technique_must_be_answered(browser):
    save(browser, NEW, {"name": "Bare", "technique": "pna_only", "offered": "yes"})

    row = OperationTemplate.objects.get()
    assert (row.agent, row.strength_percent, row.dressing) == ("", None, "")


ONLY = {"agent": "", "strength_percent": "", "strength_basis": "", "lavage": "", "skin_protected": ""}
MISTAKES = [
    ({"name": ""}, "Give the template a name"),
    ({"name": "x" * 61}, "The name may have at most 60 characters"),
    ({"technique": ""}, "Choose the technique"),
    ({"technique": "magic"}, "Choose the technique"),
    ({"agent": "none"}, "Choose from the list, or “Leave open”"),
    ({"technique": "pna_only"}, "“Partial nail avulsion without matricectomy” takes no agent; leave this open"),
    ({**ONLY, "technique": "wedge", "lavage": "saline"}, "“Wedge excision (Winograd)” takes no agent; leave this open"),
    ({"agent": ""}, "Choose the agent that this strength is of"),
    ({"strength_basis": ""}, "Choose what the strength is a percentage of"),
    ({"strength_percent": ""}, "Enter the strength, or leave its basis open"),
    ({"strength_percent": "890"}, "Strength must be between 1 and 100%"),
    ({"tourniquet": "glove_finger"}, "Choose from the list, or “Leave open”"),
    ({"skin_protected": "not_recorded"}, "Choose from the list, or “Leave open”"),
    ({"aftercare": "not_given"}, "Choose from the list, or “Leave open”"),
    ({"aftercare_sheet": "x" * 61}, "The sheet may have at most 60 characters"),
    ({"offered": ""}, "Choose whether it is offered at a new operation"),
]


@pytest.mark.parametrize(("changes", "words"), MISTAKES)
def test_mistakes_are_named_and_nothing_is_added(browser, changes, words):
    response = show(browser, NEW, {**TEMPLATE, **changes})

    assert response.status_code == 200
    assert words in text(response)
    assert not OperationTemplate.objects.exists()


def test_a_name_is_given_once_whatever_its_capitals(browser, practice, other_practice):
    create_template(practice, name="partial, PHENOL")
    create_template(other_practice, name="Elsewhere")

    taken = show(browser, NEW, TEMPLATE)

    assert "There is a template “Partial, phenol” already; give another name or change that one" in text(taken)
    assert save(browser, NEW, {**TEMPLATE, "name": "Elsewhere"}).status_code == 302


def test_there_is_no_answer_for_what_a_template_never_fills_in(browser):
    fields = set(OperationTemplate._meta._forward_fields_map)

    for part in (
        "toe",
        "side",
        "foot",
        "seconds",
        "volume",
        "batch",
        "expires",
        "consent",
        "witness",
        "infection",
        "stage",
    ):
        assert not [name for name in fields if part in name and name not in {"outer_dressing"}], part


def test_a_change_keeps_what_stood_before_and_says_what_it_means(browser, practice, lead):
    row = create_template(practice, name="Partial, phenol")
    operation = create_operation(practice)
    operation.template = row
    operation.save()

    shown = show(browser, page_of(row), stored_answers(row, dressing="alginate"))

    assert 'Non-adherent layer</td><td data-label="With the change">Alginate' in text(shown)
    assert "1 operation was started from it. It stays as it is." in text(shown)
    saved = browser.post(
        page_of(row), {**stored_answers(row, dressing="alginate"), **hidden(shown), "reason": "New supplier"}
    )
    row.refresh_from_db()
    assert (saved.status_code, row.dressing, row.version) == (302, "alginate", 2)
    history = text(browser.get(page_of(row)))
    assert "Terry Testcase: New supplier" in history
    assert "Dressing: Non-adherent layer → Alginate" in history


def test_it_is_no_longer_offered_and_offered_again(browser, practice):
    row = create_template(practice, name="Partial, phenol")

    shown = show(browser, page_of(row), stored_answers(row, offered="no"))
    save(browser, page_of(row), stored_answers(row, offered="no"))

    row.refresh_from_db()
    assert "It is not offered at a new operation." in text(shown)
    assert not row.offered
    assert "Not offered" in text(browser.get(reverse("operation-templates")))


def test_unchanged_answers_are_no_change(browser, practice):
    row = create_template(practice, name="Partial, phenol")

    assert "Nothing is changed" in text(show(browser, page_of(row), stored_answers(row)))


def test_the_second_of_two_leads_sees_both_and_then_decides(browser, practice, client_of):
    row = create_template(practice, name="Partial, phenol")
    other = client_of(create_member(practice, role=Role.LEAD))
    mine = show(browser, page_of(row), stored_answers(row, dressing="alginate"))
    save(other, page_of(row), stored_answers(row, dressing="foam"))

    answers = {**stored_answers(row, dressing="alginate"), "reason": "Ours"}
    response = browser.post(page_of(row), {**answers, **hidden(mine)})

    row.refresh_from_db()
    assert (response.status_code, row.dressing) == (409, "foam")
    assert '<td data-label="Stored now">foam</td><td data-label="Typed by you">alginate</td>' in text(response)
    assert browser.post(page_of(row), {**answers, **hidden(response)}).status_code == 302


def test_a_name_that_was_taken_meanwhile_is_said(browser, practice):
    row = create_template(practice, name="Mine")
    shown = show(browser, page_of(row), stored_answers(row, name="Wanted"))
    create_template(practice, name="wanted")

    response = browser.post(page_of(row), {**stored_answers(row, name="Wanted"), **hidden(shown), "reason": "x"})

    row.refresh_from_db()
    assert "There is a template “Wanted” already" in text(response)
    assert row.name == "Mine"


@pytest.mark.parametrize("role", [role for role in Role if role != Role.LEAD])
def test_no_other_role_adds_or_changes(client_of, practice, role):
    client, row = client_of(create_member(practice, role=role)), create_template(practice)

    for url in (NEW, page_of(row)):
        assert client.post(url, {**TEMPLATE, "version": "1", "reason": "x"}).status_code == 403
    assert OperationTemplate.objects.get().version == 1


def test_fields_the_form_does_not_ask_change_nothing(browser, practice, other_practice):
    save(browser, NEW, {**TEMPLATE, "practice": other_practice.pk, "key": "a" * 12})

    row = OperationTemplate.objects.get()
    assert (row.practice, row.key != "a" * 12) == (practice, True)


def test_an_agent_that_is_not_offered_is_not_offered_here_either(browser, practice):
    practice.agents_offered = ["phenol"]
    practice.save()
    old = create_template(practice, name="Old", agent="tca")

    assert 'value="tca"' not in text(browser.get(NEW))
    assert '<option value="tca" selected>' in text(browser.get(page_of(old)))


@pytest.mark.parametrize("page", ["list", "one"])
def test_the_pages_take_a_fixed_number_of_statements(browser, practice, page):
    row = create_template(practice)
    url = page_of(row) if page == "one" else reverse("operation-templates")
    few = statements(browser, url)
    for _ in range(20):
        create_template(practice)
        row.save()
    operation = create_operation(practice)
    operation.template = row
    operation.save()

    assert statements(browser, url) == few <= 8


def statements(browser, url) -> int:
    with CaptureQueriesContext(connection) as asked:
        assert browser.get(url).status_code == 200
    return len(asked)
