"""An adversary with the practice's identified appointment list tries to find people among the rows."""

import random
from collections import defaultdict
from dataclasses import dataclass
from itertools import permutations

import pandas as pd
import pytest

from audit.exchange.columns import DAY_LIMITS
from audit.exchange.protect import protect
from audit.exchange.release import release
from audit.exchange.simulated import Plan
from tests.audit.exchange import sets

K = 5
DAYS = ("any_regrowth_not_by_day", "any_regrowth_by_day")
PLANS = [sets.PLAN, Plan("many-toes", seed=41, patients=160, second_toe=0.4), Plan("few", seed=42, patients=50)]


def bands_of(age: int) -> set[str]:
    """Every band in which somebody of this age may stand."""
    own = "under_18" if age < 18 else "18_to_64" if age < 65 else "65_and_over"
    return {own, "any", *(["18_and_over"] if age >= 18 else [])}


def appointments(plan: Plan) -> pd.DataFrame:
    """One line a patient: age at the first operation, how many toes, and the days of the visits after it."""
    cohort = sets.cohort(plan)
    first = cohort.sides.sort_values("performed_on").groupby("patient_key").first()
    toes = cohort.sides.groupby("patient_key")["toe_key"].nunique()
    visits = cohort.findings.merge(cohort.sides[["side_key", "patient_key"]], on="side_key")
    days = visits.groupby("patient_key")["day"].agg(set)
    return pd.DataFrame({"age": first["age_years"], "toes": toes, "days": days})


def released(plan: Plan) -> tuple[pd.DataFrame, list[str]]:
    """The rows as they leave, and, for the referee alone, whose each one is."""
    found = sets.protected(plan)
    rows = release(found, random.Random(9))
    marked = type(found)(**{**found.__dict__, "rows": found.rows.assign(loss_reason=found.rows["patient_key"])})
    return rows, release(marked, random.Random(9))["loss_reason"].tolist()


@dataclass(frozen=True)
class Shown:
    """What the rows of one patient code show of their owner."""

    age_band: str
    toes: int
    not_by: tuple[int, ...]
    by: tuple[int, ...]


def shown(rows: pd.DataFrame) -> dict[str, Shown]:
    found = {}
    for code, own in rows.groupby("patient_code"):
        limits = [[int(value) for value in own[name] if value] for name in DAYS]
        found[code] = Shown(own["age_band"].iloc[0], own["toe_code"].nunique(), *map(tuple, limits))
    return found


def candidates(codes: dict[str, Shown], person: pd.Series, *, knows_visits: bool) -> set[str]:
    """Patient codes that may be this person, from what the list says.

    A patient may stand under one code for each toe, so a code may show fewer toes than the person had, never more.
    With the days of visits the adversary also knows that nobody was seen after the last one.
    """
    bands = bands_of(int(person["age"]))
    return {
        code for code, own in codes.items()
        if own.age_band in bands and own.toes <= person["toes"]
        and (not knows_visits or fits_visits(own, person["days"]))
    }  # fmt: skip


def fits_visits(own: Shown, days: object) -> bool:
    """Whether the limits of days in the rows go with the visits the person had."""
    visits = days if isinstance(days, set) else set()
    for limit in own.not_by:
        later = [each for each in DAY_LIMITS if each > limit]
        if not any(limit <= day < (later[0] if later else float("inf")) for day in visits):
            return False
    return all(any(DAY_LIMITS[DAY_LIMITS.index(limit) - 1] < day <= limit for day in visits) for limit in own.by)


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.code)
def test_an_adversary_with_the_appointment_list_finds_nobody(plan):
    """With dates, ages and toes no row is linked; with the day of every visit as well fewer than one in k."""
    rows, owners = released(plan)
    codes = shown(rows)
    people: dict[str, set[str]] = defaultdict(set)
    for code, owner in zip(rows["patient_code"], owners, strict=True):
        people[code].add(owner)
    linked = {True: 0, False: 0}
    for key, person in appointments(plan).iterrows():
        own = {code for code, who in people.items() if who == {key}}
        for knows_visits in linked:
            found = candidates(codes, person, knows_visits=knows_visits)
            if own and found == own:
                linked[knows_visits] += owners.count(key)
            # Whoever is among the candidates at all is one of at least k people.
            if own & found and not knows_visits:
                assert len(set().union(*(people[code] for code in found))) >= K

    assert linked[False] == 0
    assert linked[True] < len(rows) / K


