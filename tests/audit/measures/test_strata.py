"""Counts of groups with known answers; the intervals are Wilson limits of the invented demonstration."""

import math

import pandas as pd
import pytest

from audit.measures.definitions import Outcome, Unit
from audit.measures.outcomes import unit_frame
from audit.measures.strata import (
    band_labels,
    band_of,
    by_curettage,
    by_exposure,
    by_lavage,
    by_operator,
    by_side,
    by_technique,
    count,
    headline_units,
    letters,
    without_matricectomy,
)
from clinic.vocabulary.procedure import Agent, Technique
from tests.audit.frames import cohort, cohort_of_groups, group, seen, treated

REGROWTH, SYMPTOMS, RE_OPERATION = Outcome.ANY_REGROWTH, Outcome.SYMPTOMATIC_RECURRENCE, Outcome.RE_OPERATION
NAOH = {"agent": "sodium_hydroxide"}
WEDGE = {"technique": "wedge", "agent": "none", "takes_agent": False, "exposure_seconds": math.nan}
TOTAL = {"technique": "tna_chemical", "side": "whole"}
PLAIN = {"technique": "pna_only", "matrix_destroyed": False, "agent": "none", "takes_agent": False}


def units_of(*groups, outcome=REGROWTH, unit="side", **values):
    return unit_frame(cohort_of_groups(*groups, **values), outcome, unit)


def percents(found):
    return tuple(round(value * 100, 1) for value in (found.rate, found.interval.low, found.interval.high))


def row(rows, code):
    return next(found for found in rows if found.code == code)


def test_a_count_comes_with_the_rest_of_the_eligible():
    found = count(units_of(group("a", events=6, clear=76, lost=22, pending=64)))

    assert (found.events, found.ascertained, found.eligible) == (6, 82, 104)
    assert (found.lost, found.pending, found.censored, found.late_events) == (22, 64, 0, 0)
    assert (found.patients, found.patients_ascertained) == (104, 82)
    assert percents(found) == (7.3, 3.4, 15.1)
    assert found.shown == "full"
    assert found.note == ""


def test_best_and_worst_case_stand_on_the_eligible():
    """Symptomatic 3 of 82, 104 eligible: 2.9 % to 24.0 %."""
    found = count(units_of(group("a", events=3, clear=79, lost=22)))
    assert (found.best.events, found.best.total, round(found.best.rate, 3)) == (3, 104, 0.029)
    assert (found.worst.events, found.worst.total, round(found.worst.rate, 3)) == (25, 104, 0.240)
    assert found.best.low < found.best.rate < found.best.high


def test_every_number_leads_to_its_units():
    found = count(units_of(group("a", events=1, clear=2, lost=1, pending=1)))
    assert found.keys["event"] == ("a-event-0",)
    assert found.keys["clear"] == ("a-clear-0", "a-clear-1")
    assert found.keys["lost"] == ("a-lost-0",)
    assert found.keys["pending"] == ("a-pending-0",)
    assert sum(len(found.keys[status]) for status in ("event", "clear", "lost")) == found.eligible


def test_late_and_censored_units_are_counted_apart():
    sides = [treated("late"), treated("dead", died_day=100.0), treated("again", reoperated_day=100.0)]
    found = count(unit_frame(cohort(sides, [seen("late", 430, extent="full")]), REGROWTH, "side"))
    assert (found.events, found.ascertained, found.eligible, found.lost, found.late_events) == (0, 0, 1, 1, 1)
    assert (found.censored, found.censored_death, found.censored_reoperation) == (2, 1, 1)
    assert found.keys["late_event"] == ("late",)
    assert found.keys["censored_death"] == ("dead",)


@pytest.mark.parametrize(
    ("clear", "shown", "note"),
    [
        (9, "listed", "no rate: 9 known, at least 10 are needed"),
        (10, "hollow", "too few to judge"),
        (19, "hollow", "too few to judge"),
        (20, "full", ""),
    ],
)
def test_thin_data(clear, shown, note):
    found = count(units_of(group("a", clear=clear)))
    assert (found.shown, found.note) == (shown, note)
    assert (found.interval is None) == (shown == "listed")


