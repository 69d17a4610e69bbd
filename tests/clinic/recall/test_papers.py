"""What leaves the list: letters, the file, the calendar. None of them holds more than it must."""

import csv
import re
from datetime import UTC, datetime, timedelta
from io import BytesIO, StringIO

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from clinic.access.spreadsheets import harmless
from clinic.planning.models import FollowUp
from clinic.recall.models import CalendarAddress
from clinic.reports.models import ReportLink
from clinic.reviews.models import Booking, Contact
from tests.clinic.recall.conftest import NOW, TODAY
from tests.clinic.recall.test_lists import book, tried
from tests.factories import create_review

pytestmark = pytest.mark.django_db


@pytest.fixture
def settings_of(practice) -> FollowUp:
    return FollowUp.objects.create(practice=practice, phone="01632 960100", sender="The feet people (fictional)")


def make(client, operations, do: str = "page", **more):
    picks = {"pick": [operation.key for operation in operations]}
    once = client.get(reverse("letters"), picks).context["once"]
    return client.post(reverse("letters"), picks | {"once": once, "do": do} | more)


def text_of(pdf: bytes) -> list[str]:
    return [page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(BytesIO(pdf))]


# --- letters


def test_reading_letters_makes_no_link_and_logs_nothing(client_of, operated, reception, settings_of):
    operation = operated(380, "Reader")

    page = client_of(reception).get(reverse("letters"), {"pick": operation.key}).content.decode()

    assert "Dear Avery Reader," in page
    assert "Here the letter has the square" in page
    assert not ReportLink.objects.exists()
    assert not Contact.objects.exists()


def test_making_letters_logs_each_and_gives_each_a_link_of_its_own(client_of, operated, reception, settings_of):
    operations = [operated(380, "First"), operated(390, "Second")]

    page = make(client_of(reception), operations).content.decode()

    assert page.count("/r/") == 2
    assert page.count('class="qr"') == 2
    assert [(c.channel, c.result, c.recorded_by) for c in Contact.objects.all()] == [("letter", "sent", reception)] * 2
    assert set(ReportLink.objects.values_list("about", flat=True)) == {"twelve_months"}


def test_letters_as_one_pdf_have_a_page_each(client_of, operated, reception, settings_of):
    response = make(client_of(reception), [operated(380, "First"), operated(390, "Second")], "pdf")

    assert response["Content-Type"] == "application/pdf"
    first, second = text_of(response.content)
    assert "Avery Second" in first  # the earlier operation first
    assert "Avery First" in second
    assert "01632 960100" in first
    assert "/r/" in first


def test_a_review_that_has_to_be_seen_gets_no_link(client_of, operated, reception, settings_of):
    page = make(client_of(reception), [operated(50)]).content.decode()

    assert "/r/" not in page
    assert Contact.objects.count() == 1


@pytest.mark.parametrize("why", ["died", "no contact", "moved", "declined", "booked", "known"])
def test_who_is_not_tried_gets_no_letter(client_of, operated, reception, settings_of, why):
    operation = operated(380, "Nobody")
    if why == "died":
        operation.patient.died_on = TODAY
    operation.patient.no_contact_wished = why == "no contact"
    operation.patient.save()
    if why in {"moved", "declined"}:
        tried(operation, 2, why)
    if why == "booked":
        book(operation, TODAY + timedelta(days=3))
    if why == "known":
        create_review(operation, day=370)
    client, before = client_of(reception), Contact.objects.count()

    page = make(client, [operation])

    assert "One gets no letter" in page.content.decode()
    assert "Dear Avery Nobody" not in page.content.decode()
    assert Contact.objects.count() == before
    assert not ReportLink.objects.exists()


def test_the_same_form_sent_twice_logs_and_links_once(client_of, operated, reception, settings_of):
    operation, client = operated(380), client_of(reception)
    picks = {"pick": [operation.key]}
    once = client.get(reverse("letters"), picks).context["once"]

    for _ in range(2):
        response = client.post(reverse("letters"), picks | {"once": once, "do": "page"})

    assert response["Location"] == reverse("recall")
    assert Contact.objects.count() == ReportLink.objects.count() == 1


def test_a_server_without_pango_logs_nothing_and_says_so(client_of, operated, reception, settings_of, monkeypatch):
    monkeypatch.setattr("clinic.recall.views.letter_pages.has_paper", lambda: False)

    response = make(client_of(reception), [operated(380)], "pdf")

    assert response.status_code == 302
    assert not Contact.objects.exists()


def test_a_letter_says_nothing_of_findings_and_the_last_one_that_it_is_the_last(
    client_of, operated, reception, settings_of
):
    operation = operated(420)
    for days in (60, 50, 40, 30):
        tried(operation, days)

    page = client_of(reception).get(reverse("letters"), {"pick": operation.key}).content.decode()

    assert "We will not write again about this" in page
    assert "phenol" not in page.lower()


