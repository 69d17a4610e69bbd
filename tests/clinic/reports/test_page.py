"""The patient's page: what it asks, what becomes of the answers, and links that take none."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from audit import cohort
from audit.measures.outcomes import unit_frame
from clinic.access.rules import Role
from clinic.demo.picture import picture_with_place
from clinic.photographs import storage
from clinic.photographs.models import Photograph
from clinic.planning.models import FollowUp
from clinic.reports.models import PatientReport, ReportLink
from clinic.reviews.models import Review, SideFinding, ToeFinding
from tests.clinic.reports.conftest import NOW, TODAY
from tests.factories import add_toe, create_link, create_member, create_review, picture_bytes

pytestmark = pytest.mark.django_db
CALM = {"pain0": "1", "fluid0": "none", "nail0": "no", "sore0": "no", "call": "no", "note": ""}


@pytest.fixture
def link(operated):
    """An operation a year ago, and a way to send answers through its link."""
    operation = operated(365)
    row, token = create_link(operation, now=NOW)
    row.url = reverse("report", args=[token])
    return row


def send(link, **changed):
    return Client().post(link.url, CALM | changed)


def test_opening_does_not_spend_the_link_however_often(link):
    for _ in range(20):
        assert Client().get(link.url).status_code == 200
    assert Client().head(link.url).status_code == 200

    link.refresh_from_db()
    assert link.used_at is None
    assert link.version == 1


def test_the_page_names_the_toe_and_the_day_and_nobody(link):
    identity = link.operation.patient.identity
    page = Client().get(link.url).content.decode()

    assert "right big toe" in page
    assert "25 November 2025" in page
    for secret in (identity.family_name, identity.given_name, identity.record_number, "17 May 1990", "1990-05-17"):
        assert secret not in page


def test_warning_signs_and_the_phone_number_come_before_the_first_question(link):
    FollowUp.objects.create(
        practice=link.operation.practice, phone="01632 960100", out_of_hours="At night: 01632 960999"
    )

    page = Client().get(link.url).content.decode()

    assert page.index("red lines") < page.index("01632 960100") < page.index("How much does it hurt")
    assert 'href="tel:01632960100"' in page
    assert "At night: 01632 960999" in page


def test_nothing_is_filled_in(link):
    page = Client().get(link.url).content.decode()

    assert "checked" not in page
    assert "selected" not in page


def test_the_page_leaves_no_cookie_and_tells_nobody_its_address(link):
    response = Client().get(link.url)

    assert not response.cookies
    assert response["Referrer-Policy"] == "no-referrer"
    assert response["X-Robots-Tag"] == "noindex, nofollow"
    assert response["Cache-Control"] == "no-store"


def test_calm_answers_become_a_review_that_waits_for_a_clinician(link):
    response = send(link)

    assert (response.status_code, response["Location"]) == (302, link.url)
    review = Review.objects.get()
    assert (review.observer, review.means, review.origin, review.accepted_at) == (
        "patient", "questionnaire", "planned", None,
    )  # fmt: skip
    assert review.seen_on == TODAY
    toe = ToeFinding.objects.get()
    assert (toe.pain, toe.healing, toe.signs, toe.fluid_colour) == (1, "not_assessed", "not_assessed", "not_assessed")
    side = SideFinding.objects.get()
    assert (side.extent, side.symptoms, side.retreatment) == ("none", "none", "not_assessed")
    report = PatientReport.objects.get()
    assert (report.flags, report.toes.get().fluid) == ([], "none")
    assert review.history.get().history_change_reason == "Sent by the patient"


@pytest.mark.parametrize(
    ("answer", "extent", "symptoms"),
    [("yes", "some", "pain"), ("no", "none", "none"), ("not_sure", "cannot_tell", "cannot_tell")],
)
def test_words_of_the_patient_as_findings(link, answer, extent, symptoms):
    send(link, nail0=answer, sore0=answer)

    side = SideFinding.objects.get()
    assert (side.extent, side.symptoms) == (extent, symptoms)


def test_two_sides_are_asked_with_one_tap_and_stored_apart(operated):
    _, token = create_link(operated(365, sides=("tibial", "fibular")), now=NOW)
    url = reverse("report", args=[token])
    assert "the side by the other foot" in Client().get(url).content.decode()

    Client().post(url, CALM | {"nail0": "tibial", "sore0": "both"})

    found = {side.treated_side.side: (side.extent, side.symptoms) for side in SideFinding.objects.all()}
    assert found == {"tibial": ("some", "pain"), "fibular": ("none", "pain")}


def test_where_growth_is_expected_it_is_not_asked_about(operated):
    _, token = create_link(operated(365, technique="pna_only", agent="none"), now=NOW)
    url = reverse("report", args=[token])
    assert "new nail" not in Client().get(url).content.decode()

    Client().post(url, {name: value for name, value in CALM.items() if name != "nail0"})

    assert SideFinding.objects.get().extent == "not_applicable"


def test_each_toe_has_its_questions_and_an_amputated_one_has_none(operated):
    operation = operated(365)
    gone = add_toe(operation, foot="left")
    _, token = create_link(operation, now=NOW)
    url = reverse("report", args=[token])
    assert "left big toe" in Client().get(url).content.decode()

    gone.amputated_on = TODAY - timedelta(days=9)
    gone.save()
    assert "left big toe" not in Client().get(url).content.decode()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"pain0": ""}, "Choose a number from 0 to 10"),
        ({"pain0": "11"}, "Choose a number from 0 to 10"),
        ({"pain0": "-1"}, "Choose a number from 0 to 10"),
        ({"fluid0": ""}, "Choose what you see"),
        ({"nail0": "both"}, "Choose whether you see new nail"),
        ({"sore0": ""}, "Choose whether that side is sore"),
        ({"signs": ["all of them"]}, "Tick only what is on the list"),
        ({"call": "maybe"}, "Choose whether we shall call you"),
        ({"note": "x" * 301}, "The note is too long: at most 300 letters"),
    ],
)
def test_a_missing_answer_has_its_sentence_and_the_others_stay(link, changed, sentence):
    page = send(link, **changed)

    assert page.content.decode().count(sentence) == 2
    assert "Everything you typed is kept" in page.content.decode()
    kept = [name for name in CALM if name not in changed]
    assert all(page.context["form"][name].value() == CALM[name] for name in kept)
    assert not Review.objects.exists()
    assert Client().get(link.url).status_code == 200


def test_the_note_is_shown_as_text(link, client_of, practitioner):
    send(link, note="<script>alert(1)</script> =1+1")

    page = client_of(practitioner).get(reverse("review", args=[Review.objects.get().key])).content.decode()

    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_warning_signs_can_be_ticked_and_are_asked_first_without_a_tap_more(link):
    page = Client().get(link.url).content.decode()
    assert page.index("Do you have any of these?") < page.index("How much does it hurt")

    send(link, signs=["sign_lines", "sign_shaky"])

    assert PatientReport.objects.get().flags == ["sign_lines", "sign_shaky"]


# --- links that take nothing


def test_a_link_is_spent_by_sending_and_says_so_afterwards(link):
    send(link)

    again = Client().get(link.url)
    replay = send(link, pain0="9", fluid0="yellow")

    assert "These answers were sent on 25 November 2026" in again.content.decode()
    assert "These answers were sent on 25 November 2026" in replay.content.decode()
    assert Review.objects.count() == 1
    assert ToeFinding.objects.get().pain == 1


def test_an_expired_link_says_when_it_ended(link, clock):
    clock.move_to(datetime(2026, 12, 9, 23, 59, 0, tzinfo=UTC))
    assert Client().get(link.url).status_code == 200
    clock.move_to(datetime(2026, 12, 10, 0, 0, 0, tzinfo=UTC))

    page = send(link)

    assert page.status_code == 410
    assert "This link ended on 9 December 2026" in page.content.decode()
    assert not Review.objects.exists()


def test_a_newer_link_ends_the_earlier_one(link, operated):
    _, token = create_link(link.operation, now=NOW)

    assert Client().get(link.url).status_code == 410
    assert send(link).status_code == 410
    assert Client().get(reverse("report", args=[token])).status_code == 200
    assert ReportLink.objects.filter(ended_at__isnull=True).count() == 1


@pytest.mark.parametrize("what", ["no contact", "died", "struck out"])
def test_a_withdrawn_patient_is_asked_nothing_and_told_nothing(link, what):
    operation = link.operation
    if what == "no contact":
        operation.patient.no_contact_wished = True
    elif what == "died":
        operation.patient.died_on = TODAY
    operation.patient.save()
    if what == "struck out":
        type(operation).objects.filter(pk=operation.pk).update(struck_at=NOW)

    pages = [Client().get(link.url), send(link)]

    for page in pages:
        assert page.status_code == 410
        assert "This link does not work any more" in page.content.decode()
        assert "contact" not in page.content.decode().lower().replace("contact-", "")
        assert "toe</strong>" not in page.content.decode()
    assert not Review.objects.exists()


@pytest.mark.parametrize("token", ["x", "never-made-by-anybody", "A" * 32, "a" * 500])
def test_a_guessed_link_does_not_exist(db, token):
    page = Client().get(reverse("report", args=[token]))

    assert page.status_code == 404
    assert "We do not know this link" in page.content.decode()


def test_guessing_is_slowed_down_for_right_links_as_well(link, settings, clock):
    guesser = Client(REMOTE_ADDR="192.0.2.7")
    statuses = [guesser.get(reverse("report", args=[f"guess-{number}"])).status_code for number in range(6)]

    assert statuses == [404] * 5 + [429]
    assert guesser.get(link.url).status_code == 429
    assert guesser.get(reverse("calendar-feed", args=["guess"])).status_code == 429
    assert Client(REMOTE_ADDR="192.0.2.8").get(link.url).status_code == 200

    clock.move_to(NOW + timedelta(seconds=16))
    assert guesser.get(link.url).status_code == 200
    assert guesser.get(reverse("report", args=["guess-7"])).status_code == 404
    assert guesser.get(link.url).status_code == 429


def test_guessing_links_keeps_nobody_from_signing_in(practitioner):
    guesser = Client(REMOTE_ADDR="192.0.2.7")
    for number in range(10):
        guesser.get(reverse("report", args=[f"guess-{number}"]))

    response = guesser.post(
        reverse("sign-in"), {"username": "practitioner", "password": "a long enough word"}, REMOTE_ADDR="192.0.2.7"
    )  # fmt: skip

    assert response.status_code == 302


def test_sending_again_and_again_through_one_link_is_slowed_down(link, clock):
    statuses = [send(link, pain0="").status_code for _ in range(11)]

    assert statuses == [200] * 10 + [429]
    clock.move_to(NOW + timedelta(minutes=11))
    assert send(link).status_code == 302


def test_only_a_digest_of_the_token_is_stored(link):
    token = link.url.strip("/").split("/")[-1]
    with connection.cursor() as cursor:
        cursor.execute("SELECT digest FROM clinic_reportlink")
        stored = [row[0] for row in cursor.fetchall()]
        cursor.execute("SELECT digest FROM clinic_historicalreportlink")
        stored += [row[0] for row in cursor.fetchall()]

    assert len(token) == 32  # 24 random bytes: 192 bits
    assert all(token not in each and len(each) == 64 for each in stored)


RACE = """
from django.test import Client
from django.utils import timezone
from clinic.reviews.models import Review
from tests.factories import create_link, create_operation
practice = create_practice()
member = create_member(practice)
operation = create_operation(practice, operator=member, performed_on=timezone.localdate())
link, token = create_link(operation, now=timezone.now())
answers = {"pain0": "1", "fluid0": "none", "nail0": "no", "sore0": "no", "call": "no"}
def attempt():
    return Client().post(f"/r/{token}/", answers).status_code