@pytest.mark.parametrize(("patients", "shown"), [(4, "listed"), (5, "hollow")])
def test_ten_units_of_four_patients_have_no_rate(patients, shown):
    sides = [treated(f"s{place}", patient=f"p{place % patients}") for place in range(10)]
    found = count(unit_frame(cohort(sides, [seen(f"s{place}", 365) for place in range(10)]), REGROWTH, "side"))
    assert (found.ascertained, found.patients_ascertained, found.shown) == (10, patients, shown)


def test_sides_of_one_patient_widen_the_interval():
    """Twenty sides of ten patients, one patient with both sides regrown: p = 0.1, design effect 2 K / (K - 1)."""
    sides = [treated(f"s{place}", patient=f"p{place // 2}") for place in range(20)]
    found = [seen(f"s{place}", 365, extent="full" if place < 2 else "none") for place in range(20)]
    counted = count(unit_frame(cohort(sides, found), REGROWTH, "side"))
    assert (counted.events, counted.ascertained, counted.patients) == (2, 20, 10)
    assert counted.interval.design_effect == pytest.approx(20 / 9)
    assert counted.interval.high > 0.3010  # plain Wilson, 2 of 20
    assert counted.best.effective_total == pytest.approx(9)


def test_empty_groups_say_why():
    assert count(units_of()).note == "no cases"
    assert count(units_of(group("a", pending=3))).note == "none eligible yet: 3 pending"
    assert count(units_of(group("a", lost=3))).note == "no outcome known yet: all 3 eligible are lost"
    assert count(units_of(group("a", lost=3))).shown == "empty"


def test_a_unit_is_never_counted_twice():
    twice = units_of(group("a", clear=1))
    with pytest.raises(ValueError, match="unit_key a-clear-0 occurs twice"):
        count(pd.concat([twice, twice]))


def of_the_demonstration(outcome):
    """Ascertained per technique of the demonstration, any regrowth or symptomatic."""
    events = {REGROWTH: (6, 1, 1, 1, 0), SYMPTOMS: (3, 1, 1, 1, 3)}[outcome]
    return units_of(
        group("phenol", events=events[0], clear=82 - events[0], lost=22, pending=64),
        group("naoh", events=events[1], clear=16 - events[1], lost=4, **NAOH),
        group("tna", events=events[2], clear=7 - events[2], lost=3, **TOTAL),
        group("wedge", events=events[3], clear=3 - events[3], lost=2, **WEDGE),
        group("plain", events=events[4], clear=8 - events[4], lost=2, **PLAIN),
        outcome=outcome,
    )


def test_the_headline_leaves_out_units_without_matricectomy():
    regrowth = count(headline_units(of_the_demonstration(REGROWTH)))
    symptoms = count(headline_units(of_the_demonstration(SYMPTOMS)))
    assert (regrowth.events, regrowth.ascertained, regrowth.eligible) == (9, 108, 139)
    assert percents(regrowth) == (8.3, 4.4, 15.1)
    assert (symptoms.events, symptoms.ascertained) == (6, 108)
    assert percents(symptoms) == (5.6, 2.6, 11.6)


def test_technique_lines_in_vocabulary_order_with_empty_ones():
    rows = by_technique(of_the_demonstration(SYMPTOMS), SYMPTOMS)
    assert [(found.label, found.events, found.ascertained) for found in rows] == [
        ("Partial nail avulsion, phenol", 3, 82),
        ("Partial nail avulsion, sodium hydroxide", 1, 16),
        ("Total nail avulsion, phenol", 1, 7),
        ("Wedge excision (Winograd)", 1, 3),
        ("Total matrix excision (Zadik)", 0, 0),
        ("Other excisional procedure", 0, 0),
        ("Electro- or radio-frequency matricectomy", 0, 0),
        ("CO2-laser matricectomy", 0, 0),
        ("Excision with chemical matricectomy", 0, 0),
        ("Other technique", 0, 0),
        ("Partial nail avulsion without matricectomy", 3, 8),
        ("Total nail avulsion without matricectomy", 0, 0),
    ]
    assert row(rows, "pna_chemical:sodium_hydroxide").note == "too few to judge"
    assert row(rows, "wedge").shown == "listed"
    assert row(rows, "laser").note == "no cases"
    assert percents(row(rows, "pna_chemical:phenol")) == (3.7, 1.3, 10.2)


