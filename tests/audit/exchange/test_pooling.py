"""Practices side by side: the arithmetic, when nothing is pooled, order, clustering, case mix, reference values."""

import json
import random
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from audit.charts import telling
from audit.exchange import groups, pictures
from audit.exchange.before import checks
from audit.exchange.case_mix import case_mix
from audit.exchange.manifest import manifest_of
from audit.exchange.package import rows_csv
from audit.exchange.pooled import BESIDE, Line, Member, added, compare, group_lines
from audit.exchange.protect import protect
from audit.exchange.release import release
from audit.exchange.round_trip import round_trip
from audit.exchange.rows import raw_rows
from audit.exchange.simulated import Plan, practice
from audit.exchange.units import units_of
from audit.measures.definitions import Outcome, Unit
from audit.measures.material import within
from audit.measures.outcomes import unit_frame
from audit.measures.strata import count, headline_units
from audit.report import yearly
from audit.stats.binomial_normal import binomial_normal
from audit.stats.funnel import Unit as FunnelUnit
from audit.stats.funnel import funnel
from audit.stats.funnel_limits import funnel_limits
from audit.stats.pooling import Practice, pool
from audit.stats.proportion import wilson
from audit.stats.releases import refused_cell

REFERENCE = json.loads((Path(__file__).parents[3] / "fixtures" / "reference" / "pooling.json").read_text())


def member(plan: Plan, code: str, *, seed: int = 1) -> Member:
    found = protect(raw_rows(practice(plan)))
    assert found.shown, found.withheld
    rows = release(found, random.Random(seed))
    return Member(code, manifest_of(found, rows, rows_csv(rows), group="G-TESTXY", practice="P-AB34"), rows)


@pytest.fixture(scope="module")
def six() -> list[Member]:
    plans = [(60, 0.05), (90, 0.08), (150, 0.04), (45, 0.1), (200, 0.06), (80, 0.03)]
    return [
        member(Plan(f"s{at}", seed=at, patients=patients, regrowth=rate), f"P-{9 - at}", seed=at)
        for at, (patients, rate) in enumerate(plans)
    ]


@pytest.fixture(scope="module")
def demo(demo_houses):
    """The two practices of the demonstration, known by 30 May 2025: years 1 and 2 together."""
    return {
        code: within(house.frames, date(2022, 4, 1), date(2024, 3, 31)) for code, house in demo_houses.items()
    }  # fmt: skip


def test_the_two_demo_practices_give_6_of_112(demo):
    """Any regrowth, partial avulsion with phenol, per nail procedure: 5.4 % (2.5 to 11.2 %), from protected rows."""
    units = {}
    for code, frames in demo.items():
        rows = release(protect(raw_rows(frames)), random.Random(3))
        found = headline_units(units_of(rows, Outcome.ANY_REGROWTH, Unit.TOE))
        units[code] = found[(found["technique"] == "pna_chemical") & (found["agent"] == "phenol")]

    together = added(units)

    assert (together.events, together.total) == (6, 112)
    assert round(together.rate * 100, 1) == 5.4
    own, outside = wilson(6, 112), proportion_confint(6, 112, method="wilson")
    assert (own.low, own.high) == pytest.approx(outside)
    assert [round(limit * 100, 1) for limit in (own.low, own.high)] == [2.5, 11.2]
    # Clustered on the patient the limits are as wide or wider.
    assert together.low <= own.low + 1e-9
    assert together.high >= own.high - 1e-9


def test_two_practices_show_nothing(demo):
    members = []
    for at, frames in enumerate(demo.values()):
        found = protect(raw_rows(frames))
        rows = release(found, random.Random(at))
        manifest = manifest_of(found, rows, rows_csv(rows), group="G-TESTXY", practice="P-AB34")
        members.append(Member(f"P-{at}", manifest, rows))

    found = compare(members, Outcome.ANY_REGROWTH, Unit.TOE)

    assert not found.shown
    assert found.withheld == "2 practices are here; from 3 on anything is pooled"
    assert found.headline.pool is None
    assert pictures.funnel_chart(found) is None
    assert "Pooled" not in telling.alt_text(pictures.forest(found))


def test_the_tca_cell_of_two_is_in_no_row_of_the_file(demo):
    raw = raw_rows(demo["example-harbour"])
    assert raw[raw["agent"] == "tca"]["patient_key"].nunique() == 2

    rows = release(protect(raw), random.Random(1))

    assert "tca" not in rows.to_csv()
    assert (rows["agent"] == "merged").sum() >= 5


