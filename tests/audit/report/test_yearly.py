"""The headline's sentences by rule, and the same numbers in every form."""

import json
import math

import pytest

from audit.charts.telling import alt_text
from audit.charts.words import percent
from audit.report.figures import infection as infection_chart
from audit.report.figures import outcome_charts
from audit.report.pieces import outcome_piece
from audit.report.yearly import build, to_json
from tests.audit.frames import NAN, cohort, cohort_of_groups, group, seen, toe_seen, treated, without_matrix

PLAIN = {"technique": "pna_only", "matrix_destroyed": False, "agent": "none", "takes_agent": False,
         "exposure_seconds": NAN}  # fmt: skip


def yearly(*groups, standard=0.05, outcome="symptomatic_recurrence", unit="side"):
    return build(cohort_of_groups(*groups), unit=unit, outcome=outcome, standard=standard)


def piece(*groups, standard=0.05, outcome="symptomatic_recurrence", unit="side"):
    frames = cohort_of_groups(*groups)
    return outcome_piece(frames, frames, outcome=outcome, unit=unit, standard=standard, starts_month=4)


def headline(*groups, **values):
    return yearly(*groups, **values).headline_sentence


def test_the_interval_includes_the_standard():
    assert headline(group("a", events=6, clear=102, lost=31, pending=83)) == (
        "Symptomatic recurrence at 12 months: 6 of 108 treated sides in 108 patients, 5.6 % (95 % interval 2.6 % to "
        "11.6 %). The interval includes the standard of at most 5 %, so these numbers cannot tell on which side of it "
        "the rate lies. 108 known of 139 eligible; 31 lost, 83 pending."
    )


def test_the_interval_lies_above_the_standard():
    assert headline(group("a", events=30, clear=70), outcome="any_regrowth") == (
        "Any regrowth at 12 months: 30 of 100 treated sides in 100 patients, 30.0 % (95 % interval 21.9 % to 39.6 %). "
        "The whole interval lies above the standard of at most 5 %. 100 known of 100 eligible; 0 lost, 0 pending."
    )


def test_the_interval_lies_at_or_below_the_standard():
    assert "The whole interval lies at or below the standard of at most 12.5 %." in headline(
        group("a", events=6, clear=102), standard=0.125
    )


def test_an_interval_that_touches_the_standard():
    interval = yearly(group("a", events=6, clear=102)).headline.interval
    assert "lies at or below" in headline(group("a", events=6, clear=102), standard=interval.high)
    assert "includes" in headline(group("a", events=6, clear=102), standard=interval.low)


def test_no_event_names_the_limit():
    assert headline(group("a", clear=34), standard=None) == (
        "Symptomatic recurrence at 12 months: none seen, 0 of 34 treated sides in 34 patients (95 % interval 0 % to "
        "10.2 %; one-sided exact upper limit 8.4 %). No standard is set. 34 known of 34 eligible; 0 lost, 0 pending."
    )


def test_no_event_in_patients_with_several_sides_says_that_patients_are_the_units():
    sides = [treated(f"s{place}", patient=f"p{place // 2}") for place in range(40)]
    found = build(
        cohort(sides, [seen(f"s{place}", 365) for place in range(40)]),
        unit="side", outcome="any_regrowth", standard=None,
    )  # fmt: skip
    assert "0 of 40 treated sides in 20 patients (95 % interval 0 % to 16.1 %, patients as units;" in (
        found.headline_sentence
    )


def test_patients_are_not_named_twice():
    assert "1 of 30 patients, 3.3 %" in headline(group("a", events=1, clear=29), unit="patient")


def test_too_few_for_a_rate():
    assert headline(group("a", events=1, clear=6, lost=3), unit="toe") == (
        "Symptomatic recurrence at 12 months: 1 of 7 nail procedures in 7 patients; too few for a rate, so the events "
        "are listed. 7 known of 10 eligible; 3 lost, 0 pending."
    )


def test_too_few_to_judge():
    said = headline(group("a", events=1, clear=14))
    assert "1 of 15 treated sides" in said
    assert "With fewer than 20 treated sides this is too few to judge." in said


def test_nothing_known():
    assert headline(group("a", pending=4), unit="patient") == (
        "Symptomatic recurrence at 12 months, per patient: none eligible yet: 4 pending. "
        "0 known of 0 eligible; 0 lost, 4 pending."
    )


def test_late_and_censored_are_said():
    sides, findings = group("a", clear=20)
    sides += [treated("late"), treated("dead", died_day=50.0)]
    found = build(
        cohort(sides, [*findings, seen("late", 430, extent="full", symptoms="ingrowth")]),
        unit="side", outcome="symptomatic_recurrence", standard=None,
    )  # fmt: skip
    assert found.headline_sentence.endswith(
        "20 known of 21 eligible; 1 lost, 0 pending, 1 counted apart. Seen first after the window: 1."
    )


def test_units_without_matricectomy_are_in_no_headline():
    found = yearly(group("a", events=1, clear=29), group("p", events=3, clear=5, **PLAIN))
    assert (found.headline.events, found.headline.ascertained) == (1, 30)
    assert (found.no_matricectomy.events, found.no_matricectomy.ascertained) == (3, 8)
    assert (found.follow_up.ascertained, found.follow_up_population) == (38, "All operations")
    regrowth = yearly(group("a", events=1, clear=29), group("p", clear=8, **PLAIN), outcome="any_regrowth")
    assert regrowth.no_matricectomy.shown == "not_applicable"
    assert (regrowth.follow_up.ascertained, regrowth.follow_up_population) == (30, "All matricectomies")


