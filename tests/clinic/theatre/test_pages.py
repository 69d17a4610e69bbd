"""The running operation through its pages: taps, checklist, the end, the signature, the note, and Today."""

import re
from datetime import UTC, date, datetime, timedelta

import pypdfium2 as pdfium
import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.models import random_key
from clinic.procedures.models import NailProcedure, Operation, OperationEvent
from clinic.theatre.models import ChecklistPhase, Mark
from clinic.vocabulary.theatre import CHECK_ITEMS, Phase
from tests.factories import create_member, create_operation

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def operation(practice, practitioner, clock):
    return create_operation(practice, operator=practitioner, performed_on=date(2026, 11, 25), seconds=())


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def tap(client, operation, kind, *, nail=None, side=None, ago_ms=0, accept="application/json", **more):
    data = {"kind": kind, "tap": random_key() * 2, "ago_ms": ago_ms}
    data |= {"nail": nail.key if nail else "", "side": side.key if side else ""} | more
    return client.post(reverse("tap", args=[operation.key]), data, headers={"Accept": accept})


def end_data(operation, **changes) -> dict:
    nail = operation.nail_procedures.get()
    toe = {
        "tourniquet": "ring", "on_at": "10:00", "off_at": "10:09", "witnessed": "yes", "removal_seen_by": "TM",
        "toe_colour": "pink", "capillary_refill_seconds": "2", "block_result": "effective", "agent_batch": "P-1",
        "agent_expires_on": "2027-05-01", "skin_protected": "yes", "dry_field": "yes", "lavage_ml": "15",
        "haemostasis": "pressure", "histology_sent": "no",
    }  # fmt: skip
    end = {"dressing": "alginate", "outer_dressing": "tubular", "aftercare": "both", "weight_kg": "64,5"}
    data = {"version": operation.version}
    for name, value in (toe | end | changes).items():
        prefix = "end" if name in end else "confirm" if name.startswith("confirm") else f"toe{nail.key}"
        data[f"{prefix}-{name}"] = value
    return data


def close(client, operation, **changes):
    stored = Operation.objects.get(pk=operation.pk)
    return client.post(reverse("closing", args=[operation.key]), end_data(stored, **changes))


def test_a_tap_is_acknowledged_after_it_is_stored(client, operation):
    nail = operation.nail_procedures.get()

    response = tap(client, operation, "tourniquet_on", nail=nail)

    assert response.json() == {"said": "Tourniquet on 10:00:00."}
    assert Mark.objects.get().at == NOW


def test_a_tap_without_script_leads_back_to_the_room(client, operation):
    response = tap(client, operation, "injected", accept="text/html")

    assert response["Location"] == reverse("room", args=[operation.key])
    assert "Injected 10:00:00." in text(client.get(response["Location"]))


def test_a_tap_that_waited_says_how_long_whatever_the_clock_of_the_tablet(client, operation):
    tap(client, operation, "injected", ago_ms=90_000)

    mark = Mark.objects.get()
    assert (mark.at, mark.received_at) == (NOW - timedelta(seconds=90), NOW)
    assert "sent 10:00:00" in text(client.get(reverse("room", args=[operation.key])))


@pytest.mark.parametrize(
    "changes", [{"kind": "nonsense"}, {"tap": "short"}, {"ago_ms": "-5"}, {"ago_ms": str(10**12)}, {"nail": "../x"}]
)
def test_an_odd_tap_is_refused(client, operation, changes):
    data = {"kind": "injected", "tap": random_key() * 2, "ago_ms": "0"} | changes

    response = client.post(reverse("tap", args=[operation.key]), data, headers={"Accept": "application/json"})

    assert response.status_code == 400
    assert not Mark.objects.exists()


def test_a_toe_or_side_of_another_operation_does_not_exist(client, operation, practice):
    other = create_operation(practice).nail_procedures.get()

    assert tap(client, operation, "tourniquet_on", nail=other).status_code == 404
    assert tap(client, operation, "application_start", side=other.treated_sides.get()).status_code == 404
    assert tap(client, operation, "tourniquet_on").status_code == 404


