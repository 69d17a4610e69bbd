"""Where a unit stands at 12 months, at every boundary of the definition."""

import math
from datetime import date, timedelta
from itertools import combinations_with_replacement, product

import pytest

from audit.measures.definitions import Outcome
from audit.measures.outcomes import UNIT_COLUMNS, side_states, unit_frame
from tests.audit.frames import AS_OF, LAST_MATURE, cohort, seen, treated, without_matrix

SPICULE = {"extent": "spicule"}
INGROWN = {"extent": "spicule", "symptoms": "ingrowth"}


def units(sides, findings=(), *, outcome="any_regrowth", unit="side", as_of=AS_OF):
    return unit_frame(cohort(sides, findings, as_of=as_of), outcome, unit).set_index("unit_key", drop=False)


def one(findings=(), *, outcome="any_regrowth", **values):
    return units([treated("s", **values)], findings, outcome=outcome).loc["s"]


def standing(row):
    return row["status"], bool(row["late_event"])


@pytest.mark.parametrize(
    ("day", "status"), [(334, "lost"), (335, "clear"), (365, "clear"), (425, "clear"), (426, "clear"), (700, "clear")]
)
def test_a_clear_finding_counts_from_day_335_on(day, status):
    assert one([seen("s", day)])["status"] == status


@pytest.mark.parametrize(
    ("day", "expected"),
    [(1, ("event", False)), (334, ("event", False)), (335, ("event", False)), (425, ("event", False)),
     (426, ("lost", True)), (700, ("lost", True))],
)  # fmt: skip
def test_an_event_counts_until_day_425(day, expected):
    row = one([seen("s", day, **SPICULE)])
    assert standing(row) == expected
    assert row["first_event_day"] == day
    assert row["event"] == (expected[0] == "event")


def test_an_event_after_the_window_leaves_a_clear_unit_clear_and_is_listed_as_late():
    row = one([seen("s", 360), seen("s", 500, **SPICULE)])
    assert standing(row) == ("clear", True)
    assert row["first_event_day"] == 500


def test_a_clear_finding_after_an_event_changes_nothing():
    assert standing(one([seen("s", 200, **SPICULE), seen("s", 365)])) == ("event", False)
    assert standing(one([seen("s", 430, **SPICULE), seen("s", 500)])) == ("lost", True)


@pytest.mark.parametrize(
    ("performed_on", "status"), [(LAST_MATURE, "event"), (LAST_MATURE + timedelta(days=1), "pending")]
)
def test_eligible_exactly_when_day_425_is_the_cut_off(performed_on, status):
    row = one([seen("s", 200, **SPICULE)], performed_on=performed_on)
    assert row["status"] == status
    assert row["first_event_day"] == 200
    assert row["event"] == (status == "event")


def test_the_cut_off_of_the_demonstration_year():
    assert date(2024, 3, 31) + timedelta(days=425) == AS_OF == date(2025, 5, 30)


def test_regrown_wins_on_one_day():
    row = one([seen("s", 365, review="a", **SPICULE), seen("s", 365, review="b")])
    assert row["status"] == "event"
    row = one([seen("s", 365, review="a"), seen("s", 365, review="b", **SPICULE)])
    assert row["status"] == "event"


def test_day_0_is_ignored():
    assert one([seen("s", 0, **SPICULE)])["status"] == "lost"
    assert one([seen("s", 0, **SPICULE), seen("s", 365)])["status"] == "clear"
    assert one([seen("s", 1, **SPICULE), seen("s", 365)])["status"] == "event"


@pytest.mark.parametrize("extent", ["cannot_tell", "not_assessed", "not_applicable"])
def test_what_could_not_be_told_shows_nothing(extent):
    assert one([seen("s", 365, extent=extent)])["status"] == "lost"


@pytest.mark.parametrize("extent", ["spicule", "strip", "full"])
def test_every_extent_of_nail_is_regrowth(extent):
    assert one([seen("s", 365, extent=extent)])["status"] == "event"


