"""Who sees a photograph, what travels with it, and what is said to those who do not see it."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.rules import Action, Role, may
from clinic.photographs import storage
from clinic.photographs.reading import alternative_text, consent_sentence, day_words
from tests.clinic.photographs.posts import add, sent
from tests.factories import create_member, create_operation, create_photograph, create_review, picture_bytes

pytestmark = pytest.mark.django_db


@pytest.fixture
def photograph(folder, nail):
    return create_photograph(nail)


def file_url(photograph, size: str = "full") -> str:
    return reverse("photograph-file", args=[photograph.key, size])


# --- the file


@pytest.mark.parametrize("size", storage.SIZES)
def test_the_stored_bytes_are_what_is_served(client, photograph, size):
    response = client.get(file_url(photograph, size))

    assert response.content == storage.read(photograph.file_name, size)
    assert response["Content-Type"] == "image/jpeg"
    assert response["Content-Disposition"] == 'inline; filename="photograph.jpg"'
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Cache-Control"] == "no-store"
    assert response["Cross-Origin-Resource-Policy"] == "same-origin"
    policy = response["Content-Security-Policy"].split("; ")
    assert "sandbox" in policy
    assert {"default-src 'none'", "object-src 'none'", "frame-ancestors 'none'"} <= set(policy)


def test_a_png_is_served_as_one_and_its_preview_as_what_it_is(client, nail, folder):
    add(client, nail, picture=sent(picture_bytes("PNG", size=(900, 600)), "toe.png"))
    photograph = nail.photographs.get()

    full, preview = (client.get(file_url(photograph, size)) for size in storage.SIZES)

    assert (full["Content-Type"], full.content[:4]) == ("image/png", b"\x89PNG")
    assert full["Content-Disposition"] == 'inline; filename="photograph.png"'
    assert (preview["Content-Type"], preview.content[:3]) == ("image/jpeg", b"\xff\xd8\xff")
    assert max(len(preview.content), 1) < len(picture_bytes("PNG", size=(900, 600))) * 10


def test_head_goes_with_get(client, photograph):
    response = client.head(file_url(photograph))

    assert (response.status_code, response.content) == (200, b"")


@pytest.mark.parametrize("size", storage.SIZES)
def test_another_practice_finds_nothing(client_of, colleague_elsewhere, photograph, size):
    browser = client_of(colleague_elsewhere)

    assert browser.get(file_url(photograph, size)).status_code == 404
    assert browser.get(file_url(photograph, size)).content.count(b"\xff\xd8") == 0
    for name in ("photograph", "photograph-withdraw"):
        assert browser.get(reverse(name, args=[photograph.key])).status_code == 404
    for name in ("photograph-strike", "photograph-withdraw"):
        answers = {"reason": "x", "sure": "on", "version": "1"}
        assert browser.post(reverse(name, args=[photograph.key]), answers).status_code == 404
    assert add(browser, photograph.nail_procedure).status_code == 404
    photograph.refresh_from_db()
    assert photograph.version == 1


@pytest.mark.parametrize("role", Role.values)
def test_roles(client_of, practice, photograph, role):
    browser = client_of(create_member(practice, role=role))

    assert browser.get(file_url(photograph)).status_code == (200 if may(role, Action.READ_RECORD) else 403)
    allowed = may(role, Action.RECORD_REVIEW)
    assert add(browser, photograph.nail_procedure).status_code == (302 if allowed else 403)


def test_signed_out(photograph):
    for size in storage.SIZES:
        response = Client().get(file_url(photograph, size))
        assert response.status_code == 302
        assert response["Location"].startswith(reverse("sign-in"))


def test_a_change_of_role_counts_at_once(client_of, practice, photograph):
    member = create_member(practice)
    browser = client_of(member)
    assert browser.get(file_url(photograph)).status_code == 200

    member.role = Role.RECEPTION
    member.save()

    assert browser.get(file_url(photograph)).status_code == 403


@pytest.mark.parametrize("size", ["original", "full.part", "..", "FULL", "preview-full"])
def test_there_is_no_other_size(client, photograph, size):
    assert client.get(f"/photographs/{photograph.key}/{size}/").status_code == 404


def test_names_of_files_are_no_address(client, photograph):
    name = photograph.file_name
    for path in (
        f"/photographs/{name}/full/",
        f"/photographs/{name}.full",
        f"/static/photographs/{name}.full",
        f"/media/{name}.full",
    ):
        assert client.get(path).status_code == 404
    assert name not in client.get(reverse("photograph", args=[photograph.key])).content.decode()


def test_a_missing_file_is_said_to_the_log_and_not_found(client, photograph, caplog):
    storage.remove(photograph.file_name)

    assert client.get(file_url(photograph)).status_code == 404
    assert any("missing" in record.message for record in caplog.records if record.name == "clinic.photographs")


# --- the pages


def test_the_toe_shows_its_photographs_by_date_and_only_its_own(client, nail, folder):
    older = create_photograph(nail, taken_on=date(2026, 10, 20))
    newer = create_photograph(nail, taken_on=date(2026, 11, 20))
    elsewhere = create_photograph(create_operation(nail.operation.practice).nail_procedures.get())

    page = client.get(reverse("toe", args=[nail.key])).content.decode()

    assert 0 < page.index(file_url(newer, "preview")) < page.index(file_url(older, "preview"))
    assert reverse("photograph", args=[newer.key]) in page
    assert elsewhere.key not in page
    assert 'alt="Photograph of the right 1st toe (hallux), day 37, added by Terry Testcase"' in page


def test_the_page_of_a_photograph(client, nail, folder):
    review = create_review(nail.operation, day=40)
    photograph = create_photograph(nail, review=review, taken_on=review.seen_on, note="Under <lamp>")

    page = client.get(reverse("photograph", args=[photograph.key])).content.decode()

    assert f'src="{file_url(photograph, "full")}"' in page
    assert "Avery Example" in page
    assert "Right 1st toe (hallux)" in page
    assert "Under &lt;lamp&gt;" in page
    assert reverse("review", args=[review.key]) in page
    assert "Consent for care only, given by the patient on 25 Nov 2026." in page


def test_words(nail, folder):
    photograph = create_photograph(nail, taken_on=nail.operation.performed_on + timedelta(days=42))

    assert alternative_text(photograph) == "Photograph of the right 1st toe (hallux), day 42, added by Terry Testcase"
    assert [day_words(day) for day in (0, 1, -1, -3)] == [
        "day 0", "day 1", "1 day before the operation", "3 days before the operation",
    ]  # fmt: skip
    photograph.consent_for, photograph.consent_given_by = "care_teaching", "parent"
    assert consent_sentence(photograph) == "Consent for care and teaching, given by parent or guardian on 25 Nov 2026."


def test_no_statement_more_however_many_there_are(client, nail, folder):
    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get(reverse("toe", args=[nail.key])).status_code == 200
        return len(captured)

    create_photograph(nail, review=create_review(nail.operation, day=4))
    few = statements()
    for _ in range(9):
        create_photograph(nail, review=create_review(nail.operation, day=5))

    assert statements() == few
