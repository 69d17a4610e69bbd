"""Warning answers stand on top of Today the same moment, and stay until somebody has dealt with them."""

from datetime import timedelta

import pytest
from django.urls import reverse

from clinic.reports.models import PatientReport
from clinic.reviews.models import Contact, Review
from tests.clinic.reports.conftest import NOW, TODAY
from tests.factories import create_report

pytestmark = pytest.mark.django_db


def unexpected(client):
    """What came in, as the page has it from the top."""
    lists = client.get(reverse("today")).context["lists"]
    return [*lists.warnings, *lists.unexpected]


def test_warnings_come_before_what_came_earlier(client_of, operated, practitioner):
    calm = create_report(operated(365, "Calm"), now=NOW - timedelta(days=3))
    problem = operated(100, "Rang")
    Contact.objects.create(
        operation=problem, made_on=TODAY - timedelta(days=2), channel="phone", result="problem",
        recorded_by=practitioner, recorded_at=NOW,
    )  # fmt: skip
    create_report(operated(364, "Grows"), nail="yes", now=NOW - timedelta(days=1))
    create_report(operated(363, "Warns"), fluid="yellow", pain=8, wants_call=True, now=NOW)

    rows = unexpected(client_of(practitioner))

    assert [(row.identity.family_name, row.kind, row.words) for row in rows] == [
        ("Warns", "late", "Warning: yellow or smelly fluid, pain of 7 or more, wants a call"),
        ("Grows", "new", "Patient's report: nail growing back"),
        ("Rang", "new", "Patient reports a problem"),
        ("Calm", "new", "Patient's report"),
    ]
    assert calm.flags == []


def test_a_note_stands_among_the_warnings_until_it_is_dealt_with(client_of, operated, practitioner):
    create_report(operated(365, "Calm"), now=NOW - timedelta(days=3))
    report = create_report(operated(364, "Wrote"), note="toe black, red line up my leg", now=NOW)
    client = client_of(practitioner)

    first = unexpected(client)[0]
    assert (first.identity.family_name, first.kind, first.words) == ("Wrote", "late", "Warning: wrote more")

    client.post(reverse("review-accept", args=[report.review.key]))
    client.post(reverse("report-answered", args=[report.review.key]))
    assert [row.identity.family_name for row in unexpected(client)] == ["Calm"]


def test_a_warning_stands_once_and_above_the_operations_to_finish(client_of, operated, practitioner, reception):
    operated(3, "Unsigned")
    create_report(operated(365, "Calm"), now=NOW - timedelta(days=3))
    create_report(operated(364, "Hurts"), pain=7, now=NOW)

    response = client_of(practitioner).get(reverse("today"))

    page = response.content.decode()
    assert page.index("Hurts, Avery") < page.index('id="unfinished"') < page.index("Calm, Avery")
    assert [row.identity.family_name for row in response.context["lists"].warnings] == ["Hurts"]
    assert [row.identity.family_name for row in response.context["lists"].unexpected] == ["Calm"]
    assert 'id="warnings"' in client_of(reception).get(reverse("today")).content.decode()


def test_a_ticked_sign_is_a_red_flag_that_stays_when_the_report_is_accepted(client_of, operated, practitioner):
    report = create_report(operated(365), signs=("sign_dark",), now=NOW)
    client = client_of(practitioner)

    client.post(reverse("review-accept", args=[report.review.key]))

    (flag,) = client.get(reverse("today")).context["red_flags"]
    assert flag.fact == "Toe black, blue or numb, ticked by the patient on day 365"
    assert flag.source_key == report.review.key


def test_a_red_flag_of_a_report_is_on_top_of_today_until_it_is_answered(client_of, operated, practitioner, reception):
    """The same flags as of any entry: they lapse with it, and stay with whoever dealt with them."""
    first, second = (create_report(operated(days), fluid="yellow", pain=8, now=NOW) for days in (365, 364))
    client = client_of(practitioner)
    today = client.get(reverse("today"))
    bone, other = today.context["red_flags"]
    said = today.content.decode()

    assert (bone.operation, bone.origin, bone.source_key) == (first.review.operation, "review", first.review.key)
    assert "Right 1st toe (hallux): yellow or smelly fluid on day 365, told by the patient. Possible problem" in said
    assert said.index('id="red-head"') < said.index('id="unexpected"')
    assert list(bone.operation.red_flags.values_list("alert", "level")) == [
        ("bone_infection", "red"), ("pain_syndrome", "amber")
    ]  # fmt: skip
    assert "yellow" not in client_of(reception).get(reverse("today")).content.decode()

    answer = {"flag": bone.key, "version": bone.version, "action": "told", "text": "Dr Example told at 9"}
    client.post(reverse("red-flags", args=[bone.operation.key]), answer)
    client.post(reverse("review-accept", args=[first.review.key]))  # looks at the findings again; nothing new is raised
    assert client.get(reverse("today")).context["red_flags"] == [other]
    client.post(reverse("review-strike", args=[second.review.key]), {"reason": "Sent for somebody else's toe"})
    assert client.get(reverse("today")).context["red_flags"] == []


