"""The patient's page: what it asks, and what becomes of the answers."""

import re
from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from audit import cohort
from audit.measures.outcomes import unit_frame
from clinic.access.rules import Role
from clinic.demo.picture import picture_with_place
from clinic.photographs import storage
from clinic.photographs.models import Photograph
from clinic.planning.models import FollowUp
from clinic.reports.models import PatientReport
from clinic.reviews.models import Review, SideFinding, ToeFinding
from tests.clinic.reports.conftest import CALM, NOW, TODAY, send
from tests.factories import add_toe, create_link, create_member, create_review, picture_bytes

pytestmark = pytest.mark.django_db


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