def test_a_contradicting_tap_says_why(client, operation):
    response = tap(client, operation, "tourniquet_off", nail=operation.nail_procedures.get())

    assert response.status_code == 409
    assert response.json() == {"said": "“Tourniquet on” was not tapped before."}


def test_reception_may_not_tap_and_an_assistant_may(client_of, reception, assistant, operation):
    assert tap(client_of(reception), operation, "injected").status_code == 403
    assert tap(client_of(assistant), operation, "injected").status_code == 200


def test_a_time_is_corrected_and_taken_back_with_a_reason(client, operation):
    tap(client, operation, "injected")
    mark = Mark.objects.get()
    url = reverse("mark", args=[mark.key])

    refused = client.post(url, {"version": 1, "on": "2026-11-25", "at": "09:58:30"})
    assert "Give the reason for the correction" in text(refused)
    client.post(url, {"version": 1, "on": "2026-11-25", "at": "09:58:30", "reason": "Tapped late"})
    mark.refresh_from_db()
    assert mark.at == NOW - timedelta(seconds=90)
    stale = client.post(url, {"version": 1, "reason": "x", "do": "take_back"})
    assert stale.status_code == 409
    client.post(url, {"version": 2, "reason": "Not this patient", "do": "take_back"})

    mark.refresh_from_db()
    assert mark.taken_back_at is not None
    assert "taken back" in text(client.get(reverse("room", args=[operation.key])))


# --- the checklist


def phase_data(phase: Phase, **changes) -> dict:
    answers = {item.code: "yes" for item in CHECK_ITEMS if item.phase == phase}
    return answers | {"version": 0, "second_initials": "TM", "note": ""} | changes


def go_through(client, operation, phase: Phase, **changes):
    return client.post(reverse("checklist", args=[operation.key, phase.value]), phase_data(phase, **changes))


@pytest.mark.parametrize(
    ("phase", "kind"), [(Phase.BEFORE_ANAESTHESIA, "injected"), (Phase.BEFORE_INCISION, "application_start")]
)
def test_a_phase_gone_through_too_late_says_so(client, operation, practice, phase, kind):
    side = operation.nail_procedures.get().treated_sides.get() if "application" in kind else None
    tap(client, operation, kind, side=side)

    go_through(client, operation, phase)

    assert ChecklistPhase.objects.get().timing == "afterwards"
    assert "Completed afterwards" in text(client.get(reverse("room", args=[operation.key])))


def test_a_phase_in_time_is_live_and_on_another_day_it_is_not(client, client_of, practitioner, operation, clock):
    go_through(client, operation, Phase.BEFORE_ANAESTHESIA)
    clock.shift(timedelta(days=1))
    go_through(client_of(practitioner), operation, Phase.BEFORE_INCISION)

    assert dict(ChecklistPhase.objects.values_list("phase", "timing")) == {
        "before_anaesthesia": "live", "before_incision": "afterwards",
    }  # fmt: skip


def test_nothing_of_the_checklist_is_ticked_beforehand(client, operation):
    page = client.get(reverse("checklist", args=[operation.key, "before_leaving"])).content.decode()

    assert not re.findall(r"<input[^>]+type=\"radio\"[^>]+checked", page)


def test_a_no_needs_a_note_and_a_missing_line_is_named(client, operation):
    page = text(go_through(client, operation, Phase.BEFORE_ANAESTHESIA, allergies="no"))
    assert "Say what was not so and what was done about it" in page
    page = text(go_through(client, operation, Phase.BEFORE_ANAESTHESIA, allergies="", second_initials=""))
    assert "Answer “Allergies read aloud”" in page
    assert "Enter the initials of the second person" in page
    assert not ChecklistPhase.objects.exists()


def test_two_people_completing_one_phase_see_each_other(client, operation):
    go_through(client, operation, Phase.BEFORE_LEAVING)

    second = go_through(client, operation, Phase.BEFORE_LEAVING, second_initials="XX")

    assert second.status_code == 409
    assert ChecklistPhase.objects.get().second_initials == "TM"


# --- the end


