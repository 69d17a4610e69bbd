"""Serum is not pus, and two day counts differ by one day."""

from datetime import date

import pytest

from audit.measures.infection import Flag, infection, is_pus, toe_flags
from clinic.vocabulary.review import FluidColour, FluidConsistency
from tests.audit.frames import cohort, toe_seen, treated

OPERATED = date(2025, 1, 31)
PUS = {"fluid_colour": "yellow", "fluid_consistency": "thick"}


def flags(*findings, as_of=date(2025, 5, 30), **values):
    """The codes of the flags that one toe, operated on 31 January 2025, has."""
    frame = toe_flags(cohort([treated("s", toe="t", performed_on=OPERATED, **values)], [], findings, as_of=as_of))
    return {code for code in Flag.codes() if frame.loc[0, code]}


def test_pus_is_one_colour_and_one_consistency():
    pus = {(c, k) for c in FluidColour.codes() for k in FluidConsistency.codes() if is_pus(c, k)}
    assert pus == {
        (colour, consistency)
        for colour in ("yellow", "green")
        for consistency in ("thick", "creamy", "milky", "opaque", "viscous")
    }


def test_pus_on_op_date_plus_29_meets_both_rules():
    assert (date(2025, 3, 1) - OPERATED).days == 29
    assert flags(toe_seen("t", 29, **PUS)) == {"rule_a", "rule_a_signs", "rule_b"}


def test_pus_on_op_date_plus_30_meets_rule_b_only():
    assert flags(toe_seen("t", 30, **PUS)) == {"rule_b"}


def test_pus_on_op_date_plus_31_meets_neither():
    assert flags(toe_seen("t", 31, **PUS)) == set()


@pytest.mark.parametrize(
    "fluid",
    [
        {"fluid_colour": "yellow", "fluid_consistency": "thin"},
        {"fluid_colour": "straw", "fluid_consistency": "thick"},
        {"fluid_colour": "yellow", "fluid_consistency": "not_assessed"},
    ],
)
def test_colour_or_consistency_alone_is_not_pus(fluid):
    assert flags(toe_seen("t", 9, **fluid)) == set()


def test_an_antibiotic_for_serum_is_an_antibiotic_and_nothing_else():
    serum = {"fluid_colour": "straw", "fluid_consistency": "thin", "antibiotic": "gp"}
    assert flags(toe_seen("t", 9, **serum)) == {"antibiotic"}


@pytest.mark.parametrize("diagnosis", ["superficial", "deep", "cellulitis", "osteomyelitis"])
def test_a_diagnosis_meets_rule_a_only_if_superficial(diagnosis):
    expected = {"clinician", "rule_a"} if diagnosis == "superficial" else {"clinician"}
    assert flags(toe_seen("t", 9, diagnosis=diagnosis)) == expected


def test_a_superficial_diagnosis_on_day_30_is_the_clinicians_only():
    assert flags(toe_seen("t", 30, diagnosis="superficial")) == {"clinician"}


def test_an_organism_meets_rule_a_and_with_pus_cells_rule_b():
    assert flags(toe_seen("t", 9, swab="organism")) == {"culture", "rule_a", "rule_a_signs"}
    assert flags(toe_seen("t", 9, swab="organism_pus")) == {"culture", "rule_a", "rule_a_signs", "rule_b"}
    assert flags(toe_seen("t", 9, swab="no_growth")) == set()


def test_a_deep_infection_is_not_rule_a():
    assert flags(toe_seen("t", 9, diagnosis="deep", **PUS)) == {"clinician", "rule_b"}


def test_opened_without_swab_needs_a_local_sign():
    opened = {"wound_opened": "yes"}
    assert flags(toe_seen("t", 9, **opened)) == set()
    assert flags(toe_seen("t", 9, tenderness="yes", **opened)) == {"rule_a", "rule_a_signs"}
    assert flags(toe_seen("t", 9, tenderness="yes", swab="not_assessed", **opened)) == set()
    assert flags(toe_seen("t", 9, tenderness="yes", swab="no_growth", **opened)) == set()


