"""What a lead should look at in the records before the figures are read: one rule a line, with the toes it finds."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

from audit.measures.definitions import Outcome, Status
from audit.measures.material import Material
from audit.measures.outcomes import side_states
from clinic.schedule import point_of
from clinic.vocabulary.procedure import LocalInfection
from clinic.vocabulary.review import Healing


class Weight(StrEnum):
    """blocks: a figure stands on a gap that the practice can fill. look: worth a look; the figure says it, too."""

    BLOCKS = "blocks"
    LOOK = "look"


@dataclass(frozen=True)
class Rule:
    code: str
    label: str
    meaning: str
    weight: Weight


@dataclass(frozen=True)
class Found:
    """keys: nail procedures, once each. of: nail procedures the rule looks at."""

    rule: Rule
    keys: tuple[str, ...]
    of: int


_BLOCKS, _LOOK = Weight.BLOCKS, Weight.LOOK
RULES = (
    Rule("exposure", "Exposure not recorded", "An agent was used, without its seconds or a total", _BLOCKS),
    Rule("tourniquet", "Tourniquet not timed", "Used, without the time on or off", _BLOCKS),
    Rule("clear_after_event", "Clear after an event", "A later review contradicts the event, which stands", _BLOCKS),
    Rule("twice", "Same side operated on twice", "Within a year, and neither record says that it revises the other",
         _BLOCKS),
    Rule("outcome", "Outcome missing", "The window has closed and nobody knows the 12-month outcome", _LOOK),
    Rule("open", "Window still open", "Pending: in no percentage until day 425", _LOOK),
    Rule("outside", "Review outside every window", "An extra review; it bounds the estimate over time", _LOOK),
    Rule("strength", "Strength of the agent not recorded", "Left out of the comparison by exposure", _LOOK),
    Rule("before", "State before surgery not recorded", "Infection at operation not recorded or not assessed", _LOOK),
    Rule("age", "Age not recorded", "Left out where the lost stand beside the seen", _LOOK),
    Rule("healing", "Never seen healed", "No review found it dry", _LOOK),
)  # fmt: skip
TWICE_WITHIN_DAYS = 365


def quality(material: Material) -> tuple[Found, ...]:
    """Every rule with what it finds, in order; a rule that finds nothing keeps its line."""
    looks = _Looks(material)
    return tuple(_found(rule, looks) for rule in RULES)


def blockers(found: tuple[Found, ...]) -> int:
    """Nail procedures under the rules that block, each rule counted on its own."""
    return sum(len(each.keys) for each in found if each.rule.weight is Weight.BLOCKS)


class _Looks:
    """What the rules look at, worked out once."""

    def __init__(self, material: Material) -> None:
        self.material = material
        self.sides = material.cohort.sides
        self.toes = self.sides.drop_duplicates("toe_key")
        states = side_states(material.cohort, Outcome.SYMPTOMATIC_RECURRENCE)
        self.status = pd.Series([states[str(key)].status for key in self.sides["side_key"]], index=self.sides.index)


def _found(rule: Rule, looks: _Looks) -> Found:
    keys = _FINDS[rule.code](looks)
    return Found(rule, tuple(dict.fromkeys(keys)), len(looks.toes))


def _of_sides(looks: _Looks, wanted: pd.Series) -> list[str]:
    return [str(key) for key in looks.sides.loc[wanted.to_numpy(bool), "toe_key"]]


def _exposure(looks: _Looks) -> list[str]:
    return _of_sides(looks, looks.sides["takes_agent"].astype(bool) & looks.sides["exposure_seconds"].isna())


def _tourniquet(looks: _Looks) -> list[str]:
    process = looks.material.process
    wanted = process["tourniquet_used"].astype(bool) & process["tourniquet_minutes"].isna()
    return [str(key) for key in process.loc[wanted.to_numpy(bool), "toe_key"]]


def _clear_after_event(looks: _Looks) -> list[str]:
    """By regrowth: none seen at a review after one that saw some."""
    rows = looks.material.cohort.findings
    regrown = rows[rows["extent"].isin(["spicule", "strip", "full"])].groupby("side_key")["day"].min()
    clear = rows[rows["extent"] == "none"].groupby("side_key")["day"].max()
    both = pd.concat([regrown, clear], axis=1, keys=["regrown", "clear"]).dropna()
    keys = set(both.index[both["clear"] > both["regrown"]])
    again = looks.sides["reoperated_day"].notna()
    return _of_sides(looks, looks.sides["side_key"].isin(keys) & ~again)


def _twice(looks: _Looks) -> list[str]:
    sides = looks.material.years.sides
    sides = sides.sort_values(["performed_on", "side_key"], kind="stable")
    groups = sides.groupby(["patient_key", "foot", "toe", "side"], sort=False)
    before = groups["performed_on"].shift(1)
    revised = groups["reoperated_day"].shift(1).notna()
    days = (pd.to_datetime(sides["performed_on"]) - pd.to_datetime(before)).dt.days
    found = sides.loc[(days <= TWICE_WITHIN_DAYS) & ~revised, "toe_key"]
    own = set(looks.toes["toe_key"])
    return [str(key) for key in found if key in own]


def _outcome(looks: _Looks) -> list[str]:
    return _of_sides(looks, looks.status == Status.LOST)


def _open(looks: _Looks) -> list[str]:
    return _of_sides(looks, looks.status == Status.PENDING)


def _outside(looks: _Looks) -> list[str]:
    rows = looks.material.cohort.toe_findings
    return [str(key) for key, day in zip(rows["toe_key"], rows["day"], strict=True) if point_of(int(day)) is None]


def _strength(looks: _Looks) -> list[str]:
    return _of_sides(looks, looks.sides["takes_agent"].astype(bool) & looks.sides["strength_percent"].isna())


def _before(looks: _Looks) -> list[str]:
    unknown = {LocalInfection.NOT_RECORDED.value, LocalInfection.NOT_ASSESSED.value}
    return _of_sides(looks, looks.sides["infection_at_operation"].isin(unknown))


def _age(looks: _Looks) -> list[str]:
    return _of_sides(looks, looks.sides["age_years"].isna())


def _healing(looks: _Looks) -> list[str]:
    rows = looks.material.cohort.toe_findings
    healed = set(rows.loc[rows["healing"] == Healing.DRY.value, "toe_key"])
    return [str(key) for key in looks.toes["toe_key"] if key not in healed]


_FINDS: dict[str, Callable[[_Looks], list[str]]] = {
    "exposure": _exposure, "tourniquet": _tourniquet, "clear_after_event": _clear_after_event, "twice": _twice,
    "outcome": _outcome, "open": _open, "outside": _outside, "strength": _strength, "before": _before, "age": _age,
    "healing": _healing,
}  # fmt: skip
