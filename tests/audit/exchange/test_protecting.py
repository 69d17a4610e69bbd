"""Rows that leave: widened in order, alike enough, telling nothing; recounted here by other means."""

import random
import tracemalloc
from collections import Counter

import pandas as pd
import pytest

from audit.exchange.columns import NAMES
from audit.exchange.protect import protect, recount
from audit.exchange.release import LENGTH, LETTERS, release
from audit.exchange.rows import raw_rows
from audit.exchange.simulated import Plan, practice
from tests.audit.exchange import sets

PLANS = [sets.PLAN, Plan("small", seed=3, patients=45), Plan("mixed", seed=9, patients=200, second_toe=0.5, techniques=(
    ("pna_chemical", "phenol", 0.6), ("pna_chemical", "tca", 0.015), ("pna_chemical", "sodium_hydroxide", 0.1),
    ("wedge", "none", 0.04), ("matrix_excision", "none", 0.02), ("tna_chemical", "phenol", 0.1),
    ("pna_only", "none", 0.1)))]  # fmt: skip


def seen_of_a_patient(rows: pd.DataFrame) -> dict[str, tuple]:
    """What an outsider sees of each patient code: everything that is no random code and no clinical column."""
    columns = ["age_band", "technique", "side", "matrix_destroyed"]
    found: dict[str, list] = {}
    for _, row in rows.iterrows():
        found.setdefault(row["patient_code"], []).append(tuple(row[name] for name in columns))
    return {code: tuple(sorted(own)) for code, own in found.items()}


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.code)
@pytest.mark.parametrize("k", [5, 8])
def test_every_patient_looks_like_enough_others(plan, k):
    found = protect(sets.raw(plan), k=k)
    rows = release(found, random.Random(4)).assign(true=_true_patients(found, random.Random(4)))

    seen = seen_of_a_patient(rows)
    people: dict[tuple, set] = {}
    for code, person in rows[["patient_code", "true"]].itertuples(index=False):
        people.setdefault(seen[code], set()).add(person)

    assert min(len(each) for each in people.values()) >= k


def _true_patients(found, chance) -> list[str]:
    """The practice's own key of each released row, for the recount only."""
    marked = found.rows.assign(loss_reason=found.rows["patient_key"])
    kept = type(found)(**{**found.__dict__, "rows": marked})
    return release(kept, chance)["loss_reason"].tolist()


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.code)
def test_no_combination_of_outsider_columns_is_rarer(plan):
    """Every subset of the columns, recounted one by one."""
    rows = sets.protected(plan).rows
    names = ["age_band", "technique", "side", "matrix_destroyed"]
    for chosen in range(1, 2 ** len(names)):
        columns = [name for place, name in enumerate(names) if chosen >> place & 1]
        counts = rows.groupby(columns)["patient_key"].nunique()
        assert counts.min() >= 5, columns


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.code)
def test_no_group_shares_a_bad_outcome(plan):
    rows = sets.protected(plan).rows
    for outcome in ("any_regrowth", "symptomatic_recurrence", "re_operation"):
        shared = (rows[outcome] == "event").groupby([rows[name] for name in ("age_band", "technique", "side")]).all()
        assert not shared.any(), outcome


def test_undeclared_a_group_without_events_is_not_shown_either():
    rows = sets.protected(harmless=False).rows
    for outcome in ("any_regrowth", "symptomatic_recurrence"):
        values = rows.groupby(["age_band", "technique", "side"])[outcome].nunique()
        assert rows.empty or values.min() >= 2, outcome


def test_a_rare_agent_is_merged_with_all_that_would_name_it():
    rows = sets.protected(PLANS[2]).rows
    unnamed = rows[rows["agent"] == "merged"]

    assert unnamed["patient_key"].nunique() >= 5
    assert set(unnamed["lavage"]) == set(unnamed["strength_basis"]) == set(unnamed["exposure"]) == {"withheld"}
    assert set(unnamed["exposure_seconds"]) == {""}
    named = rows[~rows["agent"].isin(["merged", "withheld", "none"])].groupby("agent")["patient_key"].nunique()
    assert named.min() >= 5


def test_an_agent_that_cannot_be_hidden_among_others_leaves_with_its_rows():
    plan = Plan("two", seed=8, patients=80, second_toe=0, techniques=(
        ("pna_chemical", "phenol", 0.97), ("pna_chemical", "tca", 0.03)))  # fmt: skip
    raw = sets.raw(plan)
    assert 0 < raw[raw["agent"] == "tca"]["patient_key"].nunique() < 5

    rows = sets.protected(plan).rows

    assert set(rows["agent"]) == {"phenol"}


