"""Healing, pain, visits, unplanned contacts, satisfaction, incidents, and who was lost."""

from datetime import timedelta

import pandas as pd
import pytest

from audit.measures.afterwards import INCIDENTS, incidents, satisfaction
from audit.measures.exposure_trend import exposure_trend
from audit.measures.flow import flow
from audit.measures.groupings import by_toe, by_year
from audit.measures.healing import healing
from audit.measures.lost_and_seen import lost_and_seen
from audit.measures.outcomes import unit_frame
from audit.measures.pain import pain
from audit.measures.visits import CONTACTS, reviews_done, unplanned
from audit.measures.years import year_label, year_of
from clinic.vocabulary.procedure import Agent, Technique
from tests.audit.frames import AS_OF, LAST_MATURE, NAN, cohort, cohort_of_groups, group, seen, toe_seen, treated


def units_of(frames, outcome="any_regrowth", unit="side"):
    return unit_frame(frames, outcome, unit)


def one_toe(*looks, **side):
    """A toe seen healed or open: pairs of day and word."""
    rows = [toe_seen("toe-a", day, healing=word) for day, word in looks]
    return cohort([treated("a", **side)], (), rows)


@pytest.mark.parametrize(
    ("looks", "place"),
    [
        (((10, "moist"), (40, "dry")), "event"),
        (((10, "moist"), (56, "dry")), "event"),
        (((56, "moist"), (70, "dry")), "other"),
        (((40, "moist"), (70, "dry")), "between"),
        (((40, "moist"),), "unknown"),
        (((40, "cannot_tell"),), "unknown"),
        ((), "unknown"),
    ],
)
def test_healed_in_time_is_said_only_where_it_was_seen(looks, place):
    found = healing(one_toe(*looks)).in_time
    assert {name for name, keys in found.keys.items() if keys} == {place}
    assert found.total == (1 if place in {"event", "other"} else 0)


def test_a_whole_nail_has_longer_and_a_young_wound_is_pending():
    assert healing(one_toe((70, "moist"), (80, "dry"), technique="tna_chemical")).in_time.events == 1
    young = one_toe((10, "moist"), performed_on=AS_OF - timedelta(days=55))
    assert healing(young).in_time.keys["pending"] == ("toe-a",)


def test_healing_lies_between_two_looks_and_what_follows_a_second_operation_says_nothing():
    sides = [treated(f"s{n}", reoperated_day=20.0 if n == 0 else NAN) for n in range(30)]
    rows = [toe_seen(f"toe-s{n}", day, healing=word) for n in range(30) for day, word in ((10, "moist"), (30, "dry"))]
    (every, phenol) = healing(cohort(sides, (), rows)).groups
    assert (every.toes, every.seen, every.healed) == (30, 30, 29)
    assert [(day.start, day.end) for day in every.quartiles] == [(10, 30)] * 3
    assert every.first_seen == (30, 30, 30)
    assert phenol.label == "Partial nail avulsion, phenol"


def test_pain_takes_the_last_score_of_a_point():
    rows = [
        toe_seen("toe-a", 36, pain=9.0), toe_seen("toe-a", 42, pain=4.0), toe_seen("toe-a", 50, pain=NAN),
        toe_seen("toe-b", 40, pain=NAN),
    ]  # fmt: skip
    found = {each.code: each for each in pain(cohort([treated("a"), treated("b")], (), rows))}
    six = found["six_weeks"]
    assert (six.scored, six.not_asked, six.median, six.notable.events) == (1, 1, 4.0, 1)
    assert six.notable.keys["not_asked"] == ("toe-b",)
    assert found["first_redress"].median is None


def test_reviews_are_counted_within_closed_windows_and_by_who_looked():
    sides = [treated(key) for key in "abcd"] + [treated("young", performed_on=AS_OF - timedelta(days=30))]
    sides[3]["died_day"] = 100.0
    found = {
        each.code: each
        for each in reviews_done(
            cohort(sides, [seen("a", 170), seen("b", 200, observer="patient", means="questionnaire"), seen("c", 400)])
        )
    }
    half = found["six_months"].done
    assert (half.events, half.total) == (2, 3)
    assert (half.keys["pending"], half.keys["ended"]) == (("toe-young",), ("toe-d",))
    assert {part.code: part.units for part in found["six_months"].by_source if part.units} == {
        "operator": 1, "questionnaire": 1,
    }  # fmt: skip
    assert found["twelve_months"].done.events == 1
    assert found["first_redress"].done.total == 5