def test_the_last_letter_keeps_its_word(client_of, operated, reception, settings_of):
    operation, client = operated(420), client_of(reception)
    for days in (60, 50, 40, 30):
        tried(operation, days)
    make(client, [operation])

    page = make(client, [operation]).content.decode()

    assert "The letter of 25 Nov 2026 said that we would not write again." in page
    assert Contact.objects.filter(channel="letter").count() == 1


def test_a_letter_that_did_not_say_so_is_followed_by_another(client_of, operated, reception, settings_of):
    operation, client = operated(420), client_of(reception)
    make(client, [operation])

    make(client, [operation])

    assert Contact.objects.filter(channel="letter").count() == 2


def test_the_last_day_of_the_window_is_still_in_time(client_of, operated, reception, settings_of):
    page = client_of(reception).get(reverse("letters"), {"pick": operated(380).key}).content.decode()

    assert "for a visit by 9 January 2027" in page
    assert "before" not in page.split("Dear Avery")[1].split("kind regards")[0]


def test_letters_to_another_practice_do_not_exist(client_of, operated, colleague_elsewhere):
    page = client_of(colleague_elsewhere).get(reverse("letters"), {"pick": operated(380, "Foreign").key})

    assert "Foreign" not in page.content.decode()


def test_without_a_number_to_call_no_letter_is_made(client_of, operated, reception):
    operation, client = operated(380), client_of(reception)

    page = make(client, [operation]).content.decode()

    assert "no number is set. No letter is made. The practice lead sets it under Following up." in page
    assert reverse("follow-up") not in page
    assert not Contact.objects.exists()
    assert not ReportLink.objects.exists()


@pytest.mark.parametrize("do", ["page", "pdf"])
def test_who_stopped_since_the_preview_is_named(client_of, operated, reception, settings_of, do):
    stays, stops = operated(380, "Stays"), operated(385, "Stops")
    client, picks = client_of(reception), {"pick": [stays.key, stops.key]}
    once = client.get(reverse("letters"), picks).context["once"]
    tried(stops, 0, "declined")

    response = client.post(reverse("letters"), picks | {"once": once, "do": do})

    said = response if do == "page" else client.get(reverse("recall"))
    assert "Stops, Avery: Declined." in said.content.decode()
    assert Contact.objects.filter(result="sent").count() == 1


# --- the file


@pytest.mark.parametrize("text", ["=1+1", "+44 1632", "-1", "@x", "\t=1", "\r=1", "＝1", "  =1", "＠x"])
def test_what_would_run_as_a_formula_is_text(text):
    assert harmless(text) == f"'{text}"


@pytest.mark.parametrize("text", ["O'Example", "Zoë", "1-2", "a=b", ""])
def test_ordinary_text_stays_as_it_is(text):
    assert harmless(text) == text


def test_the_file_holds_the_rows_of_the_list_and_runs_nothing(client_of, operated, reception):
    operation = operated(380, '=HYPERLINK("https://example.org")', phone="+44 1632 960004")
    tried(operation, 2)
    operated(20, "Elsewhere")

    response = client_of(reception).get(reverse("recall-csv"), {"show": "overdue"})

    assert 'filename="recall-overdue-2026-11-25.csv"' in response["Content-Disposition"]
    (row,) = csv.DictReader(StringIO(response.content.decode("utf-8-sig")))
    assert row["name"].startswith("'=HYPERLINK")
    assert row["phone"] == "'+44 1632 960004"
    assert (row["tries"], row["last try"], row["came of it"]) == ("1", "2026-11-23", "No answer")
    assert row["toe and side"] == "Right 1st toe (hallux), fibular (lateral) side"


# --- the calendar


def address_of(client) -> str:
    page = client.post(reverse("calendar"), {"do": "new"}).content.decode()
    return re.search(r"/calendar/[\w-]+\.ics", page).group()


def test_the_calendar_shows_times_and_nothing_of_anybody(client_of, operated, reception):
    operation = operated(380, "Secretname", phone="01632 960004")
    booking = book(operation, TODAY + timedelta(days=3))
    address = address_of(client_of(reception))

    response = Client().get(address)

    assert response["Content-Type"].startswith("text/calendar")
    (event,) = Calendar.from_ical(response.content).walk("VEVENT")
    assert event.decoded("dtstart") == booking.starts_at
    assert (str(event["summary"]), str(event["status"])) == ("Review", "CONFIRMED")
    identity = operation.patient.identity
    text = response.content.decode()
    for secret in (
        "Secretname", "Avery", identity.record_number, "960004", "1990", booking.key, operation.key,
        operation.patient.key, "toe", "hallux", "phenol",
    ):  # fmt: skip
        assert secret not in text, secret


