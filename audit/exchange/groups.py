"""Groups of units within each practice: technique and agent, exposure, side. Knows no Django."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from audit.exchange.columns import BY_NAME
from audit.exchange.manifest import few
from audit.exchange.pooled import BESIDE, Line, Member, group_lines
from audit.exchange.units import units_of
from audit.exchange.words import Hidden, WiderAgent, WiderSide
from audit.measures.definitions import DEFAULT_BANDS, Outcome, Unit
from audit.measures.outcomes import BOTH, SEVERAL
from audit.measures.strata import band_code, band_labels, band_of, headline_units, technique_label
from clinic.vocabulary.procedure import Agent, NailSide, Technique

Groups = Mapping[str, Mapping[str, pd.DataFrame]]
_CHEMICAL = " with chemical matricectomy"
_TIMED = technique_label(Technique.PNA_CHEMICAL, Agent.PHENOL)


def by_technique(members: Sequence[Member], outcome: Outcome, unit: Unit) -> Groups:
    """Units with matricectomy by technique and agent; a widened technique or agent is a group of its own."""
    own = _units(members, outcome, unit)
    pairs = sorted({pair for units in own.values() for pair in zip(units["technique"], units["agent"], strict=True)},
                   key=_place)  # fmt: skip
    return {
        _technique_label(*pair): {
            code: units[(units["technique"] == pair[0]) & (units["agent"] == pair[1])] for code, units in own.items()
        }
        for pair in pairs
    }


def by_exposure(
    members: Sequence[Member], outcome: Outcome, unit: Unit, bands: Sequence[int] = DEFAULT_BANDS
) -> Groups:  # fmt: skip
    """Partial avulsions with phenol by band of exposure; withheld times are no "not recorded"."""
    told = [
        Member(member.code, member.manifest, member.rows[member.rows["exposure"] != Hidden.WITHHELD])
        for member in members
    ]
    own = _timed(told, outcome, unit)
    found: dict[str, Mapping[str, pd.DataFrame]] = {}
    for place, label in enumerate(band_labels(bands)):
        wanted = band_code(place, bands)
        found[label] = {
            code: units[[band_of(seconds, bands) == wanted for seconds in units["exposure_seconds"]]]
            for code, units in own.items()
        }
    return found


def withheld_times(members: Sequence[Member]) -> str:
    """What the bands of exposure lack, as a sentence; empty where they lack nothing."""
    number = sum(
        int(
            (
                (member.rows["technique"] == Technique.PNA_CHEMICAL)
                & (member.rows["agent"] == Agent.PHENOL)
                & (member.rows["exposure"] == Hidden.WITHHELD)
            ).sum()
        )
        for member in members
    )
    if not number:
        return ""
    return f"In no band: {few(number)} treated sides whose time was withheld because it would have told an outcome."


def unnamed_agents(members: Sequence[Member]) -> str:
    """That "an agent not named" is not one agent; empty where every agent is named."""
    if not any((member.rows["agent"] == WiderAgent.MERGED).any() for member in members):
        return ""
    return f"{WiderAgent.MERGED.label}: agents too rare to be named, not the same ones in every practice."


def exposure_lines(
    members: Sequence[Member], outcome: Outcome, unit: Unit, by_technique: Sequence[Line]
) -> tuple[Line, ...]:  # fmt: skip
    """The lines of `by_exposure`, with what they add up to in mind.

    by_technique: the lines of the same question. Units whose time is withheld are the rest of the line of phenol;
    where that line is not shown its bands, which add up to it, are not either.
    """
    bands = by_exposure(members, outcome, unit)
    there = {key for own in bands.values() for units in own.values() for key in units["unit_key"]}
    rest = {code: units[~units["unit_key"].isin(there)] for code, units in _timed(members, outcome, unit).items()}
    lines = group_lines(members, outcome, unit, bands, rest)
    if any(line.label == _TIMED and line.pool is not None for line in by_technique):
        return lines
    return tuple(replace(line, pool=None, withheld=line.withheld or BESIDE) for line in lines)


def by_side(members: Sequence[Member], outcome: Outcome, unit: Unit) -> Groups:
    """Units with matricectomy by treated side; "an edge" where a file does not tell which."""
    own = _units(members, outcome, unit)
    labels = {
        **{side.value: side.label for side in NailSide},
        BOTH: "Both edges of one nail",
        WiderSide.EDGE.value: "An edge, not told which",
        SEVERAL: "Several toes, not alike",
    }
    there = {side for units in own.values() for side in units["side"]}
    return {
        label: {code: units[units["side"] == side] for code, units in own.items()}
        for side, label in labels.items()
        if side in there
    }


def _units(members: Sequence[Member], outcome: Outcome, unit: Unit) -> dict[str, pd.DataFrame]:
    return {member.code: headline_units(units_of(member.rows, outcome, unit)) for member in members}


def _timed(members: Sequence[Member], outcome: Outcome, unit: Unit) -> dict[str, pd.DataFrame]:
    """The units whose time of exposure is compared."""
    return {
        code: units[(units["technique"] == Technique.PNA_CHEMICAL) & (units["agent"] == Agent.PHENOL)]
        for code, units in _units(members, outcome, unit).items()
    }


def _place(pair: tuple[str, str]) -> tuple[int, int]:
    """Vocabulary order, "several" last."""
    at = [
        BY_NAME[name].codes.index(code) if code in BY_NAME[name].codes else len(BY_NAME[name].codes)
        for name, code in zip(("technique", "agent"), pair, strict=True)
    ]
    return at[0], at[1]


def _technique_label(technique: str, agent: str) -> str:
    """As the practice's own report names it, as far as the file does."""
    if technique in Technique.codes() and agent in Agent.codes():
        return technique_label(Technique(technique), Agent(agent))
    first = "Several techniques" if technique == SEVERAL else BY_NAME["technique"].words(technique)
    second = "several agents" if agent == SEVERAL else BY_NAME["agent"].words(agent).lower()
    first = first.removesuffix(_CHEMICAL)
    return first if agent == Agent.NONE else f"{first}, {second}"
