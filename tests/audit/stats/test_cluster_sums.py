"""Many strata at once against the same groups one by one."""

import numpy as np
import pytest

from audit.stats.clustered import rao_scott_wilson, rao_scott_wilson_by_stratum


def rows_of(random, patients, strata, *, mixed, sides=4):
    """Units in random order: stratum, patient and event; `mixed` lets a patient have units in several strata."""
    patient = np.repeat(np.arange(patients), random.integers(1, sides + 1, patients))
    random.shuffle(patient)
    stratum = random.integers(0, strata, patient.size) if mixed else random.integers(0, strata, patients)[patient]
    return stratum, patient, random.random(patient.size) < 0.2


def one_by_one(stratum, patient, event, count):
    """The same through the function for one group, with a dictionary of patients."""
    found = []
    for place in range(count):
        table = {}
        for key, hit in zip(patient[stratum == place].tolist(), event[stratum == place].tolist(), strict=True):
            had = table.setdefault(key, [0, 0])
            had[0] += hit
            had[1] += 1
        found.append(rao_scott_wilson(*zip(*table.values(), strict=True)) if table else None)
    return found


@pytest.mark.parametrize("mixed", [False, True])
@pytest.mark.parametrize(("patients", "strata", "sides"), [(300, 7, 4), (40, 40, 3), (2000, 3, 2), (12, 2, 700)])
def test_many_strata_at_once_are_the_same_as_one_by_one(mixed, patients, strata, sides):
    """Few and many patients a stratum, sparse tables, and more units a patient than a byte can count."""
    random = np.random.default_rng(patients)
    rows = rows_of(random, patients, strata, mixed=mixed, sides=sides)
    found = rao_scott_wilson_by_stratum(*rows, count=strata)
    expected = one_by_one(*rows, strata)
    assert len(found) == strata
    for one, other in zip(found, expected, strict=True):
        assert one == other if other else one.withheld == "no cases"


def test_narrow_types_and_far_apart_patient_numbers_change_nothing():
    random = np.random.default_rng(5)
    stratum, patient, event = rows_of(random, 200, 3, mixed=True)
    plain = rao_scott_wilson_by_stratum(stratum, patient, event, count=3)
    narrow = rao_scott_wilson_by_stratum(
        stratum.astype(np.uint8), patient.astype(np.uint8), event.astype(np.uint64), count=3
    )
    far = rao_scott_wilson_by_stratum(stratum, patient * 10**12, event.astype(float), count=3)
    assert plain == narrow == far


def test_a_stratum_without_units_keeps_its_place():
    found = rao_scott_wilson_by_stratum([2] * 6, [0, 1, 2, 3, 4, 5], [1, 0, 0, 0, 0, 0], count=4)
    assert [one.withheld for one in found] == ["no cases", "no cases", "", "no cases"]
    assert [one.withheld for one in rao_scott_wilson_by_stratum([], [], [], count=2)] == ["no cases"] * 2


@pytest.mark.parametrize(
    ("rows", "count", "words"),
    [
        (([0, 3], [0, 1], [0, 1]), 3, "strata must be from 0 to 2, not 3"),
        (([0, -1], [0, 1], [0, 1]), 3, "strata must be from 0 to 2, not -1"),
        (([0, 1], [0, -4], [0, 1]), 2, "patients must be from 0 to 9223372036854775807, not -4"),
        (([0, 1], [0, 1], [0, 2]), 2, "events must be from 0 to 1, not 2"),
        (([0, 1], [0, 1.5], [0, 1]), 2, "patients must be whole numbers, not 1.5"),
        (([0, 1], [0, 1], [0, float("nan")]), 2, "events must be whole numbers, not nan"),
        (([0, 1], [0], [0, 1]), 2, "patients must have the length of strata, 2, not 1"),
        (([0, 1], [[0, 1]], [0, 1]), 2, "patients must be one list, not 2-dimensional"),
        (([], [], []), 0, "count must be at least 1, not 0"),
    ],
)
def test_refuses_what_is_no_list_of_units(rows, count, words):
    with pytest.raises(ValueError, match=f"^{words}$"):
        rao_scott_wilson_by_stratum(*rows, count=count)
