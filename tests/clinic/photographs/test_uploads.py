"""Bodies of requests: a file in memory up to its limit, far larger ones unread, so many a minute."""

from contextlib import suppress
from datetime import timedelta
from io import BytesIO

import pytest
import time_machine
from django.core.files.uploadhandler import MemoryFileUploadHandler, StopFutureHandlers
from django.test import RequestFactory
from django.urls import reverse

from clinic.access.models import UploadTry
from clinic.access.uploads import BoundedMemory, claim_upload
from clinic.photographs.models import Photograph
from clinic.wsgi import application
from tests.clinic.photographs.conftest import NOW
from tests.clinic.photographs.posts import add, answers, errors, files, sent
from tests.factories import create_member, picture_bytes

pytestmark = pytest.mark.django_db
MB = 2**20


# --- size


def test_a_file_that_is_a_little_too_large_is_refused_on_its_page(client, nail, folder):
    page = add(client, nail, picture=sent(picture_bytes() + bytes(9 * MB)), note="Kept")

    assert page.status_code == 200
    assert errors(page) == ["The file is larger than 8 MB; make the picture smaller and choose it again"]
    assert 'value="Kept"' in page.content.decode()
    assert (Photograph.objects.count(), files(folder)) == (0, [])


def test_a_file_of_exactly_the_limit_is_taken(client, nail, folder):
    """Up to 8 MB with what follows the picture, which is dropped."""
    picture = picture_bytes()

    response = add(client, nail, picture=sent(picture + bytes(8 * MB - len(picture))))

    assert response.status_code == 302
    assert sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) < 10_000


def test_a_body_far_too_large_is_refused(client, nail, folder):
    response = add(client, nail, picture=sent(bytes(25 * MB)))

    assert response.status_code == 413
    assert "at most 8 MB" in response.content.decode()
    assert (Photograph.objects.count(), files(folder)) == (0, [])


class Unread:
    """A body that nobody may ask for."""

    def read(self, *args):
        raise AssertionError("the body was read")

    readline = read


@pytest.mark.parametrize("announced", [str(24 * MB + 1), str(10**12)])
@pytest.mark.parametrize("path", ["/sign-in/", "/toes/abcabcabcabc/photograph/", "/nowhere/"])
def test_it_is_refused_before_a_byte_of_it_is_read(announced, path):
    environ = RequestFactory()._base_environ(
        REQUEST_METHOD="POST", PATH_INFO=path, CONTENT_LENGTH=announced,
        CONTENT_TYPE="multipart/form-data; boundary=x",
    )  # fmt: skip
    environ["wsgi.input"] = Unread()
    statuses = []

    list(application(environ, lambda status, headers: statuses.append(status)))

    assert [status[:3] for status in statuses] == ["413"]


@pytest.mark.parametrize("announced", ["", "-1", "many", "1e9", "²", "0x99"])
def test_an_odd_announcement_is_no_fault(client, announced):
    response = client.generic("POST", "/sign-in/", b"username=a", CONTENT_LENGTH=announced)

    assert response.status_code < 500


def test_typed_answers_have_their_own_limit(client, nail, folder):
    assert add(client, nail, note="x" * 2 * MB).status_code == 400
    assert add(client, nail, **{f"more{number}": "x" for number in range(2000)}).status_code == 400
    assert files(folder) == []


def test_one_file_a_form(client, nail, folder):
    response = client.post(
        reverse("photograph-add", args=[nail.key]),
        {**answers(), **{f"more{number}": sent(picture_bytes(), "x.jpg") for number in range(2)}},
    )

    assert response.status_code == 400
    assert (Photograph.objects.count(), files(folder)) == (0, [])


def test_twenty_thousand_parts_are_refused(client, nail):
    part = b'--x\r\nContent-Disposition: form-data; name="a"; filename="a.jpg"\r\n\r\nx\r\n'
    body = part * 20_000 + b"--x--\r\n"

    response = client.generic(
        "POST", reverse("photograph-add", args=[nail.key]), body, "multipart/form-data; boundary=x"
    )

    assert response.status_code == 400


@pytest.mark.parametrize("page", ["/sign-in/", "/account/", "/today/"])
def test_a_file_for_a_page_that_takes_none_does_nothing(client, folder, page):
    response = client.post(page, {"picture": sent(picture_bytes() + bytes(MB))})

    assert response.status_code < 500
    assert files(folder) == []