def test_unasked_is_what_the_patient_began_within_30_days():
    log = pd.DataFrame(
        [
            {"contact_key": "1", "operation_key": "op-toe-b", "day": 12, "channel": "phone", "result": "problem"},
            {"contact_key": "2", "operation_key": "op-toe-c", "day": 31, "channel": "phone", "result": "problem"},
            {"contact_key": "3", "operation_key": "op-toe-d", "day": 5, "channel": "phone", "result": "no_answer"},
        ],
        columns=list(CONTACTS),
    )
    sides = [treated(key) for key in "abcd"] + [treated("new", performed_on=AS_OF - timedelta(days=29))]
    found = unplanned(cohort(sides, [seen("a", 9, origin="patient")]), log)
    assert (found.events, found.total) == (2, 4)
    assert found.keys["event"] == ("toe-a", "toe-b")
    assert found.keys["pending"] == ("toe-new",)


def test_the_last_answer_on_satisfaction_counts():
    rows = [
        toe_seen("toe-a", 50, satisfaction="dissatisfied"), toe_seen("toe-a", 365, satisfaction="satisfied"),
        toe_seen("toe-b", 50, satisfaction="neither"), toe_seen("toe-c", 50, satisfaction="not_asked"),
    ]  # fmt: skip
    found = satisfaction(cohort([treated(key) for key in "abc"], (), rows))
    assert (found.events, found.total, found.keys["not_asked"]) == (1, 2, ("toe-c",))


def test_serious_is_harm_and_a_near_miss_is_not():
    rows = [
        ("1", "skin_burn", "low", False),
        ("2", "osteomyelitis", "moderate", True),
        ("3", "other", "near_miss", False),
    ]
    events = pd.DataFrame(
        [
            {"incident_key": key, "operation_key": "op-toe-a", "toe_key": "toe-a", "day": 0, "kind": kind,
             "harm": harm, "reviewed": reviewed} for key, kind, harm, reviewed in rows
        ], columns=list(INCIDENTS),
    )  # fmt: skip
    found = incidents(cohort([treated("a")]), events)
    assert (found.serious, found.reviewed, len(found.rows)) == (1, 1, 3)


def test_every_unit_of_the_flow_stands_in_one_place():
    frames = cohort_of_groups(
        group("a", events=3, clear=20, lost=4, pending=5),
        group("b", clear=2, technique="pna_only", matrix_destroyed=False, agent="none", takes_agent=False),
    )
    steps = {step.code: step.units for step in flow(frames, units_of(frames)).steps}
    assert steps["operated"] == 34
    assert steps["operated"] == steps["no_matricectomy"] + steps["matricectomy"]
    leaving = [steps[code] for code in ("pending", "censored_death", "censored_reoperation", "censored_amputation")]
    assert steps["matricectomy"] == sum(leaving) + steps["eligible"]
    assert steps["eligible"] == steps["lost"] + steps["ascertained"]
    assert (steps["lost"], steps["ascertained"]) == (4, 23)


def test_the_lost_stand_beside_the_seen():
    frames = cohort_of_groups(group("old", clear=12, age_years=70), group("young", lost=3, age_years=20))
    found = lost_and_seen(frames, units_of(frames))
    ages = {row.label: (row.seen, row.lost) for row in found.rows if row.group == "Age"}
    assert ages == {"60 to 79 years": (12, 0), "18 to 39 years": (0, 3)}
    assert found.seen_age == (70, 70, 70)
    assert all(sum(row.seen for row in found.rows if row.group == name) == 12 for name in ("Sex", "Side", "Toe"))


def test_by_toe_and_by_audit_year():
    frames = cohort_of_groups(group("a", clear=12), group("b", events=2, clear=3, toe_number=3))
    assert [(row.code, row.events, row.ascertained) for row in by_toe(frames, units_of(frames))] == [
        ("toe_1", 0, 12), ("toe_3", 2, 5),
    ]  # fmt: skip
    earlier = cohort(
        [treated("x", performed_on=LAST_MATURE), treated("y", performed_on=LAST_MATURE.replace(year=2021))]
    )
    rows = by_year(earlier, "any_regrowth", "side", 4)
    assert [row.code for row in rows] == ["year_2020", "year_2021", "year_2022", "year_2023"]
    assert [row.eligible for row in rows] == [1, 0, 0, 1]
    assert year_label(2023) == "2023–24"
    assert (year_of(LAST_MATURE, 4), year_of(LAST_MATURE, 3)) == (2023, 2024)


def test_dose_and_regrowth_at_the_usual_strength():
    groups = [
        group(f"g{seconds}", events=events, clear=40 - events, exposure_seconds=float(seconds))
        for seconds, events in ((30, 12), (60, 8), (120, 5), (180, 2))
    ]
    frames = cohort_of_groups(*groups, group("other", events=1, clear=4, strength_percent=95.0))
    found = exposure_trend(
        frames, units_of(frames), technique=Technique.PNA_CHEMICAL, agent=Agent.PHENOL, label="Partial, phenol"
    )
    assert found.population == "Partial, phenol, 80 % w/w"
    assert (found.units, found.events, found.other_strengths) == (160, 27, 5)
    assert found.found.doubling.odds_ratio < 1
    assert found.found.doubling.high < 1
    assert found.exact.p < 0.05