def test_what_protection_left_intact_comes_back_the_same(demo):
    """Every figure that is called intact is the report's own, digit for digit; the others say why not."""
    frames = demo["tarnwick"]
    report = yearly.build(frames, unit="toe", outcome="any_regrowth", standard=None)
    protected = protect(raw_rows(frames))
    trip = round_trip(report, protected, release(protected, random.Random(1)))
    by_label = {figure.label: figure for figure in trip.figures}

    phenol = by_label["Partial nail avulsion, phenol"]
    assert phenol.own.startswith("6 of 82 known, 104 eligible")
    assert phenol.intact
    wedge = by_label["Wedge excision (Winograd)"]
    assert not wedge.intact
    assert "rows left out" in wedge.lost
    assert len(trip.intact) >= 10
    assert all(figure.lost for figure in trip.changed)
    assert all(not figure.lost for figure in trip.intact)
    assert trip.width is not None


def test_without_protection_every_figure_comes_back(demo):
    """The counting itself loses nothing: rows of the whole cohort, no protection, same counts for every unit."""
    frames = demo["tarnwick"]
    raw = raw_rows(frames)
    rows = raw.assign(row_code=raw["side_key"], toe_code=raw["toe_key"], patient_code=raw["patient_key"])
    for outcome in Outcome:
        for unit in Unit:
            own = count(headline_units(unit_frame(frames, outcome, unit)))
            again = count(headline_units(units_of(rows, outcome, unit)))
            for name in ("events", "ascertained", "eligible", "lost", "pending", "censored", "patients", "late_events"):
                assert getattr(own, name) == getattr(again, name), (outcome, unit, name)
            assert own.interval == again.interval


def test_order_is_that_of_the_codes_never_of_a_rate(six):
    found = compare(six, Outcome.ANY_REGROWTH, Unit.SIDE)
    codes = [each.code for each in found.headline.contributions]
    rates = [each.found.events / each.found.ascertained for each in found.headline.contributions]

    assert codes == sorted(codes)
    assert rates != sorted(rates)
    assert rates != sorted(rates, reverse=True)
    assert [row.label for row in pictures.forest(found).rows][: len(codes)] == codes
    shuffled = compare(six[::-1], Outcome.ANY_REGROWTH, Unit.SIDE)
    assert shuffled.headline.pool == found.headline.pool


def test_the_pool_stands_on_effective_sizes(six):
    """The same counts without clustering give another, narrower, answer where clustering matters."""
    found = compare(six, Outcome.ANY_REGROWTH, Unit.SIDE)
    contributions = found.headline.contributions
    naive = pool([
        Practice(each.code, each.found.events, each.found.ascertained, each.found.ascertained, {})
        for each in contributions
    ])  # fmt: skip

    assert found.headline.pool.rate == pytest.approx(naive.rate, abs=0.01)
    sizes = [each.found.interval.effective_total for each in contributions if each.found.interval]
    totals = [each.found.ascertained for each in contributions if each.found.interval]
    assert all(size <= total for size, total in zip(sizes, totals, strict=True))
    assert any(size < total for size, total in zip(sizes, totals, strict=True))
    assert found.headline.pool.predicted[0] <= found.headline.pool.low


def test_the_limits_drawn_are_those_that_judge(six, monkeypatch):
    """Twelve practices that differ more than chance gives: widened limits, at every dot and between."""
    rates = (1, 2, 2, 5, 8, 10, 14, 18, 22, 26, 30, 34)
    wide = funnel([FunnelUnit(f"P-{at:02}", events, 100, 90) for at, events in enumerate(rates)])
    assert wide.spread.variance > 0
    monkeypatch.setattr(pictures, "placed", lambda found: wide)

    chart = pictures.funnel_chart(compare(six, Outcome.ANY_REGROWTH, Unit.SIDE))

    line = next(line for line in chart.lines if line.size == 90)
    spread = (wide.target * (1 - wide.target) / 90 + wide.spread.variance) ** 0.5
    assert line.warning_high == pytest.approx(wide.target + 1.959964 * spread)
    assert line.alarm_high == pytest.approx(wide.target + 3.090232 * spread)
    assert line.warning_high > funnel_limits(wide.target, 90).warning_high + 0.05
    assert any("limits drawn, and judged by, are widened" in note for note in chart.notes)
    assert chart.target_label == "crude rate of the practices shown"