def test_a_patient_with_both_kinds_of_operation_is_counted_once():
    mixed = cohort([treated("a", patient="p"), without_matrix("b", patient="p")], [seen("a", 365)])
    found = build(mixed, unit="patient", outcome="symptomatic_recurrence", standard=None)
    assert (found.headline.eligible, found.follow_up.eligible, found.no_matricectomy.eligible) == (1, 1, 1)


@pytest.mark.parametrize(
    ("rate", "words"),
    [(0, "0 %"), (0.0075, "0.75 %"), (0.00994, "0.99 %"), (0.01, "1.0 %"), (0.0556, "5.6 %"), (1.0, "100.0 %")],
)
def test_percentages(rate, words):
    assert percent(rate) == words


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"standard": 5.0}, "standard must be from 0 to 1, not 5.0"),
        ({"standard": -0.1}, "standard must be from 0 to 1, not -0.1"),
        ({"standard": math.nan}, "standard must be from 0 to 1, not nan"),
        ({"unit": "edge"}, "'edge' is not a valid Unit"),
        ({"outcome": "cure"}, "'cure' is not a valid Outcome"),
    ],
)
def test_refuses_a_wrong_question(values, words):
    with pytest.raises(ValueError, match=words):
        yearly(group("a", clear=1), **values)


def test_refuses_a_wrong_frame():
    with pytest.raises(ValueError, match=r"sides.agent, row 0"):
        yearly(group("a", clear=1, agent="water"))


@pytest.mark.parametrize("unit", ["side", "toe", "patient"])
@pytest.mark.parametrize("outcome", ["any_regrowth", "symptomatic_recurrence", "re_operation"])
def test_an_empty_cohort_is_reported_as_such(unit, outcome):
    found = yearly(outcome=outcome, unit=unit)
    assert found.headline.shown == "empty"
    assert json.dumps(to_json(found))
    empty = piece(outcome=outcome, unit=unit)
    assert json.dumps(empty, allow_nan=False)
    assert all(alt_text(chart) for chart in outcome_charts(empty))


def test_the_file_holds_the_same_numbers_rounded():
    found = yearly(group("a", events=6, clear=102, lost=31, pending=83), group("p", clear=8, **PLAIN))
    plain = to_json(found)
    assert list(plain) == [
        "definitions_version", "practice", "performed_from", "performed_to", "as_of", "outcome", "unit", "standard",
        "headline", "no_matricectomy", "technique", "exposure", "side", "curettage", "lavage", "operator", "toe",
        "year", "follow_up", "infection", "estimated", "titles", "notes",
    ]  # fmt: skip
    assert plain["definitions_version"] == "1"
    assert (plain["unit"], plain["outcome"]) == ("side", "symptomatic_recurrence")
    assert plain["headline"]["interval"]["rate"] == 0.055556
    assert plain["headline"]["worst"]["events"] == 37
    assert plain["estimated"]["all"]["sides"] == 222
    assert plain["estimated"]["verdict"]["standard"] == 0.05
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert "records" not in json.dumps(plain)
    assert to_json(found, records=True)["headline"]["records"]["event"]


def test_the_same_data_give_the_same_file_whatever_the_order_of_rows():
    data = cohort_of_groups(group("a", events=3, clear=40), group("b", clear=9, lost=2, side="tibial"))
    turned = cohort(data.sides[::-1].to_dict("records"), data.findings[::-1].to_dict("records"))
    question = {"unit": "side", "outcome": "any_regrowth", "standard": 0.05}
    assert json.dumps(to_json(build(data, **question))) == json.dumps(to_json(build(turned, **question)))


def test_figures_show_what_the_tables_count():
    found = piece(group("a", events=6, clear=76, lost=22), group("n", clear=12, agent="sodium_hydroxide"))
    charts = {chart.slug: chart for chart in outcome_charts(found)}
    assert list(charts) == [
        "symptomatic-recurrence-by-technique", "symptomatic-recurrence-by-exposure", "symptomatic-recurrence-by-side",
        "symptomatic-recurrence-over-time", "symptomatic-recurrence-by-year",
    ]  # fmt: skip
    phenol, naoh = charts["symptomatic-recurrence-by-technique"].rows[:2]
    assert (phenol.label, phenol.events, phenol.total, phenol.hollow) == ("Partial nail avulsion, phenol", 6, 82, False)
    assert phenol.high == found["technique"][0]["interval"]["high"]
    assert (naoh.hollow, naoh.note) == (True, "too few to judge")
    assert charts["symptomatic-recurrence-by-side"].standard == 0.05
    assert charts["symptomatic-recurrence-by-exposure"].title.endswith("Partial nail avulsion, phenol")
    band = charts["symptomatic-recurrence-over-time"].bands[0]
    assert band.label == "All matricectomies"
    assert band.steps[-1].lower <= band.steps[-1].upper


def test_five_operators_stand_in_a_funnel_and_four_do_not():
    of = [group(f"o{place}", events=place % 3, clear=20, operator=f"m{place}") for place in range(5)]
    assert piece(*of[:4])["operators"]["lines"] == []
    found = piece(*of)
    chart = outcome_charts(found)[-1]
    assert [unit.label for unit in chart.units] == ["A", "B", "C", "D", "E"]
    assert chart.target == found["operators"]["target"]


def test_infection_is_drawn_per_rule():
    sides, findings = group("a", clear=20)
    seen_toes = [toe_seen(side["toe_key"], 9, antibiotic="gp" if place < 3 else "none")
                 for place, side in enumerate(sides)]  # fmt: skip
    found = to_json(build(cohort(sides, findings, seen_toes), unit="side", outcome="any_regrowth", standard=None))
    chart = infection_chart(found)
    rows = {row.label: (row.events, row.total) for row in chart.rows}
    assert rows["Antibiotic given"] == (3, 20)
    assert rows["Rule A"] == (0, 20)
    assert chart.standard is None
