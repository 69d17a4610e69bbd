"""The six steps of the yearly audit: by rule, with specific words for what is wrong, and nothing lost."""

import re
from datetime import date
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from audit.cycle import Facts, State, steps
from audit.models import Action, AuditYear, ChangeNote, PracticeStandard, SignedAudit
from audit.signing import paper, words_of
from clinic.access.models import Practice
from clinic.access.once import new_token
from clinic.access.rules import Role
from tests.factories import create_action, create_audit_year, create_member, create_operation, create_review

pytestmark = pytest.mark.django_db
YEAR = 2023
PAGES = ("audit-quality", "audit-year-results", "audit-standard", "audit-actions", "audit-sign")


@pytest.fixture
def browser(client_of, lead):
    return client_of(lead)


def words(response):
    return " ".join(unescape(response.content.decode()).replace("\xa0", " ").split())


def get(browser, name, *more, year=YEAR, **query):
    return browser.get(reverse(name, args=[year, *more]), query)


def post(browser, name, *more, year=YEAR, **answers):
    return browser.post(reverse(name, args=[year, *more]), answers)


def some_operations(practice, number=6):
    for place in range(number):
        create_review(create_operation(practice, performed_on=date(2023, 6, 1 + place)), day=365)


def begin(browser, **answers):
    return post(browser, "audit-period", **{"as_of": "2025-05-30", "version": "0", **answers})


# --- by rule


def test_steps_follow_from_facts():
    def states(**facts):
        return [step.state.value for step in steps(Facts(**facts))]

    assert states() == ["open", *["blocked"] * 5]
    read = {"chosen": True, "quality_read": True, "interpreted": True, "standards_confirmed": True}
    assert states(chosen=True) == ["done", "open", *["blocked"] * 4]
    assert states(**read) == ["done"] * 4 + ["open", "blocked"]
    assert states(**read, no_action_reason=True) == ["done"] * 5 + ["open"]
    assert states(**read, actions=1, signed=True) == ["done"] * 6
    assert states(**read, actions=1, signed=True, open_now=1, standards_changed=True) == ["done"] * 6
    assert states(**read, actions=1, open_now=3, open_when_read=1)[1] == State.OPEN
    assert states(**read, actions=1, standards_changed=True)[3] == State.OPEN
    assert states(**read, actions=1, carried_unanswered=1)[4] == State.OPEN


@pytest.mark.parametrize("name", PAGES)
def test_a_step_asked_for_too_early_says_which_one_is_missing(browser, name):
    response = get(browser, name)
    assert response.status_code == 409
    assert "has to wait: step 1, Period, is open. First choose the audit year and the data date." in words(response)
    assert f'href="{reverse("audit-period", args=[YEAR])}"' in response.content.decode()


def test_the_missing_step_is_named_each_time(browser, practice, lead):
    create_audit_year(practice, by=lead, interpretation="")
    assert "step 3, Results, is open. First write what the results mean." in words(get(browser, "audit-sign"))
    assert post(browser, "audit-sign", version="1", read="on", password="x").status_code == 409
    assert SignedAudit.objects.count() == 0


def test_a_year_that_has_not_begun_does_not_exist(browser):
    assert get(browser, "audit-period", year=2199).status_code == 404
    assert get(browser, "audit-period", year=1).status_code == 404


# --- period


def test_a_period_that_has_not_matured_is_refused_with_the_reason(browser):
    response = begin(browser, as_of="2025-01-01", aim="How many grew back?")
    assert response.status_code == 400
    said = words(response)
    assert "Surgery up to 31 Mar 2024 cannot have a 12-month outcome by 1 Jan 2025." in said
    assert "How many grew back?" in said
    assert AuditYear.objects.count() == 0


def test_it_may_go_on_as_preliminary_and_says_so(browser, practice):
    some_operations(practice)
    assert begin(browser, as_of="2025-01-01", preliminary="on").status_code == 302
    assert "Preliminary" in words(get(browser, "audit-quality"))
    sheet = paper("", words_of(AuditYear.objects.get()), None)
    assert "Draft, not signed · Preliminary" in sheet  # in the foot of every page


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        ("2999-01-01", "is in the future"),
        ("2020-01-01", "is before the first day of surgery, 1 Apr 2023"),
        ("2025-02-30", "is not a day in the calendar"),
    ],
)
def test_a_wrong_data_date_says_what_is_wrong(browser, day, sentence):
    response = begin(browser, as_of=day)
    assert response.status_code == 400
    assert sentence in words(response)