def test_technique_lines_with_matricectomy_add_up_to_the_headline():
    units = of_the_demonstration(REGROWTH)
    rows = [found for found in by_technique(units, REGROWTH) if found.shown != "not_applicable"]
    headline = count(headline_units(units))
    for number in ("events", "ascertained", "eligible", "pending", "lost"):
        assert sum(getattr(found, number) for found in rows) == getattr(headline, number)


@pytest.mark.parametrize("outcome", [REGROWTH, RE_OPERATION])
def test_without_matricectomy_only_symptomatic_recurrence_is_counted(outcome):
    units = units_of(group("plain", clear=12, **PLAIN), outcome=outcome)
    for found in (without_matricectomy(units, outcome), row(by_technique(units, outcome), "pna_only:no_matricectomy")):
        assert found.shown == "not_applicable"
        assert found.note.startswith("not applicable: no matrix was destroyed")
        assert (found.interval, found.best) == (None, None)


def test_symptomatic_recurrence_without_matricectomy_is_listed():
    found = without_matricectomy(of_the_demonstration(SYMPTOMS), SYMPTOMS)
    assert (found.events, found.ascertained, found.eligible, found.shown) == (3, 8, 10, "listed")
    assert len(found.keys["event"]) == 3


def test_an_other_technique_has_a_line_on_each_side_of_the_matrix():
    other = {"technique": "other", "agent": "none", "takes_agent": False}
    units = units_of(
        group("with", clear=2, **other), group("without", clear=3, matrix_destroyed=False, **other), outcome=SYMPTOMS
    )
    rows = by_technique(units, SYMPTOMS)
    assert row(rows, "other").ascertained == 2
    assert row(rows, "other:no_matricectomy").ascertained == 3
    assert row(rows, "other:no_matricectomy").label == "Other technique, matrix not destroyed"


def test_an_agent_that_was_not_recorded_keeps_its_line():
    rows = by_technique(units_of(group("a", clear=1, agent="not_recorded")), REGROWTH)
    assert row(rows, "pna_chemical:not_recorded").label == "Partial nail avulsion, agent not recorded"


def exposed(seconds, events, ascertained, lost=0):
    return group(f"e{seconds}", events=events, clear=ascertained - events, lost=lost, exposure_seconds=seconds)


def test_exposure_lines_of_the_demonstration():
    units = units_of(
        exposed(60.0, 2, 17, 19), exposed(90.0, 1, 11, 3), exposed(120.0, 1, 21, 5), exposed(180.0, 2, 31, 9),
        exposed(math.nan, 0, 2), group("naoh", clear=5, **NAOH), group("tna", clear=5, **TOTAL),
    )  # fmt: skip
    rows = by_exposure(units, (60, 90, 120, 180))
    assert [(found.label, found.events, found.ascertained) for found in rows] == [
        ("up to 60 s", 2, 17), ("61 to 90 s", 1, 11), ("91 to 120 s", 1, 21), ("121 to 180 s", 2, 31),
        ("over 180 s", 0, 0), ("not recorded", 0, 2),
    ]  # fmt: skip
    assert percents(rows[0]) == (11.8, 3.3, 34.3)
    assert percents(rows[1]) == (9.1, 1.6, 37.7)
    assert percents(rows[2]) == (4.8, 0.8, 22.7)
    assert percents(rows[3]) == (6.5, 1.8, 20.7)
    assert rows[4].note == "no cases"
    assert rows[5].interval is None


def test_exposure_of_another_agent_on_request():
    rows = by_exposure(units_of(group("n", clear=3, **NAOH)), (60,), agent=Agent.SODIUM_HYDROXIDE)
    assert [found.ascertained for found in rows] == [3, 0, 0]
    rows = by_exposure(units_of(group("t", clear=4, **TOTAL)), (60,), technique=Technique.TNA_CHEMICAL)
    assert [found.ascertained for found in rows] == [4, 0, 0]