def test_reception_sees_that_there_is_a_warning_and_not_which(client_of, operated, reception):
    create_report(operated(365), fluid="yellow", pain=8)

    page = client_of(reception).get(reverse("today")).content.decode()

    assert "Warning answers: tell a clinician now" in page
    assert "yellow" not in page


@pytest.mark.parametrize(
    ("answers", "flags"),
    [
        ({"pain": 6}, []),
        ({"pain": 7}, ["high_pain"]),
        ({"fluid": "clear"}, []),
        ({"fluid": "not_sure"}, []),
        ({"fluid": "yellow"}, ["yellow_fluid"]),
        ({"wants_call": True}, ["wants_call"]),
        ({"note": "toe black, red line up my leg", "wants_call": True}, ["wrote", "wants_call"]),
        ({"note": " \n"}, []),
        ({"signs": ("sign_lines", "sign_dark")}, ["sign_lines", "sign_dark"]),
        ({"sore": "yes"}, ["sore"]),
        ({"nail": "yes"}, ["nail_grows"]),
        ({"nail": "not_sure", "sore": "not_sure"}, []),
    ],
)
def test_what_raises_a_flag(operated, answers, flags):
    assert create_report(operated(365), **answers).flags == flags


def test_a_flagged_report_stays_after_accepting_until_it_is_dealt_with(client_of, operated, practitioner):
    report = create_report(operated(365), pain=9)
    client = client_of(practitioner)
    assert client.post(reverse("report-answered", args=[report.review.key])).status_code == 404  # read it first

    client.post(reverse("review-accept", args=[report.review.key]))
    assert [row.report.pk for row in unexpected(client)] == [report.review.pk]
    assert "Dealt with" in client.get(reverse("today")).content.decode()

    for _ in range(2):
        client.post(reverse("report-answered", args=[report.review.key]))
    assert unexpected(client) == []
    report.refresh_from_db()
    assert (report.answered_by, report.answered_at) == (practitioner, NOW)


def test_a_calm_report_leaves_the_list_when_it_is_accepted(client_of, operated, practitioner):
    report = create_report(operated(365))
    client = client_of(practitioner)

    client.post(reverse("review-accept", args=[report.review.key]))

    assert unexpected(client) == []


def test_a_practitioner_may_refuse_a_report_with_a_reason(client_of, operated, practitioner, assistant):
    report = create_report(operated(365))
    url = reverse("review-strike", args=[report.review.key])

    client_of(assistant).post(url, {"reason": "Looks odd"})
    assert Review.objects.get().struck_at is None

    client_of(practitioner).post(url, {"reason": "Sent for somebody else's toe"})
    assert Review.objects.get().struck_reason == "Sent for somebody else's toe"
    assert unexpected(client_of(practitioner)) == []


def test_another_practice_sees_no_report(client_of, operated, colleague_elsewhere):
    report = create_report(operated(365), pain=9)
    client = client_of(colleague_elsewhere)

    assert unexpected(client) == []
    assert client.post(reverse("report-answered", args=[report.review.key])).status_code == 404
    assert PatientReport.objects.get().answered_at is None


def test_what_a_patient_sent_is_not_undone_by_whoever_made_the_link(client_of, operated, practitioner):
    """It was recorded in that member's name a moment ago, and is refused with a reason or not at all."""
    report = create_report(operated(365), pain=9, now=NOW)
    assert report.review.recorded_by == practitioner
    client, url = client_of(practitioner), reverse("review-undo", args=[report.review.key])
    toe = reverse("toe", args=[report.review.operation.nail_procedures.get().key])

    assert url not in client.get(toe).content.decode()
    client.post(url)

    assert Review.objects.get().struck_at is None
    assert [row.report for row in unexpected(client)] == [report.review]
