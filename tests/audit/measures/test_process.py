"""Counts of process from rows written down by hand."""

import pandas as pd
import pytest

from audit.measures.process import CRITERIA, TOES, process
from tests.audit.frames import NAN

TOE = {
    "performed_on": pd.Timestamp("2024-05-01"), "consent_recorded": True, "site_matched": True, "dose_state": "within",
    "weight_recorded": True, "perfusion_assessed": True, "live_phases": 3, "tourniquet_used": True,
    "tourniquet_minutes": 9.0, "removal_witnessed": True, "doses": 1, "batches_recorded": True, "takes_agent": True,
    "exposure_recorded": True,
}  # fmt: skip


def counted(*rows):
    toes = [
        {"toe_key": f"t{place}", "patient_key": f"p{place}", **TOE, **row} for place, row in enumerate(rows)
    ]  # fmt: skip
    return {found.criterion.code: found for found in process(pd.DataFrame(toes, columns=list(TOES)))}


def test_every_criterion_is_counted_in_order():
    assert list(counted({})) == [criterion.code for criterion in CRITERIA]


@pytest.mark.parametrize(
    ("code", "miss"),
    [
        ("P1", {"consent_recorded": False}),
        ("P2", {"site_matched": False}),
        ("P3", {"live_phases": 2}),
        ("P4a", {"removal_witnessed": False}),
        ("P4b", {"tourniquet_minutes": NAN}),
        ("P5", {"tourniquet_minutes": 20.1}),
        ("P6", {"dose_state": "above"}),
        ("P6", {"dose_state": "no_weight", "weight_recorded": False}),
        ("P6", {"dose_state": "incomplete"}),
        ("P6", {"weight_recorded": False}),
        ("P7", {"batches_recorded": False}),
        ("P8", {"exposure_recorded": False}),
        ("P9", {"perfusion_assessed": False}),
    ],
)
def test_what_is_missed_is_named(code, miss):
    found = counted({}, miss, {})[code]

    assert (found.met, found.of, found.met_keys, found.missed) == (2, 3, ("t0", "t2"), ("t1",))
    assert found.apart == ()


def test_without_an_approved_limit_a_dose_is_counted_apart():
    found = counted({}, {"dose_state": "no_limit"}, {"dose_state": "none_given"}, {"dose_state": "at_limit"})["P6"]

    assert (found.met, found.of, found.missed, found.apart) == (2, 2, (), ("t1",))


def test_every_criterion_says_what_it_counts():
    for criterion in CRITERIA:
        assert criterion.definition.endswith(".")
        assert criterion.numerator
        assert criterion.denominator
        assert 0 < criterion.target <= 1


@pytest.mark.parametrize(
    ("code", "outside"),
    [
        ("P4a", {"tourniquet_used": False, "removal_witnessed": False}),
        ("P4b", {"tourniquet_used": False, "tourniquet_minutes": NAN}),
        ("P5", {"tourniquet_minutes": NAN}),
        ("P8", {"takes_agent": False, "exposure_recorded": False}),
    ],
)
def test_what_does_not_belong_is_in_no_denominator(code, outside):
    found = counted({}, outside)[code]

    assert (found.met, found.of, found.missed) == (1, 1, ())


def test_exactly_20_minutes_are_within():
    assert counted({"tourniquet_minutes": 20.0})["P5"].met == 1


def test_no_case_has_no_share():
    found = counted({"tourniquet_used": False})["P5"]

    assert (found.of, found.found) == (0, None)


def test_two_toes_of_one_patient_stand_on_one_patient():
    rows = [{"patient_key": f"p{place // 2}"} for place in range(20)]
    found = counted(*rows, {"patient_key": "p9", "live_phases": 0})["P3"]

    assert (found.patients, found.found.clusters) == (10, 10)