def test_a_small_practice_stands_only_among_the_others(six):
    tiny = six[0]
    few = tiny.rows[tiny.rows["patient_code"].isin(tiny.rows["patient_code"].unique()[:6])]
    members = [*six, Member("P-A", tiny.manifest, few)]

    found = compare(members, Outcome.ANY_REGROWTH, Unit.SIDE)
    labels = [row.label for row in pictures.forest(found).rows]

    assert "P-A" not in labels
    assert "Others" in labels
    hidden = [each for each in found.headline.contributions if each.hidden]
    assert len(hidden) >= 3 or not found.headline.pool.shown


def test_how_many_the_others_are_is_not_told_where_one_of_them_is_nearly_all(six):
    """The large one would take itself away and have the small ones."""
    members = [cut_to(six[0], "P-A", 4), cut_to(six[1], "P-B", 6), six[2]]

    found = compare(members, Outcome.ANY_REGROWTH, Unit.SIDE)
    (others,) = pictures.forest(found).rows

    assert found.small.withheld
    assert "known" not in others.note


def test_a_dominant_practice_is_not_pooled(six):
    large = member(Plan("large", seed=99, patients=900), "P-Z")

    found = compare([*six[:2], large], Outcome.ANY_REGROWTH, Unit.SIDE)

    assert "of the patients, at most 70%" in found.headline.withheld
    assert found.headline.pool is None


def test_groups_are_pooled_only_where_three_contribute(six):
    lines = group_lines(six, Outcome.ANY_REGROWTH, Unit.SIDE, groups.by_technique(six, Outcome.ANY_REGROWTH, Unit.SIDE))

    for line in lines:
        if line.practices < 3:
            assert line.pool is None
            assert line.withheld
    assert any(line.pool is not None and line.pool.shown for line in lines)


def left_over(shown: list[Line], headline: Line) -> list[int]:
    """Known patients of each practice that a reader gets by taking the shown lines from the headline."""
    whole = {each.code: each.found.patients_ascertained for each in headline.contributions}
    for line in shown:
        for each in line.contributions:
            whole[each.code] -= each.found.patients_ascertained
    return list(whole.values())


def test_no_line_can_be_had_by_taking_the_others_from_the_headline(six):
    """One practice alone uses sodium hydroxide: its line is refused, and the headline less all others would be it."""
    members = []
    for at, one in enumerate(six):
        one_patient = ~one.rows["patient_code"].duplicated(keep=False)
        only = one.rows[(one.rows["agent"] == "phenol") & one_patient]
        if at == 0:
            other = only["patient_code"].isin(only["patient_code"].unique()[:9])
            only = only.assign(agent=only["agent"].mask(other, "sodium_hydroxide"))
        members.append(Member(one.code, one.manifest, only))
    question = Outcome.ANY_REGROWTH, Unit.SIDE
    headline = compare(members, *question).headline
    kinds = (groups.by_technique, groups.by_side)

    by_technique, by_side = (group_lines(members, *question, kind(members, *question)) for kind in kinds)

    assert headline.pool is not None
    assert "1 contributing" in next(line.withheld for line in by_technique if "odium" in line.label)
    assert [line for line in by_technique if line.withheld == BESIDE]
    for lines in (by_technique, by_side):
        rest = left_over([line for line in lines if line.pool is not None], headline)
        assert not any(rest) or not refused_cell(rest)


def test_times_are_not_shown_beside_a_rest_of_one_practice(six):
    """All but one practice tell every time: the line of phenol less all bands would be that practice's."""
    members = []
    for at, one in enumerate(six):
        rows = one.rows[(one.rows["agent"] == "phenol") & (one.rows["technique"] == "pna_chemical")].copy()
        rows["exposure"] = "recorded"
        rows["exposure_seconds"] = "60"
        few = rows["patient_code"].isin(rows["patient_code"].unique()[: 4 if at == 1 else 0])
        rows.loc[few, "exposure"] = "withheld"
        members.append(Member(one.code, one.manifest, rows))
    question = Outcome.ANY_REGROWTH, Unit.SIDE
    technique = group_lines(members, *question, groups.by_technique(members, *question))

    lines = groups.exposure_lines(members, *question, technique)

    assert any(line.pool is not None for line in technique)
    assert [line for line in lines if line.pool is not None] == []
    assert BESIDE in {line.withheld for line in lines}


