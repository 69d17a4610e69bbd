"""Striking out keeps the line; withdrawing consent deletes the picture and keeps the line that says so."""

import os

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from clinic.photographs import storage
from clinic.photographs.models import Photograph
from tests.clinic.photographs.posts import add, errors, files
from tests.factories import create_photograph

pytestmark = pytest.mark.django_db


@pytest.fixture
def photograph(folder, nail):
    return create_photograph(nail)


def strike(client, photograph, **changes):
    answers = {"version": str(photograph.version), "reason": "Wrong toe", **changes}
    return client.post(reverse("photograph-strike", args=[photograph.key]), answers, follow=True)


def withdraw(client, photograph, **changes):
    answers = {"version": str(photograph.version), "reason": "Patient asked", "sure": "on", **changes}
    kept = {name: value for name, value in answers.items() if value is not None}
    return client.post(reverse("photograph-withdraw", args=[photograph.key]), kept, follow=True)


# --- striking out


def test_a_struck_out_photograph_stays_as_a_line_without_its_picture(client, photograph, practitioner, nail):
    strike(client, photograph)

    photograph.refresh_from_db()
    assert photograph.struck_reason == "Wrong toe"
    newest = photograph.history.latest("history_id")
    assert (newest.history_user, newest.history_change_reason) == (practitioner, "Wrong toe")
    page = client.get(reverse("toe", args=[nail.key])).content.decode()
    assert "struck out" in page
    assert reverse("photograph-file", args=[photograph.key, "preview"]) not in page
    own = client.get(reverse("photograph", args=[photograph.key])).content.decode()
    assert "Show the picture that was struck out" in own


def test_the_same_picture_may_be_added_again_afterwards(client, nail, folder):
    add(client, nail)
    strike(client, Photograph.objects.get())

    assert add(client, nail).status_code == 302


def test_only_the_lead_and_whoever_added_it(client_of, assistant, lead, photograph):
    said = strike(client_of(assistant), photograph).content.decode()
    photograph.refresh_from_db()
    assert "Only the practice lead or the person who added this photograph" in said
    assert photograph.struck_at is None

    strike(client_of(lead), photograph)
    photograph.refresh_from_db()
    assert photograph.struck_at is not None


def test_a_reason_is_needed(client, photograph):
    said = strike(client, photograph, reason=" ").content.decode()

    photograph.refresh_from_db()
    assert "Give the reason for striking out this photograph." in said
    assert photograph.struck_at is None


def test_an_older_version_strikes_nothing(client, photograph):
    photograph.save_version(by=photograph.added_by, reason="something else")

    said = strike(client, photograph, version="1").content.decode()

    photograph.refresh_from_db()
    assert "Somebody changed this a moment ago" in said
    assert photograph.struck_at is None


# --- withdrawing consent


def test_the_bytes_are_gone_and_the_line_says_so(client, photograph, practitioner, nail, folder):
    other = create_photograph(nail)
    full = reverse("photograph-file", args=[photograph.key, "full"])
    assert client.get(full).status_code == 200
    stored = storage.read(photograph.file_name, storage.FULL)

    withdraw(client, photograph)

    photograph.refresh_from_db()
    assert photograph.withdrawn_at is not None
    assert photograph.withdrawn_by == practitioner
    assert photograph.history.latest("history_id").history_change_reason == "Patient asked"
    assert files(folder) == [f"photographs/{other.file_name}.{size}" for size in storage.SIZES]
    assert not any(stored in path.read_bytes() for path in folder.rglob("*") if path.is_file())
    for size in storage.SIZES:
        assert client.get(reverse("photograph-file", args=[photograph.key, size])).status_code == 404
    page = client.get(reverse("toe", args=[nail.key])).content.decode()
    assert "Picture deleted 25 Nov 2026" in page
    own = client.get(reverse("photograph", args=[photograph.key])).content.decode()
    assert "Picture deleted 25 Nov 2026, 12:00" in own
    assert full not in own


def test_anybody_who_may_record_a_review_may_do_so(client_of, assistant, photograph, folder):
    withdraw(client_of(assistant), photograph)

    assert files(folder) == []