@pytest.mark.parametrize(
    ("symptoms", "extent", "status"),
    [
        ("ingrowth", "none", "event"), ("ingrowth", "cannot_tell", "event"), ("ingrowth", "not_applicable", "event"),
        ("pain", "spicule", "event"), ("infected", "full", "event"), ("none", "full", "clear"),
        ("pain", "none", "clear"), ("infected", "none", "clear"), ("pain", "cannot_tell", "lost"),
        ("pain", "not_assessed", "lost"),
        ("none", "not_assessed", "clear"), ("cannot_tell", "spicule", "lost"), ("not_assessed", "full", "lost"),
    ],
)  # fmt: skip
def test_symptomatic_recurrence(symptoms, extent, status):
    row = one([seen("s", 365, symptoms=symptoms, extent=extent)], outcome="symptomatic_recurrence")
    assert row["status"] == status


@pytest.mark.parametrize(
    ("retreatment", "status"),
    [("none", "clear"), ("clipped", "clear"), ("planned", "clear"), ("done", "event"), ("elsewhere", "event"),
     ("not_assessed", "lost")],
)  # fmt: skip
def test_re_operation_counts_when_done_not_when_planned(retreatment, status):
    assert one([seen("s", 365, retreatment=retreatment)], outcome="re_operation")["status"] == status


def test_a_later_operation_on_record_is_a_re_operation():
    row = one([seen("s", 365)], outcome="re_operation", reoperated_day=250.0)
    assert (row["status"], row["first_event_day"], row["source"]) == ("event", 250, "operator")
    row = one(outcome="re_operation", reoperated_day=250.0)
    assert (row["status"], row["source"], row["examined"]) == ("event", "operation_record", True)
    assert one(outcome="re_operation", reoperated_day=426.0)["status"] == "lost"


@pytest.mark.parametrize(
    ("died_day", "status"), [(150.0, "censored_death"), (334.0, "censored_death"), (335.0, "lost")]
)
def test_death_before_the_window_is_counted_apart(died_day, status):
    assert one([seen("s", 100)], died_day=died_day)["status"] == status


def test_an_event_before_death_stays_an_event():
    assert one([seen("s", 100, **SPICULE)], died_day=150.0)["status"] == "event"


def test_re_operation_is_counted_apart_for_the_other_outcomes():
    assert one([seen("s", 100)], reoperated_day=250.0)["status"] == "censored_reoperation"
    assert one([seen("s", 100), seen("s", 365)], reoperated_day=250.0)["status"] == "censored_reoperation"
    assert one([seen("s", 100, **SPICULE)], reoperated_day=250.0)["status"] == "event"
    assert one([seen("s", 250, **SPICULE)], reoperated_day=250.0)["status"] == "event"
    assert one([seen("s", 345)], reoperated_day=400.0)["status"] == "clear"
    assert one(reoperated_day=425.0)["status"] == "censored_reoperation"


def test_a_re_operation_after_the_window_does_not_excuse_a_missing_outcome():
    assert one(reoperated_day=426.0)["status"] == "lost"


def test_a_finding_that_is_clear_because_of_a_re_operation_elsewhere_is_not_clear():
    assert one([seen("s", 365, retreatment="elsewhere")])["status"] == "censored_reoperation"
    assert one([seen("s", 365, retreatment="done", **SPICULE)])["status"] == "event"
    assert one([seen("s", 340), seen("s", 365, retreatment="elsewhere")])["status"] == "clear"


def test_a_side_counted_apart_says_since_when():
    sides = [treated("told"), treated("record", reoperated_day=250.0), treated("dead", died_day=90.0), treated("lost")]
    states = side_states(cohort(sides, [seen("told", 200, retreatment="elsewhere")]), Outcome.ANY_REGROWTH)
    assert {key: state.ended_day for key, state in states.items()} == {
        "told": 200, "record": 250, "dead": 90, "lost": None,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("day", "status"), [(0.0, "censored_amputation"), (425.0, "censored_amputation"), (426.0, "lost")]
)
def test_an_amputation_is_counted_apart_like_a_re_operation(day, status):
    assert one([seen("s", 100)] if day > 100 else [], amputated_day=day)["status"] == status


def test_an_outcome_known_before_the_amputation_stays():
    assert one([seen("s", 345)], amputated_day=400.0)["status"] == "clear"
    assert one([seen("s", 100, **SPICULE)], amputated_day=200.0)["status"] == "event"
    assert one([seen("s", 365)], amputated_day=200.0)["status"] == "censored_amputation"
    assert one(outcome="re_operation", amputated_day=200.0)["status"] == "censored_amputation"