def test_the_end_is_stored_with_its_times(client, operation):
    assert close(client, operation)["Location"] == reverse("sign", args=[operation.key])

    nail, stored = NailProcedure.objects.get(operation=operation), Operation.objects.get(pk=operation.pk)
    assert nail.tourniquet_off_at - nail.tourniquet_on_at == timedelta(minutes=9)
    assert (nail.tourniquet_removal_witnessed, nail.removal_seen_by, nail.toe_colour) == ("yes", "TM", "pink")
    assert (stored.dressing, stored.aftercare, float(stored.weight_kg)) == ("alginate", "both", 64.5)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"off_at": "09:59"}, "Tourniquet off must be after on (10:00)"),
        ({"on_at": ""}, "Enter when the tourniquet was put on"),
        ({"witnessed": ""}, "Choose whether two people saw the tourniquet off"),
        ({"removal_seen_by": ""}, "Enter who else saw it off; alone, write “patient” or “carer”"),
        ({"toe_colour": ""}, "Choose the colour of the toe after the tourniquet was off"),
        ({"tourniquet": "none"}, "Times of a tourniquet are on record, but “None used” is chosen"),
        ({"tourniquet": ""}, "Choose the tourniquet, or “None used”"),
        ({"capillary_refill_seconds": "45"}, "Capillary refill must be between 0 and 30 s"),
        ({"lavage_ml": "150"}, "Amount of lavage must be between 0 and 100 mL"),
        ({"weight_kg": "645"}, "Weight must be between 5 and 300 kg"),
        ({"dressing": ""}, "Choose the dressing"),
    ],
)
def test_what_cannot_be_is_refused_at_the_field(client, operation, changes, sentence):
    response = close(client, operation, **changes)

    assert sentence in text(response)
    assert NailProcedure.objects.get(operation=operation).tourniquet == "not_recorded"


def test_71_minutes_of_tourniquet_are_saved_after_a_tick_and_a_reason(client, operation):
    first = text(close(client, operation, off_at="11:11"))
    assert "the tourniquet was on for 71 minutes" in first
    assert not NailProcedure.objects.get(operation=operation).tourniquet_on_at

    close(client, operation, off_at="11:11", confirmed="on", confirm_reason="Bleeding after release")

    nail = NailProcedure.objects.get(operation=operation)
    assert nail.tourniquet_off_at - nail.tourniquet_on_at == timedelta(minutes=71)
    assert nail.history.latest("history_id").history_change_reason == "Bleeding after release"


def test_a_tourniquet_typed_across_midnight(client, operation):
    close(client, operation, on_at="23:52", off_at="00:04")

    nail = NailProcedure.objects.get(operation=operation)
    assert nail.tourniquet_off_at - nail.tourniquet_on_at == timedelta(minutes=12)


def test_an_expired_batch_of_the_agent_asks(client, operation):
    page = text(close(client, operation, agent_expires_on="2026-08-31"))

    assert "this batch of the agent expired in August 2026" in page


# --- the signature


def sign_page(client, operation, **changes):
    """Signs what the page shows."""
    url = reverse("sign", args=[operation.key])
    found = re.search(r'name="stamp" value="([^"]*)"', client.get(url).content.decode())
    version = Operation.objects.get(pk=operation.pk).version
    data = {"version": version, "stamp": found[1] if found else "", "read": "on", "seen_gaps": "on"} | changes
    return client.post(url, data)


def test_no_signature_while_the_tourniquet_is_on(client, operation):
    tap(client, operation, "tourniquet_on", nail=operation.nail_procedures.get())
    close(client, operation)

    page = text(sign_page(client, operation))

    assert "the tourniquet has no time off" in page
    assert Operation.objects.get(pk=operation.pk).signed_at is None


def test_no_signature_while_an_application_runs(client, operation):
    tap(client, operation, "application_start", side=operation.nail_procedures.get().treated_sides.get())
    close(client, operation)

    assert "An application is still running" in text(sign_page(client, operation))


def test_signing_seals_and_leads_to_the_note(client, operation):
    close(client, operation)

    missing = client.get(reverse("sign", args=[operation.key]))
    assert "Exposure of the fibular (lateral) side" in text(missing)
    assert "Tick that you sign with these things not recorded" in text(sign_page(client, operation, seen_gaps=""))
    response = sign_page(client, operation)

    assert response["Location"] == reverse("operation-note", args=[operation.key])
    assert tap(client, operation, "injected").status_code == 409
    note = text(client.get(response["Location"]))
    assert "10:00 to 10:09 (9 min)" in note
    assert "exposure not recorded" in note


