"""The review page: what it asks, what it refuses, what it stores."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.drafts import draft_of
from clinic.reviews.models import Review
from clinic.vocabulary.review import Extent
from tests.factories import add_toe, create_operation, create_patient, create_review

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 25, 9, 33, tzinfo=UTC)
OPERATED = date(2026, 10, 13)  # day 43 on the day of the tests


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def operation(practice, practitioner):
    patient = create_patient(practice, family_name="Sample", given_name="Ada")
    return create_operation(patient=patient, operator=practitioner, performed_on=OPERATED, sides=("tibial", "fibular"))


def answers_for(operation, **changes) -> dict[str, object]:
    """A complete normal review; `changes` are given without prefix for the visit, or as toe_… and side_…"""
    posted: dict[str, object] = {
        "visit-seen_on": "2026-11-25",
        "visit-means": "in_person",
        "visit-origin": "planned",
        "visit-observer": "operator",
        "visit-next_step": "as_planned",
    }
    for nail in operation.nail_procedures.all():
        toe = {"healing": "dry", "signs": "none_seen", "antibiotic": "none", "pain": "1", "other": ["none"]}
        posted |= {f"toe-{nail.key}-{name}": value for name, value in toe.items()}
        for treated in nail.treated_sides.all():
            posted |= {f"side-{treated.key}-extent": "none", f"side-{treated.key}-symptoms": "none"}
    for name, value in changes.items():
        kind, _, field = name.partition("_")
        matches = [key for key in posted if key.startswith(f"{kind}-") and kind in {"toe", "side"}]
        prefixes = {key.rpartition("-")[0] for key in matches} or {"visit"}
        for prefix in prefixes:
            posted[f"{prefix}-{field if matches else name}"] = value
    return posted


def send(client, operation, **changes):
    return client.post(reverse("review-record", args=[operation.key]), answers_for(operation, **changes))


def text(response) -> str:
    return response.content.decode()


def test_a_normal_review_stores_explicit_values(client_of, practitioner, operation):
    response = send(client_of(practitioner), operation)

    assert response.status_code == 302
    review = Review.objects.get()
    toe = review.toe_findings.get()
    assert (toe.signs, toe.swelling, toe.fluid_amount, toe.swab, toe.diagnosis) == (
        "none_seen", "no", "dry", "not_taken", "none",
    )  # fmt: skip
    assert (toe.pain_state, toe.pain, toe.over_granulation, toe.untreated_side) == ("scored", 1, "no", "not_applicable")
    assert {(row.extent, row.symptoms, row.retreatment) for row in review.side_findings.all()} == {
        ("none", "none", "none")
    }
    assert (review.seen_by, review.observer, review.day) == (practitioner, "operator", 43)


def test_no_finding_is_filled_in(client_of, practitioner, operation):
    page = text(client_of(practitioner).get(reverse("review-record", args=[operation.key])))

    findings = [part for part in page.split("<input")[1:] if 'name="toe-' in part or 'name="side-' in part]
    assert len(findings) > 40
    assert not [part for part in findings if "checked" in part.split(">")[0]]


def test_blank_answers_are_named_one_by_one_and_nothing_is_stored(client_of, practitioner, operation):
    posted = {"visit-seen_on": "2026-11-25", "visit-note": "typed before"}

    response = client_of(practitioner).post(reverse("review-record", args=[operation.key]), posted)

    page = text(response)
    for sentence in (
        "Choose how the toe is healing",
        "Choose whether you see signs of infection",
        "Choose whether an antibiotic was given",
        "Choose the pain score, or “Not asked”",
        "Choose what you see of regrowth",
        "Choose whether this side troubles the patient",
        "Choose what else you see, or “None of these”",
    ):
        assert page.count(sentence) >= 2, sentence  # in the summary and at the field
    assert "typed before" in page
    assert not Review.objects.exists()


@pytest.mark.parametrize(
    ("seen_on", "sentence"),
    [
        ("", "When was the review? Give day, month and year"),
        ("2026-11-26", "The review date lies in the future"),
        ("2026-10-12", "This review is dated before the operation (13 Oct 2026)"),
        ("2026-02-29", "29 February 2026 does not exist; check the review date"),
        ("2026-11-31", "31 November does not exist; check the review date"),
    ],
)
def test_impossible_dates_have_their_own_sentence(client_of, practitioner, operation, seen_on, sentence):
    response = send(client_of(practitioner), operation, seen_on=seen_on)

    assert text(response).count(sentence) == 2
    assert not Review.objects.exists()


def test_29_february_is_a_day(client_of, practitioner, practice):
    leap = create_operation(
        patient=create_patient(practice), operator=practitioner, performed_on=date(2024, 2, 29), sides=("tibial",)
    )

    send(client_of(practitioner), leap, seen_on="2024-02-29")

    assert Review.objects.get().day == 0


def test_regrowth_asks_what_was_done(client_of, practitioner, operation):
    response = send(client_of(practitioner), operation, side_extent="spicule")

    assert "Choose what was done about it, or “None”" in text(response)
    send(client_of(practitioner), operation, side_extent="spicule", side_retreatment="clipped")
    assert {row.retreatment for row in Review.objects.get().side_findings.all()} == {"clipped"}


def test_only_one_side_regrows(client_of, practitioner, operation):
    tibial = operation.nail_procedures.get().treated_sides.get(side="tibial")
    posted = answers_for(operation) | {
        f"side-{tibial.key}-extent": "spicule",
        f"side-{tibial.key}-retreatment": "none",
    }

    client_of(practitioner).post(reverse("review-record", args=[operation.key]), posted)

    assert {row.treated_side.side: row.extent for row in Review.objects.get().side_findings.all()} == {
        "tibial": "spicule",
        "fibular": "none",
    }


def test_signs_of_infection_keep_what_was_left_open_as_not_assessed(client_of, practitioner, operation):
    response = send(client_of(practitioner), operation, toe_signs="some", toe_swelling="yes")
    assert "Choose your diagnosis, or “Not assessed”" in text(response)

    send(
        client_of(practitioner), operation,
        toe_signs="some", toe_swelling="yes", toe_odour="no", toe_diagnosis="superficial", toe_fluid_colour="yellow",
    )  # fmt: skip

    toe = Review.objects.get().toe_findings.get()
    assert (toe.swelling, toe.odour, toe.warmth) == ("yes", "no", "not_assessed")
    assert (toe.fluid_colour, toe.fluid_consistency, toe.erythema_mm) == ("yellow", "not_assessed", None)


def test_none_of_these_cannot_go_with_another(client_of, practitioner, operation):
    response = send(client_of(practitioner), operation, toe_other=["none", "skin_burn"])

    assert "“None of these” cannot go with “Skin burn”; take one away" in text(response)


def test_redness_is_a_plain_number(client_of, practitioner, operation):
    changes = {"toe_signs": "some", "toe_diagnosis": "none"}

    assert "Redness must be between 0 and 100 mm" in text(
        send(client_of(practitioner), operation, **changes, toe_erythema_mm="101")
    )
    assert "Redness must be a whole number" in text(
        send(client_of(practitioner), operation, **changes, toe_erythema_mm="2,5")
    )


def test_a_side_that_was_not_treated_is_refused(client_of, practitioner, operation):
    posted = answers_for(operation) | {"side-nosuchsidekey-extent": "spicule"}

    response = client_of(practitioner).post(reverse("review-record", args=[operation.key]), posted)

    assert "A finding was sent for a side that was not treated in this operation" in text(response)
    assert not Review.objects.exists()


def test_ending_reviews_of_an_open_toe_needs_a_reason(client_of, practitioner, operation):
    response = send(client_of(practitioner), operation, toe_healing="moist", next_step="end_clinic")

    assert "The toe is recorded as not healed. Give the reason for ending clinic reviews" in text(response)


def test_a_second_review_on_one_day_needs_a_tick_and_a_reason(client_of, practitioner, operation):
    create_review(operation, day=43)

    first_try = text(send(client_of(practitioner), operation))
    assert (
        "A review of this operation dated 25 Nov 2026 was already saved by Terry Testcase. Is this a second one?"
        in first_try
    )
    assert "Tick that this is correct, or change the answer" in first_try

    posted = answers_for(operation) | {
        "confirm-confirmed": "on",
        "confirm-confirm_reason": "Came back in the afternoon",
    }
    client_of(practitioner).post(reverse("review-record", args=[operation.key]), posted)

    assert Review.objects.count() == 2
    assert Review.objects.last().history.first().history_change_reason == "Came back in the afternoon"


def test_a_clear_finding_after_regrowth_is_kept_after_confirmation(client_of, practitioner, operation):
    create_review(operation, day=30, extent="spicule", retreatment="clipped")

    response = send(client_of(practitioner), operation)

    assert "Regrowth at the tibial (medial) side was recorded on 12 Nov 2026" in text(response)
    assert Review.objects.count() == 1


def test_a_review_covers_all_toes_of_the_operation(client_of, practitioner, operation):
    add_toe(operation, foot="left", sides=("fibular",))

    send(client_of(practitioner), operation)

    review = Review.objects.get()
    assert review.toe_findings.count() == 2
    assert review.side_findings.count() == 3


def test_six_identical_posts_make_one_review(client_of, practitioner, operation):
    client = client_of(practitioner)
    page = text(client.get(reverse("review-record", args=[operation.key])))
    once = page.split('name="once" value="')[1].split('"')[0]

    answers = [
        client.post(reverse("review-record", args=[operation.key]), answers_for(operation) | {"once": once})
        for _ in range(6)
    ]

    assert Review.objects.count() == 1
    assert {answer.url for answer in answers} == {reverse("toe", args=[operation.nail_procedures.get().key])}


def test_undo_takes_the_review_back_and_keeps_the_answers(client_of, practitioner, operation):
    client = client_of(practitioner)
    send(client, operation, toe_pain="7")
    review = Review.objects.get()

    response = client.post(reverse("review-undo", args=[review.key]))

    assert response.url == reverse("review-record", args=[operation.key])
    review.refresh_from_db()
    assert review.struck_at is not None
    page = text(client.get(response.url))
    pain = next(part for part in page.split("<input")[1:] if '-pain"' in part and 'value="7"' in part)
    assert "checked" in pain.split(">")[0]


def test_undo_ends_after_ten_minutes_and_for_others(client_of, practitioner, lead, operation):
    send(client_of(practitioner), operation)
    review = Review.objects.get()

    client_of(lead).post(reverse("review-undo", args=[review.key]))
    review.refresh_from_db()
    assert review.struck_at is None

    with time_machine.travel(NOW + timedelta(minutes=11), tick=False):
        client_of(practitioner).post(reverse("review-undo", args=[review.key]))
    review.refresh_from_db()
    assert review.struck_at is None


def test_leaving_keeps_a_draft_that_is_no_record(client_of, practitioner, operation):
    client = client_of(practitioner)
    nail = operation.nail_procedures.get()

    client.post(reverse("review-record", args=[operation.key]), {f"toe-{nail.key}-pain": "4", "leave": "1"})

    assert not Review.objects.exists()
    assert draft_of(practitioner, "review", operation.key)[f"toe-{nail.key}-pain"] == "4"


def test_correcting_keeps_the_old_answers_with_the_reason(client_of, practitioner, operation):
    review = create_review(operation, day=43, pain=1)
    posted = answers_for(operation, toe_pain="6") | {"version": "1"}
    client = client_of(practitioner)

    assert "Give the reason for the correction" in text(
        client.post(reverse("review-correct", args=[review.key]), posted)
    )
    client.post(reverse("review-correct", args=[review.key]), posted | {"reason": "Misheard"})

    toe = review.toe_findings.get()
    assert toe.pain == 6
    assert [row.pain for row in toe.history.order_by("history_id")][-1] == 6
    page = text(client.get(reverse("review", args=[review.key])))
    assert "Misheard" in page
    assert "pain, 0 to 10: 1 → 6" in page


def test_two_people_correcting_never_lose_a_change_silently(client_of, practitioner, lead, operation):
    review = create_review(operation, day=43, pain=1)
    first = answers_for(operation, toe_pain="6") | {"version": "1", "reason": "Misheard"}
    second = answers_for(operation, toe_pain="9") | {"version": "1", "reason": "Read from paper"}

    client_of(practitioner).post(reverse("review-correct", args=[review.key]), first)
    response = client_of(lead).post(reverse("review-correct", args=[review.key]), second)

    assert response.status_code == 409
    page = text(response)
    assert "changed this review on" in page
    assert "Pain 6." in page
    assert "Read from paper" in page
    assert review.toe_findings.get().pain == 6


def test_a_questionnaire_is_the_patients_own_report(client_of, practitioner, operation):
    response = send(client_of(practitioner), operation, means="questionnaire")

    assert "A questionnaire holds the patient’s own report" in text(response).replace("&#x27;", "’").replace("'", "’")
    send(client_of(practitioner), operation, means="questionnaire", observer="patient")
    assert Review.objects.get().accepted_by == practitioner


def test_another_practices_operation_does_not_exist(client_of, colleague_elsewhere, operation):
    client = client_of(colleague_elsewhere)

    assert client.get(reverse("review-record", args=[operation.key])).status_code == 404
    assert send(client, operation).status_code == 404
    assert not Review.objects.exists()


def test_the_bar_shows_who_and_which_toe(client_of, practitioner, operation):
    page = text(client_of(practitioner).get(reverse("review-record", args=[operation.key])))

    assert "Ada Sample" in page
    assert "Right 1st toe (hallux), both sides" in page
    assert operation.patient.identity.record_number in page


@pytest.mark.parametrize("version", ["", "first", "9" * 5000, "-1", "\u0661"])
def test_an_odd_version_is_a_conflict_and_changes_nothing(client_of, practitioner, operation, version):
    review = create_review(operation, day=43, pain=1)
    posted = answers_for(operation, toe_pain="6") | {"version": version, "reason": "Misheard"}

    response = client_of(practitioner).post(reverse("review-correct", args=[review.key]), posted)

    assert response.status_code == 409
    assert review.toe_findings.get().pain == 1


def test_a_draft_too_long_is_refused_in_words(client_of, practitioner, operation):
    client = client_of(practitioner)
    typed = {"visit-note": "x" * 30_000}

    answer = client.post(reverse("draft", args=["review", operation.key]), typed)
    page = client.post(reverse("review-record", args=[operation.key]), typed | {"leave": "1"}, follow=True)

    assert (answer.status_code, "longer than 20 kB" in answer.json()["error"]) == (413, True)
    assert "longer than 20 kB" in text(page)


def test_throwing_the_draft_away_opens_an_empty_page(client_of, practitioner, operation):
    client = client_of(practitioner)
    address = reverse("review-record", args=[operation.key])
    client.post(address, {"visit-note": "half a thought", "leave": "1"})
    assert "half a thought" in text(client.get(address))

    client.post(address, {"start_again": "1"})

    assert "half a thought" not in text(client.get(address))


def test_a_mistake_in_a_correction_does_not_take_over_a_colleagues_version(client_of, practitioner, lead, operation):
    review = create_review(operation, day=43, pain=1)
    address = reverse("review-correct", args=[review.key])
    client_of(lead).post(address, answers_for(operation, toe_pain="9") | {"version": "1", "reason": "Read from paper"})

    page = client_of(practitioner).post(address, answers_for(operation, toe_pain="6") | {"version": "1"})

    assert 'name="version" value="1"' in text(page)
    late = client_of(practitioner).post(
        address, answers_for(operation, toe_pain="6") | {"version": "1", "reason": "Misheard"}
    )
    assert late.status_code == 409
    assert review.toe_findings.get().pain == 9


def test_a_side_that_joined_later_can_be_answered_in_a_correction(client_of, practitioner, operation):
    review = create_review(operation, day=43)
    review.side_findings.get(treated_side__side="tibial").delete()

    response = client_of(practitioner).post(
        reverse("review-correct", args=[review.key]),
        answers_for(operation) | {"version": "1", "reason": "The side was added"},
    )

    assert response.status_code == 302
    assert review.side_findings.count() == 2


def test_a_patients_words_written_down_by_an_assistant_wait_for_a_clinician(client_of, assistant, operation):
    send(client_of(assistant), operation, means="questionnaire", observer="patient")

    review = Review.objects.get()
    assert review.accepted_at is None
    assert client_of(assistant).post(reverse("review-accept", args=[review.key])).status_code == 403


def test_the_operator_is_named_as_the_one_who_looked(client_of, assistant, practitioner, operation):
    send(client_of(assistant), operation, observer="operator")

    assert Review.objects.get().seen_by == practitioner


def test_an_operation_corrected_meanwhile_is_told_and_nothing_is_stored(
    client_of, practitioner, operation, monkeypatch
):
    from clinic.reviews import views

    shown = views._entry

    def corrected_meanwhile(request, opened, now):
        type(operation).objects.filter(pk=operation.pk).update(performed_on=date(2026, 10, 1))
        return shown(request, opened, now)

    monkeypatch.setattr(views, "_entry", corrected_meanwhile)
    page = send(client_of(practitioner), operation)

    assert "The operation was corrected just now" in text(page)
    assert not Review.objects.exists()


def test_the_history_speaks_in_words_of_toe_and_side(client_of, practitioner, operation):
    review = create_review(operation, extent="none")
    finding = review.side_findings.get(treated_side__side="fibular")
    finding.extent = "spicule"
    finding.save_version(by=practitioner, reason="Seen again on the photograph")

    page = client_of(practitioner).get(reverse("review", args=[review.key])).content.decode()

    assert "Seen again on the photograph" in page
    change = f"regrowth: {Extent.NONE.label} → {Extent.SPICULE.label}"
    assert f"Right 1st toe (hallux), fibular (lateral) side: {change}" in " ".join(page.split())


def test_saving_takes_few_statements_however_many_toes(client_of, practitioner, practice):
    """Those that begin and end a transaction are not counted."""
    client = client_of(practitioner)

    def statements(toes: int) -> int:
        operation = create_operation(
            practice, operator=practitioner, performed_on=OPERATED, sides=("tibial", "fibular")
        )
        for number in range(2, toes + 1):
            add_toe(operation, toe=number)
        posted = answers_for(operation)
        with CaptureQueriesContext(connection) as captured:
            assert client.post(reverse("review-record", args=[operation.key]), posted).status_code == 302
        return len([each for each in captured if "SAVEPOINT" not in each["sql"]])

    few, many = statements(1), statements(4)

    assert many == few <= 16
