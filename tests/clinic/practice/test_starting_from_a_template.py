"""A new operation from a template: what is filled in, what never is, what is marked, and the tick before it counts."""

import re

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.drafts import draft_of
from clinic.procedures.models import Operation
from tests.clinic.operation_posts import answers_for
from tests.clinic.practice.browsing import text
from tests.factories import create_patient, create_template

FILLED = {
    "toe1-technique": "pna_chemical",
    "toe1-agent": "phenol",
    "toe1-strength_percent": "89",
    "toe1-strength_basis": "w_w",
    "toe1-lavage": "isopropyl",
}


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel("2026-11-25T10:00:00Z", tick=False):
        yield


@pytest.fixture
def patient(practice):
    return create_patient(practice)


@pytest.fixture
def template(practice):
    return create_template(practice, name="Partial, phenol")


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def page(patient) -> str:
    return reverse("operation-new", args=[patient.key])


def use(client, patient, template, **typed):
    posted = {"toes": "1", **typed, "use_template": template.key if hasattr(template, "key") else template}
    return client.post(page(patient), posted)


def given(response) -> dict[str, str]:
    """Every answer that the page holds, as a browser would send it."""
    html = response.content.decode()
    found = {}
    for tag in re.findall(r"<input[^>]*>", html):
        name, value = (re.search(rf'\b{what}="([^"]*)"', tag) for what in ("name", "value"))
        if name and value and (('type="radio"' not in tag and 'type="checkbox"' not in tag) or " checked" in tag):
            found[name.group(1)] = value.group(1)
    for name, body in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', html, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', body)
        found[name] = chosen.group(1) if chosen else ""
    return found


def test_the_page_offers_the_templates_that_are_offered(client, patient, practice, template, other_practice):
    create_template(practice, name="Retired", offered=False)
    create_template(other_practice, name="Elsewhere")

    shown = text(client.get(page(patient)))

    assert f'name="use_template" value="{template.key}">Partial, phenol</button>' in shown
    assert "Retired" not in shown
    assert "Elsewhere" not in shown


def test_without_templates_the_page_says_nothing_about_them(client, patient):
    assert "template-head" not in text(client.get(page(patient)))


def test_it_fills_in_the_logistics_and_nothing_else(client, patient, template):
    response = use(client, patient, template)

    answers = given(response)
    clinical = {name: value for name, value in answers.items() if name.startswith(("toe1-", "visit-")) and value}
    assert clinical == FILLED
    assert answers["template-key"] == template.key
    assert "template-checked" not in answers
    assert text(response).count("From the template.") == len(FILLED)
    assert "Technique, Agent, Strength, Strength given as, Lavage" in text(response)


def test_what_was_typed_before_stays(client, patient, template):
    response = use(
        client, patient, template, **{"visit-note": "Anxious", "toe1-side": "fibular", "toe1-lavage": "saline"}
    )

    answers = given(response)
    assert (answers["toe1-lavage"], answers["toe1-side"]) == ("saline", "fibular")
    assert "Anxious" in text(response)


def test_a_toe_with_another_technique_is_left_alone(client, patient, template):
    response = use(client, patient, template, toes="2", **{"toe1-technique": "tna_only"})

    answers = given(response)
    assert (answers["toe1-technique"], "toe1-agent" in answers) == ("tna_only", False)
    assert {name.replace("toe2", "toe1"): value for name, value in answers.items() if name in {
        name.replace("toe1", "toe2") for name in FILLED
    }} == FILLED  # fmt: skip


def test_another_agent_keeps_its_own_strength_open(client, patient, template):
    answers = given(use(client, patient, template, **{"toe1-agent": "tca"}))

    assert (answers["toe1-agent"], answers.get("toe1-strength_percent"), answers["toe1-lavage"]) == (
        "tca",
        None,
        "isopropyl",
    )


def test_a_second_template_takes_the_place_of_the_first_one(client, patient, practice, template):
    other = create_template(
        practice, name="Total, hydroxide", technique="tna_chemical", agent="sodium_hydroxide", strength_percent="10",
        strength_basis="w_v", lavage="dilute_acid",
    )  # fmt: skip
    first = given(use(client, patient, template, **{"visit-note": ""}))

    answers = given(client.post(page(patient), {**first, "use_template": other.key}))

    assert (answers["toe1-technique"], answers["toe1-agent"], answers["toe1-strength_percent"]) == (
        "tna_chemical", "sodium_hydroxide", "10",
    )  # fmt: skip
    assert answers["template-key"] == other.key