@pytest.mark.parametrize("name", ["a\x00.jpg", "<script>.jpg", "x" * 5000 + ".jpg", "\u202egpj.exe.jpg", "...jpg"])
def test_an_odd_file_name_is_no_fault(client, nail, folder, name):
    assert add(client, nail, picture=sent(picture_bytes(), name)).status_code < 500


def test_text_hidden_in_a_form_with_a_file_is_still_looked_at(client, nail, folder):
    """The middleware reads every answer, also beside a file."""
    assert add(client, nail, note="a\x00b").status_code == 400
    assert files(folder) == []


# --- memory


def test_of_a_file_that_is_too_large_only_the_size_is_kept(settings):
    settings.UPLOAD_MAX_FILE_BYTES = 1000
    handler = BoundedMemory()
    handler.new_file("picture", "toe.jpg", "image/jpeg", None)
    most = 0
    for number in range(100):
        assert handler.receive_data_chunk(b"x" * 64, number * 64) is None
        most = max(most, len(handler.file.getvalue()))
    kept = handler.file_complete(6400)

    assert most <= 1000
    assert (kept.size, kept.read()) == (6400, b"")


@pytest.mark.parametrize("length", [0, 1, 999, 1000])
def test_a_smaller_one_is_kept_whole(settings, length):
    """As Django's own handler in memory keeps it."""
    settings.UPLOAD_MAX_FILE_BYTES = 1000
    data = bytes(range(256)) * 4
    mine, reference = BoundedMemory(), MemoryFileUploadHandler()
    reference.handle_raw_input(BytesIO(), {}, 1000, b"x")
    for handler in (mine, reference):
        with suppress(StopFutureHandlers):
            handler.new_file("picture", "toe.jpg", "image/jpeg", None)
        handler.receive_data_chunk(data[:length], 0)

    got, expected = mine.file_complete(length), reference.file_complete(length)

    assert (got.read(), got.size, got.name) == (expected.read(), expected.size, expected.name)


# --- so many a minute


def test_ten_a_minute_taken_or_not(client, client_of, nail, assistant, folder):
    for number in range(9):
        add(client, nail, picture=sent(b"no picture at all"))
        assert UploadTry.objects.count() == number + 1
    assert add(client, nail).status_code == 302

    refused = add(client, nail, picture=sent(picture_bytes(colour="teal")), note="Kept")

    assert refused.status_code == 429
    assert errors(refused) == ["Ten pictures within a minute is the most; wait a minute and send it again"]
    assert 'value="Kept"' in refused.content.decode()
    assert Photograph.objects.count() == 1
    assert add(client_of(assistant), nail, picture=sent(picture_bytes(colour="teal"))).status_code == 302


def test_a_picture_too_many_is_not_even_looked_at(client, nail, folder, monkeypatch):
    for _ in range(10):
        add(client, nail, picture=sent(b"no picture at all"))
    monkeypatch.setattr("clinic.photographs.forms.clean", lambda *args, **kwargs: pytest.fail("it was decoded"))

    assert add(client, nail).status_code == 429


def test_after_a_minute_it_goes_on(client, nail, folder):
    for _ in range(10):
        add(client, nail, picture=sent(b"no picture at all"))

    with time_machine.travel(NOW + timedelta(seconds=59), tick=False):
        assert add(client, nail).status_code == 429
    with time_machine.travel(NOW + timedelta(seconds=60), tick=False):
        assert add(client, nail).status_code == 302
    assert UploadTry.objects.count() == 1  # earlier ones are forgotten


def test_any_window_of_a_minute_holds_ten(practitioner):
    """Not ten until the clock's full minute and ten after it."""
    at = [NOW + timedelta(seconds=seconds) for seconds in (0, 10, 20, 30, 40, 50, 52, 54, 56, 58, 59)]
    let_in = [claim_upload(practitioner, each) for each in at]

    assert let_in == [True] * 10 + [False]
    assert claim_upload(practitioner, NOW + timedelta(seconds=60))
    assert not claim_upload(practitioner, NOW + timedelta(seconds=61))


def test_a_form_without_a_file_does_not_count(client, nail):
    for _ in range(12):
        assert add(client, nail, picture=None).status_code == 200

    assert UploadTry.objects.count() == 0


def test_each_member_has_a_count_of_their_own(practice):
    one, another = create_member(practice), create_member(practice)
    for _ in range(10):
        assert claim_upload(one, NOW)

    assert not claim_upload(one, NOW)
    assert claim_upload(another, NOW)
