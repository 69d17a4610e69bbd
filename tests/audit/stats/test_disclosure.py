"""Rows: published tables, an independent recount of every class, and a small example worked by hand."""

from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.referees.disclosure import CALLS
from audit.stats.disclosure import Widening, anonymise, anonymity
from tests.audit.stats.entries import agree, entries

CLEAR, REGROWN = 0, 1
ANY = 99
YEAR = Widening("quarter", {20241: 2024, 20242: 2024, 20251: 2025, 20252: 2025}, "quarter to year")
AGE = Widening("age", {1: 10, 2: 10, 3: 20, 4: 20}, "age band to minor or adult")
SIDE = Widening("side", {1: ANY, 2: ANY}, "side to any")
STEPS = (YEAR, AGE, SIDE)


@pytest.mark.parametrize("entry", entries("disclosure"))
def test_agrees_with_the_reference(entry):
    agree(CALLS[entry["call"]](entry["input"]), entry["expected"], entry["tolerance"])


def recount(quasi, sensitive, patients):
    """Per class of rows: patients, and the values of every sensitive column, by going through the rows."""
    classes = defaultdict(lambda: (set(), defaultdict(set)))
    for row, patient in enumerate(patients):
        who, values = classes[tuple(int(column[row]) for column in quasi.values())]
        who.add(int(patient))
        for name, column in sensitive.items():
            values[name].add(int(column[row]))
    return classes


rows = st.lists(
    st.tuples(
        st.sampled_from(sorted(YEAR.to)), st.sampled_from(sorted(AGE.to)), st.sampled_from(sorted(SIDE.to)),
        st.sampled_from([CLEAR, CLEAR, REGROWN]), st.sampled_from([0, 0, 1]), st.integers(0, 30),
    ),
    min_size=1, max_size=120,
)  # fmt: skip


def columns(drawn):
    quarter, age, side, regrown, infected, patient = (np.array(column) for column in zip(*drawn, strict=True))
    return {"quarter": quarter, "age": age, "side": side}, {"regrowth": regrown, "infection": infected}, patient


@given(rows)
@settings(max_examples=60, deadline=None)
def test_k_and_l_agree_with_a_recount(drawn):
    quasi, sensitive, patients = columns(drawn)
    found = anonymity(quasi, sensitive, patients)
    classes = recount(quasi, sensitive, patients)
    assert found.classes == len(classes)
    assert found.k == min(len(who) for who, _ in classes.values())
    for name in sensitive:
        assert found.distinct[name] == min(len(values[name]) for _, values in classes.values())


@given(rows, st.booleans())
@settings(max_examples=60, deadline=None)
def test_what_is_released_keeps_every_promise(drawn, declared):
    quasi, sensitive, patients = columns(drawn)
    tolerated = {"regrowth": CLEAR, "infection": 0} if declared else {}
    found = anonymise(quasi, sensitive, STEPS, patients=patients, tolerated=tolerated)
    kept = {name: column[found.kept] for name, column in sensitive.items()}

    classes = recount(found.quasi, kept, patients[found.kept])
    uniform = 0
    for who, values in classes.values():
        assert len(who) >= 5
        alone = [name for name in kept if len(values[name]) == 1]
        assert all(declared and values[name] == {0} for name in alone)  # never a class that is all regrown
        uniform += bool(alone)
    assert found.tolerated == uniform
    assert found.dropped_rows == int((~found.kept).sum())
    assert found.dropped_patients == len(set(patients.tolist()) - set(patients[found.kept].tolist()))
    assert found.shown == bool(classes)
    if classes:
        assert found.anonymity.k == min(len(who) for who, _ in classes.values())
        assert found.anonymity == anonymity(found.quasi, kept, patients[found.kept])


@given(rows)
@settings(max_examples=60, deadline=None)
def test_classes_never_overlap(drawn):
    """Whoever knows a patient's exact codes finds one class for them, not two of different width."""
    quasi, sensitive, patients = columns(drawn)
    found = anonymise(quasi, sensitive, STEPS, patients=patients)
    exact = list(zip(*(column[found.kept].tolist() for column in quasi.values()), strict=True))
    shown = list(zip(*(column.tolist() for column in found.quasi.values()), strict=True))
    for codes, line in zip(exact, shown, strict=True):
        fitting = {
            other for other in shown
            if all(wide in reachable(name, code) for name, code, wide in zip(quasi, codes, other, strict=True))
        }  # fmt: skip
        assert fitting == {line}


def reachable(name, code):
    return {code} | {step.to[code] for step in STEPS if step.column == name}


@given(rows, st.randoms(use_true_random=False))
@settings(max_examples=30, deadline=None)
def test_the_order_of_rows_does_not_matter(drawn, random):
    shuffled = random.sample(drawn, len(drawn))
    quasi, sensitive, patients = columns(drawn)
    other_quasi, other_sensitive, other_patients = columns(shuffled)
    found = anonymise(quasi, sensitive, STEPS, patients=patients)
    again = anonymise(other_quasi, other_sensitive, STEPS, patients=other_patients)
    assert (found.widened, found.dropped_rows, found.anonymity) == (again.widened, again.dropped_rows, again.anonymity)


