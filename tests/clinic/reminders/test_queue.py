"""Which messages are queued, and how a run treats them. Mail goes into memory here."""

from datetime import timedelta
from io import StringIO

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.patients.identity import Identity
from clinic.planning.models import FollowUp
from clinic.reminders.models import Message, TextApproval
from clinic.reminders.queueing import due_of, queue_due
from clinic.reminders.sending import recover, say_it_arrived, send_again, send_queued
from clinic.reminders.texts import written
from clinic.reports.models import ReportLink
from clinic.reviews.models import Contact
from tests.clinic.recall.many import many_operations
from tests.clinic.recall.test_lists import book, tried
from tests.clinic.reminders.conftest import NOW, TODAY
from tests.factories import create_review

pytestmark = pytest.mark.django_db


def run():
    return send_queued(lambda: NOW)


def queue(practice):
    return queue_due(practice, today=TODAY, now=NOW)[1]


def states() -> list[str]:
    return list(Message.objects.order_by("pk").values_list("state", flat=True))


def test_a_message_is_queued_once_sent_once_and_logged(practice, lead, switched_on, asked):
    operation = asked()

    assert queue(practice) == 1
    assert queue(practice) == 0
    assert run()["sent"] == 1
    assert queue(practice) == 0
    assert run()["sent"] == 0

    (letter,) = mail.outbox
    assert (letter.to, letter.subject) == (["asked@example.org"], "Please get in touch")
    assert letter.extra_headers["Message-ID"] == Message.objects.get().message_id
    contact = Contact.objects.get()
    assert (contact.operation, contact.channel, contact.result, contact.recorded_by) == (
        operation, "email", "sent", lead,
    )  # fmt: skip
    assert Message.objects.get().contact == contact


def test_the_step_with_a_link_holds_one_that_works(practice, switched_on, asked, client):
    operation = asked(days=380)
    for days in (20, 10, 5):
        tried(operation, days)

    queue(practice)
    run()

    body = mail.outbox[0].body
    assert "It takes about one minute" in body
    path = "/r/" + body.split("/r/")[1].split()[0]
    assert client.get(path).status_code == 200
    assert ReportLink.objects.get().about == "twelve_months"


def test_a_review_that_must_be_seen_gets_no_link(practice, switched_on, asked):
    operation = asked(days=56)  # 6-week review, 14 days past its target
    for days in (20, 10, 5):
        tried(operation, days)

    queue(practice)
    run()

    assert "/r/" not in mail.outbox[0].body


def test_no_message_holds_anything_of_the_patient_or_of_health(practice, switched_on, asked):
    operation = asked("Secretname", days=380)
    for days in (20, 10, 5):
        tried(operation, days)
    asked("Othername")
    queue(practice)
    run()

    identity = operation.patient.identity
    for letter in mail.outbox:
        text = f"{letter.subject}\n{letter.body}\n{letter.from_email}".lower()
        for word in (
            "secretname", "othername", "avery", identity.record_number.lower(), "1990", operation.key, "nail", "toe",
            "surgery", "operation", "phenol", "pain", "patient", "wound", "review",
        ):  # fmt: skip
            assert word not in text, word


@pytest.mark.parametrize(
    "what", ["off", "not approved", "text changed", "no address", "booked", "declined", "moved", "died", "no contact",
             "seen", "step not come"],
)  # fmt: skip
def test_who_gets_no_message(practice, switched_on, asked, operated, what):
    operation = operated(355, "Plain") if what == "no address" else asked(days=340 if what == "step not come" else 355)
    if what == "off":
        FollowUp.objects.update(sends_email=False)
    if what == "not approved":
        TextApproval.objects.all().delete()
    if what == "text changed":
        FollowUp.objects.update(phone="01632 960101")
    if what == "booked":
        book(operation, TODAY + timedelta(days=3))
    if what in {"declined", "moved"}:
        tried(operation, 2, what)
    if what == "died":
        operation.patient.died_on = TODAY
    operation.patient.no_contact_wished = what == "no contact"
    operation.patient.save()
    if what == "seen":
        create_review(operation, day=350)
    practice.refresh_from_db()

    assert queue(practice) == 0
    run()

    assert mail.outbox == []
    assert due_of(practice, today=TODAY, now=NOW).no_address == (what == "no address")


@pytest.mark.parametrize("what", ["booked", "declined", "no contact", "died", "address gone", "approval gone", "tried"])
def test_what_happens_between_queue_and_run_is_respected(practice, switched_on, asked, what):
    operation = asked()
    queue(practice)
    patient = operation.patient
    if what == "booked":
        book(operation, TODAY + timedelta(days=3))
    if what == "declined":
        tried(operation, 0, "declined")
    if what == "tried":
        tried(operation, 0, "left_message")
    if what == "no contact":
        patient.no_contact_wished = True
    if what == "died":
        patient.died_on = TODAY
    patient.save()
    if what == "address gone":
        patient.identity.email = ""
        patient.identity.save()
    if what == "approval gone":
        FollowUp.objects.update(phone="01632 960101")

    run()

    assert mail.outbox == []
    assert states() == ["dropped"]


def test_one_message_a_person_and_day(practice, switched_on, asked):
    first = asked("Twice")
    asked("Twice", days=356, patient=first.patient)

    assert queue(practice) == 1
    run()
    assert queue(practice) == 0
    assert len(mail.outbox) == 1


def test_a_corrected_address_is_used_even_after_queueing(practice, switched_on, asked):
    operation = asked()
    queue(practice)
    operation.patient.identity.email = "new@example.org"
    operation.patient.identity.save()

    run()

    assert mail.outbox[0].to == ["new@example.org"]


