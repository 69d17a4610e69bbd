"""Red flags through the acts that raise them: stored once, lapsed with their entry, answered in words, guarded."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from clinic.access.models import Conflict
from clinic.procedures.recording import strike_operation
from clinic.procedures.signing import NotReady, sign
from clinic.redflags.models import RedFlag, RedFlagSeen
from clinic.redflags.raising import answer_flag, keep_flags, note_seen
from clinic.redflags.reading import standing_of, unanswered, waiting
from clinic.redflags.rules import Raised
from clinic.redflags.watching import watch_contact, watch_operation, watch_review
from clinic.reviews.models import Contact
from clinic.reviews.recording import strike_review
from clinic.theatre import acts
from clinic.vocabulary.redflag import Alert
from tests.factories import NOON, create_limit, create_member, create_operation, create_patient, create_review

pytestmark = pytest.mark.django_db
DAY = date(2026, 11, 25)
DUSKY = Raised(Alert.ISCHAEMIA, "Right 1st toe (hallux): dusky", "toe1")
LONG = Raised(Alert.TOURNIQUET_LONG, "Right 1st toe (hallux): the tourniquet was on for 34 minutes")


@pytest.fixture
def operation(practice, practitioner):
    return create_operation(practice, operator=practitioner, performed_on=DAY)


def keep(operation, *found, now=NOON):
    return keep_flags(operation, found, origin="operation", by=operation.operator, now=now)


def answer(flag, by, **changes):
    given = {
        "action": "examined",
        "text": "Pink again after a minute.",
        "now": NOON,
        "version": flag.version,
        **changes,
    }
    answer_flag(by=by, flag=flag, **given)


def test_a_flag_is_kept_with_who_and_when_and_raised_once(operation, practitioner):
    assert len(keep(operation, DUSKY)) == 1
    assert keep(operation, DUSKY, LONG)[0].fact == LONG.fact

    flag = RedFlag.objects.get(alert="ischaemia")
    assert (flag.level, flag.raised_by, flag.raised_at, flag.toe_key) == ("red", practitioner, NOON, "toe1")
    assert RedFlag.objects.count() == 2


def test_a_corrected_entry_lets_its_flag_lapse_and_the_row_stays(operation):
    keep(operation, DUSKY)
    keep(operation, now=NOON + timedelta(minutes=5))

    flag = RedFlag.objects.get()
    assert flag.lapsed_at == NOON + timedelta(minutes=5)
    assert not flag.is_open
    assert flag.history.first().history_change_reason == "Not so any more: the entry was changed"


def test_what_is_so_again_is_raised_anew(operation):
    keep(operation, DUSKY)
    keep(operation)
    keep(operation, DUSKY)

    assert [flag.is_open for flag in RedFlag.objects.all()] == [False, True]


def test_an_answered_flag_stays_answered_while_its_entry_says_so(operation, practitioner):
    keep(operation, DUSKY)
    answer(RedFlag.objects.get(), practitioner)

    assert keep(operation, DUSKY) == []
    assert not RedFlag.objects.get().is_open


def test_two_people_answer_one_flag_and_the_second_is_told(operation, practitioner, lead):
    keep(operation, DUSKY)
    flag, same = RedFlag.objects.get(), RedFlag.objects.get()
    answer(flag, practitioner)

    with pytest.raises(Conflict):
        answer(same, lead)
    stored = RedFlag.objects.get()
    assert (stored.answered_by, stored.action_text) == (practitioner, "Pink again after a minute.")
    assert stored.history.filter(history_change_reason="Answered").get().history_user == practitioner


@pytest.mark.parametrize(
    "columns",
    [
        {"answered_at": NOON},
        {"answered_at": NOON, "action": "examined", "action_text": "x"},
        {"action": "examined"},
        {"level": "purple"},
        {"alert": "nonsense"},
        {"origin": "nowhere"},
        {"fact": ""},
    ],
)
def test_the_database_refuses_half_an_answer_and_unknown_codes(operation, columns):
    keep(operation, DUSKY)
    flag = RedFlag.objects.get()
    for name, value in columns.items():
        setattr(flag, name, value)

    with pytest.raises(IntegrityError), transaction.atomic():
        flag.save()


def test_the_database_refuses_an_answer_before_the_flag_and_a_second_open_one(operation, practitioner):
    keep(operation, DUSKY)
    flag = RedFlag.objects.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        answer(flag, practitioner, now=NOON - timedelta(seconds=1))
    flag = RedFlag.objects.get()
    flag.pk, flag.key = None, "another"
    with pytest.raises(IntegrityError), transaction.atomic():
        flag.save()


def test_who_saw_a_flag_is_kept_once_with_the_first_time(operation, practitioner, lead):
    flags = keep(operation, DUSKY)
    for minutes in (0, 5):
        note_seen(flags, by=practitioner, now=NOON + timedelta(minutes=minutes))
    note_seen(flags, by=lead, now=NOON)

    assert [(row.by, row.at) for row in RedFlagSeen.objects.filter(by=practitioner)] == [(practitioner, NOON)]
    assert RedFlagSeen.objects.count() == 2


# --- raised by what is saved


def watched(operation):
    return [flag.alert for flag in watch_operation(operation, by=operation.operator, now=NOON)]


def test_an_event_raises_its_flag_in_the_same_act(operation, practitioner):
    acts.add_event(by=practitioner, operation=operation, now=NOON, happened_on=DAY, kind="allergic_signs", harm="low")

    assert RedFlag.objects.get().alert == "anaphylaxis"


def test_a_dose_above_the_approved_limit_then_a_weight_that_allows_it(operation, practitioner):
    """2 % x 10 x 12 mL = 240 mg, above 200 mg whatever the weight; the limit is that of a product label."""
    create_limit(operation.practice, by=practitioner)
    acts.add_dose(by=practitioner, operation=operation, now=NOON, agent="lidocaine", strength_percent="2",
                  vasoconstrictor="none", volume_ml="12")  # fmt: skip

    flag = RedFlag.objects.get()
    assert (flag.alert, flag.level) == ("dose_above", "red")
    assert "240 mg" in flag.fact
    assert "200 mg" in flag.fact


def test_without_an_approved_limit_no_dose_is_judged(operation, practitioner):
    acts.add_dose(by=practitioner, operation=operation, now=NOON, agent="lidocaine", strength_percent="2",
                  vasoconstrictor="none", volume_ml="12")  # fmt: skip

    assert not RedFlag.objects.exists()


def test_the_end_of_an_operation(operation, practitioner):
    nail = operation.nail_procedures.get()
    nail.tourniquet, nail.block_result, nail.toe_colour = "ring", "effective", "dusky"
    nail.agent_batch, nail.agent_expires_on = "P-1", date(2026, 10, 31)
    nail.save()

    assert sorted(watched(operation)) == ["expired", "ischaemia", "tourniquet_left"]

    nail.tourniquet_on_at, nail.tourniquet_off_at = NOON, NOON + timedelta(minutes=9)
    nail.save()
    assert watched(operation) == []
    assert {flag.alert for flag in standing_of(operation).red} == {"expired", "ischaemia"}


def test_a_child_and_phenol_is_a_caution(operation):
    operation.age_years = 14
    operation.save()

    assert watched(operation) == ["agent_exposure"]
    assert [flag.level for flag in standing_of(operation).amber] == ["amber"]


def test_a_struck_out_operation_has_no_open_flags(operation, practitioner):
    keep(operation, DUSKY)

    strike_operation(by=practitioner, operation=operation, now=NOON, reason="Wrong patient")

    assert RedFlag.objects.get().lapsed_at == NOON


def reviewed(operation, day=14, **toe):
    review = create_review(operation, day=day, **toe)
    return review, [flag.alert for flag in watch_review(review, by=operation.operator, now=NOON)]


def test_findings_of_a_review(practice, practitioner):
    patient = create_patient(practice, diabetes="yes")
    operation = create_operation(patient=patient, operator=practitioner)

    review, raised = reviewed(operation, signs="some", diagnosis="superficial", erythema_mm=24, spreading="yes")

    assert sorted(raised) == ["cellulitis", "high_risk_foot"]
    assert {(flag.origin, flag.source_key) for flag in RedFlag.objects.all()} == {("review", review.key)}


def test_an_infection_that_lasts_counts_from_the_first_review_that_said_so(operation):
    infected = {"signs": "some", "diagnosis": "superficial"}
    assert reviewed(operation, 10, **infected)[1] == []
    assert reviewed(operation, 38, **infected)[1] == []
    assert reviewed(operation, 39, **infected)[1] == ["bone_infection"]


def test_a_review_of_another_toe_does_not_count_for_the_infection(practice, practitioner):
    other = create_operation(practice, operator=practitioner, performed_on=DAY, foot="left")
    reviewed(other, 1, signs="some", diagnosis="superficial")
    operation = create_operation(practice, operator=practitioner, performed_on=DAY)

    assert reviewed(operation, 39, signs="some", diagnosis="superficial")[1] == []


def test_a_struck_out_review_takes_its_flags_with_it(operation, practitioner):
    review, _ = reviewed(operation, dusky="yes")

    strike_review(by=practitioner, review=review, now=NOON, reason="Wrong toe")

    assert RedFlag.objects.get().lapsed_at == NOON


def test_what_is_told_on_the_phone(operation, reception):
    contact = Contact(operation=operation, made_on=DAY + timedelta(days=2), channel="phone", result="problem",
                      reported="dark_or_numb", recorded_by=reception, recorded_at=NOON)  # fmt: skip
    contact.keep(by=reception)

    (flag,) = watch_contact(contact, by=reception, now=NOON)

    assert (flag.alert, flag.origin, flag.raised_by) == ("ischaemia", "contact", reception)
    assert flag.fact == "Told on day 2: toe dark, white, cold or still numb"


# --- what they stand in the way of, and where they wait


def test_an_unanswered_flag_of_the_operation_blocks_its_signature(operation, practitioner):
    keep(operation, DUSKY)

    with pytest.raises(NotReady, match="Red flag without an answer"):
        sign(by=practitioner, operation=operation, version=operation.version, now=NOON, obstacles=[])

    answer(RedFlag.objects.get(), practitioner)
    sign(by=practitioner, operation=operation, version=operation.version, now=NOON, obstacles=[])
    operation.refresh_from_db()
    assert operation.signed_at == NOON


def test_a_caution_or_a_flag_of_a_review_blocks_no_signature(operation, practitioner):
    keep(operation, Raised(Alert.AGENT_EXPOSURE, "Phenol for 200 s"))
    keep_flags(operation, [DUSKY], origin="review", source_key="r1", by=practitioner, now=NOON)

    assert unanswered(operation) == []


def test_today_holds_open_red_flags_of_the_own_practice_oldest_first(operation, practitioner, other_practice):
    keep(operation, LONG, now=NOON)
    keep(operation, LONG, DUSKY, Raised(Alert.DOSE_NEAR, "x"), now=NOON + timedelta(minutes=1))
    keep(create_operation(other_practice), DUSKY)

    assert [flag.fact for flag in waiting(practitioner)] == [LONG.fact, DUSKY.fact]

    answer(RedFlag.objects.get(alert="tourniquet_long"), practitioner)
    assert [flag.fact for flag in waiting(practitioner)] == [DUSKY.fact]


def test_the_statements_of_a_look_do_not_grow(operation, practitioner):
    def statements(act) -> int:
        with CaptureQueriesContext(connection) as captured:
            act()
        return len(captured)

    keep(operation, DUSKY)
    few = statements(lambda: (standing_of(operation), waiting(practitioner)))
    look = statements(lambda: watch_operation(operation, by=practitioner, now=NOON))
    member = create_member(operation.practice)
    for number in range(20):
        flags = keep_flags(operation, [Raised(Alert.EXPIRED, f"Batch {number}")], origin="review",
                           source_key=f"r{number}", by=practitioner, now=NOON)  # fmt: skip
        note_seen(flags, by=member, now=NOON)
        create_review(operation, day=number)

    assert statements(lambda: (standing_of(operation), waiting(practitioner))) <= few + 2  # nobody had seen any before
    assert statements(lambda: watch_operation(operation, by=practitioner, now=NOON)) <= look
