"""The yearly report as one value: the same bytes from the same records, verdicts by rule, changes named."""

import json
import re
from datetime import date

import pandas as pd
import pytest

from audit.measures.afterwards import INCIDENTS
from audit.measures.criteria import SHIPPED, Finding, judged, judged_count, shipped_standards
from audit.measures.definitions import DEFINITIONS
from audit.measures.material import material
from audit.measures.process import TOES
from audit.measures.standards import Direction, Standard
from audit.measures.visits import CONTACTS
from audit.report.annual import annual, recounted, snapshot
from audit.report.benchmarks import beside_published
from audit.report.changes import changed_figures, changed_rows
from audit.report.criteria_table import beside
from audit.report.declared import FIGURES
from audit.report.figures import all_charts
from audit.report.frozen_rows import canonical, checksum, material_as_plain, material_of
from audit.report.plain import without_records
from tests.audit.frames import LAST_MATURE, cohort, group, seen, toe_seen, treated

FIRST = date(2020, 1, 1)


def process_frame(sides):
    keys = list(dict.fromkeys(side["toe_key"] for side in sides))
    plain = {
        name: 1.0 if column.holds.value == "a number" else (3 if column.holds.value == "a whole number" else True)
        for name, column in TOES.items()
    }
    rows = [
        {**plain, "toe_key": key, "patient_key": f"p-{key}", "performed_on": pd.Timestamp(LAST_MATURE)} for key in keys
    ]
    return pd.DataFrame(rows, columns=list(TOES))


def made(events=2, clear=30, lost=3, *, turned=False, looks=None, **changes):
    sides, findings = group("a", events=events, clear=clear, lost=lost)
    sides.append(treated("x", **changes))
    findings.append(seen("x", 365, extent="spicule"))
    noted = [
        toe_seen(side["toe_key"], day, **{"healing": healing, "satisfaction": "satisfied", **(looks or {})})
        for side in sides
        for day, healing in ((8, "moist"), (40, "dry"))
    ]
    if turned:
        sides, findings, noted = sides[::-1], findings[::-1], noted[::-1]
    years = cohort(sides, findings, noted)
    return material(
        years, first=FIRST, last=years.performed_to, process=process_frame(sides),
        contacts=pd.DataFrame(columns=list(CONTACTS)).astype({"day": "int64"}),
        incidents=pd.DataFrame(columns=list(INCIDENTS)).astype({"day": "int64", "reviewed": bool}), starts_month=4,
    )  # fmt: skip


@pytest.fixture(scope="module")
def found():
    return annual(made(), shipped_standards())


def test_records_come_back_from_their_plain_form_as_they_were():
    stored = canonical(material_as_plain(made()))
    assert canonical(material_as_plain(material_of(json.loads(stored)))) == stored


def test_a_snapshot_counts_again_to_the_same_bytes_whatever_the_order_of_rows():
    words = {"aim": "To look.", "actions": []}
    first, second = (snapshot(made(turned=turned), shipped_standards(), words) for turned in (False, True))
    assert checksum(first) == checksum(second)
    again = recounted(first)
    assert (again.same, again.checksum) == (True, checksum(first))


def test_an_altered_figure_or_record_is_found_out():
    stored = json.loads(snapshot(made(), shipped_standards(), {}))
    stored["figures"]["criteria"][-2]["events"] += 1
    assert not recounted(canonical(stored)).same
    stored = json.loads(snapshot(made(), shipped_standards(), {}))
    place = stored["data"]["frames"]["findings"]["columns"].index("extent")
    stored["data"]["frames"]["findings"]["rows"][0][place] = "full"
    told = recounted(canonical(stored))
    assert "NOT the same" in told.words


def test_every_criterion_has_a_row_with_a_verdict(found):
    assert [row["code"] for row in found["criteria"]] == [each.code for each in SHIPPED]
    rows = {row["code"]: row for row in found["criteria"]}
    assert (rows["O5"]["events"], rows["O5"]["total"]) == (2, 33)
    assert (rows["O6"]["events"], rows["O6"]["total"]) == (3, 33)
    assert (rows["O8"]["events"], rows["O8"]["total"]) == (33, 36)
    assert rows["O4"]["verdict"] == "met"
    assert rows["O3"]["verdict"] == "watched, no target"
    assert rows["S1"]["verdict"] == "met"
    assert rows["O9"]["rate"] == 0.0


def test_a_result_says_whom_it_leaves_out_and_on_which_estimate_it_was_judged(found):
    rows = {row["code"]: row for row in found["criteria"]}
    assert (rows["O5"]["apart_units"], rows["O5"]["apart"]) == (3, "counted apart: 3 lost")
    unasked = annual(made(looks={"healing": "not_assessed", "satisfaction": "not_asked"}), shipped_standards())
    apart = {row["code"]: row["apart"] for row in unasked["criteria"]}
    assert apart["O4"] == "counted apart: 36 not known"
    assert apart["O10"] == "counted apart: 36 no answer on record"
    assert re.search(r"^estimated over time [\d.]+ % \([\d.]+ % to [\d.]+ %\) by day 365", rows["O6"]["reason"])


def test_every_figure_rests_on_definitions_that_exist():
    codes = {item.code for item in DEFINITIONS.items}
    for figure in FIGURES:
        assert set(figure.definitions) <= codes, figure.code
        assert figure.numerator
        assert figure.denominator
    assert {code for each in SHIPPED for code in each.of} <= codes