def test_two_leads_begin_the_same_year(browser, client_of, practice):
    other = client_of(create_member(practice, role=Role.LEAD))
    begin(browser, aim="The first.")
    response = begin(other, aim="The second.")
    assert response.status_code == 409
    said = words(response)
    assert "The first." in said
    assert "The second." in said
    assert AuditYear.objects.get().aim == "The first."


# --- data quality


def test_gaps_lead_to_their_records_and_back(browser, practice):
    nail = create_operation(practice, performed_on=date(2023, 6, 1), seconds=()).nail_procedures.get()
    begin(browser)
    page = get(browser, "audit-quality").content.decode()
    address = reverse("audit-records")
    link = next(part for part in page.split('href="') if part.startswith(address) and "quality%2Fexposure" in part)
    listed = browser.get(unescape(link.split('"')[0])).content.decode()
    assert f'href="{reverse("toe", args=[nail.key])}?audit={YEAR}"' in listed
    assert f'href="{reverse("audit-quality", args=[YEAR])}">Back to data quality' in listed
    toe = browser.get(reverse("toe", args=[nail.key]), {"audit": YEAR}).content.decode()
    assert f'href="{reverse("audit-quality", args=[YEAR])}"' in toe
    assert "audit-quality" not in browser.get(reverse("toe", args=[nail.key]), {"audit": "//evil"}).content.decode()


def test_a_new_gap_opens_the_step_again(browser, practice):
    some_operations(practice)
    begin(browser)
    assert post(browser, "audit-quality", version="1").status_code == 302
    assert get(browser, "audit-year-results").status_code == 200
    create_operation(practice, performed_on=date(2023, 7, 1), seconds=())
    response = get(browser, "audit-year-results")
    assert response.status_code == 409
    assert "step 2, Data quality, is open" in words(response)
    assert "1 more gap" in words(get(browser, "audit-quality"))


def test_gaps_and_standards_that_nobody_has_read_are_not_taken_as_read(browser, practice, lead):
    year = create_audit_year(practice, by=lead, quality_read_at=None, quality_read_by=None)
    gaps = get(browser, "audit-quality").content.decode()
    assert 'name="seen" value="0"' in gaps
    create_operation(practice, performed_on=date(2023, 7, 1), seconds=())
    said = browser.post(reverse("audit-quality", args=[YEAR]), {"version": year.version, "seen": "0"}, follow=True)
    assert "The gaps changed since this list was shown. Nothing was saved" in words(said)
    assert AuditYear.objects.get().quality_read_at is None
    AuditYear.objects.update(quality_read_at=year.opened_at, quality_read_by=lead)
    shown = re.search(r'name="seen" value="(\w+)"', get(browser, "audit-standard").content.decode())[1]
    post(browser, "audit-standard-edit", "O8", **standard())
    answers = {"version": year.version, "seen": shown}
    said = browser.post(reverse("audit-standard", args=[YEAR]), answers, follow=True)
    assert "A standard was changed since this page was shown. Nothing was confirmed" in words(said)
    assert AuditYear.objects.get().version == year.version


# --- results


def test_results_need_words_and_keep_what_was_typed(browser, practice, lead):
    create_audit_year(practice, by=lead, interpretation="")
    response = post(browser, "audit-year-results", version="1", interpretation="", limitations="One practice.")
    assert response.status_code == 400
    assert "Write what the results mean; one sentence is enough" in words(response)
    assert "One practice." in words(response)


def test_two_leads_write_at_once_and_nothing_is_lost(browser, client_of, practice, lead):
    create_audit_year(practice, by=lead)
    other = client_of(create_member(practice, role=Role.LEAD))
    assert post(browser, "audit-year-results", version="1", interpretation="Mine.").status_code == 302
    response = post(other, "audit-year-results", version="1", interpretation="Theirs.")
    assert response.status_code == 409
    said = words(response)
    assert "Mine." in said
    assert "Theirs." in said
    assert AuditYear.objects.get().interpretation == "Mine."