def test_somebody_else_cannot_sign(client_of, practice, operation):
    other = client_of(create_member(practice, username="other"))

    assert "Only the operator" in text(sign_page(other, operation))
    assert Operation.objects.get(pk=operation.pk).signed_at is None


def test_after_signing_the_end_is_an_amendment(client, operation):
    close(client, operation)
    sign_page(client, operation)

    close(client, operation, lavage_ml="20")

    assert NailProcedure.objects.get(operation=operation).lavage_ml == 20
    assert operation.amendments.count() == 1
    assert "Amendment 1" in text(client.get(reverse("operation-note", args=[operation.key])))


def test_an_event_after_signing_is_a_late_entry(client, operation):
    close(client, operation)
    sign_page(client, operation)
    page = client.get(reverse("event-add", args=[operation.key])).content.decode()
    once = page.split('name="once" value="')[1].split('"')[0]
    data = {"once": once, "kind": "skin_burn", "harm": "low", "note": "Seen at home"}

    for _ in range(2):
        client.post(reverse("event-add", args=[operation.key]), data)

    assert OperationEvent.objects.get().note == "Seen at home"
    assert [row.kind for row in operation.amendments.all()] == ["late_entry"]


def test_the_note_as_pdf_is_one_tagged_page_and_the_same_bytes_each_time(client, operation):
    close(client, operation)
    sign_page(client, operation)
    url = reverse("operation-note-pdf", args=[operation.key])

    first, second = client.get(url), client.get(url)

    assert first["Content-Type"] == "application/pdf"
    assert first.content == second.content
    paper = pdfium.PdfDocument(first.content)
    assert (len(paper), paper.is_tagged()) == (1, True)
    words = paper[0].get_textpage().get_text_range()
    assert "10:00 to 10:09 (9 min)" in words
    assert str(operation.operator) in words


# --- Today


def test_today_shows_what_is_left_tourniquets_first(client, client_of, lead, practice, practitioner, operation):
    other = create_operation(practice, operator=practitioner, performed_on=date(2026, 11, 24))
    tap(client, operation, "tourniquet_on", nail=operation.nail_procedures.get())

    rows = client.get(reverse("today")).context["lists"].unfinished

    assert [(row.operation, row.words) for row in rows] == [
        (operation, "Tourniquet: removal not on record"), (other, "Not signed"),
    ]  # fmt: skip
    theirs = client_of(lead).get(reverse("today")).context["lists"].unfinished
    assert theirs[1].words == f"Not signed by {practitioner}"


def test_a_supervisor_and_the_lead_are_asked(client, client_of, lead, practice, operation):
    operation.supervisor = lead
    operation.save()
    close(client, operation)
    sign_page(client, operation)
    by_lead = client_of(lead)

    row = by_lead.get(reverse("today")).context["lists"].unfinished[0]
    assert row.words == "Waits for your signature as supervisor"
    by_lead.post(reverse("cosign", args=[operation.key]))
    assert by_lead.get(reverse("today")).context["lists"].unfinished == []

    operation.amendments.create(
        number=2, kind="amendment", by=lead, opened_at=NOW, closed_at=NOW, reason="x", site_changed=True
    )
    row = by_lead.get(reverse("today")).context["lists"].unfinished[0]
    assert row.words == "Foot, toe or side changed after signing"
    by_lead.post(reverse("amendment-seen", args=[operation.key, 2]))
    assert by_lead.get(reverse("today")).context["lists"].unfinished == []


@pytest.mark.parametrize(("name", "budget"), [("room", 24), ("closing", 13), ("sign", 28), ("operation-note", 24)])
def test_statements_do_not_grow_with_rows(client, operation, name, budget):
    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get(reverse(name, args=[operation.key])).status_code == 200
        return len(captured)

    tap(client, operation, "injected")
    few = statements()
    for _ in range(12):
        tap(client, operation, "injected")
        OperationEvent.objects.create(operation=operation, kind="vasovagal", harm="none", happened_on=NOW.date())

    assert statements() == few <= budget