def test_times_are_not_shown_where_their_sum_is_not(six):
    question = Outcome.ANY_REGROWTH, Unit.SIDE
    technique = group_lines(six, *question, groups.by_technique(six, *question))
    hidden = [replace(line, pool=None, withheld=BESIDE) for line in technique]

    assert any(line.pool is not None for line in groups.exposure_lines(six, *question, technique))
    assert not any(line.pool is not None for line in groups.exposure_lines(six, *question, hidden))


def test_withheld_times_are_no_band_of_not_recorded(six):
    exposures = groups.by_exposure(six, Outcome.ANY_REGROWTH, Unit.SIDE)
    not_recorded = sum(len(units) for units in exposures["not recorded"].values())
    really = sum(((each.rows["exposure"] == "not_recorded") & (each.rows["agent"] == "phenol")).sum() for each in six)

    assert not_recorded == really


def test_what_bands_and_agents_do_not_hold_is_said(six):
    """Counted here by other means, from the rows of the files."""
    kept = {"technique": "pna_chemical", "agent": "phenol", "exposure": "withheld"}
    rows = six[0].rows
    some = rows.index[(rows["technique"] == "pna_chemical") & (rows["agent"] == "phenol")][:7]
    hidden = rows.copy()
    hidden.loc[some, "exposure"] = "withheld"
    told = [replace(six[0], rows=hidden), *six[1:]]
    number = sum(sum(all(row[name] == code for name, code in kept.items()) for row in each.rows.to_dict("records"))
                 for each in told)  # fmt: skip

    assert groups.withheld_times(told).startswith(f"In no band: {number} treated sides")
    none = [replace(each, rows=each.rows[each.rows["exposure"] != "withheld"]) for each in told]
    assert groups.withheld_times(none) == ""
    merged = replace(six[0], rows=rows.assign(agent="merged"))
    assert "not the same ones in every practice" in groups.unnamed_agents([merged, *six[1:]])
    named = [replace(each, rows=each.rows[each.rows["agent"] != "merged"]) for each in six]
    assert groups.unnamed_agents(named) == ""


def test_expected_events_add_up_to_the_observed(six):
    found = case_mix(six, Outcome.ANY_REGROWTH, Unit.SIDE, compare(six, Outcome.ANY_REGROWTH, Unit.SIDE).headline)

    assert not found.withheld
    assert [row.code for row in found.rows] == sorted(row.code for row in found.rows)
    assert sum(row.expected for row in found.rows) == pytest.approx(sum(row.observed for row in found.rows))
    for row in found.rows:
        assert row.low <= row.ratio <= row.high


def mix_of(members):
    return case_mix(
        members, Outcome.ANY_REGROWTH, Unit.SIDE, compare(members, Outcome.ANY_REGROWTH, Unit.SIDE).headline
    )


WIDER = {
    "age_band": lambda rows: "any",
    "side": lambda rows: rows["side"].replace({"tibial": "edge", "fibular": "edge"}),
    "technique": lambda rows: rows["technique"].replace({"tna_chemical": "other_with_matricectomy"}),
}


@pytest.mark.parametrize("name", WIDER)
def test_a_practice_whose_file_tells_less_is_not_explained_by_that(six, name):
    """A widened word that only one file has would be a level of its own: its practice would be adjusted away."""
    one = replace(six[0], rows=six[0].rows.assign(**{name: WIDER[name]}))
    alike = [replace(each, rows=each.rows.assign(**{name: WIDER[name]})) for each in six]

    found = mix_of([one, *six[1:]])

    assert found.rows == mix_of(alike).rows
    assert any("a file" in note for note in found.notes)
    # The files tell the age of some patients only, so it is not adjusted for and nobody is told that it was.
    assert "age_band" not in found.terms
    assert not any("age_band" in note for note in found.notes)
    assert "age" not in found.mix_of.split()
    assert mix_of(six).mix_of == "technique and side"


def test_without_anything_to_adjust_for_all_are_expected_alike(six):
    """One technique, no side, no age told: everybody's expected rate is the pool's."""
    own = {"age_band": "any", "side": "edge", "technique": "pna_chemical"}
    found = mix_of([replace(each, rows=each.rows.assign(**own)) for each in six])
    known = {each.code: each.found.ascertained
             for each in compare(six, Outcome.ANY_REGROWTH, Unit.SIDE).headline.contributions}  # fmt: skip

    assert found.mix_of == ""
    assert len({round(row.expected / known[row.code], 9) for row in found.rows}) == 1


