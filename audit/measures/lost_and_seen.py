"""Who was lost beside who was seen: losses are rarely random. Knows no Django."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.definitions import Status
from audit.measures.strata import clustered, headline_units, shown_by, technique_label
from audit.stats.proportion import Proportion
from clinic.vocabulary.procedure import Agent, Answer, LocalInfection, NailSide, Sex, Technique
from clinic.vocabulary.terms import Term, label_of

AGES = ((0, 11), (12, 17), (18, 39), (40, 59), (60, 79), (80, 150))


@dataclass(frozen=True)
class Compared:
    """One trait: how many of the seen and of the lost have it. seen_share, lost_share: with interval; None if thin."""

    group: str
    label: str
    seen: int
    lost: int
    seen_share: Proportion | None
    lost_share: Proportion | None


@dataclass(frozen=True)
class LostAndSeen:
    """Traits of the sides whose outcome is known and of those lost. Ages in years, quartiles or None."""

    seen: int
    lost: int
    seen_age: tuple[float, float, float] | None
    lost_age: tuple[float, float, float] | None
    rows: tuple[Compared, ...]


def lost_and_seen(cohort: Cohort, units: pd.DataFrame) -> LostAndSeen:
    """The eligible units of the headline, each described by its first side.

    units: one row per unit, as `outcomes.unit_frame` gives them for the cohort. No test: the groups are small, and a
    difference that cannot be shown is no proof that there is none.
    """
    own = headline_units(units)
    own = own[own["status"].isin([Status.EVENT, Status.CLEAR, Status.LOST])]
    traits = cohort.sides.drop(columns="patient_key").set_index("side_key")
    rows = traits.loc[[keys[0] for keys in own["side_keys"]]].reset_index(drop=True)
    rows = rows.assign(patient_key=own["patient_key"].to_numpy(), status=own["status"].to_numpy())
    is_lost = rows["status"] == Status.LOST
    seen, lost = rows[~is_lost], rows[is_lost]
    compared = [_compared(group, label, has, seen, lost) for group, label, has in _traits(rows)]
    return LostAndSeen(len(seen), len(lost), _ages(seen), _ages(lost), tuple(one for one in compared if one))


Has = Callable[[pd.DataFrame], pd.Series]


def _traits(rows: pd.DataFrame) -> Sequence[tuple[str, str, Has]]:
    found: list[tuple[str, str, Has]] = []
    for low, high in AGES:
        label = f"{low} to {high} years" if high < 150 else f"{low} years and over"
        found.append(
            ("Age", label, lambda each, low=low, high=high: each["age_years"].between(low, high).fillna(False))
        )
    found.append(("Age", "not recorded", lambda each: each["age_years"].isna()))
    found += _terms("Sex", "sex", Sex)
    pairs = sorted({(code, agent) for code, agent in zip(rows["technique"], rows["agent"], strict=True)})
    for technique in Technique:
        for agent in Agent:
            if (technique.value, agent.value) in pairs:
                found.append(("Technique", technique_label(technique, agent), _is(technique.value, agent.value)))
    found += _terms("Side", "side", NailSide)
    found += [("Toe", "hallux", lambda each: each["toe"] == 1), ("Toe", "lesser toe", lambda each: each["toe"] > 1)]
    found += _terms("Earlier surgery on the same side", "prior_surgery", Answer)
    found += _terms("Infection at operation", "infection_at_operation", LocalInfection)
    return found


def _terms(group: str, column: str, terms: type[Term]) -> list[tuple[str, str, Has]]:
    return [
        (group, label_of(terms, code), lambda each, code=code: each[column] == code) for code in terms.codes()
    ]  # fmt: skip


def _is(technique: str, agent: str) -> Has:
    return lambda each: (each["technique"] == technique) & (each["agent"] == agent)


def _compared(group: str, label: str, has: Has, seen: pd.DataFrame, lost: pd.DataFrame) -> Compared | None:
    """Nothing where nobody has the trait."""
    in_seen, in_lost = has(seen).astype(bool), has(lost).astype(bool)
    if not (in_seen.any() or in_lost.any()):
        return None
    shares = [_share(each, hit) for each, hit in ((seen, in_seen), (lost, in_lost))]
    return Compared(group, label, int(in_seen.sum()), int(in_lost.sum()), *shares)


def _share(units: pd.DataFrame, hit: pd.Series) -> Proportion | None:
    shown = shown_by(len(units), int(units["patient_key"].nunique()))
    return clustered(units, hit) if shown.value in {"full", "hollow"} else None


def _ages(units: pd.DataFrame) -> tuple[float, float, float] | None:
    ages = units["age_years"].dropna().astype("float64")
    if not len(ages):
        return None
    low, middle, high = (float(value) for value in ages.quantile([0.25, 0.5, 0.75]))
    return low, middle, high
