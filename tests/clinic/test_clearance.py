"""Consent and flags beside an operation: compared, decided about, and in the way of the signature."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.once import new_token
from clinic.preparation.recording import decide_flag
from clinic.procedures.clearance import clearance_of
from clinic.procedures.models import AnaestheticDose, Operation, SignedRecord
from clinic.procedures.recording import decide_site
from clinic.procedures.signing import NotReady, sign
from clinic.procedures.site_decision import SiteDecision
from clinic.vocabulary.preparation import DecisionOutcome
from tests.clinic.operation_posts import errors, send
from tests.clinic.operation_posts import text as words
from tests.factories import NOON, add_toe, create_assessment, create_consent, create_operation, create_patient

pytestmark = pytest.mark.django_db
DAY = date(2026, 11, 25)
TIBIAL_FOR_FIBULAR = (
    "Consent says the right 1st toe (hallux), tibial (medial) side. "
    "The operation names the right 1st toe (hallux), fibular (lateral) side."
)


@pytest.fixture
def patient(practice):
    return create_patient(practice)


@pytest.fixture
def operation(patient, practitioner):
    """Of the fibular side of the right hallux, on the day of the test."""
    return create_operation(patient=patient, operator=practitioner, performed_on=DAY)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def confirmed(patient, **fields):
    consent = create_consent(patient, **fields)
    consent.reconfirmed_on, consent.reconfirmed_by = DAY, consent.discussed_by
    consent.save()
    return consent


def decided(operation, practitioner, fact=TIBIAL_FOR_FIBULAR, **changes):
    given = {"outcome": "agreed", "text": "Both agreed in the room.", "now": NOON, **changes}
    return decide_site(by=practitioner, nail=operation.nail_procedures.get(), fact=fact, **given)


def sites(operation):
    return clearance_of(Operation.objects.get(pk=operation.pk)).sites


# --- what is compared


def test_a_confirmed_consent_to_the_same_site_leaves_nothing(patient, operation):
    consent = confirmed(patient)
    create_assessment(patient)

    found = clearance_of(operation)

    assert found.sites[0].consent == consent
    assert found.is_settled


def test_a_missing_consent_is_a_gap_and_no_obstacle(operation):
    found = clearance_of(operation)

    assert found.obstacles() == []
    assert "Consent to the right 1st toe (hallux), fibular (lateral) side" in found.gaps()
    assert "No assessment before this day is recorded" in found.gaps()


def test_a_consent_not_confirmed_on_the_day_is_a_gap(patient, operation):
    create_consent(patient)

    gap = clearance_of(operation).gaps()[0]
    assert gap == "Confirmation of the consent to the right 1st toe (hallux), fibular (lateral) side on the day"


@pytest.mark.parametrize(
    "stated", [{"foot": "left"}, {"toe": 2}, {"part": "tibial"}, {"part": "both"}, {"part": "whole"}]
)
def test_another_foot_toe_or_side_is_an_obstacle(patient, operation, stated):
    confirmed(patient, **stated)

    (found,) = clearance_of(operation).obstacles()
    assert "Consent says the" in found
    assert "The operation names the right 1st toe (hallux), fibular (lateral) side." in found


def test_a_temporary_consent_to_an_operation_that_destroys_the_matrix_is_an_obstacle(patient, operation):
    confirmed(patient, intent="temporary")

    (found,) = clearance_of(operation).obstacles()
    assert "Consent is for a temporary operation. The technique destroys the matrix." in found


def test_a_consent_counts_for_one_operation(patient, operation):
    """The toe was operated on after the talk, so the later operation needs a consent of its own."""
    confirmed(patient, discussed_on=date(2025, 3, 1))
    create_operation(patient=patient, performed_on=date(2025, 3, 8))

    assert sites(operation)[0].is_missing


def test_the_earlier_operation_keeps_its_consent(patient, operation):
    consent = create_consent(patient, discussed_on=date(2025, 3, 1))
    earlier = create_operation(patient=patient, performed_on=date(2025, 3, 8))

    assert sites(earlier)[0].consent == consent


def test_each_toe_has_a_consent_of_its_own(patient, operation):
    confirmed(patient)
    confirmed(patient, foot="left", part="whole")
    add_toe(operation, sides=("whole",), technique="tna_chemical")

    assert [site.consent.foot for site in sites(operation)] == ["right", "left"]


def test_a_struck_out_consent_or_one_of_another_patient_does_not_count(patient, operation, practice):
    create_consent(create_patient(practice))
    struck = create_consent(patient)
    struck.strike(by=struck.discussed_by, now=NOON, reason="Wrong patient")

    assert sites(operation)[0].is_missing


# --- flags


def test_an_open_stop_is_an_obstacle_until_a_named_clinician_decides(patient, operation, practitioner):
    confirmed(patient)
    assessment = create_assessment(patient, inr="4.0", inr_on=date(2026, 11, 20))
    found = clearance_of(operation)
    assert found.obstacles() == ["Stop and discuss, without a decision: INR 4, above 3.5"]

    decide_flag(by=practitioner, assessment=assessment, flag=found.open_stops[0].flag,
                outcome=DecisionOutcome.PROCEED, text="Discussed with the clinic that doses it", now=NOON)  # fmt: skip

    assert clearance_of(operation).obstacles() == []


def test_a_decision_to_wait_settles_nothing(patient, operation, practitioner):
    assessment = create_assessment(patient, pregnancy="yes")
    flag = clearance_of(operation).open_stops[0].flag
    decide_flag(by=practitioner, assessment=assessment, flag=flag, outcome=DecisionOutcome.POSTPONE, text="x", now=NOON)

    assert len(clearance_of(operation).obstacles()) == 1


def test_a_stale_result_is_told_for_the_day_of_the_operation(patient, operation):
    create_assessment(patient, yes={"antithrombotic": ("warfarin",)}, inr="2.5", inr_on=date(2026, 11, 20))

    assert any("more than 72 hours old on 25 Nov 2026" in each for each in clearance_of(operation).obstacles())


def test_a_vasoconstrictor_in_the_dose_raises_its_stop(patient, operation):
    create_assessment(patient, yes={"condition": ("raynaud",)})
    assert clearance_of(operation).obstacles() == []

    AnaestheticDose.objects.create(
        operation=operation, agent="lidocaine", strength_percent="2", vasoconstrictor="adrenaline_200"
    )

    assert any("vasoconstrictor is planned" in each for each in clearance_of(operation).obstacles())


def test_a_caution_is_a_gap(patient, operation):
    create_assessment(patient, diabetes="type_2", foot_risk="low")

    assert any(gap.startswith("Acknowledgement of a caution: Diabetes") for gap in clearance_of(operation).gaps())


# --- deciding


def test_a_decision_settles_exactly_the_difference_it_names(patient, operation, practitioner):
    confirmed(patient, part="tibial")
    decided(operation, practitioner)
    assert clearance_of(operation).obstacles() == []

    confirmed(patient, part="whole", discussed_on=DAY).strike(by=practitioner, now=NOON, reason="x")
    assert clearance_of(operation).obstacles() == []

    nail = operation.nail_procedures.get()
    nail.treated_sides.create(side="tibial")
    assert len(sites(operation)[0].still_open) == 1


def test_a_decision_needs_a_reason_and_a_known_outcome(operation, practitioner):
    for wrong in ({"text": ""}, {"outcome": "whatever"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            decided(operation, practitioner, **wrong)


def test_after_signing_a_decision_is_a_late_entry(patient, operation, practitioner):
    sign(by=practitioner, operation=operation, version=operation.version, now=NOON, obstacles=[])
    confirmed(patient, part="tibial")

    decided(operation, practitioner)

    assert operation.amendments.get().kind == "late_entry"
    row = SiteDecision.objects.get()
    row.text = "Changed"
    with pytest.raises(SignedRecord):
        row.save()
    with pytest.raises(DatabaseError), transaction.atomic():
        SiteDecision.objects.filter(pk=row.pk).update(text="Changed")


def test_signing_looks_again_inside_its_lock(patient, operation, practitioner):
    confirmed(patient, part="tibial")

    with pytest.raises(NotReady, match="Consent says the right 1st toe"):
        sign(by=practitioner, operation=operation, version=operation.version, now=NOON, obstacles=[])


# --- pages


def decide(client, operation, **changes):
    nail = operation.nail_procedures.get()
    data = {"once": new_token(), "fact": TIBIAL_FOR_FIBULAR, "outcome": "miswritten", "text": "Slip of the pen"}
    return client.post(reverse("site-decide", args=[operation.key, nail.key]), data | changes)


def test_the_pages_say_what_differs_and_lead_to_the_decision(client_of, practitioner, patient, operation):
    confirmed(patient, part="tibial")
    address = reverse("site-decide", args=[operation.key, operation.nail_procedures.get().key])
    client = client_of(practitioner)

    for page in ("room", "operation"):
        shown = text(client.get(reverse(page, args=[operation.key])))
        assert TIBIAL_FOR_FIBULAR in shown
        assert address in shown
    assert TIBIAL_FOR_FIBULAR in text(client.get(address))


def test_deciding_on_its_page(client_of, practitioner, patient, operation):
    confirmed(patient, part="tibial")
    client, once = client_of(practitioner), new_token()

    for _ in range(2):
        assert decide(client, operation, once=once)["Location"] == reverse("room", args=[operation.key])

    row = SiteDecision.objects.get()
    assert (row.decided_by, row.outcome, row.text) == (practitioner, "miswritten", "Slip of the pen")
    assert "The consent was written down wrongly" in text(client.get(reverse("room", args=[operation.key])))


@pytest.mark.parametrize(
    ("changes", "said"),
    [({"outcome": ""}, "Choose what was decided"), ({"text": " "}, "Give the reason"),
     ({"fact": "Something else"}, "were changed meanwhile")],
)  # fmt: skip
def test_an_incomplete_decision_is_asked_again(client_of, practitioner, patient, operation, changes, said):
    confirmed(patient, part="tibial")

    response = decide(client_of(practitioner), operation, **changes)

    assert said in text(response)
    assert not SiteDecision.objects.exists()


def test_an_assistant_reads_it_and_does_not_decide(client_of, assistant, patient, operation):
    confirmed(patient, part="tibial")

    assert decide(client_of(assistant), operation).status_code == 403
    shown = text(client_of(assistant).get(reverse("room", args=[operation.key])))
    assert "A practitioner records what was decided" in shown


def test_a_toe_of_another_operation_does_not_exist(client_of, practitioner, practice, operation):
    other = create_operation(practice).nail_procedures.get()

    assert client_of(practitioner).get(reverse("site-decide", args=[operation.key, other.key])).status_code == 404


def test_where_nothing_differs_there_is_nothing_to_decide(client_of, practitioner, patient, operation):
    confirmed(patient)

    assert decide(client_of(practitioner), operation)["Location"] == reverse("operation", args=[operation.key])
    assert not SiteDecision.objects.exists()


def test_a_missing_consent_is_said_in_the_room(client_of, practitioner, operation):
    assert "No consent is on record" in text(client_of(practitioner).get(reverse("room", args=[operation.key])))


def test_the_statements_of_the_room_do_not_grow(client_of, practitioner, patient, operation):
    client = client_of(practitioner)

    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            client.get(reverse("room", args=[operation.key]))
        return len(captured)

    confirmed(patient)
    few = statements()
    for day in range(1, 11):
        create_consent(patient, discussed_on=DAY - timedelta(days=day))
        create_operation(patient=patient, performed_on=DAY - timedelta(days=100 * day))

    assert statements() == few


# --- at the entry


@pytest.fixture
def today():
    with time_machine.travel(datetime(2026, 11, 25, 9, 33, tzinfo=UTC), tick=False):
        yield


@pytest.mark.usefixtures("today")
def test_the_entry_shows_consents_and_flags(client_of, practitioner, patient):
    create_consent(patient)
    create_assessment(patient, pregnancy="yes")

    shown = text(client_of(practitioner).get(reverse("operation-new", args=[patient.key])))

    assert "Right 1st toe (hallux), fibular (lateral) side; talked about 20 Nov 2026" in shown
    assert "Pregnant. Possible problem" in shown


@pytest.mark.usefixtures("today")
def test_a_slip_at_the_entry_is_caught_before_anything_is_stored(client_of, practitioner, patient):
    create_consent(patient, part="tibial")

    response = send(client_of(practitioner), patient, practitioner)

    assert errors(response) == [
        f"{TIBIAL_FOR_FIBULAR} Change the answer, or choose what was decided",
        "Give the reason",
    ]
    assert "Possible problem: the wrong site. See local protocol." in words(response)
    assert not Operation.objects.exists()


@pytest.mark.usefixtures("today")
def test_what_was_decided_at_the_entry_is_not_asked_again(client_of, practitioner, patient):
    create_consent(patient, part="tibial")
    about = {"toe1_site_outcome": "agreed", "toe1_site_text": "Both agreed before the injection."}

    send(client_of(practitioner), patient, practitioner, **about)

    row = SiteDecision.objects.get()
    assert (row.fact, row.outcome, row.decided_by) == (TIBIAL_FOR_FIBULAR, "agreed", practitioner)
    assert clearance_of(Operation.objects.get()).obstacles() == []


@pytest.mark.usefixtures("today")
@pytest.mark.parametrize(
    "consented",
    [{}, {"foot": "left", "discussed_on": date(2026, 11, 26)}, {"foot": "left", "withdrawn": True}, None],
    ids=["the same", "given later", "withdrawn", "none"],
)
def test_nothing_is_asked_where_nothing_differs(client_of, practitioner, patient, consented):
    if consented is not None:
        withdrawn = consented.pop("withdrawn", False)
        consent = create_consent(patient, **consented)
        if withdrawn:
            consent.withdrawn_on, consent.withdrawn_by = DAY, practitioner
            consent.save()

    send(client_of(practitioner), patient, practitioner)

    assert Operation.objects.count() == 1
    assert not SiteDecision.objects.exists()


@pytest.mark.usefixtures("today")
def test_a_correction_asks_only_about_a_new_difference(client_of, practitioner, patient, operation):
    from tests.clinic.operation_posts import answers_for

    confirmed(patient, part="tibial")
    decided(operation, practitioner)
    client, address = client_of(practitioner), reverse("operation-amend", args=[operation.key])
    typed = answers_for(practitioner, reason="Note added", version=operation.version, visit_note="Seen")

    assert client.post(address, typed)["Location"] == reverse("operation", args=[operation.key])

    typed |= {"toe1-side": "whole", "toe1-technique": "tna_chemical", "version": 2}
    assert "The operation names the right 1st toe (hallux), whole nail" in words(client.post(address, typed))


def test_a_decision_stands_in_the_history_of_the_operation(client_of, practitioner, patient, operation):
    confirmed(patient, part="tibial")
    decided(operation, practitioner)

    shown = text(client_of(practitioner).get(reverse("operation", args=[operation.key])))

    assert shown.count("Both agreed in the room.") == 2
