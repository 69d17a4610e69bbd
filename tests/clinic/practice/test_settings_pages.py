"""The pages of settings: shown before saved, saved with who and why, refused in words, nobody overwritten unseen."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.models import Practice
from clinic.access.rules import Role
from clinic.practice.topics import TOPICS
from tests.clinic.practice.browsing import GOOD, hidden, save, show, text, topic_url
from tests.factories import create_member, create_operation

SAVED = {
    "times": {"exposure_note_seconds": 170},
    "agents": {"agents_offered": ["phenol", "sodium_hydroxide"], "anaesthetics_offered": ["lidocaine", "mepivacaine"]},
    "dressings": {"dressings_offered": ["non_adherent", "alginate"]},
    "staging": {"staging_system": "mozena"},
    "checklist": {"checklist_wording": {"allergies": "Allergies read aloud and answered"}},
    "audit": {"exposure_bands_seconds": [20, 40, 90], "recurrence_standard": Decimal("0.075")},
}


@pytest.fixture
def browser(client_of, lead):
    return client_of(lead)


def test_every_topic_has_a_page_that_is_tested():
    assert set(GOOD) == set(SAVED) == set(TOPICS)


@pytest.mark.parametrize("code", GOOD)
def test_a_change_is_shown_first_and_then_saved_with_author_and_reason(browser, practice, lead, code):
    shown = show(browser, topic_url(code), GOOD[code])

    practice.refresh_from_db()
    assert (shown.status_code, practice.version) == (200, 1)
    assert "What this would change" in text(shown)

    saved = browser.post(topic_url(code), {**GOOD[code], **hidden(shown), "reason": "As agreed on Monday"})

    practice.refresh_from_db()
    assert (saved.status_code, saved["Location"]) == (302, topic_url(code))
    assert {name: getattr(practice, name) for name in SAVED[code]} == SAVED[code]
    newest = practice.history.first()
    assert (practice.version, newest.history_user, newest.history_change_reason) == (2, lead, "As agreed on Monday")
    history = text(browser.get(topic_url(code)))
    assert "Terry Testcase: As agreed on Monday" in history


def test_the_history_holds_only_the_topic_and_both_values(browser):
    save(browser, topic_url("times"), GOOD["times"])
    save(browser, topic_url("staging"), GOOD["staging"])

    history = text(browser.get(topic_url("times")))
    assert "Note for an exposure above: 180 s → 170 s" in history
    assert "Staging system" not in history
    assert "not chosen, all are offered → Mozena" in text(browser.get(topic_url("staging")))


def test_without_a_reason_nothing_is_saved(browser, practice):
    response = save(browser, topic_url("times"), GOOD["times"], reason=" ")

    practice.refresh_from_db()
    assert "Give the reason for the change" in text(response)
    assert practice.version == 1


def test_what_was_changed_after_it_was_shown_is_shown_again(browser, practice):
    shown = show(browser, topic_url("times"), GOOD["times"])

    answers = {**GOOD["times"], **hidden(shown), "reason": "x", "exposure_note_seconds": "100"}
    response = browser.post(topic_url("times"), answers)

    practice.refresh_from_db()
    assert practice.version == 1
    assert '<td data-label="With the change">100 s</td>' in text(response)
    assert browser.post(topic_url("times"), {**answers, **hidden(response)}).status_code == 302


def test_a_made_up_proof_of_having_seen_the_effect_saves_nothing(browser, practice):
    browser.post(topic_url("times"), {**GOOD["times"], "version": "1", "seen": "x", "reason": "x"})

    practice.refresh_from_db()
    assert practice.version == 1


def test_unchanged_answers_are_no_change(browser, practice):
    answers = {**GOOD["times"], "exposure_note_seconds": "180"}

    response = show(browser, topic_url("times"), answers)

    practice.refresh_from_db()
    assert "Nothing is changed; the settings stay as they are" in text(response)
    assert practice.version == 1


TIMES, AUDIT = GOOD["times"], GOOD["audit"]
MISTAKES = [
    ("audit", {"exposure_bands": "60, 30"}, "in ascending order"),
    ("audit", {"exposure_bands": "60, 60"}, "in ascending order"),
    ("audit", {"exposure_bands": "30.5"}, "Write whole seconds with commas between"),
    ("audit", {"exposure_bands": ""}, "Enter at least one limit, like 60"),
    ("audit", {"exposure_bands": "٣٠"}, "Write whole seconds with commas between"),
    ("audit", {"exposure_bands": "1,2,3,4,5,6,7,8,9"}, "Give one to eight different whole seconds"),
    ("audit", {"exposure_bands": "1" * 61}, "The limits may have at most 60 characters"),
    ("audit", {"recurrence_standard": "0"}, "The standard must be between 0.1 and 99.9%"),
    ("audit", {"recurrence_standard": "100"}, "The standard must be between 0.1 and 99.9%"),
    ("audit", {"recurrence_standard": "5.55"}, "The standard may have at most 1 decimal place"),
    ("times", {"exposure_note_seconds": "0"}, "The upper limit of exposure must be between 1 and 1800 s"),
    ("times", {"exposure_note_seconds": "1801"}, "The upper limit of exposure must be between 1 and 1800 s"),
    ("times", {"exposure_note_seconds": ""}, "The upper limit of exposure is missing; enter a number like 60"),
    ("times", {"exposure_note_seconds": "2,5"}, "The upper limit of exposure must be a whole number"),
    ("times", {"exposure_note_below_seconds": "170"}, "The lower limit must be less than the upper one, 170 s"),
    ("times", {"exposure_note_below_seconds": "-1"}, "The lower limit of exposure must be between 1 and 1800 s"),
    ("times", {"tourniquet_note_minutes": "30"}, "The alarm must come after the note, later than 30 min"),
    ("times", {"tourniquet_note_minutes": "0"}, "The tourniquet note must be between 1 and 119 min"),
    ("times", {"tourniquet_alarm_minutes": "121"}, "The tourniquet alarm must be between 2 and 120 min"),
    ("staging", {"staging_system": ""}, "Choose a system, or “Not chosen, offer all”"),
    ("staging", {"staging_system": "none"}, "Choose a system, or “Not chosen, offer all”"),
    ("agents", {"agents_offered": []}, "Tick at least one of the agents"),
    ("agents", {"agents_offered": ["none"]}, "Tick agents from the list"),
    ("agents", {"anaesthetics_offered": ["cocaine"]}, "Tick anaesthetics from the list"),
    ("dressings", {"dressings_offered": []}, "Tick at least one of the dressings"),
    ("checklist", {"allergies": "x" * 121}, "A line may have at most 120 characters: “Allergies read aloud”"),
]


@pytest.mark.parametrize(("code", "changes", "words"), MISTAKES)
def test_mistakes_are_named_what_was_typed_stays_and_nothing_is_saved(browser, practice, code, changes, words):
    response = show(browser, topic_url(code), {**GOOD[code], **changes})

    practice.refresh_from_db()
    assert response.status_code == 200
    assert words in text(response)
    assert "What this would change</h2>" not in text(response)
    typed = changes.values() if code in {"audit", "times", "checklist"} else ()
    assert all(f'value="{value}"' in response.content.decode() for value in typed if value)
    assert practice.version == 1


@pytest.mark.parametrize("version", ["", "0", "-1", "x", "9" * 30])
def test_an_odd_version_saves_nothing(browser, practice, version):
    shown = show(browser, topic_url("times"), TIMES)

    response = browser.post(topic_url("times"), {**TIMES, **hidden(shown), "reason": "x", "version": version})

    practice.refresh_from_db()
    assert response.status_code == 200
    assert practice.version == 1


def test_the_second_of_two_leads_sees_both_and_then_decides(browser, practice, client_of, lead):
    other = client_of(create_member(practice, role=Role.LEAD))
    mine = show(browser, topic_url("times"), TIMES)
    save(other, topic_url("times"), {**TIMES, "exposure_note_seconds": "150"})

    response = browser.post(topic_url("times"), {**TIMES, **hidden(mine), "reason": "Ours"})

    practice.refresh_from_db()
    assert response.status_code == 409
    assert practice.exposure_note_seconds == 150
    assert "Terry Testcase changed this" in text(response)
    assert '<td data-label="Stored now">150</td><td data-label="Typed by you">170</td>' in text(response)
    assert 'value="Ours"' in text(response)
    assert browser.post(topic_url("times"), {**TIMES, **hidden(response), "reason": "Ours"}).status_code == 302
    practice.refresh_from_db()
    assert (practice.exposure_note_seconds, practice.version) == (170, 3)


def test_leads_who_change_different_topics_do_not_meet(browser, practice, client_of):
    other = client_of(create_member(practice, role=Role.LEAD))
    mine = show(browser, topic_url("times"), TIMES)
    save(other, topic_url("staging"), GOOD["staging"])

    response = browser.post(topic_url("times"), {**TIMES, **hidden(mine), "reason": "Ours"})

    practice.refresh_from_db()
    assert response.status_code == 302
    assert (practice.exposure_note_seconds, practice.staging_system, practice.version) == (170, "mozena", 3)


def test_six_at_once_with_the_same_version_are_one_change(race):
    body = """