def example(quarters, outcomes=None):
    number = len(quarters)
    outcome = np.arange(number) % 2 if outcomes is None else np.array(outcomes)
    quasi = {"quarter": np.array(quarters), "age": np.full(number, 3), "side": np.full(number, 1)}
    return quasi, {"regrowth": outcome}


def test_detail_is_given_up_in_order_and_only_where_needed():
    """Six in each quarter of 2024 stay; of 2025 six and two must share the year; nothing else is widened."""
    quasi, sensitive = example([20241] * 6 + [20242] * 6 + [20251] * 6 + [20252] * 2)
    found = anonymise(quasi, sensitive, STEPS)
    assert found.quasi["quarter"].tolist() == [20241] * 6 + [20242] * 6 + [2025] * 8
    assert [(one.label, one.rows, one.patients) for one in found.widened] == [
        ("quarter to year", 8, 8), ("age band to minor or adult", 0, 0), ("side to any", 0, 0),
    ]  # fmt: skip
    assert (found.dropped_rows, found.anonymity.k, found.anonymity.classes) == (0, 6, 3)


def test_what_fits_nowhere_is_dropped_and_counted():
    quasi, sensitive = example([20241] * 6 + [20251] * 3)
    found = anonymise(quasi, sensitive, STEPS, patients=np.array([1, 2, 3, 4, 5, 6, 7, 7, 8]))
    assert found.kept.tolist() == [True] * 6 + [False] * 3
    assert (found.dropped_rows, found.dropped_patients) == (3, 2)
    assert all(one.rows == 0 for one in found.widened)  # they were widened in vain, so nobody sees it


def test_a_class_counts_patients_not_rows():
    quasi, sensitive = example([20241] * 12)
    assert anonymise(quasi, sensitive, (), patients=np.repeat(np.arange(4), 3)).withheld
    assert anonymise(quasi, sensitive, (), patients=np.repeat(np.arange(6), 2)).anonymity.k == 6


def test_a_class_that_is_all_clear_passes_only_if_declared_and_all_regrown_never():
    quasi, clear = example([20241] * 8, [CLEAR] * 8)
    _, regrown = example([20241] * 8, [REGROWN] * 8)
    assert anonymise(quasi, clear, STEPS).withheld
    declared = anonymise(quasi, clear, STEPS, tolerated={"regrowth": CLEAR})
    assert declared.shown
    assert declared.tolerated == 1
    assert anonymise(quasi, regrown, STEPS, tolerated={"regrowth": CLEAR}).withheld


def test_nothing_gives_nothing():
    found = anonymise({"quarter": []}, {"regrowth": []}, (Widening("quarter", {}, "quarter to year"),))
    assert (found.withheld, found.dropped_rows, found.anonymity) == ("no rows", 0, None)


def test_without_quasi_identifiers_all_rows_are_one_class():
    assert anonymity({}, {"regrowth": [0, 1, 1]}).k == 3


QUASI, SENSITIVE = example([20241] * 6)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: anonymity({"a": []}, {}), "quasi and sensitive must hold at least 1 row, not 0"),
        (lambda: anonymity({}, {}), "quasi and sensitive must hold at least 1 column, not 0"),
        (lambda: anonymity({"a": [1, 2]}, {"b": [1]}), "b must have one code per row, 2, not 1"),
        (lambda: anonymity({"a": [1.5, 2]}, {}), "a must hold whole-number codes, not float64"),
        (lambda: anonymity({"a": [[1, 2]]}, {}), "a must have one code per row, not the shape"),
        (lambda: anonymise(QUASI, SENSITIVE, STEPS, k=4), "k must be at least 5, not 4"),
        (lambda: anonymise(QUASI, SENSITIVE, STEPS, distinct=1), "distinct must be at least 2, not 1"),
        (
            lambda: anonymise(QUASI, SENSITIVE, [Widening("toe", {}, "toe")]),
            "steps must name a column of quasi, not toe",
        ),
        (
            lambda: anonymise(QUASI, SENSITIVE, [Widening("age", {1: 10}, "age")]),
            "age must have a wider code for age 3",
        ),
        (
            lambda: anonymise(QUASI, SENSITIVE, [Widening("age", {3: 4, 4: 10}, "age")]),
            "age must not widen age to 4, a narrower code",
        ),
        (
            lambda: anonymise(QUASI, SENSITIVE, [Widening("age", {3: 10}, "a"), Widening("age", {10: 3}, "b")]),
            "b must not widen age to 3, a narrower code",
        ),
        (lambda: anonymise(QUASI, SENSITIVE, (), tolerated={"pain": 0}), "tolerated must name a column of sensitive"),
    ],
)
def test_refuses_what_cannot_be_checked(call, words):
    with pytest.raises(ValueError, match=words):
        call()