def test_an_address_that_no_header_can_carry_fails_alone(practice, switched_on, asked):
    broken, fine = asked("Broken", days=356), asked("Fine")
    broken.patient.identity.email = "a\nBcc: x@example.org"
    broken.patient.identity.save()
    queue(practice)

    run()

    assert sorted(states()) == ["failed", "sent"]
    assert [letter.to for letter in mail.outbox] == [[fine.patient.identity.email]]


def test_after_a_crash_what_had_not_left_waits_and_what_may_have_left_asks(practice, switched_on, asked):
    for name in ("One", "Two"):
        asked(name)
    queue(practice)
    one, two = Message.objects.order_by("pk")
    Message.objects.filter(pk=one.pk).update(state="claimed", run="deadrun")
    Message.objects.filter(pk=two.pk).update(state="handing", run="deadrun")

    assert recover("newrun", NOW) == {"put_back": 1, "unclear": 1}
    run()

    assert states() == ["sent", "unclear"]
    assert len(mail.outbox) == 1


def test_a_person_decides_about_an_unclear_one(practice, lead, switched_on, asked, client_of, reception):
    asked("One")
    asked("Two")
    queue(practice)
    Message.objects.update(state="unclear", run="deadrun")
    one, two = Message.objects.order_by("pk")
    client = client_of(reception)
    page = client.get(reverse("messages")).content.decode()
    assert "Perhaps sent" in page

    client.post(reverse("message-decide", args=[one.key]), {"do": "arrived"})
    client.post(reverse("message-decide", args=[two.key]), {"do": "again"})
    assert states() == ["sent", "queued"]
    assert Contact.objects.get().recorded_by == reception
    run()

    assert states() == ["sent", "sent"]
    assert [letter.extra_headers["Message-ID"] for letter in mail.outbox] == [two.message_id]


def test_two_who_decide_at_once_decide_once(practice, switched_on, asked, lead, reception):
    asked()
    queue(practice)
    Message.objects.update(state="unclear", run="deadrun")
    first, second = Message.objects.get(), Message.objects.get()

    say_it_arrived(by=lead, message=first, now=NOW)

    assert not send_again(by=reception, message=second, now=NOW)
    assert states() == ["sent"]
    assert Contact.objects.count() == 1


def test_the_database_itself_keeps_a_step_single_and_a_sent_one_logged(practice, switched_on, asked, lead):
    operation = asked()
    queue(practice)
    same = {"operation": operation, "point": "twelve_months", "after_days": -14, "kind": "link", "approved_by": lead}

    with pytest.raises(IntegrityError), transaction.atomic():
        Message.objects.create(**same, queued_at=NOW, not_before_at=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        Message.objects.update(state="sent")


# --- the page and the approval


def test_nothing_is_sent_before_somebody_has_read_the_words(practice, switched_on, asked, client_of, lead):
    asked()
    TextApproval.objects.all().delete()
    client = client_of(lead)
    page = client.get(reverse("messages"))
    assert page.context["due"].why_not == "Nobody has approved the messages as they read now."
    for kind, text in page.context["texts"]:
        assert text == written(kind, switched_on)

    client.post(reverse("message-approve"), {"stamp": "another"})
    assert not TextApproval.objects.exists()
    for _ in range(2):
        client.post(reverse("message-approve"), {"stamp": page.context["stamp"]})
    assert TextApproval.objects.get().by == lead
    assert queue(practice) == 1


def test_the_page_asks_a_bounded_number_of_times(practice, switched_on, asked, client_of, reception):
    client = client_of(reception)

    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            client.get(reverse("messages"))
        return len(captured)

    asked("First")
    queue(practice)
    few = statements()
    for number in range(12):
        asked(f"Name{number}", days=356)
    queue(practice)

    assert statements() == few


# --- the command


def remind(*arguments: str) -> str:
    out = StringIO()
    call_command("remind", *arguments, stdout=out)
    return out.getvalue()


def test_a_dry_run_counts_and_writes_nothing(practice, switched_on, asked):
    asked("Secretname")

    said = remind("--dry-run")

    assert "north: 1 queued, 0 without an address" in said
    assert "ecretname" not in said
    assert not Message.objects.exists()
    assert mail.outbox == []


def test_the_command_sends_and_names_nobody(practice, switched_on, asked):
    asked("Secretname")

    said = remind()

    assert "sent: 1" in said
    assert "ecretname" not in said
    assert len(mail.outbox) == 1


def test_the_command_ends_with_one_if_a_person_is_needed(practice, switched_on, asked):
    asked()
    queue(practice)
    Message.objects.update(state="failed")

    with pytest.raises(SystemExit) as ended:
        remind("--json")

    assert ended.value.code == 1


def test_production_without_a_mail_server_sends_nothing(practice, switched_on, asked, settings):
    settings.PRODUCTION = True
    asked()

    with pytest.raises(CommandError, match="No mail server is set") as refused:
        remind()

    assert refused.value.returncode == 2
    assert not Message.objects.exists()


def test_500_rows_are_queued_in_batches_and_otherwise_with_the_statements_of_10(practice, switched_on, asked):
    def statements(count: int) -> tuple[int, int]:
        with CaptureQueriesContext(connection) as captured:
            assert queue(practice) == count
        inserts = [query for query in captured if query["sql"].startswith("INSERT")]
        return len(captured) - len(inserts), len(inserts)

    def ask(operations) -> None:
        Identity.objects.filter(patient__operations__in=operations).update(email="many@example.org")

    first = asked("First", days=356)
    ask(many_operations(first, 9, days_apart=1, tried=False))
    few, _ = statements(10)
    ask(many_operations(first, 500, days_apart=1, tried=False))

    many, inserts = statements(500)
    assert many <= few <= 14
    assert inserts <= 10, "SQLite takes some sixty rows in one statement, PostgreSQL all"