def test_a_struck_out_picture_can_be_deleted_too(client, photograph, folder):
    strike(client, photograph)
    photograph.refresh_from_db()

    withdraw(client, photograph)

    assert files(folder) == []


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [({"sure": None}, "Tick that the picture is to be deleted"), ({"reason": ""}, "Give the reason")],
)
def test_it_takes_a_reason_and_a_tick(client, photograph, folder, changes, sentence):
    page = withdraw(client, photograph, **changes)

    assert errors(page) == [sentence]
    assert len(files(folder)) == 2


def test_looking_at_the_page_deletes_nothing(client, photograph, folder):
    assert client.get(reverse("photograph-withdraw", args=[photograph.key])).status_code == 200
    assert len(files(folder)) == 2


def test_twice_is_once(client, photograph, folder):
    withdraw(client, photograph)
    again = withdraw(client, photograph)

    assert again.status_code == 200
    assert Photograph.history.count() == 2


def test_after_a_change_by_somebody_else_it_is_asked_again(client, photograph, folder):
    photograph.save_version(by=photograph.added_by, reason="something else")

    page = withdraw(client, photograph, version="1")

    assert page.status_code == 409
    assert len(files(folder)) == 2
    assert 'name="version" value="2"' in page.content.decode()


def test_a_row_that_cannot_be_written_keeps_the_picture(client_of, practitioner, photograph, folder, monkeypatch):
    browser = client_of(practitioner, raise_request_exception=False)
    monkeypatch.setattr(Photograph.history.model, "save", lambda *args, **kwargs: 1 / 0)

    assert withdraw(browser, photograph).status_code == 500

    photograph.refresh_from_db()
    assert photograph.withdrawn_at is None
    assert len(files(folder)) == 2


def test_a_file_that_cannot_be_deleted_is_said_and_shown_to_nobody(client, photograph, folder, monkeypatch):
    def stuck(name):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(storage, "remove", stuck)
    said = withdraw(client, photograph).content.decode()

    assert "Nobody is shown the picture now, but its file could not be deleted." in said
    assert client.get(reverse("photograph-file", args=[photograph.key, "full"])).status_code == 404


# --- files and records compared


def age(folder) -> None:
    for path in folder.rglob("*"):
        if path.is_file():
            os.utime(path, (1.0, 1.0))


def test_all_is_well(photograph, folder, capsys):
    age(folder)
    call_command("check_photographs")

    assert capsys.readouterr().out == (
        "1 photographs, 0 without their file as it was saved.\n0 files that no photograph owns.\n"
    )


def test_an_altered_or_missing_file_is_found(photograph, nail, folder, capsys):
    altered, lost = photograph, create_photograph(nail)
    storage.path_of(altered.file_name, storage.FULL).write_bytes(b"another picture")
    storage.path_of(lost.file_name, storage.PREVIEW).unlink()
    create_photograph(nail)

    with pytest.raises(CommandError):
        call_command("check_photographs")

    said = capsys.readouterr().out
    assert "3 photographs, 2 without their file" in said
    assert altered.key in said
    assert lost.key in said


def test_what_nobody_owns_is_found_and_removed_on_demand(client, photograph, nail, folder, monkeypatch, capsys):
    """A file of a process that was killed before its row was written, and one of a withdrawn consent."""
    kept, withdrawn = photograph, create_photograph(nail)
    storage.put(storage.path_of("0" * 32, storage.FULL), b"orphan")
    with monkeypatch.context() as patch:
        patch.setattr(storage, "remove", lambda name: None)
        withdraw(client, withdrawn)
    age(folder)
    storage.put(storage.path_of("1" * 32, storage.FULL), b"being saved just now")
    with pytest.raises(CommandError):
        call_command("check_photographs")
    assert "3 files that no photograph owns" in capsys.readouterr().out

    call_command("check_photographs", "--remove")

    names = {kept.file_name: storage.SIZES, "1" * 32: (storage.FULL,)}
    assert files(folder) == sorted(f"photographs/{name}.{size}" for name, sizes in names.items() for size in sizes)
