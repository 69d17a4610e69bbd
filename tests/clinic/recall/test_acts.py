"""Logging a try, taking it back, closing as lost with a reason that the log bears out, opening again."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from audit import cohort
from audit.measures.outcomes import unit_frame
from clinic.recall.models import Closure
from clinic.reviews.models import Contact
from tests.clinic.recall.conftest import NOW, TODAY
from tests.clinic.recall.test_lists import names, tried
from tests.factories import create_member, create_review

pytestmark = pytest.mark.django_db
CALL = {"channel": "phone", "result": "no_answer", "next_try_on": "2026-11-30"}


def log(client, operation, **more):
    return client.post(reverse("contact", args=[operation.key]), CALL | more)


def close(client, operation, **more):
    url = reverse("close", args=[operation.key])
    once = client.get(url).context["form"]["once"].value()
    return client.post(url, {"once": once, "reason": "no_reply", "note": "", **more})


def test_logging_from_the_recall_list_leads_back_to_it(client_of, operated, reception):
    response = log(client_of(reception), operated(50), back="recall")

    assert response["Location"] == reverse("recall")
    assert Contact.objects.get().recorded_by == reception


def test_the_same_call_logged_by_two_people_is_asked_about(client_of, operated, practice, reception):
    operation, colleague = operated(50), create_member(practice, role="assistant")
    log(client_of(colleague), operation)
    client = client_of(reception)

    page = log(client, operation).content.decode()

    assert "Terry Testcase logged a contact a moment ago (Phone, no answer)" in page
    assert Contact.objects.count() == 1
    log(client, operation, another="on")
    assert Contact.objects.count() == 2


def test_after_ten_minutes_it_is_another_call(client_of, clock, operated, practice, reception):
    operation = operated(50)
    log(client_of(create_member(practice, role="assistant")), operation)
    clock.move_to(NOW + timedelta(minutes=11))

    log(client_of(reception), operation)

    assert Contact.objects.count() == 2


def test_another_way_or_the_same_person_is_not_asked(client_of, operated, practice, reception):
    operation = operated(50)
    log(client_of(create_member(practice, role="assistant")), operation)
    client = client_of(reception)

    log(client, operation, channel="letter", result="sent")
    log(client, operation, channel="letter", result="sent")

    assert Contact.objects.count() == 3


RACE = """
from datetime import date
from django.utils import timezone
from clinic.recall.recording import PerhapsTheSame, log_contact
from clinic.reviews.models import Contact
from tests.factories import create_operation
practice = create_practice()
members = [create_member(practice, role="reception") for _ in range(6)]
operation = create_operation(practice, operator=members[0], performed_on=date(2026, 1, 10))
turn = iter(members)
def attempt():
    answers = {"channel": "phone", "result": "no_answer"}
    log_contact(by=next(turn), operation=operation, answers=answers, now=timezone.localtime())
    return "logged"