def test_time_of_exposure_goes_where_it_would_tell_the_outcome():
    """Within some group all who had one time of exposure have regrowth: the whole group loses the column."""
    raw = sets.raw().copy()
    group = raw[(raw["technique"] == "pna_chemical") & (raw["agent"] == "phenol") & (raw["side"] == "fibular")]
    event, clear = group.index[0], group.index[1]
    raw.loc[group.index, ["applications", "seconds_each", "exposure_seconds"]] = ["2", "60", "120"]
    raw.loc[event, ["applications", "seconds_each", "exposure_seconds"]] = ["4", "60", "240"]
    raw.loc[event, "any_regrowth"], raw.loc[clear, "any_regrowth"] = "event", "clear"

    rows = protect(raw).rows
    alone = (
        rows.groupby("toe_key")["side"].transform("size") == rows.groupby("toe_key")["side"].transform("size")[event]
    )
    alike = rows[alone & (rows["age_band"] == rows.loc[event, "age_band"]) & (rows["side"] == "fibular")
                 & (rows["technique"] == "pna_chemical") & (rows["agent"] == "phenol")]  # fmt: skip

    assert set(alike["exposure"]) == {"withheld"}
    assert "240" not in set(rows["exposure_seconds"])


def test_a_small_period_is_refused_with_what_to_do():
    found = protect(raw_rows(practice(Plan("tiny", seed=1, patients=19))))

    assert found.withheld.startswith("19 patients in the period, at least 20 are needed; audit a longer period")
    assert found.rows.empty


def test_k_may_be_raised_and_never_lowered():
    with pytest.raises(ValueError, match="k must be at least 5, not 4"):
        protect(sets.raw(), k=4)


def test_codes_are_random_and_new_for_each_file():
    one, other = sets.released(seed=1), sets.released(seed=2)

    for name in ("row_code", "patient_code", "toe_code"):
        assert not set(one[name]) & set(other[name])
        assert all(len(code) == LENGTH and set(code) <= set(LETTERS) for code in one[name])
    assert one["row_code"].is_unique
    keys = set(sets.raw()["patient_key"]) | set(sets.raw()["side_key"]) | set(sets.raw()["toe_key"])
    assert not keys & {value for name in NAMES for value in one[name]}


def test_the_order_of_rows_says_nothing():
    """Two shuffles of the same rows differ, and neither is the order of the records."""
    found = sets.protected()
    orders = [tuple(_true_patients(found, random.Random(seed))) for seed in (1, 2)]

    assert orders[0] != orders[1]
    assert tuple(found.rows["patient_key"]) not in orders


def test_rows_of_one_patient_stay_together_unless_cut():
    found = sets.protected()
    rows = release(found, random.Random(3))
    sizes = Counter(rows.groupby("patient_code").size())
    own = Counter(found.rows.groupby("cluster_key").size())

    assert sizes == own
    assert found.cut_patients == (found.rows.groupby("patient_key")["cluster_key"].nunique() > 1).sum()


def test_a_patient_has_one_age_band_however_often_operated_on():
    frames = practice(Plan("birthday", seed=2, patients=60))
    twice = frames.sides["patient_key"].iloc[0]
    sides = frames.sides.copy()
    own = sides.index[sides["patient_key"] == twice]
    sides.loc[own, "age_years"] = 17
    later = sides.loc[own[0]].copy()
    later["side_key"], later["toe_key"], later["operation_key"] = "later1", "later2", "later3"
    later["performed_on"] = frames.sides["performed_on"].max()
    later["age_years"] = 18
    sides.loc[len(sides)] = later
    rows = raw_rows(type(frames)(**{**frames.__dict__, "sides": sides}))

    assert set(rows.loc[rows["patient_key"] == twice, "age_band"]) == {"under_18"}


@pytest.mark.parametrize("seed", range(20, 32))
def test_the_sides_of_one_toe_tell_the_same_of_the_toe(seed):
    """What is a fact of the toe is withheld on both sides or on none, or one side would give away the other."""
    rows = sets.protected(Plan(f"toes-{seed}", seed=seed, patients=70, regrowth=0.15, both_edges=0.5)).rows
    for name in ("agent", "strength_percent", "strength_basis", "lavage", "curettage"):
        assert (rows.groupby("toe_key")[name].nunique() == 1).all(), name


def test_a_patient_of_thousands_of_rows_costs_little_memory():
    """A row carries the number of its patient's pattern, not the pattern, which is as long as there are rows."""
    one = sets.protected().rows.iloc[[0]]
    rows = pd.concat([one] * 2000, ignore_index=True)
    rows["toe_key"] = [str(at) for at in range(len(rows))]
    tracemalloc.start()
    recount(rows, rows["patient_key"])
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert peak < 20 * 1024 * 1024