def cut_to(one: Member, code: str, patients: int) -> Member:
    """The same practice with its first patients only."""
    first = one.rows["patient_code"].unique()[:patients]
    return Member(code, one.manifest, one.rows[one.rows["patient_code"].isin(first)])


def test_who_stands_among_the_others_has_no_row_of_its_own_in_any_table(six):
    """Of 60, 90, 150, 12, 15 and 6 patients three stand together; a row of two of them would give the third away."""
    small = [cut_to(one, one.code, size) for one, size in zip(six[3:], (12, 15, 6), strict=True)]
    members = [*six[:3], *small]
    headline = compare(members, Outcome.ANY_REGROWTH, Unit.SIDE).headline
    hidden = {each.code for each in headline.contributions if each.hidden}

    found = case_mix(members, Outcome.ANY_REGROWTH, Unit.SIDE, headline)

    assert len(hidden) >= 3
    assert not found.withheld
    assert {row.code for row in found.rows} == {each.code for each in headline.contributions} - hidden


def test_nothing_is_expected_where_the_headline_is_refused(six):
    large = member(Plan("large", seed=99, patients=900), "P-Z")
    members = [*six[:2], large]
    headline = compare(members, Outcome.ANY_REGROWTH, Unit.SIDE).headline

    found = case_mix(members, Outcome.ANY_REGROWTH, Unit.SIDE, headline)

    assert found.rows == ()
    assert "of the patients, at most 70%" in found.withheld


def test_checks_say_what_fails(six):
    found = compare(six, Outcome.ANY_REGROWTH, Unit.SIDE)
    by_label = {check.label: check for check in checks(six, found, refused=2, apart=1)}

    assert not by_label["Same definitions"].passed
    assert by_label["Files refused at intake"].found == "2"
    assert by_label["Practices"].passed
    assert not by_label["Loss below the event rate"].passed


def test_the_periods_compared_are_those_of_all_rows(six):
    """A practice with two years is not of the same period as those with the later one alone."""
    first = six[0]
    before = first.rows.assign(audit_year="2022-04/2023-03")
    longer = replace(first, rows=pd.concat([before, first.rows], ignore_index=True))
    found = compare(six, Outcome.ANY_REGROWTH, Unit.SIDE)

    def same_period(members: list[Member]):
        return next(check for check in checks(members, found) if check.label == "Same period")

    assert same_period(six).passed
    mixed = same_period([longer, *six[1:]])
    assert not mixed.passed
    assert mixed.found == "Apr 2022 to Mar 2024, Apr 2023 to Mar 2024"
    as_one = replace(first, rows=first.rows.assign(audit_year="2022-04/2024-03"))
    assert same_period([longer, as_one]).passed


def test_other_definitions_are_not_pooled(six):
    other = [replace(each.manifest, definitions="2") for each in six[:1]]
    members = [Member(six[0].code, other[0], six[0].rows), *six[1:]]

    found = compare(members, Outcome.ANY_REGROWTH, Unit.SIDE)

    assert "definitions differ" in found.headline.withheld


@pytest.mark.parametrize("name", ["glmm-pritz", "glmm-nielweise", "glmm-alike"])
def test_the_pooled_rate_matches_published_data_sets(name):
    """Reference values by R metafor (rma.glmm, measure PLO) on data sets of R metadat.

    Pritz MB. Neurosurg Q 1997;7:273-285; Niel-Weise BS et al. Intensive Care Med 2007;33:2058-2068.
    """
    entry = next(each for each in REFERENCE if each["id"] == name)
    events, totals = entry["input"]["events"], entry["input"]["totals"]
    practices = [
        Practice(f"P-{at:02}", hits, size, size, {"outcome": "x"})
        for at, (hits, size) in enumerate(zip(events, totals, strict=True))
    ]

    found = pool(practices)

    tolerance = 2e-4
    assert found.model.mean == pytest.approx(entry["expected"]["mu"], abs=tolerance)
    assert found.model.error == pytest.approx(entry["expected"]["se"], abs=tolerance)
    assert found.model.deviation**2 == pytest.approx(entry["expected"]["tau2"], abs=5e-4)
    assert binomial_normal(events, totals).mean == pytest.approx(found.model.mean, abs=1e-9)
