"""A photograph is added from the toe's page: once, cleaned, with its consent."""

import hashlib
from datetime import date, timedelta

import pytest
from django.conf import settings as django_settings
from django.urls import reverse

from clinic.access.once import first_or_result, new_token
from clinic.photographs import storage
from clinic.photographs.models import Photograph
from tests.clinic.photographs.conftest import OPERATED_ON
from tests.clinic.photographs.pictures import PLANTED, jpeg_full_of_secrets
from tests.clinic.photographs.posts import add, answers, files, sent
from tests.factories import (
    create_review,
    picture_bytes,
)

pytestmark = pytest.mark.django_db
pytestmark = pytest.mark.django_db


def test_every_answer_is_kept(client, nail, practitioner, folder):
    review = create_review(nail.operation, day=42)

    response = add(
        client, nail, picture=sent(picture_bytes("PNG", size=(90, 60)), "toe.png"), taken_on="2026-11-24",
        review=review.key, consent_for="care_teaching", consent_given_by="parent", consent_given_on="2026-11-20",
        note="After dressing",
    )  # fmt: skip

    assert response["Location"] == reverse("toe", args=[nail.key])
    made = Photograph.objects.get()
    kept = {name: getattr(made, name) for name in (
        "nail_procedure", "review", "taken_on", "consent_for", "consent_given_by", "consent_given_on", "note",
        "media_type", "width", "height", "added_by", "struck_at", "withdrawn_at",
    )}  # fmt: skip
    assert kept == {
        "nail_procedure": nail, "review": review, "taken_on": date(2026, 11, 24), "consent_for": "care_teaching",
        "consent_given_by": "parent", "consent_given_on": date(2026, 11, 20), "note": "After dressing",
        "media_type": "image/png", "width": 90, "height": 60, "added_by": practitioner, "struck_at": None,
        "withdrawn_at": None,
    }  # fmt: skip
    assert Photograph.history.get().history_user == practitioner
    assert files(folder) == [f"photographs/{made.file_name}.{size}" for size in storage.SIZES]
    assert hashlib.sha256(storage.read(made.file_name, storage.FULL)).hexdigest() == made.sha256


def test_the_page_says_whose_photograph_was_saved(client, nail, folder):
    page = client.post(reverse("photograph-add", args=[nail.key]), answers(), follow=True).content.decode()

    assert "Photograph saved 12:00 for Avery Example, right 1st toe (hallux)." in page


def test_nothing_that_the_file_carried_is_kept_anywhere(client, nail, folder):
    add(client, nail, picture=sent(jpeg_full_of_secrets(), "../../PLANTED-NAME of Avery.jpg"))

    made = Photograph.objects.get()
    stored = b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())
    assert b"PLANTED" not in stored
    assert not any(planted in stored for planted in PLANTED.values())
    assert "PLANTED" not in "".join(files(folder))
    assert "PLANTED" not in str(Photograph.objects.values().get()) + str(Photograph.history.values().get())
    assert len(made.file_name) == 32


def test_the_type_that_the_browser_claims_counts_for_nothing(client, nail, folder):
    add(client, nail, picture=sent(picture_bytes(), "toe.jpg", "text/html; charset=utf-16"))

    assert Photograph.objects.get().media_type == "image/jpeg"


def test_the_same_form_sent_twice_makes_one(client, nail, folder):
    once = new_token()
    first = add(client, nail, once=once)
    again = add(client, nail, once=once)
    other_picture = add(client, nail, once=once, picture=sent(picture_bytes(colour="teal")))

    assert first["Location"] == again["Location"] == other_picture["Location"]
    assert Photograph.objects.count() == 1
    assert len(files(folder)) == 2


def test_a_second_post_at_the_same_moment_finds_the_first(client, nail, folder, monkeypatch):
    """The look before validation comes too early for it; the unique token inside the transaction decides."""
    once = new_token()
    add(client, nail, once=once)
    monkeypatch.setattr("clinic.photographs.views.first_or_result", lambda member, token: None)

    response = add(client, nail, once=once, picture=sent(picture_bytes(colour="teal")))

    assert response["Location"] == reverse("toe", args=[nail.key])
    assert Photograph.objects.count() == 1
    assert len(files(folder)) == 2


def test_a_post_made_invalid_by_its_own_first_success_finds_it(client, nail, folder, monkeypatch):
    """The first one is saved between the second one's look and its validation, which then meets the same picture."""
    once = new_token()
    add(client, nail, once=once)
    looks = iter([lambda *args: None, first_or_result])
    monkeypatch.setattr("clinic.photographs.views.first_or_result", lambda *args: next(looks)(*args))

    assert add(client, nail, once=once)["Location"] == reverse("toe", args=[nail.key])


# --- the form on the toe's page


def test_the_form_works_without_script(client, nail):
    page = " ".join(client.get(reverse("toe", args=[nail.key])).content.decode().split())
    action = reverse("photograph-add", args=[nail.key])

    assert f'<form method="post" action="{action}" enctype="multipart/form-data"' in page
    assert 'type="file" name="picture" accept="image/jpeg,image/png" capture="environment"' in page
    assert 'name="taken_on" value="2026-11-25"' in page
    assert "checked" not in page  # nothing about consent is chosen beforehand
    assert 'name="consent_given_on" value' not in page


def test_the_form_is_offered_where_it_can_be_used(client, client_of, assistant, nail):
    page = client_of(assistant).get(reverse("toe", args=[nail.key])).content.decode()
    assert reverse("photograph-add", args=[nail.key]) in page

    nail.operation.struck_at, nail.operation.struck_reason = nail.operation.recorded_at, "Wrong patient"
    nail.operation.save()
    page = client.get(reverse("toe", args=[nail.key])).content.decode()
    assert reverse("photograph-add", args=[nail.key]) not in page


def test_the_hint_tells_the_limit_that_is_enforced(client, nail):
    assert "at most 8 MB" in client.get(reverse("photograph-add", args=[nail.key])).content.decode()
    assert django_settings.UPLOAD_MAX_FILE_BYTES == 8 * 2**20


def test_a_photograph_from_before_the_operation_is_possible(client, nail, folder):
    day = (OPERATED_ON - timedelta(days=3)).isoformat()

    assert add(client, nail, taken_on=day, consent_given_on=day).status_code == 302
    assert Photograph.objects.get().day == -3


def test_six_posts_at_once_make_one(race):
    """Six browsers with the same form: one row, one picture, and all of them are led to the same page."""
    body = """
from pathlib import Path
from django.conf import settings
from django.test import Client
from clinic.access.once import first_or_result, new_token
from clinic.photographs.models import Photograph
from tests.clinic.photographs.posts import add
from tests.factories import create_operation
practice = create_practice()
member = create_member(practice)
nail = create_operation(practice, operator=member).nail_procedures.get()
signed_in = Client()
signed_in.force_login(member)
once, day = new_token(), "2024-07-15"
def attempt():
    browser = Client()
    browser.cookies = signed_in.cookies
    return add(browser, nail, once=once, taken_on=day, consent_given_on=day)["Location"]
def after():
    return [Photograph.objects.count(), len(list(Path(settings.PHOTOGRAPH_DIR).iterdir()))]
"""
    results, (rows, kept) = race(body)

    assert len(results) == 6
    assert len(set(results)) == 1
    assert results[0].startswith("/toes/")
    assert (rows, kept) == (1, 2)