def test_what_came_first_is_counted_apart():
    assert one(amputated_day=100.0, reoperated_day=200.0)["status"] == "censored_amputation"
    assert one(amputated_day=200.0, died_day=300.0)["status"] == "censored_amputation"
    assert one(amputated_day=200.0, died_day=100.0)["status"] == "censored_death"
    assert one(reoperated_day=100.0, died_day=200.0)["status"] == "censored_reoperation"
    assert one(reoperated_day=float("nan"), died_day=200.0)["status"] == "censored_death"


def test_regrowth_does_not_apply_without_matricectomy():
    sides, findings = [without_matrix("s")], [seen("s", 365, extent="not_applicable", symptoms="none")]
    assert units(sides, findings).loc["s", "status"] == "not_applicable"
    assert units(sides, findings, outcome="symptomatic_recurrence").loc["s", "status"] == "clear"


BOTH_SIDES = [treated("t", toe="toe", side="tibial"), treated("f", toe="toe", side="fibular", exposure_seconds=90.0)]


def test_both_sides_treated_and_only_the_tibial_recurs():
    findings = [seen("t", 365, **INGROWN), seen("f", 365)]
    by_side, by_toe = units(BOTH_SIDES, findings), units(BOTH_SIDES, findings, unit="toe")
    assert by_side["status"].to_dict() == {"t": "event", "f": "clear"}
    assert by_toe["status"].to_dict() == {"toe": "event"}
    toe = by_toe.loc["toe"]
    assert (toe["side"], toe["exposure_seconds"], toe["side_keys"]) == ("both", 90.0, ("t", "f"))


def test_a_toe_is_known_only_if_all_its_treated_sides_are():
    assert units(BOTH_SIDES, [seen("t", 365)], unit="toe").loc["toe", "status"] == "lost"
    assert units(BOTH_SIDES, [seen("t", 365), seen("f", 340)], unit="toe").loc["toe", "status"] == "clear"
    assert units(BOTH_SIDES, [seen("t", 365, **SPICULE)], unit="toe").loc["toe", "status"] == "event"


def test_a_toe_is_counted_apart_only_if_all_its_sides_are():
    gone = [treated("t", toe="toe", side="tibial", reoperated_day=100.0), BOTH_SIDES[1]]
    assert units(gone, [], unit="toe").loc["toe", "status"] == "lost"
    both = [{**side, "reoperated_day": 100.0} for side in BOTH_SIDES]
    assert units(both, [], unit="toe").loc["toe", "status"] == "censored_reoperation"


def test_exposure_of_a_toe_is_missing_only_if_all_sides_are():
    half = [BOTH_SIDES[0], {**BOTH_SIDES[1], "exposure_seconds": math.nan}]
    assert units(half, unit="toe").loc["toe", "exposure_seconds"] == 60.0
    none = [{**side, "exposure_seconds": math.nan} for side in BOTH_SIDES]
    assert math.isnan(units(none, unit="toe").loc["toe", "exposure_seconds"])


def test_a_patient_is_eligible_if_any_side_is_and_a_pending_event_does_not_count():
    early, young = (
        treated("early", patient="p"),
        treated("young", patient="p", performed_on=AS_OF - timedelta(days=300)),
    )
    findings = [seen("early", 365), seen("young", 100, **SPICULE)]
    patient = units([early, young], findings, unit="patient").loc["p"]
    assert (patient["status"], patient["side_keys"]) == ("clear", ("early", "young"))
    assert math.isnan(patient["first_event_day"])
    assert units([young], findings[1:], unit="patient").loc["p", "status"] == "pending"


def test_a_patient_with_both_kinds_of_operation_has_a_row_for_each():
    mixed = [treated("with", patient="p"), without_matrix("without", patient="p")]
    found = unit_frame(cohort(mixed, [seen("with", 365)]), "symptomatic_recurrence", "patient")
    assert found[["unit_key", "matricectomy", "status"]].values.tolist() == [["p", True, "clear"], ["p", False, "lost"]]


def test_a_patient_with_several_techniques_says_so():
    mixed = [treated("a", patient="p"), treated("b", patient="p", technique="wedge", agent="none")]
    row = units(mixed, unit="patient").loc["p"]
    assert (row["technique"], row["agent"], row["side"]) == ("several", "several", "fibular")


