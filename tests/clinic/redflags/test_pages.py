"""Red flags on pages: where saving leads, what must be written down, who may, the log, Today."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.urls import reverse

from clinic.access.once import new_token
from clinic.redflags.models import RedFlag, RedFlagSeen
from clinic.redflags.raising import keep_flags
from clinic.redflags.rules import Raised
from clinic.reviews.models import Contact
from clinic.vocabulary.redflag import Alert
from tests.factories import NOON, create_operation, create_patient

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 14, 0, tzinfo=UTC)
DUSKY = Raised(Alert.ISCHAEMIA, "Right 1st toe (hallux): dusky or blue after the operation")


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def operation(practice, practitioner):
    patient = create_patient(practice, family_name="Sample", given_name="Ada")
    return create_operation(patient=patient, operator=practitioner, performed_on=date(2026, 11, 25))


@pytest.fixture
def flag(operation):
    return keep_flags(operation, [DUSKY], origin="operation", by=operation.operator, now=NOON)[0]


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def page(operation, **query):
    address = reverse("red-flags", args=[operation.key])
    return f"{address}?next={query['next']}" if query else address


def answer(client, flag, **changes):
    data = {"flag": flag.key, "version": flag.version, "action": "examined", "text": "Pink again.", **changes}
    return client.post(page(flag.operation), data)


def add_event(client, operation, kind):
    data = {"once": new_token(), "kind": kind, "harm": "low", "note": "Seen"}
    return client.post(reverse("event-add", args=[operation.key]), data)


def test_saving_what_raises_a_red_flag_leads_to_it_and_from_there_on(client, operation):
    room = reverse("room", args=[operation.key])

    response = add_event(client, operation, "toxicity_signs")

    assert response["Location"].startswith(page(operation))
    shown = text(client.get(response["Location"]))
    assert "systemic toxicity of the local anaesthetic; it can come late" in shown
    assert "See local protocol; a licensed clinician decides." in shown
    assert f'name="next" value="{room}"' in shown
    assert ">Go on<" not in shown

    assert answer(client, RedFlag.objects.get(), next=room)["Location"] == room


def test_an_event_that_raises_none_leads_to_the_room(client, operation):
    assert add_event(client, operation, "vasovagal")["Location"] == reverse("room", args=[operation.key])


def test_several_flags_are_answered_one_after_the_other(client, operation, flag):
    second = Raised(Alert.TOURNIQUET_LONG, "on for 40 minutes")
    keep_flags(operation, [DUSKY, second], origin="operation", by=operation.operator, now=NOON)

    assert answer(client, flag)["Location"] == page(operation)
    last = RedFlag.objects.get(alert="tourniquet_long")
    assert answer(client, last)["Location"] == reverse("operation", args=[operation.key])


@pytest.mark.parametrize(
    ("changes", "said"), [({"action": ""}, "Choose what was done"), ({"text": ""}, "Say in words what was done")]
)
def test_an_answer_needs_both_what_and_words(client, flag, changes, said):
    response = answer(client, flag, **changes)

    assert said in text(response)
    assert RedFlag.objects.get().is_open


def test_an_answer_against_an_older_version_is_told(client, flag):
    assert answer(client, flag, version=7)["Location"] == page(flag.operation)
    assert RedFlag.objects.get().is_open


def test_an_answered_flag_is_not_answered_again(client, flag):
    answer(client, flag)

    answer(client, flag, text="Otherwise")

    assert RedFlag.objects.get().action_text == "Pink again."


def test_a_flag_of_another_operation_does_not_exist(client, practice, flag):
    other = create_operation(practice)

    data = {"flag": flag.key, "version": 1, "action": "examined", "text": "x"}
    assert client.post(page(other), data).status_code == 404


@pytest.mark.parametrize("wanted", ["https://elsewhere.example.org/", "//elsewhere.example.org/", "javascript:x"])
def test_nobody_is_led_elsewhere(client, flag, wanted):
    assert answer(client, flag, next=wanted)["Location"] == reverse("operation", args=[flag.operation.key])


def test_the_log_says_who_saw_it_and_what_they_did(client, client_of, lead, flag):
    client_of(lead).get(page(flag.operation))
    answer(client, flag)

    shown = text(client.get(page(flag.operation)))

    assert "Looked at the patient again" in shown
    assert "Pink again." in shown
    assert str(lead) in shown
    assert RedFlagSeen.objects.get(by=lead).at == NOW


def test_the_banner_stands_on_room_operation_toe_and_signature_and_notes_who_saw_it(client, operation, flag):
    toe = operation.nail_procedures.get()
    for address in (
        reverse("room", args=[operation.key]),
        reverse("operation", args=[operation.key]),
        reverse("sign", args=[operation.key]),
        reverse("toe", args=[toe.key]),
    ):
        assert DUSKY.fact in text(client.get(address)), address
    assert RedFlagSeen.objects.count() == 1


def test_a_caution_is_a_banner_that_asks_for_nothing(client, operation):
    keep_flags(operation, [Raised(Alert.AGENT_EXPOSURE, "Phenol for 200 s")], origin="review", source_key="r1",
               by=operation.operator, now=NOON)  # fmt: skip

    assert add_event(client, operation, "vasovagal")["Location"] == reverse("room", args=[operation.key])
    shown = text(client.get(reverse("room", args=[operation.key])))
    assert "Phenol for 200 s. Possible problem: more of the agent than usual may be taken up." in shown
    assert ">Go on<" in text(client.get(page(operation)))


def test_today_begins_with_what_waits_until_it_is_answered(client, flag):
    shown = text(client.get(reverse("today")))
    assert "One red flag waits" in shown
    assert shown.index(DUSKY.fact) < shown.index("Booked today")

    answer(client, flag)

    assert "red flag waits" not in text(client.get(reverse("today")))


def test_reception_logs_what_is_told_and_a_clinician_answers_it(client_of, reception, client, operation):
    data = {"once": new_token(), "channel": "phone", "result": "problem", "reported": "dark_or_numb", "note": "Numb"}

    response = client_of(reception).post(reverse("contact", args=[operation.key]), data, follow=True)

    assert response.redirect_chain[-1][0] == reverse("today")
    assert "This is a red flag." in text(response)
    assert "red flag waits" not in text(response)  # clinical findings are not for reception
    assert client_of(reception).get(page(operation)).status_code == 403
    assert "Told on day 0: toe dark, white, cold or still numb" in text(client.get(reverse("today")))


def test_a_reported_problem_must_be_asked_about(client, operation):
    data = {"once": new_token(), "channel": "phone", "result": "problem"}

    response = client.post(reverse("contact", args=[operation.key]), data)

    assert "Choose what the patient reports" in text(response)
    assert not Contact.objects.exists()


def test_other_contacts_say_that_nobody_asked(client, operation):
    client.post(
        reverse("contact", args=[operation.key]), {"once": new_token(), "channel": "phone", "result": "no_answer"}
    )

    assert Contact.objects.get().reported == "not_asked"
    assert not RedFlag.objects.exists()


def test_a_flag_of_another_practice_stays_there(client_of, colleague_elsewhere, flag):
    client = client_of(colleague_elsewhere)

    assert client.get(page(flag.operation)).status_code == 404
    assert "red flag waits" not in text(client.get(reverse("today")))


def test_a_struck_out_operation_has_no_page_of_flags(client, operation, flag):
    operation.struck_at = NOON + timedelta(hours=1)
    operation.save()

    assert client.get(page(operation)).status_code == 404
