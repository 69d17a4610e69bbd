"""Practices side by side: what is pooled, what is not and why. Practices stand under codes and in their order, never
ordered by a rate. Knows no Django.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from audit.exchange.manifest import Manifest
from audit.exchange.units import units_of
from audit.measures.definitions import TWELVE_MONTHS, Outcome, Unit
from audit.measures.strata import Count, count, headline_units
from audit.stats.clustered import FEWEST_PATIENTS, design_effect, rao_scott_wilson
from audit.stats.pooling import Pool, Practice, pool
from audit.stats.proportion import Proportion
from audit.stats.releases import FEWEST_PRACTICES, Others, others, refused_cell

BESIDE = "beside it another group could be worked out"


@dataclass(frozen=True, eq=False)
class Member:
    """One practice's sets in the pool, under its code. manifest: of the latest; the rows may be of several years."""

    code: str
    manifest: Manifest
    rows: pd.DataFrame


def years_of(member: Member) -> list[str]:
    """The audit years of the rows, in order."""
    return sorted(str(year) for year in member.rows["audit_year"].unique())


@dataclass(frozen=True)
class Contribution:
    """What one practice brings to a line. hidden: it stands among the others, where nothing can be subtracted."""

    code: str
    found: Count
    hidden: bool = False


@dataclass(frozen=True)
class Line:
    """One group over all practices.

    contributions: every practice with a known outcome here, in the order of the codes. pool: the binomial-normal rate;
    None where `withheld` says why nothing may be pooled. together: events of all known, clustered on patients.
    """

    label: str
    contributions: tuple[Contribution, ...]
    pool: Pool | None
    together: Proportion | None
    withheld: str = ""

    @property
    def practices(self) -> int:
        return sum(each.found.ascertained > 0 for each in self.contributions)


@dataclass(frozen=True)
class Comparison:
    """Everything the group sees of one question. shown: None where `withheld` says why nothing is."""

    outcome: Outcome
    unit: Unit
    headline: Line
    small: Others
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def compare(members: Sequence[Member], outcome: Outcome, unit: Unit) -> Comparison:
    """Pools one outcome over practices. members: codes that differ. Fewer than three: everything is withheld."""
    ordered = sorted(members, key=lambda member: member.code)
    units = {member.code: headline_units(units_of(member.rows, outcome, unit)) for member in ordered}
    headline = line("All matricectomies", units, _definitions(ordered, outcome, unit))
    small = others([each.found.patients_ascertained for each in headline.contributions])
    headline = replace(
        headline,
        contributions=tuple(
            replace(each, hidden=hidden) for each, hidden in zip(headline.contributions, small.together, strict=True)
        ),
    )
    reason = ""
    if len(ordered) < FEWEST_PRACTICES:
        reason = f"{_counted(len(ordered))}; from {FEWEST_PRACTICES} on anything is pooled"
    return Comparison(outcome, unit, headline, small, reason)


def group_lines(
    members: Sequence[Member], outcome: Outcome, unit: Unit, groups: Mapping[str, Mapping[str, pd.DataFrame]],
    rest: Mapping[str, pd.DataFrame] | None = None,
) -> tuple[Line, ...]:  # fmt: skip
    """One line a group, of groups that make up a total which is shown elsewhere.

    groups: by label the units of each practice, as the functions of `groups` give them. rest: units of the total that
    are in no group. What the shown lines leave of the total must be nobody or a figure that may be given itself; until
    then the line with the fewest patients is withheld too.
    """
    definitions = _definitions(members, outcome, unit)
    lines = {label: line(label, own, definitions) for label, own in groups.items()}
    while (shown := [label for label, each in lines.items() if each.pool is not None]) and _telling(
        [*(groups[label] for label in lines if label not in shown), rest or {}]
    ):
        least = min(shown, key=lambda label: sum(_known_patients([groups[label]])))
        lines[least] = replace(lines[least], pool=None, withheld=BESIDE)
    return tuple(lines.values())


def _telling(left_over: Sequence[Mapping[str, pd.DataFrame]]) -> bool:
    """Whether what is left over of a total gives too much away."""
    patients = _known_patients(left_over)
    return any(patients) and bool(refused_cell(patients))


def _known_patients(groups: Sequence[Mapping[str, pd.DataFrame]]) -> list[int]:
    """Patients with a known outcome in any of the groups, a number per practice."""
    known: dict[str, set[str]] = {}
    for own in groups:
        for code, units in own.items():
            found = units.loc[units["status"].isin(["event", "clear"]), "patient_key"]
            known[code] = known.get(code, set()) | set(found)
    return [len(patients) for patients in known.values()]


def line(label: str, units: Mapping[str, pd.DataFrame], definition: Mapping[str, Mapping[str, str]]) -> Line:
    """One line of the comparison. units: of each practice by code. definition: what each practice counted."""
    found = {key: count(own, code=key, label=key) for key, own in units.items()}
    known = {key: each for key, each in found.items() if each.ascertained}
    contributions = tuple(Contribution(key, each) for key, each in sorted(known.items()))
    together = added(units)
    reason = refused_cell([each.patients_ascertained for each in known.values()]) if known else "no known outcome"
    if reason:
        return Line(label, contributions, None, together, reason)
    pooled = pool([_practice(key, each, units[key], definition[key]) for key, each in sorted(known.items())])
    return Line(label, contributions, pooled, together, pooled.withheld)


def added(units: Mapping[str, pd.DataFrame]) -> Proportion | None:
    """Events of all known units of all practices, clustered on the patient; None without a known unit.

    A plain sum: it takes every practice for one. No patient of one practice is taken for one of another.
    """
    events: list[int] = []
    totals: list[int] = []
    for own in units.values():
        known = own[own["status"].isin(["event", "clear"])]
        grouped = known["event"].astype(int).groupby(known["patient_key"])
        events += [int(number) for number in grouped.sum()]
        totals += [int(number) for number in grouped.size()]
    return rao_scott_wilson(events, totals) if totals else None


def _practice(code: str, found: Count, units: pd.DataFrame, definition: Mapping[str, str]) -> Practice:
    return Practice(
        code=code, events=found.events, total=found.ascertained, patients=found.patients_ascertained,
        definition=definition, effective_total=_effective(found, units),
    )  # fmt: skip


def _effective(found: Count, units: pd.DataFrame) -> float | None:
    """Independent units behind a practice's known ones, so that clustering goes into the pool."""
    if found.patients_ascertained == found.ascertained or found.events in (0, found.ascertained):
        return None
    known = units[units["status"].isin(["event", "clear"])]
    grouped = known["event"].astype(int).groupby(known["patient_key"])
    if found.patients_ascertained < FEWEST_PATIENTS:
        return float(found.patients_ascertained)
    effect = design_effect([int(x) for x in grouped.sum()], [int(x) for x in grouped.size()])
    return found.ascertained / max(1.0, effect or 1.0)


def _definition(member: Member, outcome: Outcome, unit: Unit) -> Mapping[str, str]:
    manifest = member.manifest
    return {
        "outcome": outcome.value,
        "unit": unit.value,
        "definitions": manifest.definitions,
        "window": manifest.window,
        "horizon": str(TWELVE_MONTHS.opens_day),
    }


def _definitions(members: Sequence[Member], outcome: Outcome, unit: Unit) -> Mapping[str, Mapping[str, str]]:
    return {member.code: _definition(member, outcome, unit) for member in members}


def _counted(practices: int) -> str:
    return "1 practice is here" if practices == 1 else f"{practices} practices are here"