after = lambda: Review.objects.count()
"""


def test_six_devices_that_send_at_the_same_moment_make_one_report(race):
    results, count = race(RACE)

    assert count == 1
    assert set(results) == {302} or set(results) <= {200, 302}


def test_the_database_itself_keeps_one_open_link(operated, practitioner):
    row, _ = create_link(operated(365), now=NOW)
    copy = {"operation": row.operation, "about": "problem", "made_by": practitioner, "made_at": NOW}

    with pytest.raises(IntegrityError), transaction.atomic():
        ReportLink.objects.create(**copy, digest="a" * 64, expires_at=NOW + timedelta(days=1))
    with pytest.raises(IntegrityError), transaction.atomic():
        ReportLink.objects.create(**copy, digest="b" * 64, expires_at=NOW, used_at=NOW)


def test_the_page_asks_the_database_four_times(link):
    with CaptureQueriesContext(connection) as captured:
        Client().get(link.url)

    assert len(captured) <= 4


# --- the photograph


def with_picture(link, data: bytes, name: str = "toe.jpg", **changed):
    sent = SimpleUploadedFile(name, data, content_type="image/jpeg")
    return Client().post(link.url, CALM | {"picture": sent, "picture_consent": "on"} | changed)


def test_a_photograph_is_kept_with_its_consent_and_without_its_place(link):
    sent = picture_with_place()
    assert b"Exif" in sent
    with_picture(link, sent)

    row = Photograph.objects.get()
    assert (row.consent_given_by, row.consent_for, row.consent_given_on, row.note) == (
        "patient", "care", TODAY, "Sent by the patient",
    )  # fmt: skip
    assert row.review == Review.objects.get()
    assert b"Exif" not in storage.read(row.file_name, storage.FULL)


@pytest.mark.parametrize(
    ("data", "name", "changed", "sentence"),
    [
        (b"GIF89a not a picture", "toe.gif", {}, "picture"),
        (picture_bytes(), "toe.jpg", {"picture_consent": ""}, "Tick that we may keep the photo, or send no photo"),
        (b"", "toe.jpg", {}, "The photo is empty"),
        (picture_bytes(), "toe.png", {}, "its name does not end in .jpg"),
    ],
)
def test_a_photograph_that_is_refused_says_why_and_spends_nothing(link, data, name, changed, sentence):
    page = with_picture(link, data, name, **changed)

    assert sentence in page.content.decode()
    assert not Photograph.objects.exists()
    assert not Review.objects.exists()
    assert page.context["form"]["pain0"].value() == "1"
    assert "Everything you typed is kept. Please choose the photo again." in page.content.decode()
    assert Client().get(link.url).status_code == 200


def test_a_child_is_asked_for_no_photograph(operated):
    operation = operated(365)
    type(operation).objects.filter(pk=operation.pk).update(age_years=12)
    _, token = create_link(operation, now=NOW)

    page = Client().get(reverse("report", args=[token])).content.decode()

    assert "photo" not in page


# --- what a clinician makes of it


def standing(practice, operation) -> tuple[str, str]:
    day = operation.performed_on
    frames = cohort.build(practice, performed_from=day, performed_to=day, as_of=date(2027, 3, 1))
    (row,) = unit_frame(frames, "any_regrowth", "side").to_dict("records")
    return row["status"], row["source"]


def test_it_counts_only_once_it_is_accepted_and_stays_the_patients_word(link, practice, client_of, practitioner):
    send(link, nail0="yes")
    assert standing(practice, link.operation) == ("lost", "not_applicable")

    client_of(practitioner).post(reverse("review-accept", args=[Review.objects.get().key]))

    assert standing(practice, link.operation) == ("event", "questionnaire")
    review = Review.objects.get()
    assert (review.observer, review.accepted_by) == ("patient", practitioner)
    frames = cohort.build(
        practice, performed_from=link.operation.performed_on, performed_to=link.operation.performed_on,
        as_of=date(2027, 3, 1),
    )  # fmt: skip
    assert not unit_frame(frames, "any_regrowth", "side")["examined"].any()
    page = client_of(practitioner).get(reverse("toe", args=[link.operation.nail_procedures.get().key]))
    assert "questionnaire, the patient&#x27;s report" in page.content.decode()


def test_a_report_changes_nothing_in_the_decision_to_end_clinic_reviews(link, practitioner):
    ended = create_review(link.operation, day=60)
    ended.next_step = "end_clinic"
    ended.save()

    send(link)

    assert Review.objects.latest("pk").next_step == "end_clinic"


# --- whoever opens it


@pytest.mark.parametrize("role", [None, *Role])
def test_a_link_shows_the_same_to_every_role_and_to_nobody_who_they_are(link, practice, client_of, role):
    client = client_of(create_member(practice, role=role)) if role else Client()

    page = client.get(link.url)

    assert page.status_code == 200
    text = re.sub(r'id="[^"]*"', "", page.content.decode())
    assert text == re.sub(r'id="[^"]*"', "", Client().get(link.url).content.decode())
    assert "Testcase" not in text
    assert client.post(link.url, CALM).status_code == 302
    assert PatientReport.objects.count() == 1