def test_every_line_of_the_calendar_keeps_to_the_standard(client_of, operated, reception):
    """RFC 5545, 3.1: lines end with CR LF and are at most 75 octets long; 3.6.1: what an event must hold."""
    book(operated(380), TODAY + timedelta(days=3))

    content = Client().get(address_of(client_of(reception))).content

    assert content.endswith(b"\r\n")
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert max(len(line) for line in content.split(b"\r\n")) <= 75
    for needed in (b"BEGIN:VCALENDAR", b"VERSION:2.0", b"PRODID:", b"UID:", b"DTSTAMP:", b"DTSTART:"):
        assert needed in content


def test_two_calendars_cannot_be_matched_and_one_keeps_its_identifiers(client_of, operated, reception, assistant):
    book(operated(380), TODAY + timedelta(days=3))
    own, other = address_of(client_of(reception)), address_of(client_of(assistant))

    def uid(address):
        (event,) = Calendar.from_ical(Client().get(address).content).walk("VEVENT")
        return str(event["uid"])

    assert uid(own) == uid(own)
    assert uid(own) != uid(other)


def test_a_cancelled_appointment_is_said_to_be_cancelled(client_of, operated, reception):
    booking = book(operated(380), TODAY + timedelta(days=3))
    booking.cancelled_at = NOW
    booking.save_version(by=reception)

    (event,) = Calendar.from_ical(Client().get(address_of(client_of(reception))).content).walk("VEVENT")

    assert (str(event["status"]), int(event["sequence"])) == ("CANCELLED", 2)


def test_the_appointment_of_somebody_who_has_died_is_said_to_be_cancelled(client_of, operated, reception):
    booking = book(operated(380), TODAY + timedelta(days=3))
    booking.operation.patient.died_on = TODAY
    booking.operation.patient.save()

    (event,) = Calendar.from_ical(Client().get(address_of(client_of(reception))).content).walk("VEVENT")

    assert (str(event["status"]), int(event["sequence"])) == ("CANCELLED", 2)


def test_a_new_address_ends_the_old_one_and_ending_it_ends_it(client_of, operated, reception):
    client = client_of(reception)
    first, second = address_of(client), address_of(client)

    assert Client().get(first).status_code == 404
    assert Client().get(second).status_code == 200
    client.post(reverse("calendar"), {"do": "end"})
    assert Client().get(second).status_code == 404


def test_only_a_digest_of_the_address_is_kept(client_of, reception):
    token = address_of(client_of(reception)).split("/")[-1].removesuffix(".ics")

    assert len(token) == 43  # 32 random bytes
    assert token not in CalendarAddress.objects.get().digest


@pytest.mark.parametrize("what", ["role", "left"])
def test_who_may_no_longer_book_sees_no_calendar(client_of, operated, reception, what):
    address = address_of(client_of(reception))
    if what == "role":
        reception.role = "administrator"
    else:
        reception.is_active = False
    reception.save()

    assert Client().get(address).status_code == 404


def test_a_calendar_holds_only_its_own_practice(client_of, operated, colleague_elsewhere):
    book(operated(380), TODAY + timedelta(days=3))

    content = Client().get(address_of(client_of(colleague_elsewhere))).content

    assert Calendar.from_ical(content).walk("VEVENT") == []


def test_an_appointment_on_the_night_of_the_clock_change_keeps_its_local_time(client_of, operated, reception):
    """28 March 2027, 01:00 becomes 02:00 summer time."""
    operation = operated(380)
    for hour in (0, 9):
        starts_at = timezone.make_aware(datetime(2027, 3, 28, hour, 30))
        Booking.objects.create(operation=operation, starts_at=starts_at, booked_by=reception)

    content = Client().get(address_of(client_of(reception))).content

    starts = [event.decoded("dtstart") for event in Calendar.from_ical(content).walk("VEVENT")]
    assert starts == [datetime(2027, 3, 28, 0, 30, tzinfo=UTC), datetime(2027, 3, 28, 8, 30, tzinfo=UTC)]


@pytest.mark.parametrize("why", ["no contact", "declined"])
def test_how_to_reach_somebody_who_must_not_be_contacted_is_printed_nowhere(client_of, operated, reception, why):
    operation = operated(380, "Nobody", phone="01632 960004", email="nobody@example.org")
    client = client_of(reception)
    pages = {reverse("recall"): {"show": "outcome"}, reverse("recall-csv"): {"show": "outcome"}}
    pages |= {reverse(name, args=[operation.key]): {} for name in ("book", "contact")}
    shown = [client.get(url, data).content.decode() for url, data in pages.items()]
    assert all("960004" in each for each in shown)

    operation.patient.no_contact_wished = why == "no contact"
    operation.patient.save()
    if why == "declined":
        tried(operation, 2, "declined")
    for url, data in pages.items():
        page = client.get(url, data).content.decode()
        assert "Nobody" in page
        assert "960004" not in page
        assert "nobody@example.org" not in page
