"""Schedules of a practice: planned on signing, changed with a preview, moved only when somebody decides so."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.urls import reverse

from clinic.access.models import Conflict
from clinic.planning.models import FollowUp, PlannedSchedule
from clinic.planning.phone import dialled
from clinic.planning.recording import change_template, plan_reviews
from clinic.schedule import SCHEDULE, SIX_WEEKS, TWELVE_MONTHS, as_rows, from_rows
from tests.factories import create_operation, create_patient, create_review

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
TODAY = date(2026, 11, 25)
LATER_SIX_WEEKS = tuple(replace(SIX_WEEKS, target_day=45) if point == SIX_WEEKS else point for point in SCHEDULE)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


def operated(practice, lead, days_ago, *, signed=True, **fields):
    operation = create_operation(
        patient=create_patient(practice), operator=lead, performed_on=TODAY - timedelta(days=days_ago), **fields
    )
    if signed:
        type(operation).objects.filter(pk=operation.pk).update(signed_at=NOW, signed_by=lead)
        operation.refresh_from_db()
    return operation


def answers(schedule=SCHEDULE, **changed):
    """The posted form of a schedule."""
    posted = {"version": "1", "reason": "Protocol of the clinic", "do": "preview"}
    for point in schedule:
        months = point.target_months
        posted |= {
            f"{point.code}_used": "on", f"{point.code}_name": point.name, f"{point.code}_mode": point.mode.value,
            f"{point.code}_target": str(months or point.target_day),
            f"{point.code}_unit": "months" if months else "days",
            f"{point.code}_opens": str(point.opens_day), f"{point.code}_closes": str(point.closes_day),
            f"{point.code}_minimum": list(point.minimum),
        }  # fmt: skip
    return posted | changed


def change(lead, schedule, *, technique="common", moving=False, version=1):
    return change_template(
        by=lead, version=version, technique=technique, schedule=schedule, moving=moving, reason="Test", now=NOW,
        today=TODAY,
    )  # fmt: skip


def previewed(client, posted, technique="common"):
    page = client.post(reverse("schedule", args=[technique]), posted)
    return page, posted | {"previewed": page.context["form"].data["previewed"]}


def test_signing_plans_the_reviews_once_and_says_the_first(practice, lead):
    operation = operated(practice, lead, 0)

    plan = plan_reviews(by=lead, operation=operation, now=NOW)
    again = plan_reviews(by=lead, operation=operation, now=NOW)

    assert plan.pk == again.pk
    assert from_rows(plan.rows) == SCHEDULE
    assert plan.history.get().history_user == lead


def test_a_preview_saves_nothing_and_counts_what_would_move(client_of, practice, lead):
    operated(practice, lead, 20)
    operated(practice, lead, 38)
    operated(practice, lead, 100)  # its 6-week review is over
    client = client_of(lead)

    page, _ = previewed(client, answers(LATER_SIX_WEEKS))

    assert "2 planned reviews of 2 operations would move" in page.content.decode()
    assert "Save, and move these 2 planned reviews" in page.content.decode()
    assert not FollowUp.objects.filter(practice=practice).exclude(templates={}).exists()


def test_saving_without_moving_leaves_signed_operations_as_they_were(client_of, practice, lead):
    signed, unsigned = operated(practice, lead, 20), operated(practice, lead, 20, signed=False)
    client = client_of(lead)
    _, posted = previewed(client, answers(LATER_SIX_WEEKS))

    response = client.post(reverse("schedule", args=["common"]), posted | {"do": "save"})

    assert response["Location"] == reverse("follow-up")
    assert from_rows(PlannedSchedule.objects.get(operation=signed).rows) == SCHEDULE
    assert not PlannedSchedule.objects.filter(operation=unsigned).exists()
    pages = {each: client.get(reverse("toe", args=[each.nail_procedures.get().key])) for each in (signed, unsigned)}
    targets = {each: next(e for e in page.context["story"].entries if e.planned).on for each, page in pages.items()}
    assert targets == {signed: TODAY + timedelta(days=22), unsigned: TODAY + timedelta(days=25)}


def test_saving_and_moving_moves_the_planned_reviews_and_keeps_the_history(client_of, practice, lead):
    operation = operated(practice, lead, 20)
    plan_reviews(by=lead, operation=operation, now=NOW)
    client = client_of(lead)
    _, posted = previewed(client, answers(LATER_SIX_WEEKS))

    client.post(reverse("schedule", args=["common"]), posted | {"do": "save_and_move"})

    plan = PlannedSchedule.objects.get(operation=operation)
    assert from_rows(plan.rows) == LATER_SIX_WEEKS
    assert [row.history_change_reason for row in plan.history.order_by("history_id")] == [
        "Planned on signing", "Protocol of the clinic",
    ]  # fmt: skip
    assert FollowUp.objects.get(practice=practice).history.first().history_user == lead


def test_what_was_not_previewed_is_not_saved(client_of, practice, lead):
    client = client_of(lead)
    _, posted = previewed(client, answers(LATER_SIX_WEEKS))

    other = answers(tuple(replace(point, target_day=40) if point == SIX_WEEKS else point for point in SCHEDULE))
    page = client.post(
        reverse("schedule", args=["common"]), other | {"do": "save", "previewed": posted["previewed"]}
    )  # fmt: skip

    assert "Nothing is saved yet" in page.content.decode()
    assert not FollowUp.objects.filter(practice=practice).exclude(templates={}).exists()


def test_a_technique_gets_a_schedule_of_its_own_and_gives_it_back(client_of, practice, lead):
    total = operated(practice, lead, 20, technique="tna_chemical", sides=("whole",), signed=False)
    partial = operated(practice, lead, 20, signed=False)
    client = client_of(lead)
    _, posted = previewed(client, answers(LATER_SIX_WEEKS), "tna_chemical")
    client.post(reverse("schedule", args=["tna_chemical"]), posted | {"do": "save"})

    def target(operation):
        page = client.get(reverse("toe", args=[operation.nail_procedures.get().key]))
        return next(entry for entry in page.context["story"].entries if entry.planned).day

    assert (target(total), target(partial)) == (45, 42)

    take_away(client, practice, answers(LATER_SIX_WEEKS), "remove_now")
    assert (target(total), target(partial)) == (42, 42)


def take_away(client, practice, posted, do):
    """Preview the removal, then do it."""
    posted |= {"do": "remove", "version": str(FollowUp.objects.get(practice=practice).version)}
    page, posted = previewed(client, posted, "tna_chemical")
    client.post(reverse("schedule", args=["tna_chemical"]), posted | {"do": do})
    return page.content.decode()


def test_taking_a_schedule_away_is_previewed_and_moves_only_when_somebody_decides_so(client_of, practice, lead):
    operation = operated(practice, lead, 20, technique="tna_chemical", sides=("whole",))
    change(lead, LATER_SIX_WEEKS, technique="tna_chemical", moving=True)
    client, url = client_of(lead), reverse("schedule", args=["tna_chemical"])
    version = str(FollowUp.objects.get(practice=practice).version)

    # Neither at once nor with the preview of something else.
    _, other = previewed(client, answers(LATER_SIX_WEEKS, version=version), "tna_chemical")
    for do in ("remove", "remove_now"):
        client.post(url, other | {"do": do})
    assert "tna_chemical" in FollowUp.objects.get(practice=practice).templates

    page = take_away(client, practice, answers(LATER_SIX_WEEKS), "remove_and_move")

    assert "One planned review would move" in page
    assert "This technique would follow the schedule of all others again." in page
    assert "tna_chemical" not in FollowUp.objects.get(practice=practice).templates
    assert from_rows(PlannedSchedule.objects.get(operation=operation).rows) == SCHEDULE


def test_two_leads_who_change_at_once_do_not_overwrite_each_other(practice, lead):
    change(lead, LATER_SIX_WEEKS)

    with pytest.raises(Conflict):
        change(lead, SCHEDULE, version=1)
    assert FollowUp.objects.get(practice=practice).templates["common"] == as_rows(LATER_SIX_WEEKS)


def test_a_conflict_says_who_was_first_and_keeps_what_was_typed(client_of, practice, lead):
    client = client_of(lead)
    _, posted = previewed(client, answers(LATER_SIX_WEEKS))
    change(lead, (*SCHEDULE[:2], TWELVE_MONTHS))

    page = client.post(reverse("schedule", args=["common"]), posted | {"do": "save"})

    assert page.status_code == 409
    assert "Terry Testcase changed this" in page.content.decode()
    assert page.context["form"]["six_weeks_target"].value() == "45"


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"two_weeks_used": "on", "two_weeks_name": "2-week review", "two_weeks_target": "14", "two_weeks_opens": "10",
          "two_weeks_closes": "18", "two_weeks_unit": "days", "two_weeks_mode": "any"},
         "The window of the 2-week review (10 to 18) overlaps the window of the First redress (1 to 10)"),
        ({"six_weeks_target": ""}, "6-week review: the target is missing"),
        ({"six_weeks_target": "six"}, "Target must be a whole number; enter a number like 60"),
        ({"six_months_target": "61"}, "6-month review: at most 36 months"),
        ({"twelve_months_used": ""}, "The 12-month review must stay: the audit counts what is seen then"),
        ({"reason": ""}, "Give the reason"),
    ],
)  # fmt: skip
def test_each_mistake_has_its_sentence_and_typed_values_stay(client_of, practice, lead, changed, sentence):
    page = client_of(lead).post(reverse("schedule", args=["common"]), answers(SCHEDULE, **changed))

    assert sentence in page.content.decode()
    name, typed = next(iter(changed.items()))
    assert page.context["form"][name].value() in {typed, bool(typed)}
    assert not FollowUp.objects.filter(practice=practice).exists()


def test_the_schedule_of_another_practice_is_its_own(practice, lead, colleague_elsewhere):
    change(lead, LATER_SIX_WEEKS)
    there = operated(colleague_elsewhere.practice, colleague_elsewhere, 20)

    plan = plan_reviews(by=colleague_elsewhere, operation=there, now=NOW)

    assert from_rows(plan.rows) == SCHEDULE


def test_a_longer_schedule_keeps_its_operations_on_today(client_of, practice, lead):
    two_years = replace(
        TWELVE_MONTHS, code="twenty_four_months", name="24-month review", target_day=730, target_months=24,
        opens_day=700, closes_day=790,
    )  # fmt: skip
    operation = operated(practice, lead, 710, signed=False)
    client = client_of(lead)
    assert client.get(reverse("today")).context["lists"].due == []

    change(lead, (*SCHEDULE, two_years))

    assert [row.operation for row in client.get(reverse("today")).context["lists"].due] == [operation]


def test_a_phone_review_without_healing_leaves_the_six_week_review_open(client_of, practice, lead):
    operation = operated(practice, lead, 40)
    create_review(operation, day=38, means="phone", healing="not_assessed")
    client = client_of(lead)

    assert [row.operation for row in client.get(reverse("today")).context["lists"].due] == [operation]

    create_review(operation, day=39)
    assert client.get(reverse("today")).context["lists"].due == []


def settings_posted(**changed):
    posted = {
        "version": "1", "reason": "Agreed", "phone": "01632 960100", "out_of_hours": "", "sender": "", "tries": "3",
        "close_after_days": "60", "link_days": "14", "step0_days": "-14", "step0_way": "message", "step1_days": "0",
        "step1_way": "phone", "step2_days": "14", "step2_way": "message", "step2_link": "on",
    }  # fmt: skip
    return posted | changed


def test_the_ladder_is_saved_with_its_history(client_of, practice, lead):
    client_of(lead).post(reverse("follow-up"), settings_posted())

    row = FollowUp.objects.get(practice=practice)
    assert [(step["after_days"], step["way"], step["with_link"]) for step in row.ladder] == [
        (-14, "message", False), (0, "phone", False), (14, "message", True),
    ]  # fmt: skip
    assert row.history.first().history_change_reason == "Agreed"


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"step1_days": "-20"}, "The tries must follow one another, each on a later day than the one before"),
        ({"step0_days": "", "step1_days": "", "step2_days": ""}, "Give at least one try"),
        ({"sends_email": "on", "phone": ""}, "give the phone number, or send no e-mail"),
        ({"phone": "+44 (0)1632 960100"}, "Leave out “(0)”: after a country code it is not dialled"),
        ({"phone": "0044 ( 0 ) 1632 960100"}, "Leave out “(0)”: after a country code it is not dialled"),
        ({"phone": "01632 960100 / 960200"}, "Enter one number only, such as 01632 960100"),
        ({"phone": "01632 960100 or 960200"}, "Enter one number only, such as 01632 960100"),
        ({"phone": "01632 960100 01632 960200"}, "The number has 22 digits, and none has more than 15"),
        ({"phone": "the front desk"}, "Enter the number in digits, such as 01632 960100"),
        ({"phone": "12"}, "The number is too short"),
        ({"link_days": "61"}, "The link must be between 1 and 60 days"),
        ({"tries": ""}, "The number of calls is missing"),
    ],
)
def test_impossible_settings_are_refused_with_their_sentence(client_of, practice, lead, changed, sentence):
    page = client_of(lead).post(reverse("follow-up"), settings_posted(**changed))

    assert sentence in page.content.decode()
    assert not FollowUp.objects.filter(practice=practice).exists()


@pytest.mark.parametrize(
    ("phone", "dials"),
    [
        ("01632 960100", "01632960100"),
        ("(01632) 960-100", "01632960100"),
        ("+44 1632.960.100", "+441632960100"),
        ("+44 (0)1632 960100", "+441632960100"),  # stored before it was refused
    ],
)
def test_a_phone_dials_the_number_that_is_meant(phone, dials):
    assert dialled(phone) == dials