# --- standards


def standard(**answers):
    return {"direction": "at_least", "target": "90", "source": "Local decision, May 2025", "reason": "x",
            "version": "0", **answers}  # fmt: skip


def test_a_standard_is_changed_in_versions_and_opens_the_step_again(browser, practice, lead):
    create_audit_year(practice, by=lead)
    assert get(browser, "audit-actions").status_code == 200
    assert post(browser, "audit-standard-edit", "O8", **standard()).status_code == 302
    row = PracticeStandard.objects.get()
    assert (row.code, float(row.target), row.version) == ("O8", 0.9, 1)
    response = get(browser, "audit-actions")
    assert response.status_code == 409
    assert "step 4, Standard, is open" in words(response)
    assert "A standard was changed after it was confirmed" in words(get(browser, "audit-standard"))
    assert post(browser, "audit-standard-edit", "O8", **standard(target="95", version="1")).status_code == 302
    assert PracticeStandard.objects.get().history.count() == 2


def test_the_standard_for_recurrence_is_the_one_of_the_settings(browser, practice, lead):
    create_audit_year(practice, by=lead)
    answers = standard(direction="at_most", target="4")
    assert post(browser, "audit-standard-edit", "O5", **answers).status_code == 302
    assert float(Practice.objects.get(pk=practice.pk).recurrence_standard) == 0.04
    assert "at most 4 %" in words(get(browser, "audit-standard"))


def test_two_leads_change_one_standard(browser, practice, lead):
    create_audit_year(practice, by=lead)
    post(browser, "audit-standard-edit", "O8", **standard())
    response = post(browser, "audit-standard-edit", "O8", **standard(target="70", reason="other"))
    assert response.status_code == 409
    assert "70" in words(response)
    assert float(PracticeStandard.objects.get().target) == 0.9


@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        ({"target": ""}, "Enter the target, or choose that it is only watched"),
        ({"direction": "monitor"}, "A criterion that is only watched has no target; empty the field"),
        ({"target": "120"}, "The target must be between 0 and 100%"),
        ({"source": ""}, "Say where the standard comes from"),
        ({"reason": ""}, "Give the reason for the change"),
    ],
)
def test_a_standard_that_says_too_little_is_refused(browser, practice, lead, answers, sentence):
    create_audit_year(practice, by=lead)
    response = post(browser, "audit-standard-edit", "O8", **standard(**answers))
    assert response.status_code == 400
    assert sentence in words(response)
    assert not PracticeStandard.objects.exists()


def test_a_criterion_that_does_not_exist(browser, practice, lead):
    create_audit_year(practice, by=lead)
    assert get(browser, "audit-standard-edit", "O99").status_code == 404


# --- actions


def action(lead, **answers):
    return {"what": "Call twice", "who": lead.pk, "due_on": "2099-02-28", "how_known": "90 % known", "criterion": "O8",
            "once": new_token(), **answers}  # fmt: skip


@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        ({"who": ""}, "Give every action a person"),
        ({"due_on": ""}, "Give every action a date"),
        ({"due_on": "2020-01-01"}, "The date must be after today"),
        ({"what": ""}, "Say what will be done"),
        ({"how_known": ""}, "Say how you will know that it worked"),
    ],
)
def test_an_action_without_its_parts_is_refused_and_kept(browser, practice, lead, answers, sentence):
    create_audit_year(practice, by=lead, no_action_reason="")
    response = post(browser, "audit-actions", **action(lead, **answers))
    assert response.status_code == 400
    assert sentence in words(response)
    assert ("Call twice" in words(response)) is ("what" not in answers)
    assert not Action.objects.exists()


def test_a_person_of_another_practice_is_nobody_here(browser, practice, lead, colleague_elsewhere):
    create_audit_year(practice, by=lead)
    response = post(browser, "audit-actions", **action(lead, who=colleague_elsewhere.pk))
    assert "Choose a person of this practice" in words(response)