def test_every_section_of_the_figures_is_declared(found):
    declared = {figure.code for figure in FIGURES}
    sections = set(found["common"]) - {"performed_from", "performed_to", "as_of", "practice"}
    assert sections <= declared
    tables = set(found["outcomes"]["any_regrowth"]["titles"])
    assert tables <= declared


def test_files_for_others_hold_no_key(found):
    text = json.dumps(without_records(found))
    assert "patient-" not in text
    assert "toe-a" not in text


@pytest.mark.parametrize(
    ("direction", "target", "counts", "limits", "finding"),
    [
        (Direction.AT_LEAST, 1.0, (20, 20), (0.84, 1.0), Finding.MET),
        (Direction.AT_LEAST, 1.0, (19, 20), (0.76, 0.99), Finding.NOT_MET),
        (Direction.AT_LEAST, 0.95, (99, 100), (0.951, 0.99), Finding.MET),
        (Direction.AT_LEAST, 0.95, (97, 100), (0.92, 0.99), Finding.CANNOT_TELL),
        (Direction.AT_LEAST, 0.95, (50, 100), (0.4, 0.6), Finding.NOT_MET),
        (Direction.AT_MOST, 0.05, (1, 200), (0.001, 0.03), Finding.MET),
        (Direction.AT_MOST, 0.05, (20, 100), (0.13, 0.29), Finding.NOT_MET),
        (Direction.AT_MOST, 0.05, (3, 3), (None, None), Finding.CANNOT_TELL),
        (Direction.AT_MOST, 0.05, (0, 0), (None, None), Finding.NO_CASE),
        (Direction.MONITOR, None, (3, 30), (0.03, 0.2), Finding.WATCHED),
    ],
)
def test_verdicts_by_rule(direction, target, counts, limits, finding):
    assert judged(Standard("X", direction, target, "s"), *counts, *limits).finding is finding


def test_no_case_on_record_meets_a_target_of_none():
    none = Standard("S1", Direction.AT_MOST, 0.0, "s")
    assert judged_count(none, 0).finding is Finding.MET
    assert judged_count(none, 1).finding is Finding.NOT_MET


def test_last_year_stands_beside_only_where_both_were_defined_alike(found):
    before = json.loads(json.dumps(found))
    assert {row["before"]["said"] for row in beside(found["criteria"], before)} == {""}
    for item in before["definitions"]:
        item["sentence"] += " Otherwise." if item["code"] == "window" else ""
    rows = {row["code"]: row for row in beside(found["criteria"], before)}
    assert rows["O6"]["before"]["said"] == "not comparable: defined otherwise then (12-month outcome)"
    assert rows["O4"]["before"]["said"] == ""
    assert {row["before"]["said"] for row in beside(found["criteria"], None)} == {"no signed report"}


def test_a_corrected_record_is_named_and_the_figure_it_moves():
    then, now = made(), made(matrix_destroyed=False, technique="pna_only", agent="none", takes_agent=False)
    rows = changed_rows(material_as_plain(then), material_as_plain(now))
    assert {(row.frame, row.kind, row.key) for row in rows} == {("sides", "changed", ("x",))}
    assert {cell.column for cell in rows[0].cells} >= {"technique", "matrix_destroyed"}
    moved = {
        change.code: (change.then, change.now)
        for change in changed_figures(annual(then, shipped_standards()), annual(now, shipped_standards()))
    }
    assert moved["O6"] == ("3 of 33", "2 of 32")


def test_new_and_vanished_records_are_told_apart():
    one, two = made(clear=30), made(clear=31)
    assert {row.kind for row in changed_rows(material_as_plain(one), material_as_plain(two))} == {"added"}
    assert {row.kind for row in changed_rows(material_as_plain(two), material_as_plain(one))} == {"gone"}


def test_published_rates_stand_beside_ours_only_for_one_outcome_at_one_time(found):
    rows = beside_published(found["outcomes"])
    assert [bool(row["ours"]) for row in rows] == [True, True, False, False, False, False]
    assert rows[2]["not_comparable"] == "not comparable: another outcome"
    assert rows[3]["not_comparable"] == "not comparable: another time: 6 months"
    assert rows[0]["ours"]["code"] == "pna_chemical:phenol"
    assert [round(rows[0][name], 4) for name in ("rate", "low", "high")] == [0.1379, 0.0716, 0.2493]


def test_every_chart_of_the_report_has_a_name_of_its_own(found):
    slugs = [chart.slug for chart in all_charts(found["outcomes"]["any_regrowth"], found["common"])]
    assert len(slugs) == len(set(slugs))


@pytest.mark.parametrize("patients", [0, 1])
def test_an_empty_year_and_one_of_one_patient_are_reported(patients):
    sides = [treated("a")][:patients]
    years = cohort(sides, [seen("a", 365)][:patients])
    empty = material(
        years, first=FIRST, last=years.performed_to, process=process_frame(sides),
        contacts=pd.DataFrame(columns=list(CONTACTS)).astype({"day": "int64"}),
        incidents=pd.DataFrame(columns=list(INCIDENTS)).astype({"day": "int64", "reviewed": bool}), starts_month=4,
    )  # fmt: skip
    stored = snapshot(empty, shipped_standards(), {})
    assert recounted(stored).same
    rows = {row["code"]: row for row in json.loads(stored)["figures"]["criteria"]}
    assert rows["O6"]["verdict"] == ("cannot tell" if patients else "no case")
    assert rows["O6"]["rate"] is None