@pytest.mark.parametrize(
    ("observer", "means", "source", "examined"),
    [
        ("operator", "in_person", "operator", True), ("colleague", "in_person", "colleague", True),
        ("independent", "in_person", "independent", True), ("independent", "photo", "photo", True),
        ("patient", "photo", "photo", False), ("patient", "questionnaire", "questionnaire", False),
        ("patient", "phone", "phone", False), ("operator", "phone", "phone", False),
        ("other_provider", "letter", "other_provider", True), ("other_provider", "in_person", "other_provider", True),
    ],
)  # fmt: skip
def test_how_an_outcome_became_known(observer, means, source, examined):
    row = one([seen("s", 365, observer=observer, means=means)])
    assert (row["source"], row["examined"]) == (source, examined)


def test_a_clear_unit_is_known_from_its_last_clear_finding_in_or_after_the_window():
    row = one([seen("s", 340), seen("s", 400, means="phone"), seen("s", 420, means="photo", extent="cannot_tell")])
    assert (row["source"], row["review_key"], row["examined"]) == ("phone", "r-s-400", True)


def test_an_event_is_known_from_the_last_review_in_the_window_or_else_from_the_first_event():
    early = seen("s", 200, observer="colleague", **SPICULE)
    assert one([early])["source"] == "colleague"
    row = one([early, seen("s", 365, means="questionnaire", observer="patient", extent="cannot_tell")])
    assert (row["source"], row["examined"]) == ("questionnaire", True)
    assert one([early, seen("s", 426, means="phone")])["source"] == "colleague"


def test_a_reported_event_is_not_an_examined_one():
    row = one([seen("s", 365, observer="patient", means="questionnaire", **SPICULE)])
    assert (row["status"], row["examined"]) == ("event", False)


def test_only_the_lost_have_a_reason():
    lost, known = one(loss_reason="moved"), one([seen("s", 365)], loss_reason="moved")
    assert (lost["loss_reason"], lost["source"]) == ("moved", "not_applicable")
    assert known["loss_reason"] == "not_applicable"


def test_an_empty_cohort_has_every_column():
    for unit in ("side", "toe", "patient"):
        found = unit_frame(cohort([]), "any_regrowth", unit)
        assert list(found.columns) == list(UNIT_COLUMNS)
        assert len(found) == 0


@pytest.mark.parametrize(("outcome", "unit"), [("regrowth", "side"), ("any_regrowth", "edge")])
def test_refuses_an_unknown_outcome_or_unit(outcome, unit):
    with pytest.raises(ValueError, match="is not a valid"):
        unit_frame(cohort([]), outcome, unit)


def told_plainly(findings, reoperated):
    """The status of a mature side whose patient lives, in plain words: a second way to the same answer.

    findings: pairs of day and extent.
    """
    findings = [(day, extent) for day, extent in findings if 0 < day <= reoperated]
    first = min((day for day, extent in findings if extent == "spicule"), default=math.inf)
    last = 425 if first < math.inf else math.inf
    clear = any(extent == "none" and 335 <= day <= last and day < first for day, extent in findings)
    if first <= 425:
        return "event", False
    if clear:
        return "clear", first < math.inf
    if reoperated <= 425:
        return "censored_reoperation", False
    return "lost", first < math.inf


def test_every_small_history_against_a_second_implementation():
    single = list(product((0, 100, 334, 335, 425, 426, 500), ("none", "spicule", "cannot_tell")))
    histories = [()] + [(one,) for one in single] + list(combinations_with_replacement(single, 2))
    cases = {
        f"{place}-{reoperated}": (history, reoperated)
        for place, history in enumerate(histories)
        for reoperated in (100.0, 400.0, 425.0, 426.0, math.inf)
    }
    sides = [treated(key, reoperated_day=math.nan if day == math.inf else day) for key, (_, day) in cases.items()]
    findings = [
        seen(key, day, extent=extent, review=f"r-{key}-{place}")
        for key, (history, _) in cases.items()
        for place, (day, extent) in enumerate(history)
    ]

    found = units(sides, findings)

    assert len(found) == 1265
    assert {key: standing(row) for key, row in found.iterrows()} == {
        key: told_plainly(*case) for key, case in cases.items()
    }


def test_a_clear_look_after_the_window_does_not_hide_a_later_regrowth_from_the_worst_case():
    row = one([seen("s", 500, extent="none"), seen("s", 600, extent="full")])

    assert (row["status"], bool(row["late_event"])) == ("lost", True)
