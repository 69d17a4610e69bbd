"""Counts of units, in all and by technique, exposure and side. Knows no Django."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from types import MappingProxyType

import pandas as pd

from audit.measures.definitions import DEFAULT_BANDS, THIN, Outcome, Shown, Status
from audit.measures.outcomes import BOTH, SEVERAL
from audit.stats.clustered import design_effect, rao_scott_wilson
from audit.stats.proportion import Method, Proportion, score_limits
from clinic.vocabulary.procedure import Agent, Curettage, Lavage, NailSide, Technique
from clinic.vocabulary.terms import Term

NOT_RECORDED = "not_recorded"
_CHEMICAL = " with chemical matricectomy"


@dataclass(frozen=True)
class Count:
    """How many of how many in one group, never without the rest of the eligible.

    events, ascertained, eligible, pending, lost, censored, late_events: units.
    patients: behind the eligible; patients_ascertained: behind the ascertained.
    interval: events of the ascertained, clustered on the patient; None where no rate may be shown (`shown`, `note`).
    best, worst: events, and events and lost, of all eligible; None where the eligible are too few for a rate.
    keys: the unit keys behind every number, by code of Status, and "late_event".
    """

    code: str
    label: str
    events: int
    ascertained: int
    eligible: int
    pending: int
    lost: int
    censored_death: int
    censored_reoperation: int
    censored_amputation: int
    patients: int
    patients_ascertained: int
    late_events: int
    interval: Proportion | None
    best: Proportion | None
    worst: Proportion | None
    shown: Shown
    note: str = ""
    keys: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def censored(self) -> int:
        return self.censored_death + self.censored_reoperation + self.censored_amputation

    @property
    def rate(self) -> float | None:
        return self.interval.rate if self.interval else None


def count(units: pd.DataFrame, *, code: str = "all", label: str = "All") -> Count:
    """Counts one group.

    units: one row per unit, as `outcomes.unit_frame` gives them, filtered so that no unit_key occurs twice.
    Gives whole numbers, the interval clustered on the patient, both bounds and the verdict on thin data; an empty
    group is counted as such and says so. ValueError if a unit_key occurs twice.

    Definitions "eligible", "bounds", "thin" and "clustering".
    """
    if units["unit_key"].duplicated().any():
        raise ValueError(f"units: unit_key {units['unit_key'][units['unit_key'].duplicated()].iloc[0]} occurs twice")
    keys = _keys(units)
    number = {status: len(keys[status.value]) for status in Status}
    known = units[units["status"].isin([Status.EVENT, Status.CLEAR])]
    eligible = units[units["status"].isin([Status.EVENT, Status.CLEAR, Status.LOST])]
    shown = shown_by(len(known), known["patient_key"].nunique())
    interval = _interval(known) if shown in {Shown.FULL, Shown.HOLLOW} else None
    best, worst = _bounds(eligible, known)
    return Count(
        code=code,
        label=label,
        events=number[Status.EVENT],
        ascertained=len(known),
        eligible=len(eligible),
        pending=number[Status.PENDING],
        lost=number[Status.LOST],
        censored_death=number[Status.CENSORED_DEATH],
        censored_reoperation=number[Status.CENSORED_REOPERATION],
        censored_amputation=number[Status.CENSORED_AMPUTATION],
        patients=int(eligible["patient_key"].nunique()),
        patients_ascertained=int(known["patient_key"].nunique()),
        late_events=len(keys["late_event"]),
        interval=interval,
        best=best,
        worst=worst,
        shown=shown,
        note=_note(shown, number, len(eligible), int(known["patient_key"].nunique())),
        keys=keys,
    )


def not_counted(code: str, label: str, reason: str) -> Count:
    """A group that keeps its line although the outcome is not counted in it; `reason` is a sentence for print."""
    return Count(
        code, label, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, None, None, None, Shown.NOT_APPLICABLE, reason,
    )  # fmt: skip


def shown_by(units: int, patients: int) -> Shown:
    """What may be shown of a group. units, patients: behind the denominator, whole numbers. Definition "thin"."""
    if units == 0:
        return Shown.EMPTY
    if units < THIN.rate_units or patients < THIN.rate_patients:
        return Shown.LISTED
    return Shown.HOLLOW if units < THIN.judged_units else Shown.FULL


def clustered(units: pd.DataFrame, hit: pd.Series) -> Proportion:
    """How many units are hit, clustered on the patient.

    units: one row per unit, at least one, with patient_key. hit: true or false per row of units.
    """
    grouped = hit.astype(int).groupby(units["patient_key"], sort=True)
    return rao_scott_wilson(grouped.sum().tolist(), grouped.size().tolist())


def headline_units(units: pd.DataFrame) -> pd.DataFrame:
    """The units of the headline: matricectomy only. Definition "matricectomy"."""
    return units[units["matricectomy"]]


def without_matricectomy(units: pd.DataFrame, outcome: Outcome) -> Count:
    """The line for units where no matrix was destroyed: symptomatic recurrence, or "not applicable" with the reason.

    units: one row per unit, as `outcomes.unit_frame` gives them for `outcome`.
    """
    return _without_matricectomy(units[~units["matricectomy"]], outcome, "no_matricectomy", "Without matricectomy")


def by_technique(units: pd.DataFrame, outcome: Outcome) -> tuple[Count, ...]:
    """A count per technique and, where one is used, agent, in vocabulary order.

    units: one row per unit, as `outcomes.unit_frame` gives them for `outcome`.
    Every technique keeps a line, without cases too; a chemical technique has a line per agent that occurs with it.
    Lines without matricectomy come last. A patient with several techniques has a line of "several techniques".
    """
    destroyed = headline_units(units)
    with_matrix = [technique for technique in Technique if technique.destroys_matrix is not False]
    rows = [row for technique in with_matrix for row in _technique_rows(destroyed, technique)]
    rows += _several(destroyed, "technique", "Several techniques")
    return (*rows, *_rows_without_matricectomy(units[~units["matricectomy"]], outcome))


def by_exposure(
    units: pd.DataFrame,
    bands: Sequence[int] = DEFAULT_BANDS,
    *,
    agent: Agent = Agent.PHENOL,
    technique: Technique = Technique.PNA_CHEMICAL,
) -> tuple[Count, ...]:
    """A count per band of exposure for one agent and technique, shortest first, "not recorded" last.

    units: one row per unit, as `outcomes.unit_frame` gives them. bands: upper limits in seconds, ascending, each
    belonging to its band. Every band keeps its line, without cases too. Definition "bands".
    """
    if not bands or list(bands) != sorted(set(bands)) or bands[0] <= 0:
        raise ValueError(f"bands must be ascending seconds above 0, not {tuple(bands)}")
    chosen = having(units, technique=technique, agent=agent)
    placed = chosen["exposure_seconds"].map(lambda seconds: band_of(seconds, bands)).astype(object)
    return tuple(
        count(chosen[placed == band_code(place, bands)], code=band_code(place, bands), label=label)
        for place, label in enumerate(band_labels(bands))
    )


def by_side(units: pd.DataFrame) -> tuple[Count, ...]:
    """A count per treated side of the matricectomy units, in vocabulary order.

    units: one row per unit, as `outcomes.unit_frame` gives them. Tibial, fibular and whole nail always have a line;
    "both edges" of a toe and "several" of a patient only where such units occur.
    """
    destroyed = headline_units(units)
    rows = [count(destroyed[destroyed["side"] == side], code=side.value, label=side.label) for side in NailSide]
    both = _several(destroyed, "side", "Both edges of one nail", code=BOTH)
    other = destroyed[~destroyed["side"].isin([*NailSide.codes(), BOTH])]
    return (*rows, *both, *([count(other, code=SEVERAL, label="Several toes, not alike")] if len(other) else []))


def by_curettage(units: pd.DataFrame) -> tuple[Count, ...]:
    """A count per kind of curettage of the matricectomy units, in vocabulary order; only kinds that occur."""
    return _by_words(headline_units(units), "curettage", Curettage)


def by_lavage(units: pd.DataFrame) -> tuple[Count, ...]:
    """A count per lavage of the matricectomy units on which an agent was used; only kinds that occur."""
    destroyed = headline_units(units)
    return _by_words(destroyed[destroyed["agent"] != Agent.NONE], "lavage", Lavage)


def by_operator(units: pd.DataFrame) -> tuple[Count, ...]:
    """A count per operator of the matricectomy units, under letters that say nothing about rank or name.

    The letters follow the random keys of the members, so they stay the same as long as nobody joins.
    """
    destroyed = headline_units(units)
    keys = sorted(set(units["operator"]) - {SEVERAL})
    rows = [
        count(destroyed[destroyed["operator"] == key], code=f"operator_{place}", label=f"Operator {letters(place)}")
        for place, key in enumerate(keys, start=1)
    ]
    return (*rows, *_several(destroyed, "operator", "Several operators"))


def letters(place: int) -> str:
    """1 is A, 26 is Z, 27 is AA."""
    word = ""
    while place:
        place, rest = divmod(place - 1, 26)
        word = chr(65 + rest) + word
    return word


def _by_words(units: pd.DataFrame, column: str, terms: type[Term]) -> tuple[Count, ...]:
    rows = [
        count(units[units[column] == term], code=term.value, label=term.label)
        for term in terms
        if (units[column] == term).any()
    ]
    return (*rows, *_several(units, column, "Several, not alike"))


def having(units: pd.DataFrame, *, technique: Technique, agent: Agent) -> pd.DataFrame:
    """The matricectomy units of one technique and agent. units: as `outcomes.unit_frame` gives them."""
    destroyed = headline_units(units)
    return destroyed[(destroyed["technique"] == technique) & (destroyed["agent"] == agent)]


def band_labels(bands: Sequence[int]) -> tuple[str, ...]:
    """The bands in words, shortest first, then "over ..." and "not recorded". bands: ascending seconds."""
    edges = [f"{low + 1} to {high} s" for low, high in pairwise(bands)]
    return (f"up to {bands[0]} s", *edges, f"over {bands[-1]} s", "not recorded")


def band_code(place: int, bands: Sequence[int]) -> str:
    """A code for the band at `place` of `band_labels`: "up_to_60", "over_180" or "not_recorded"."""
    if place < len(bands):
        return f"up_to_{bands[place]}"
    return f"over_{bands[-1]}" if place == len(bands) else NOT_RECORDED


def band_of(seconds: float, bands: Sequence[int]) -> str:
    """The code of the band that `seconds` belongs to; NaN is "not_recorded". The upper limit belongs to its band."""
    if pd.isna(seconds):
        return NOT_RECORDED
    return band_code(sum(seconds > limit for limit in bands), bands)


def technique_label(technique: Technique, agent: Agent) -> str:
    """Technique and agent in one label: "Partial nail avulsion, phenol"."""
    agent_words = "agent not recorded" if agent is Agent.NOT_RECORDED else agent.label.lower()
    agent_words = "no agent" if agent is Agent.NONE else agent_words
    return f"{technique.label.removesuffix(_CHEMICAL)}, {agent_words}"


def _keys(units: pd.DataFrame) -> Mapping[str, tuple[str, ...]]:
    """The unit keys of each status, in the order of the rows; one walk, because most groups are small."""
    keys: dict[str, list[str]] = {status.value: [] for status in Status}
    for unit, status in zip(units["unit_key"].tolist(), units["status"].tolist(), strict=True):
        keys[status].append(unit)
    keys["late_event"] = units["unit_key"].to_numpy()[units["late_event"].to_numpy(dtype=bool)].tolist()
    return MappingProxyType({name: tuple(found) for name, found in keys.items()})


def _interval(known: pd.DataFrame) -> Proportion:
    return clustered(known, known["event"])


def _bounds(eligible: pd.DataFrame, known: pd.DataFrame) -> tuple[Proportion | None, Proportion | None]:
    """Best and worst case on the number of eligible, made smaller by the design effect of what is known."""
    patients = int(eligible["patient_key"].nunique())
    if shown_by(len(eligible), patients) not in {Shown.FULL, Shown.HOLLOW}:
        return None, None
    effect = _assumed_effect(eligible, known)
    events = int(eligible["event"].sum())
    lost = int((eligible["status"] == Status.LOST).sum())
    best, worst = (_bound(hit, len(eligible), patients, effect) for hit in (events, events + lost))
    return best, worst


def _assumed_effect(eligible: pd.DataFrame, known: pd.DataFrame) -> float:
    """The design effect of the known units; the worst possible where it cannot be seen."""
    grouped = known["event"].astype(int).groupby(known["patient_key"], sort=True)
    totals = grouped.size().tolist()
    if sum(totals) == len(totals) and totals:
        return 1.0
    effect = design_effect(grouped.sum().tolist(), totals) if len(totals) > 1 else None
    worst = len(eligible) / eligible["patient_key"].nunique()
    return max(1.0, worst if effect is None else effect)


def _bound(hit: int, total: int, patients: int, effect: float) -> Proportion:
    size = total / effect
    low, high = score_limits(hit / total * size, size)
    method = Method.WILSON if effect == 1 else Method.RAO_SCOTT
    return Proportion(hit, total, hit / total, low, high, method, clusters=patients, design_effect=effect,
                      effective_total=size)  # fmt: skip


def _note(shown: Shown, number: Mapping[Status, int], eligible: int, patients: int) -> str:
    if shown is Shown.HOLLOW:
        return "too few to judge"
    known = number[Status.EVENT] + number[Status.CLEAR]
    if shown is Shown.LISTED:
        short = known < THIN.rate_units
        return (
            f"no rate: {known} known, at least {THIN.rate_units} are needed" if short
            else f"no rate: {patients} patients, at least {THIN.rate_patients} are needed"
        )  # fmt: skip
    if shown is Shown.FULL:
        return ""
    if eligible:
        return f"no outcome known yet: all {eligible} eligible are lost"
    if number[Status.PENDING]:
        return f"none eligible yet: {number[Status.PENDING]} pending"
    return "no cases"


def _technique_rows(units: pd.DataFrame, technique: Technique) -> Iterable[Count]:
    own = units[units["technique"] == technique]
    if not technique.takes_agent:
        return [count(own, code=technique.value, label=technique.label)]
    agents = [agent for agent in Agent if (own["agent"] == agent).any()]
    rows = [
        count(
            own[own["agent"] == agent],
            code=f"{technique.value}:{agent.value}",
            label=technique_label(technique, agent),
        )
        for agent in agents
    ]
    rows += _several(own, "agent", f"{technique.label.removesuffix(_CHEMICAL)}, several agents", technique.value)
    return rows or [count(own, code=technique.value, label=technique.label)]


def _several(units: pd.DataFrame, column: str, label: str, prefix: str = "", *, code: str = SEVERAL) -> list[Count]:
    own = units[units[column] == code]
    return [count(own, code=f"{prefix}:{code}" if prefix else code, label=label)] if len(own) else []


def _rows_without_matricectomy(units: pd.DataFrame, outcome: Outcome) -> list[Count]:
    rows = []
    for technique in Technique:
        own = units[units["technique"] == technique]
        # A technique that may spare the matrix has a line here only if it did.
        if technique.destroys_matrix is False or len(own):
            suffix = "" if technique.destroys_matrix is False else ", matrix not destroyed"
            code = f"{technique.value}:no_matricectomy"
            rows.append(_without_matricectomy(own, outcome, code, technique.label + suffix))
    several = units[units["technique"] == SEVERAL]
    if len(several):
        label = "Several techniques, matrix not destroyed"
        rows.append(_without_matricectomy(several, outcome, f"{SEVERAL}:no_matricectomy", label))
    return rows


def _without_matricectomy(units: pd.DataFrame, outcome: Outcome, code: str, label: str) -> Count:
    if outcome is Outcome.SYMPTOMATIC_RECURRENCE:
        return count(units, code=code, label=label)
    reason = f"not applicable: no matrix was destroyed, so {outcome.label.lower()} is not counted here"
    return not_counted(code, label, reason)