@pytest.mark.parametrize(
    ("seconds", "code"),
    [(0.0, "up_to_30"), (30.0, "up_to_30"), (30.5, "up_to_60"), (31.0, "up_to_60"), (60.0, "up_to_60"),
     (180.0, "up_to_180"), (181.0, "over_180"), (math.nan, "not_recorded")],
)  # fmt: skip
def test_the_upper_limit_belongs_to_its_band(seconds, code):
    assert band_of(seconds, (30, 60, 120, 180)) == code


def test_band_labels():
    assert band_labels((30, 60, 120, 180)) == (
        "up to 30 s", "31 to 60 s", "61 to 120 s", "121 to 180 s", "over 180 s", "not recorded",
    )  # fmt: skip


@pytest.mark.parametrize("bands", [(), (60, 30), (30, 30), (0, 30)])
def test_refuses_bands_that_do_not_ascend(bands):
    with pytest.raises(ValueError, match="bands must be ascending"):
        by_exposure(units_of(), bands)


def test_side_lines_of_the_demonstration():
    units = units_of(
        group("f", events=3, clear=59, side="fibular"), group("t", events=3, clear=33, side="tibial"),
        group("plain", clear=4, side="tibial", **PLAIN),
    )  # fmt: skip
    rows = by_side(units)
    assert [(found.code, found.events, found.ascertained) for found in rows] == [
        ("tibial", 3, 36), ("fibular", 3, 62), ("whole", 0, 0),
    ]  # fmt: skip
    assert percents(rows[0]) == (8.3, 2.9, 21.8)
    assert percents(rows[1]) == (4.8, 1.7, 13.3)


def test_a_toe_with_both_edges_has_a_line_of_its_own():
    sides = [treated(side, toe="t", side=side) for side in ("tibial", "fibular")]
    rows = by_side(unit_frame(cohort(sides, [seen("tibial", 365), seen("fibular", 365)]), REGROWTH, "toe"))
    assert [(found.code, found.ascertained) for found in rows] == [
        ("tibial", 0), ("fibular", 0), ("whole", 0), ("both", 1),
    ]  # fmt: skip


def test_a_patient_with_several_techniques_and_sides_has_lines_of_that_name():
    sides = [treated("a", patient="p", side="tibial"), treated("b", patient="p", **{**WEDGE, "side": "fibular"})]
    units = unit_frame(cohort(sides, [seen("a", 365), seen("b", 365)]), REGROWTH, "patient")
    assert row(by_technique(units, REGROWTH), "several").ascertained == 1
    assert row(by_side(units), "several").ascertained == 1


def test_curettage_lavage_and_operator_have_tables_of_their_own():
    sides = [
        treated("a", curettage="after", lavage="saline", operator="k2"),
        treated("b", curettage="after", lavage="saline", operator="k1"),
        treated("c", curettage="not_recorded", lavage="not_recorded", operator="k1", **WEDGE),
    ]
    units = unit_frame(cohort(sides, [seen("a", 365), seen("b", 365)]), Outcome.ANY_REGROWTH, Unit.SIDE)

    assert [(row.code, row.ascertained, row.eligible) for row in by_curettage(units)] == [
        ("after", 2, 2), ("not_recorded", 0, 1),
    ]  # fmt: skip
    assert [(row.code, row.eligible) for row in by_lavage(units)] == [("saline", 2)]
    assert [(row.label, row.eligible) for row in by_operator(units)] == [
        ("Operator A", 2), ("Operator B", 1),
    ]  # fmt: skip


def test_a_patient_of_two_operators_is_in_a_line_of_its_own():
    sides = [treated("a", patient="p", operator="k1"), treated("b", patient="p", operator="k2")]
    units = unit_frame(cohort(sides), Outcome.ANY_REGROWTH, Unit.PATIENT)

    assert [(row.label, row.eligible) for row in by_operator(units)] == [("Several operators", 1)]


@pytest.mark.parametrize(("place", "word"), [(1, "A"), (26, "Z"), (27, "AA"), (52, "AZ"), (53, "BA")])
def test_letters_go_on_after_z(place, word):
    assert letters(place) == word
