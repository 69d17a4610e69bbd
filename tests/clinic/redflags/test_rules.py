"""Every rule of the table of red flags: the fact that raises it, the border where it does not, and its words."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from clinic.redflags.facts import FindingFacts, OperationFacts, ToeFacts
from clinic.redflags.rules import of_contact, of_finding, of_operation
from clinic.vocabulary.redflag import Alert, AlertLevel, Reported

NINE = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
# Words of treatment or instruction that no flag may hold; the list is ours.
ADVICE = ("stop ", "call ", "give ", "remove", "inspect", "refer", "antibiotic", "lipid", "dose of", "should", "must ")


def toe(**changes):
    return ToeFacts(key="toe1", place="Right 1st toe (hallux)", **changes)


def raised_by(*toes, **changes):
    return [(flag.alert, flag.fact) for flag in of_operation(OperationFacts(toes=toes, **changes))]


def on_for(minutes):
    return {"tourniquet_used": True, "tourniquet_on_at": NINE, "tourniquet_off_at": NINE + timedelta(minutes=minutes)}


def found(day=14, healing="moist", *, risks=(), infected=False, since=None, told=False, yellow=False, **values):
    facts = FindingFacts(
        key="toe1", place="Right 1st toe (hallux)", day=day, healing=healing, values=values, infected=infected,
        infected_since_day=since, risks=risks, is_told=told, told_yellow=yellow,
    )  # fmt: skip
    return [(flag.alert, flag.fact.removeprefix("Right 1st toe (hallux): ")) for flag in of_finding(facts)]


# --- the operation


def test_a_quiet_operation_raises_nothing():
    quiet = toe(**on_for(9), is_closed=True, toe_colour="pink", capillary_refill_seconds=Decimal(2), agent="phenol",
                exposures=(90, 90))  # fmt: skip

    assert raised_by(quiet, age_years=34, dose_share=Fraction(1, 2), risks=("diabetes",)) == []


def test_a_tourniquet_without_time_off_once_the_end_is_written_down():
    assert raised_by(toe(tourniquet_used=True)) == []
    assert raised_by(toe(tourniquet_used=True, is_closed=True)) == [
        (Alert.TOURNIQUET_LEFT, "Right 1st toe (hallux): the tourniquet has no time off")
    ]


@pytest.mark.parametrize(("minutes", "raised"), [(30, False), (31, True), (71, True)])
def test_more_than_30_minutes_of_tourniquet(minutes, raised):
    assert bool(raised_by(toe(**on_for(minutes)))) == raised


def test_a_second_beyond_the_practice_s_limit_is_beyond_it():
    long = {**on_for(20), "tourniquet_off_at": NINE + timedelta(minutes=20, seconds=1)}

    assert raised_by(toe(**long), long_tourniquet_minutes=20) == [
        (Alert.TOURNIQUET_LONG, "Right 1st toe (hallux): the tourniquet was on for more than 20 minutes")
    ]
    assert raised_by(toe(**on_for(20)), long_tourniquet_minutes=20) == []


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(25, ""), (25.5, "for more than 25 minutes"), (26, "for 26 minutes, more than 25")],
)
def test_the_practice_sets_from_where_a_tourniquet_is_too_long(minutes, said):
    flags = raised_by(toe(**on_for(minutes)), long_tourniquet_minutes=25)

    assert [fact.partition("was on ")[2] for _, fact in flags] == ([said] if said else [])


@pytest.mark.parametrize(
    ("colour", "raised"), [("pink", False), ("pale", True), ("dusky", True), ("not_recorded", False)]
)
def test_the_colour_of_the_toe(colour, raised):
    assert [alert for alert, _ in raised_by(toe(toe_colour=colour))] == [Alert.ISCHAEMIA] * raised


@pytest.mark.parametrize(("seconds", "raised"), [("3", False), ("3.1", True), (None, False)])
def test_capillary_refill_above_three_seconds(seconds, raised):
    refill = None if seconds is None else Decimal(seconds)
    assert bool(raised_by(toe(capillary_refill_seconds=refill))) == raised


@pytest.mark.parametrize(
    ("line", "alert"),
    [("blood_flow", Alert.ISCHAEMIA), ("dressing", Alert.ISCHAEMIA), ("tourniquet_off", Alert.TOURNIQUET_LEFT)],
)
def test_a_line_of_the_last_check_answered_no(line, alert):
    assert [each for each, _ in raised_by(not_so=frozenset({line}))] == [alert]
    assert raised_by(not_so=frozenset({"aftercare"})) == []


@pytest.mark.parametrize(
    ("share", "alert"),
    [(None, None), (Fraction(80, 100), None), (Fraction(801, 1000), Alert.DOSE_NEAR), (Fraction(1), Alert.DOSE_NEAR),
     (Fraction(111, 100), Alert.DOSE_ABOVE)],
)  # fmt: skip
def test_shares_of_the_approved_limit(share, alert):
    assert [each for each, _ in raised_by(dose_share=share, dose_words="160 mg; 111 % of 144 mg")] == [alert] * bool(
        alert
    )


@pytest.mark.parametrize(
    ("kind", "alert"),
    [("toxicity_signs", Alert.ANAESTHETIC_TOXICITY), ("allergic_signs", Alert.ANAPHYLAXIS),
     ("agent_spill", Alert.AGENT_TOXICITY), ("agent_signs", Alert.AGENT_TOXICITY), ("vasovagal", None)],
)  # fmt: skip
def test_events_in_the_room(kind, alert):
    assert [each for each, _ in raised_by(events=(kind,))] == [alert] * bool(alert)


@pytest.mark.parametrize(("seconds", "raised"), [((180,), False), ((181,), True), ((90, 200), True), ((), False)])
def test_phenol_above_the_practice_s_note(seconds, raised):
    assert bool(raised_by(toe(agent="phenol", exposures=seconds))) == raised
    assert raised_by(toe(agent="sodium_hydroxide", exposures=seconds)) == []


def test_phenol_at_two_large_nails_of_one_day_or_at_a_child():
    large = {"agent": "phenol", "whole_nail": True}
    both = raised_by(toe(**large), ToeFacts(key="toe2", place="Left 1st toe (hallux)", **large))
    assert [alert for alert, _ in both] == [Alert.AGENT_EXPOSURE]
    assert raised_by(toe(**large), toe(agent="phenol", whole_nail=True, **{"toe": 2})) == []
    assert [alert for alert, _ in raised_by(toe(agent="phenol"), age_years=15)] == [Alert.AGENT_EXPOSURE]
    assert raised_by(toe(agent="phenol"), age_years=16) == []


def test_an_expired_batch_of_either():
    assert raised_by(toe(agent_expired=True), expired_doses=("L-1",)) == [
        (Alert.EXPIRED, "Right 1st toe (hallux): the batch of the agent had expired on that day"),
        (Alert.EXPIRED, "The batch L-1 of the anaesthetic had expired on that day"),
    ]


@pytest.mark.parametrize(
    ("state", "risks", "raised"),
    [("purulent", ("diabetes",), True), ("purulent", (), False), ("inflamed", ("diabetes",), False),
     ("spreading", ("poor_circulation", "immunosuppressed"), True)],
)  # fmt: skip
def test_infection_before_the_operation_in_a_foot_at_risk(state, risks, raised):
    assert bool(raised_by(toe(infection_before=state), risks=risks)) == raised


# --- a review


def test_a_quiet_review_raises_nothing():
    calm = dict.fromkeys(("spreading", "lymphangitis", "numbness", "dusky", "unwell", "bone_signs"), "no")

    assert found(erythema_mm=5, pain=4, fluid_amount="spotting", risks=("diabetes",), **calm) == []
    assert found(400, "dry", pain=0, over_granulation="no") == []


def test_a_dusky_toe_on_any_day():
    assert found(2, dusky="yes") == [(Alert.ISCHAEMIA, "dusky, white or cold on day 2")]


@pytest.mark.parametrize(("day", "raised"), [(0, False), (1, True), (7, True), (8, False)])
def test_numbness_once_the_block_has_worn_off(day, raised):
    assert bool(found(day, numbness="yes")) == raised


@pytest.mark.parametrize(("day", "pain", "raised"), [(1, 8, True), (1, 7, False), (3, 10, False), (1, None, False)])
def test_severe_pain_in_the_first_days(day, pain, raised):
    assert bool(found(day, pain=pain)) == raised


@pytest.mark.parametrize(
    ("values", "raised"),
    [
        ({"erythema_mm": 19}, False),
        ({"erythema_mm": 20}, True),
        ({"spreading": "yes"}, True),
        ({"lymphangitis": "yes"}, True),
        ({"temperature_c": Decimal("38.0")}, False),
        ({"temperature_c": Decimal("38.1")}, True),
        ({"erythema_mm": None, "spreading": "not_assessed"}, False),
    ],
)
def test_what_may_be_a_spreading_infection(values, raised):
    assert [alert for alert, _ in found(**values)] == [Alert.CELLULITIS] * raised


def test_several_signs_of_one_problem_are_one_flag():
    assert found(erythema_mm=26, spreading="yes") == [(Alert.CELLULITIS, "redness 26 mm wide, redness spreading")]


# Two or more of: above 38 or below 36 degrees, pulse above 90, breathing rate above 20. IWGDF/IDSA grades of foot
# infection, EFORT Open Rev 2018;3:513-525, Table 1.
@pytest.mark.parametrize(
    ("values", "raised"),
    [
        ({"temperature_c": Decimal("38.5"), "pulse": 91}, True),
        ({"temperature_c": Decimal("35.9"), "respiratory_rate": 21}, True),
        ({"pulse": 91, "respiratory_rate": 21}, True),
        ({"pulse": 90, "respiratory_rate": 21}, False),
        ({"temperature_c": Decimal("36.0"), "pulse": 91}, False),
        ({"pulse": 120}, False),
        ({"unwell": "yes"}, True),
    ],
)
def test_what_may_be_sepsis(values, raised):
    assert (Alert.SEPSIS in [alert for alert, _ in found(**values)]) == raised


@pytest.mark.parametrize(
    ("day", "changes", "raised"),
    [
        (20, {"bone_signs": "yes"}, True),
        (40, {"infected": True, "since": 12}, False),  # 28 days are not more than four weeks
        (41, {"infected": True, "since": 12}, True),
        (41, {"infected": False, "since": 12}, False),
        (56, {"fluid_amount": "moderate"}, False),
        (57, {"fluid_amount": "spotting"}, True),
        (57, {"fluid_amount": "dry"}, False),
        (57, {"fluid_amount": "not_assessed"}, False),
    ],
)
def test_what_may_be_an_infected_bone(day, changes, raised):
    assert (Alert.BONE_INFECTION in [alert for alert, _ in found(day, **changes)]) == raised


@pytest.mark.parametrize(
    ("day", "told", "raised"),
    [
        (56, {"yellow": True}, []),
        (57, {"yellow": True}, [(Alert.BONE_INFECTION, "yellow or smelly fluid on day 57, told by the patient")]),
        (14, {"yellow": True, "risks": ("diabetes",)},
         [(Alert.HIGH_RISK_FOOT, "yellow or smelly fluid told by the patient, and diabetes")]),
        (20, {"pain": 7}, []),
        (21, {"pain": 7}, [(Alert.PAIN_SYNDROME, "pain 7 of 10 on day 21, told by the patient")]),
        (365, {"pain": 6, "risks": ("diabetes",)}, []),
    ],
)  # fmt: skip
def test_what_a_patient_reports(day, told, raised):
    assert found(day, "not_assessed", told=True, **told) == raised


def test_pain_that_somebody_asked_about_in_person_is_no_report():
    assert found(365, "dry", pain=8) == []


def test_any_infection_in_a_foot_at_risk():
    assert found(infected=True, since=14, risks=("diabetes", "immunosuppressed")) == [
        (Alert.HIGH_RISK_FOOT, "an infection, and diabetes and a suppressed immune system")
    ]
    assert found(infected=True, since=14) == []


@pytest.mark.parametrize(("day", "raised"), [(20, False), (21, True)])
def test_unusual_pain_after_three_weeks(day, raised):
    assert [alert for alert, _ in found(day, altered_pain="yes")] == [Alert.PAIN_SYNDROME] * raised


@pytest.mark.parametrize(
    ("day", "healing", "values", "raised"),
    [
        (83, "not_healing", {}, False),
        (84, "not_healing", {}, True),
        (84, "moist", {}, True),
        (84, "dry", {"over_granulation": "yes"}, True),
        (84, "dry", {}, False),
        (20, "moist", {"pigment": "yes"}, True),
    ],
)
def test_not_healed_at_twelve_weeks_or_pigment(day, healing, values, raised):
    assert [alert for alert, _ in found(day, healing, **values)] == [Alert.NOT_HEALING] * raised


# --- a contact


@pytest.mark.parametrize(
    ("reported", "alert"),
    [("dark_or_numb", Alert.ISCHAEMIA), ("spreading", Alert.CELLULITIS), ("unwell", Alert.SEPSIS),
     ("child_alone", Alert.SAFETY), ("concern", Alert.SAFETY), ("nothing", None), ("not_asked", None)],
)  # fmt: skip
def test_what_is_told_on_the_phone(reported, alert):
    told = of_contact(reported, day=2)

    assert [flag.alert for flag in told] == [alert] * bool(alert)
    assert all(flag.fact.startswith("Told on day 2: ") for flag in told)


def test_every_answer_on_the_phone_is_decided():
    assert all(isinstance(of_contact(term, day=1), list) for term in Reported)


# --- words


def test_no_flag_tells_anybody_what_to_do():
    for alert in Alert:
        text = f"{alert.label}. {alert.meaning}".lower()
        assert not [word for word in ADVICE if word in text], alert
        assert alert.level in AlertLevel


def test_red_and_amber_are_as_agreed():
    assert {alert for alert in Alert if alert.level == AlertLevel.AMBER} == {
        Alert.DOSE_NEAR, Alert.AGENT_EXPOSURE, Alert.PAIN_SYNDROME, Alert.NOT_HEALING, Alert.SAFETY,
    }  # fmt: skip