from clinic.practice.acts import change_settings
from clinic.access.models import Practice
practice = create_practice(code="north")
leads = [create_member(practice, role="lead") for _ in range(6)]
numbers = iter(range(6))
def attempt():
    number = next(numbers)
    change_settings(by=leads[number], version=1, values={"exposure_note_seconds": 100 + number}, reason="x")
    return "saved"
def after():
    stored = Practice.objects.get()
    return [stored.version, stored.history.count()]
"""
    results, (version, versions) = race(body)

    assert sorted(results) == ["Conflict"] * 5 + ["saved"]
    assert (version, versions) == (2, 2)


def test_another_practice_is_not_touched(browser, other_practice):
    save(browser, topic_url("times"), {**TIMES, "practice": other_practice.pk, "key": other_practice.key})

    other_practice.refresh_from_db()
    assert other_practice.version == 1


@pytest.mark.parametrize("role", [role for role in Role if role != Role.LEAD])
@pytest.mark.parametrize("code", GOOD)
def test_no_other_role_changes_anything(client_of, practice, role, code):
    response = client_of(create_member(practice, role=role)).post(topic_url(code), {**GOOD[code], "version": "1"})

    practice.refresh_from_db()
    assert (response.status_code, practice.version) == (403, 1)


def test_a_topic_that_does_not_exist(browser):
    assert browser.get(topic_url("nonsense")).status_code == 404


def test_the_overview_leads_everywhere_and_says_who_changed_what_last(browser):
    save(browser, topic_url("times"), GOOD["times"])

    page = text(browser.get(reverse("practice-settings")))

    for code in TOPICS:
        assert f'href="{topic_url(code)}"' in page
    assert f'href="{reverse("operation-templates")}"' in page
    assert f'href="{reverse("limits")}"' in page
    assert page.count("As shipped; never changed.") == len(TOPICS) - 1
    assert page.count("Last changed") == 1


@pytest.mark.parametrize("code", [None, *GOOD])
def test_statements_of_a_page_stay_within_eight(browser, practice, code):
    url = topic_url(code) if code else reverse("practice-settings")
    few = statements(browser, url, GOOD.get(code))
    for number in range(10):
        create_operation(practice, seconds=(60, 70), toe=1 + number % 5)
        Practice.objects.get(pk=practice.pk).save()
    many = statements(browser, url, GOOD.get(code))

    assert few == many
    assert max(many) <= 8


def statements(browser, url, answers) -> list[int]:
    """Of the page, and of the page with the effect."""
    found = []
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert browser.get(url).status_code == 200
    found.append(len(asked))
    if answers:
        with CaptureQueriesContext(connection) as asked:
            assert browser.post(url, {**answers, "version": "1"}).status_code == 200
        found.append(len(asked))
    return found