def test_an_action_sent_twice_is_one(browser, practice, lead):
    create_audit_year(practice, by=lead)
    answers = action(lead)
    assert post(browser, "audit-actions", **answers).status_code == 302
    assert post(browser, "audit-actions", **answers).status_code == 302
    assert Action.objects.count() == 1


def test_no_action_needs_a_reason(browser, practice, lead):
    create_audit_year(practice, by=lead, no_action_reason="")
    assert "No action yet. If none is needed, say why." in words(get(browser, "audit-actions"))
    assert "Say why no action is needed" in words(post(browser, "audit-no-action", version="1", reason=""))
    assert post(browser, "audit-no-action", version="1", reason="All targets were met.").status_code == 302
    assert get(browser, "audit-sign").status_code == 200


def test_an_open_action_is_carried_over_until_somebody_says_what_came_of_it(browser, practice, lead):
    earlier = create_audit_year(practice, by=lead, starting_year=2022)
    old = create_action(earlier, due_on=date(2024, 1, 31), criterion="O8")
    create_audit_year(practice, by=lead)
    said = words(get(browser, "audit-actions"))
    assert "Call a second time" in said
    assert "O8: not signed then, now" in said
    assert "1 action of earlier years: nobody has said what came of it" in said
    assert get(browser, "audit-sign").status_code == 409
    address = reverse("audit-action", args=[old.key])
    assert "Say what was found" in words(browser.post(address, {"version": "1", "state": "done", "outcome": ""}))
    assert "Give a day after today" in words(browser.post(address, {"version": "1", "state": "open"}))
    assert browser.post(address, {"version": "1", "state": "done", "outcome": "84 % known"}).status_code == 302
    assert browser.post(address, {"version": "1", "state": "dropped", "outcome": "x"}).status_code == 409
    assert Action.objects.get(pk=old.pk).outcome == "84 % known"
    assert get(browser, "audit-sign").status_code == 200
    assert "84 % known" in words(get(browser, "audit-actions"))


# --- in between


def test_a_change_of_practice_is_noted_once_and_drawn(browser, practice):
    some_operations(practice)
    page = browser.get(reverse("audit-monitoring"))
    assert page.status_code == 200
    answers = {"changed_on": "2024-02-01", "what": "Timer introduced", "once": new_token()}
    for _ in range(2):
        assert browser.post(reverse("audit-change-note"), answers).status_code == 302
    assert ChangeNote.objects.count() == 1
    assert "Timer introduced" in words(browser.get(reverse("audit-monitoring")))
    wrong = browser.post(reverse("audit-change-note"), {**answers, "changed_on": "2999-01-01", "once": new_token()})
    assert wrong.status_code == 400
    assert "The day must not be after today" in words(wrong)


@pytest.mark.parametrize("watched", ["any_regrowth", "symptomatic_recurrence", "infection"])
@pytest.mark.parametrize("form", ["svg", "csv", "png"])
def test_every_chart_of_the_page_in_between_has_picture_and_file(browser, practice, watched, form):
    some_operations(practice)
    for slug in ("cusum", "between", "completeness", "exposure-times"):
        response = browser.get(reverse("audit-monitoring-chart", args=[slug, form]), {"watched": watched})
        assert response.status_code == 200


def test_a_wrong_question_in_between_says_so(browser):
    for query, sentence in (
        ({"since": "2999-01-01"}, "must not be after today"), ({"watched": "weather"}, "is not one of the available"),
    ):  # fmt: skip
        response = browser.get(reverse("audit-monitoring"), query)
        assert response.status_code == 400
        assert sentence in words(response)


# --- statements


@pytest.mark.parametrize("name", [*PAGES, "audit-period", "audit-year-course", "audit-monitoring"])
def test_statements_of_a_step_do_not_grow_with_the_records(browser, practice, lead, name):
    create_audit_year(practice, by=lead)
    arguments = [] if name == "audit-monitoring" else [YEAR]

    def statements():
        address = reverse(name, args=arguments)
        browser.get(address)  # counted once; from then on the figures are ready
        with CaptureQueriesContext(connection) as captured:
            assert browser.get(address).status_code == 200
        return len(captured)

    some_operations(practice, 3)
    few = statements()
    some_operations(practice, 20)
    assert statements() == few <= 10