after = lambda: Contact.objects.count()
"""


def test_six_people_who_log_one_call_at_the_same_moment_make_one_line(race):
    results, count = race(RACE)

    assert count == 1
    assert sorted(results) == ["PerhapsTheSame"] * 5 + ["logged"]


def test_a_try_is_taken_back_by_its_author_for_ten_minutes(client_of, clock, operated, practice, reception):
    operation = operated(50, "Undo")
    client = client_of(reception)
    log(client, operation)
    row = Contact.objects.get()

    client_of(create_member(practice, role="reception")).post(reverse("contact-undo", args=[row.key]))
    row.refresh_from_db()
    assert row.struck_at is None

    client.post(reverse("contact-undo", args=[row.key]))
    row.refresh_from_db()
    assert row.struck_at == NOW
    assert row.history.count() == 2
    assert "taken back" in client.get(reverse("contact", args=[operation.key])).content.decode()

    log(client, operation)
    clock.move_to(NOW + timedelta(minutes=11))
    client.post(reverse("contact-undo", args=[Contact.objects.latest("pk").key]))
    assert Contact.objects.latest("pk").struck_at is None


def test_a_death_told_at_a_contact_is_not_taken_back_with_it(client_of, operated, reception):
    operation = operated(50)
    client = client_of(reception)
    log(client, operation, result="died", died_on="2026-11-20")

    client.post(reverse("contact-undo", args=[Contact.objects.get().key]))

    assert Contact.objects.get().struck_at is None
    operation.patient.refresh_from_db()
    assert operation.patient.died_on == date(2026, 11, 20)


# --- closing


@pytest.mark.parametrize(
    ("logged", "reason", "sentence"),
    [
        ((), "no_reply", "The log holds no try without an answer"),
        (("no_answer",), "never_tried", "The log holds a try, so “Never contacted” is not true"),
        (("no_answer",), "moved", "The log holds nobody who said that the patient has moved"),
        (("no_answer",), "declined", "The log holds nobody who declined"),
        (("no_answer",), "did_not_attend", "The log holds no missed appointment"),
        (("no_answer",), "", "Choose the reason"),
        (("no_answer",), "fed_up", "Choose the reason"),
    ],
)
def test_a_reason_that_the_log_does_not_bear_out_is_refused(client_of, operated, reception, logged, reason, sentence):
    operation = operated(430)
    for number, result in enumerate(logged):
        tried(operation, 100 + number, result)

    page = close(client_of(reception), operation, reason=reason).content.decode()

    assert sentence in page
    assert not Closure.objects.exists()


@pytest.mark.parametrize(
    ("logged", "reason"),
    [
        ((), "never_tried"), (("no_answer",), "no_reply"), (("sent",), "no_reply"), (("moved",), "moved"),
        (("declined",), "declined"), (("did_not_attend",), "did_not_attend"),
    ],
)  # fmt: skip
def test_closing_stores_the_coded_reason_and_counts_as_lost_with_it(
    client_of, practice, operated, reception, logged, reason
):
    operation = operated(430)
    for number, result in enumerate(logged):
        tried(operation, 100 + number, result)

    close(client_of(reception), operation, reason=reason)

    row = Closure.objects.get()
    assert (row.reason, row.closed_on, row.closed_by) == (reason, TODAY, reception)
    assert lost(practice, operation) == ("lost", reason)


def lost(practice, operation, as_of: date = TODAY) -> tuple[str, str]:
    day = operation.performed_on
    frames = cohort.build(practice, performed_from=day, performed_to=day, as_of=as_of)
    (row,) = unit_frame(frames, "symptomatic_recurrence", "side").to_dict("records")
    return row["status"], row["loss_reason"]


def test_the_reason_given_by_hand_goes_before_the_one_from_the_log_from_its_day_on(
    client_of, practice, operated, reception
):
    operation = operated(430)
    tried(operation, 120, "did_not_attend")
    tried(operation, 100)
    assert lost(practice, operation) == ("lost", "did_not_attend")

    close(client_of(reception), operation, reason="no_reply")

    assert lost(practice, operation) == ("lost", "no_reply")
    assert lost(practice, operation, TODAY - timedelta(days=1)) == ("lost", "did_not_attend")


def test_closing_while_the_window_is_open_wants_a_tick(client_of, operated, reception):
    operation = operated(380, "Early")
    tried(operation, 3)
    client = client_of(reception)

    page = close(client, operation).content.decode()
    assert "The window is open until day 425. Tick to close it all the same" in page

    close(client, operation, early="on")
    assert names(client, "overdue") == []
    assert names(client, "outcome") == ["Early"]


def test_closing_before_the_window_opens_says_when_it_does(client_of, operated, reception):
    operation = operated(50)
    tried(operation, 3)

    page = close(client_of(reception), operation).content.decode()

    assert "The window opens on day 335 and closes on day 425. Tick to close it all the same" in page
    assert "Close although the window has not opened yet" in page
    assert not Closure.objects.exists()


def test_what_is_seen_after_closing_still_counts(client_of, practice, operated, reception):
    operation = operated(430)
    close(client_of(reception), operation, reason="never_tried")

    create_review(operation, day=400)

    assert lost(practice, operation) == ("clear", "not_applicable")


def test_opening_again_puts_it_back_on_the_list(client_of, operated, reception):
    operation = operated(380, "Again")
    client = client_of(reception)
    close(client, operation, reason="never_tried", early="on")
    assert names(client, "overdue") == []

    for _ in range(2):
        client.post(reverse("open-again", args=[Closure.objects.get().key]))

    assert names(client, "overdue") == ["Again"]
    assert Closure.objects.get().reopened_by == reception


def test_two_who_close_at_once_make_one_closure(client_of, operated, practice, reception):
    operation = operated(430)
    clients = [client_of(reception), client_of(create_member(practice, role="reception"))]
    url = reverse("close", args=[operation.key])
    onces = [client.get(url).context["form"]["once"].value() for client in clients]

    for client, once in zip(clients, onces, strict=True):
        client.post(url, {"once": once, "reason": "never_tried"})

    assert Closure.objects.count() == 1


def test_the_database_itself_keeps_one_open_closure(operated, reception):
    operation = operated(430)
    row = {"operation": operation, "reason": "no_reply", "closed_on": TODAY, "closed_by": reception, "closed_at": NOW}
    Closure.objects.create(**row)

    with pytest.raises(IntegrityError), transaction.atomic():
        Closure.objects.create(**row)
    with pytest.raises(IntegrityError), transaction.atomic():
        Closure.objects.update_or_create(operation=operated(431), defaults=row | {"reason": "fed_up"})


def test_nothing_heard_is_never_a_result(client_of, practice, operated, reception):
    """A closed side is lost; it is neither clear nor left out."""
    operation = operated(430)
    tried(operation, 100)
    close(client_of(reception), operation)
    day = operation.performed_on
    frames = cohort.build(practice, performed_from=day, performed_to=day, as_of=TODAY)

    (row,) = unit_frame(frames, "any_regrowth", "side").to_dict("records")

    assert row["status"] == "lost"


def test_a_try_that_raised_a_red_flag_is_not_taken_back(client_of, operated, reception):
    client = client_of(reception)
    page = client.post(reverse("contact", args=[operated(50).key]), CALL | {"reported": "unwell"}, follow=True)
    row = Contact.objects.get()

    client.post(reverse("contact-undo", args=[row.key]))

    row.refresh_from_db()
    assert row.struck_at is None
    assert row.operation.red_flags.still_open().exists()
    assert reverse("contact-undo", args=[row.key]) not in page.content.decode()
