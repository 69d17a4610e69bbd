"""An adversary with the practice's identified appointment list tries to find people among the rows."""

import random
from collections import defaultdict

import pandas as pd
import pytest

from audit.exchange.columns import DAY_LIMITS
from audit.exchange.release import release
from audit.exchange.simulated import Plan
from tests.audit.exchange import sets

K = 5
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


def candidates(rows: pd.DataFrame, person: pd.Series, *, knows_visits: bool) -> set[str]:
    """Patient codes that may be this person, from what the list says.

    A patient may stand under one code for each toe, so a code may show fewer toes than the person had, never more.
    With the days of visits the adversary also knows that nobody was seen after the last one.
    """
    found = set()
    for code, own in rows.groupby("patient_code"):
        if own["age_band"].iloc[0] not in bands_of(int(person["age"])):
            continue
        if own["toe_code"].nunique() > person["toes"]:
            continue
        if knows_visits and not fits_visits(own, person["days"]):
            continue
        found.add(code)
    return found


def fits_visits(own: pd.DataFrame, days: object) -> bool:
    """Whether the limits of days in the rows go with the visits the person had."""
    visits = sorted(days) if isinstance(days, set) else []
    for name in ("any_regrowth_not_by_day", "any_regrowth_by_day"):
        for value in own[name]:
            if not value:
                continue
            limit = int(value)
            at = DAY_LIMITS.index(limit)
            if name.endswith("not_by_day"):
                upper = DAY_LIMITS[at + 1] if at + 1 < len(DAY_LIMITS) else float("inf")
                if not any(limit <= day < upper for day in visits):
                    return False
            elif not any(DAY_LIMITS[at - 1] < day <= limit for day in visits):
                return False
    return True


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.code)
def test_nobody_is_found_with_certainty_from_dates_ages_and_toes(plan):
    rows, owners = released(plan)
    people: dict[str, set[str]] = defaultdict(set)
    for code, owner in zip(rows["patient_code"], owners, strict=True):
        people[code].add(owner)
    linked = 0
    for key, person in appointments(plan).iterrows():
        found = candidates(rows, person, knows_visits=False)
        own = {code for code, who in people.items() if who == {key}}
        if own and found == own:
            linked += len(rows[rows["patient_code"].isin(own)])
        # Whoever is among the candidates at all is one of at least k people.
        if own & found:
            assert len(set().union(*(people[code] for code in found))) >= K

    assert linked == 0


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.code)
def test_fewer_than_one_in_k_rows_even_with_the_day_of_every_visit(plan):
    """More than an outsider is taken to know: the days of all visits as well."""
    rows, owners = released(plan)
    own_rows: dict[str, int] = defaultdict(int)
    for owner in owners:
        own_rows[owner] += 1
    codes: dict[str, set[str]] = defaultdict(set)
    for code, owner in zip(rows["patient_code"], owners, strict=True):
        codes[owner].add(code)
    linked = sum(
        own_rows[key]
        for key, person in appointments(plan).iterrows()
        if codes[key] and candidates(rows, person, knows_visits=True) == codes[key]
    )

    assert linked < len(rows) / K


def test_the_adversary_would_succeed_without_protection():
    """The same attack on unprotected rows, with the number of toes kept: somebody is alone with age band and toes."""
    raw = sets.raw(PLANS[2])
    toes = raw.groupby("patient_key")["toe_key"].nunique()
    alike = raw.drop_duplicates("patient_key").assign(toes=lambda one: one["patient_key"].map(toes))
    sizes = alike.groupby(["age_band", "toes", "technique", "side", "agent"]).size()

    assert sizes.min() == 1


def test_the_same_person_has_another_code_in_every_file():
    found = sets.protected()
    one, two = (release(found, random.Random(seed)) for seed in (1, 2))

    assert not set(one["patient_code"]) & set(two["patient_code"])