def test_rule_b_needs_two_signs_and_an_act():
    two = {"swelling": "yes", "erythema_mm": 4.0}
    assert flags(toe_seen("t", 9, **two)) == set()
    assert "rule_b" in flags(toe_seen("t", 9, wound_opened="yes", **two))
    assert "rule_b" in flags(toe_seen("t", 9, diagnosis="superficial", **two))
    assert "rule_b" not in flags(toe_seen("t", 9, diagnosis="superficial", swelling="yes"))


@pytest.mark.parametrize("answer", ["not_assessed", "not_applicable", "not_recorded", "no"])
def test_only_yes_is_a_sign(answer):
    signs = {"swelling": answer, "warmth": answer, "tenderness": answer, "erythema_mm": float("nan")}
    assert flags(toe_seen("t", 9, wound_opened="yes", **signs)) == set()


def test_a_pain_score_alone_is_no_sign():
    assert flags(toe_seen("t", 9, wound_opened="yes", pain=8.0)) == set()


def twelve_toes():
    """Twelve patients: toe 0 never seen, toe 1 seen on day 0 and 31 only, toe 2 young, nine seen within 30 days."""
    before = {3: "purulent", 4: "spreading", 5: "inflamed", 6: "not_assessed"}
    sides = [
        treated(
            f"s{place}",
            toe=f"t{place}",
            performed_on=date(2025, 5, 1) if place == 2 else OPERATED,
            infection_at_operation=before.get(place, "none"),
        )
        for place in range(13)
    ]
    findings = [toe_seen("t1", 0, **PUS), toe_seen("t1", 31, **PUS), toe_seen("t2", 5, **PUS)]
    findings += [toe_seen(f"t{place}", 9, **(PUS if place < 7 else {})) for place in range(3, 13)]
    return cohort(sides, [], findings)


def test_the_denominator_is_toes_with_a_contact_on_day_1_to_30():
    found = infection(twelve_toes())
    assert (found.toes, found.contacted, found.without_contact, found.pending) == (13, 10, 2, 1)
    assert found.keys["without_contact"] == ("t0", "t1")
    assert found.keys["pending"] == ("t2",)
    assert (found.present_before, found.absent_before, found.unknown_before) == (2, 7, 1)


def test_each_flag_is_split_by_infection_at_operation():
    found = {flag.flag: flag for flag in infection(twelve_toes()).flags}
    assert list(found) == list(Flag)
    rule = found[Flag.RULE_A]
    assert (rule.events, rule.total, rule.patients) == (4, 10, 10)
    assert (rule.present_before, rule.absent_before, rule.unknown_before) == (2, 1, 1)
    assert rule.keys == ("t3", "t4", "t5", "t6")
    assert rule.interval.low == pytest.approx(0.1682, abs=5e-5)  # Wilson, 4 of 10
    assert rule.interval.high == pytest.approx(0.6873, abs=5e-5)
    assert rule.shown == "hollow"
    assert found[Flag.CLINICIAN].events == 0


def test_two_sides_of_one_toe_are_one_toe():
    sides = [treated(side, toe="t", side=side, performed_on=OPERATED) for side in ("tibial", "fibular")]
    found = infection(cohort(sides, [], [toe_seen("t", 9, **PUS)]))
    assert (found.toes, found.contacted, found.flags[0].events) == (1, 1, 1)
    assert found.flags[0].interval is None


def test_an_empty_cohort_is_counted_as_such():
    found = infection(cohort([]))
    assert (found.toes, found.contacted) == (0, 0)
    assert all((flag.total, flag.interval, flag.shown) == (0, None, "empty") for flag in found.flags)


def test_a_toe_is_pending_until_day_30_is_over():
    sides, seen = [treated("s", toe="t", performed_on=OPERATED)], [toe_seen("t", 9)]
    assert infection(cohort(sides, [], seen, as_of=date(2025, 3, 1))).pending == 1
    assert infection(cohort(sides, [], seen, as_of=date(2025, 3, 2))).contacted == 1