def test_its_answers_can_be_taken_out_again_but_not_what_was_changed(client, patient, template):
    first = given(use(client, patient, template))

    answers = given(client.post(page(patient), {**first, "toe1-lavage": "saline", "use_template": "none"}))

    assert {name: value for name, value in answers.items() if name in FILLED and value} == {"toe1-lavage": "saline"}
    assert not answers.get("template-key")


def test_it_counts_only_after_the_tick(client, patient, practitioner, template):
    posted = answers_for(practitioner, toe1_strength_percent="89", **{"template-key": template.key})

    refused = client.post(page(patient), posted)

    assert not Operation.objects.exists()
    assert (
        "Tick that what came from the template holds, or change it: technique, agent, strength and strength given as"
        in text(refused)
    )
    assert client.post(page(patient), {**posted, "template-checked": "on"}).status_code == 302
    assert Operation.objects.get().template == template


def test_where_nothing_of_it_is_left_no_tick_is_asked(client, patient, practitioner, template):
    posted = answers_for(
        practitioner, toe1_technique="tna_only", toe1_side="whole", toe1_agent="none", toe1_strength_percent="",
        toe1_strength_basis="", toe1_exposure="", toe1_seconds_1="", toe1_seconds_2="",
        **{"template-key": template.key},
    )  # fmt: skip

    assert client.post(page(patient), posted).status_code == 302
    assert Operation.objects.get().template == template


def test_the_record_says_from_which_template_it_was_started(client, patient, practitioner, template):
    posted = {**answers_for(practitioner), "template-key": template.key, "template-checked": "on"}
    client.post(page(patient), posted)

    shown = text(client.get(reverse("operation", args=[Operation.objects.get().key])))

    assert "<dt>Started from</dt><dd>template “Partial, phenol”</dd>" in shown


def test_a_correction_asks_for_no_tick_and_keeps_the_template(client, patient, practitioner, template):
    client.post(page(patient), {**answers_for(practitioner), "template-key": template.key, "template-checked": "on"})
    operation = Operation.objects.get()
    url = reverse("operation-amend", args=[operation.key])

    assert "template-head" not in text(client.get(url))
    answers = {
        **answers_for(practitioner, toe1_lavage="saline"),
        "reason": "Misread",
        "version": "1",
        "template-key": "",
    }
    assert client.post(url, answers).status_code == 302
    operation.refresh_from_db()
    assert (operation.template, operation.version) == (template, 2)


def test_undo_gives_the_answers_back_with_their_template(client, patient, practitioner, template):
    client.post(page(patient), {**answers_for(practitioner), "template-key": template.key, "template-checked": "on"})

    client.post(reverse("operation-undo", args=[Operation.objects.get().key]))

    assert given(client.get(page(patient)))["template-key"] == template.key


def test_a_draft_remembers_the_template(client, patient, practitioner, template):
    filled = given(use(client, patient, template))
    client.post(page(patient), {**filled, "leave": "1"})

    assert draft_of(practitioner, "operation", patient.key)["template-key"] == template.key
    assert "Started from “Partial, phenol”" in text(client.get(page(patient)))


@pytest.mark.parametrize("key", ["nonsense", "x" * 5000, "\x00"])
def test_a_template_that_does_not_exist(client, patient, template, key):
    assert use(client, patient, key).status_code in {400, 404}


def test_a_template_of_another_practice_does_not_exist(client, patient, other_practice):
    theirs = create_template(other_practice)

    assert use(client, patient, theirs).status_code == 404


def test_another_practice_s_template_named_in_the_form_is_not_kept(client, patient, practitioner, other_practice):
    theirs = create_template(other_practice)

    client.post(page(patient), {**answers_for(practitioner), "template-key": theirs.key, "template-checked": "on"})

    assert Operation.objects.get().template is None


def test_a_template_retired_a_moment_ago_fills_in_nothing(client, patient, template):
    template.offered = False
    template.save()

    response = use(client, patient, template)

    assert "The template “Partial, phenol” is no longer offered." in text(response)
    assert not given(response).get("toe1-agent")


def test_an_agent_the_practice_no_longer_offers_is_left_open(client, patient, practice, template):
    practice.agents_offered = ["sodium_hydroxide"]
    practice.save()

    answers = given(use(client, patient, template))

    assert answers["toe1-technique"] == "pna_chemical"
    assert not answers.get("toe1-agent")
    assert not answers.get("toe1-strength_percent")


def test_statements_do_not_grow_with_templates(client, patient, practice, template):
    few = statements(client, patient)
    for _ in range(20):
        create_template(practice)

    assert statements(client, patient) == few


def statements(client, patient) -> int:
    with CaptureQueriesContext(connection) as asked:
        client.get(page(patient))
    return len(asked)