def with_what_neighbours_know(plan: Plan) -> pd.DataFrame:
    """Some have died, lost the toe or moved; everybody in the street knows who."""
    raw = sets.raw(plan).copy()
    people = raw["patient_key"].unique()
    outcomes = ["any_regrowth", "symptomatic_recurrence", "re_operation"]
    for place, status in ((0, "censored_death"), (3, "censored_death"), (7, "censored_amputation")):
        own = raw["patient_key"] == people[place]
        raw.loc[own, outcomes] = status
        raw.loc[own, "loss_reason"] = ""
    return raw


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.code)
def test_a_neighbour_who_knows_of_a_death_a_lost_toe_or_a_move_finds_nobody(plan):
    """What a row says of it is said of none or of at least k patients of the same age, technique, sides and toes."""
    raw = with_what_neighbours_know(plan)
    assert raw[raw["loss_reason"] == "moved"]["patient_key"].nunique() > 0
    found = protect(raw)
    rows = found.rows
    everything = ["age_band", "technique", "side", "matrix_destroyed"]
    toes = rows.groupby("cluster_key")["toe_key"].transform("nunique")

    for name, value in (
        ("any_regrowth", "censored_death"), ("any_regrowth", "censored_amputation"), ("loss_reason", "moved"),
        ("re_operation", "censored_death"), ("symptomatic_recurrence", "censored_amputation"),
    ):  # fmt: skip
        has = rows[rows[name] == value]
        alike = has.groupby([*(has[each] for each in everything), toes[has.index]])["patient_key"].nunique()
        assert alike.empty or alike.min() >= K, (name, value)
    unnamed = rows[rows["loss_reason"] == "merged"]
    assert unnamed.empty or unnamed["patient_key"].nunique() >= K
    assert found.left_out_rows >= (raw["any_regrowth"] == "censored_death").sum()


def test_a_move_stands_with_another_reason_not_alone_under_another_name():
    raw = sets.raw().copy()
    rows = protect(raw).rows
    unnamed = raw.loc[rows.index[rows["loss_reason"] == "merged"], "loss_reason"]

    assert "moved" in set(unnamed)
    assert len(set(unnamed)) > 1
    raw["loss_reason"] = raw["loss_reason"].mask(raw["loss_reason"] != "", "moved")
    assert protect(raw).left_out_rows > protect(sets.raw()).left_out_rows


def test_the_adversary_would_succeed_without_protection():
    """The same attack on unprotected rows, with the number of toes kept: somebody is alone with age band and toes."""
    raw = sets.raw(PLANS[2])
    toes = raw.groupby("patient_key")["toe_key"].nunique()
    alike = raw.drop_duplicates("patient_key").assign(toes=lambda one: one["patient_key"].map(toes))
    sizes = alike.groupby(["age_band", "toes", "technique", "side", "agent"]).size()

    assert sizes.min() == 1


Toe = tuple[str, str, tuple[str, ...]]


def operated(rows: pd.DataFrame, code: str, toe: str) -> dict[str, list[Toe]]:
    """Technique, matricectomy and sides of each toe by patient. code, toe: names of the columns that say whose."""
    found: dict[str, list[Toe]] = defaultdict(list)
    for (owner, _), own in rows.groupby([code, toe]):
        sides = tuple(sorted(own["side"]))
        found[owner].append((own["technique"].iloc[0], own["matrix_destroyed"].iloc[0], sides))
    return found


def may_be(seen: Toe, real: Toe) -> bool:
    """Whether a toe in the file may be this one, perhaps under wider words."""
    named = seen[0] == real[0] or (seen[0].startswith("other_") and seen[1] == real[1])
    known = tuple(sorted("edge" if side in {"tibial", "fibular"} else side for side in real[2]))
    return named and seen[2] in {real[2], known}


def insider(
    rows: pd.DataFrame, own: dict[str, set[str]], plan: Plan, *, knows_visits: bool
) -> tuple[int, int]:  # fmt: skip
    """What somebody finds who knows the theatre list as well: technique and sides of every toe.

    own: by patient the codes that are this patient's alone. Gives how many are found for certain, and among how many
    people the one lies who is hidden worst.
    """
    codes, seen = shown(rows), operated(rows, "patient_code", "toe_code")
    real = operated(sets.raw(plan), "patient_key", "toe_key")
    linked, least = 0, len(real)
    for key, person in appointments(plan).iterrows():
        found = {
            code for code in candidates(codes, person, knows_visits=knows_visits)
            if any(all(map(may_be, seen[code], some)) for some in permutations(real[key], len(seen[code])))
        }  # fmt: skip
        if own.get(key) and own[key] & found:
            linked += found == own[key]
            least = min(least, sum(bool(codes & found) for codes in own.values()))
    return linked, least


@pytest.mark.parametrize("knows_visits", [False, True])
@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.code)
def test_who_knows_the_theatre_list_finds_people_in_rows_without_protection_and_few_with_it(plan, knows_visits):
    """The attack has power: on the rows as recorded, ages in bands and days in limits already, it finds people."""
    raw = sets.raw(plan)
    bare = raw.assign(patient_code=raw["patient_key"], toe_code=raw["toe_key"])
    plain, _ = insider(bare, {key: {key} for key in raw["patient_key"]}, plan, knows_visits=knows_visits)
    rows, owners = released(plan)
    own: dict[str, set[str]] = defaultdict(set)
    for code, owner in zip(rows["patient_code"], owners, strict=True):
        own[owner].add(code)
    linked, least = insider(rows, own, plan, knows_visits=knows_visits)

    assert plain > 0
    if knows_visits:
        assert linked < min(plain, len(own) / K)
    else:
        assert linked == 0
        assert least >= K


def test_the_same_person_has_another_code_in_every_file():
    found = sets.protected()
    one, two = (release(found, random.Random(seed)) for seed in (1, 2))

    assert not set(one["patient_code"]) & set(two["patient_code"])
