"""Rows made safe to leave: the fixed order in which detail is given up, and what that cost. Knows no Django.

The disclosure model. An outsider may know a patient's age, the audit year, technique and sides, and how many toes were
treated; these columns are widened until `k` patients look alike (singling out, linkage), and no group of patients that
look alike shares a bad outcome (inference). A colleague may know agent and time of exposure as well; these stay only
while they do not tell an outcome. Nobody can know the random codes. Attacks by Article 29 Working Party, Opinion
05/2014 on anonymisation techniques: singling out, linkability, inference (from memory, unverified). Neighbours may know
of a death, a lost toe or a move: those stand only where enough patients alike share them.

The order: patients with several toes whose pattern is rare stand under one code per toe; age to adult or minor; age
away; tibial or fibular to edge; rare technique to another technique; then the rows are left out.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
import pandas as pd

from audit.exchange.agents import Agents, name_agents
from audit.exchange.inference import Withheld, withhold
from audit.exchange.neighbours import Reasons, name_reasons
from audit.exchange.patterns import patterns, patterns_of, wider_side, wider_technique
from audit.exchange.words import AgeBand, YesNo
from audit.measures.definitions import Outcome, Status
from audit.stats.disclosure import FEWEST_ALIKE, Anonymity, Widened, Widening, anonymise, anonymity

# Below four groups of patients alike hardly anything would stay (our own choice).
FEWEST_GROUPS = 4
QUASI = ("age_band", "technique", "side", "matrix_destroyed", "pattern")
STEPS = ("age to adult or minor", "age not told", "side to edge", "rare technique to another technique")
CUT = "patients with several toes stand under one code for each toe"
_AGE = {band.value: place for place, band in enumerate(AgeBand)}
_ADULTS = {AgeBand.ADULT_18_TO_64, AgeBand.OVER_64}


@dataclass(frozen=True, eq=False)
class Protected:
    """Rows that may leave, and what it took. Empty rows where `withheld` says why nothing may.

    rows: as `raw_rows` gives them, protected, with `cluster_key` (whose rows share one patient code).
    kept: per row of the input, whether it stays. alike: patients alike with each input row before anything was done.
    widened: one per step, of the rows kept; cut_patients: patients under several codes.
    anonymity: of the rows kept, recounted from the finished columns. tolerated: groups in which nobody has the outcome.
    """

    rows: pd.DataFrame
    kept: np.ndarray
    alike: np.ndarray
    k: int
    harmless_declared: bool
    cut_patients: int = 0
    widened: tuple[Widened, ...] = ()
    left_out_patients: int = 0
    agents: Agents = field(default_factory=Agents)
    reasons: Reasons = field(default_factory=Reasons)
    told: Withheld = field(default_factory=Withheld)
    anonymity: Anonymity | None = None
    tolerated: int = 0
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld

    @property
    def left_out_rows(self) -> int:
        return int(np.count_nonzero(~self.kept))


def protect(raw: pd.DataFrame, *, k: int = FEWEST_ALIKE, harmless_declared: bool = True) -> Protected:
    """Protects the rows of one period.

    raw: as `raw_rows` gives them. k: patients that must look alike, at least 5; ValueError below.
    harmless_declared: whether a group in which nobody has an outcome may be shown; a group that all have it never is.
    Withheld with fewer than 4 k patients, and where nothing would be left.
    """
    patients = raw["patient_key"].nunique()
    clusters = _clusters(raw, k)
    alike = _alike(raw, raw["patient_key"])
    if patients < FEWEST_GROUPS * k:
        counted = "1 patient" if patients == 1 else f"{patients} patients"
        reason = (
            f"{counted} in the period, at least {FEWEST_GROUPS * k} are needed; audit a longer period, "
            "for example two years together"
        )
        return _nothing(raw, k, harmless_declared, alike, reason)
    standing = np.ones(len(raw), dtype=np.bool_)
    while True:
        found = _widened(raw[standing], clusters[standing], k, harmless_declared)
        if isinstance(found, str):
            return _nothing(raw, k, harmless_declared, alike, found)
        rows, kept, widened, tolerated = found
        places = np.flatnonzero(standing)[kept]
        agents, too_rare = name_agents(rows, k)
        reasons, seen = name_reasons(rows, _classes(rows), k)
        too_rare = too_rare | seen
        standing = np.zeros(len(raw), dtype=np.bool_)
        standing[places] = True
        if not too_rare.any():
            break
        standing[places[too_rare]] = False
    rows, told = withhold(agents.applied(reasons.applied(rows)))
    left_out = raw["patient_key"].nunique() - rows["patient_key"].nunique()
    cut = rows.groupby("patient_key")["cluster_key"].nunique()
    return Protected(
        rows, standing, alike, k, harmless_declared, int((cut > 1).sum()), widened, int(left_out), agents, reasons,
        told, recount(rows, rows["patient_key"]), tolerated,
    )  # fmt: skip


def recount(rows: pd.DataFrame, patients: pd.Series) -> Anonymity:
    """k and l of finished rows, from the columns an outsider may know. patients: who counts once, a label per row."""
    pattern = _pattern_column(rows)
    quasi = {name: _numbered(pattern if name == "pattern" else rows[name]) for name in QUASI}
    return anonymity(quasi, _sensitive(rows), _numbered(patients))


def all_have_it(rows: pd.DataFrame) -> str:
    """The outcome that all rows of some group alike have in common; empty where there is none.

    rows: finished, with cluster_key and toe_key.
    """
    groups = _classes(rows)
    for name, codes in _sensitive(rows).items():
        if pd.Series(codes == _BAD).groupby(groups).all().any():
            return name
    return ""


def _nothing(raw: pd.DataFrame, k: int, declared: bool, alike: np.ndarray, reason: str) -> Protected:
    kept = np.zeros(len(raw), dtype=np.bool_)
    return Protected(raw.iloc[0:0].assign(cluster_key=""), kept, alike, k, declared, withheld=reason)


def _clusters(raw: pd.DataFrame, k: int) -> pd.Series:
    """Who stands together under one code: the patient, or each toe of a patient whose pattern too few share."""
    own = patterns_of(raw, raw["patient_key"])
    number: dict[object, int] = {}
    for pattern in own.values():
        number[pattern] = number.get(pattern, 0) + 1
    cut = {key for key, pattern in own.items() if len(pattern) > 1 and number[pattern] < k}
    return raw["toe_key"].where(raw["patient_key"].isin(cut), raw["patient_key"]).rename("cluster_key")


def _alike(raw: pd.DataFrame, clusters: pd.Series) -> np.ndarray:
    """How many patients look like the patient of each row if nothing is done."""
    by_cluster = patterns_of(raw, clusters)
    classes = pd.Series([(band, by_cluster[key]) for band, key in zip(raw["age_band"], clusters, strict=True)])
    return raw["patient_key"].reset_index(drop=True).groupby(classes).transform("nunique").to_numpy()


def _widened(
    raw: pd.DataFrame, clusters: pd.Series, k: int, declared: bool
) -> tuple[pd.DataFrame, np.ndarray, tuple[Widened, ...], int] | str:
    rare = _rare(raw, k)
    found = patterns(raw, clusters, rare, STEPS[2:])
    ages = raw["age_band"].map(_AGE).to_numpy(np.int64)
    released = anonymise(
        {"age": ages, "pattern": found.codes},
        _sensitive(raw),
        (*_age_steps(), *found.steps),
        patients=_numbered(raw["patient_key"]),
        k=k,
        tolerated=dict.fromkeys(_sensitive_names(), _HARMLESS) if declared else {},
    )
    if not released.shown:
        return released.withheld
    rows = raw[released.kept].copy()
    rows["cluster_key"] = clusters[released.kept]
    bands = list(AgeBand)
    rows["age_band"] = [bands[code].value for code in released.quasi["age"]]
    level = np.array([found.level_of[code] for code in released.quasi["pattern"]])
    rows["side"] = [wider_side(side) if up >= 1 else side for side, up in zip(rows["side"], level, strict=True)]
    rows["technique"] = [
        wider_technique(technique, destroyed, rare) if up >= 2 else technique
        for technique, destroyed, up in zip(rows["technique"], rows["matrix_destroyed"], level, strict=True)
    ]
    return rows, released.kept, released.widened, released.tolerated


def _rare(raw: pd.DataFrame, k: int) -> frozenset[str]:
    number = raw.groupby("technique")["patient_key"].nunique()
    return frozenset(number[number < k].index)


def _age_steps() -> tuple[Widening, ...]:
    bands = list(AgeBand)
    adult = {_AGE[band]: _AGE[AgeBand.ADULT if band in _ADULTS else band] for band in bands}
    away = dict.fromkeys(map(_AGE.__getitem__, bands), _AGE[AgeBand.ANY])
    return Widening("age", adult, STEPS[0]), Widening("age", away, STEPS[1])


# The value that a whole group may share if it is declared harmless: nobody in it has the outcome.
_HARMLESS, _BAD, _UNKNOWN = 0, 1, 2


def _sensitive_names() -> Iterable[str]:
    return [*(outcome.value for outcome in Outcome), "infection"]


def _sensitive(rows: pd.DataFrame) -> Mapping[str, np.ndarray]:
    """What must not be learnt: each outcome, and infection by the widest flag."""
    clear = {Status.CLEAR.value, Status.NOT_APPLICABLE.value}
    found = {
        outcome.value: np.array([
            _BAD if status == Status.EVENT else _HARMLESS if status in clear else _UNKNOWN
            for status in rows[outcome.value]
        ], dtype=np.int64)
        for outcome in Outcome
    }  # fmt: skip
    flags = rows[[name for name in rows.columns if name.startswith("infection_") and name != "infection_at_operation"]]
    some = (flags == YesNo.YES.value).any(axis=1).to_numpy()
    unknown = (rows["early_contact"] != "contacted").to_numpy()
    found["infection"] = np.where(some, _BAD, np.where(unknown, _UNKNOWN, _HARMLESS)).astype(np.int64)
    return MappingProxyType(found)


def _pattern_column(rows: pd.DataFrame) -> pd.Series:
    """Each row's pattern as a small number: the pattern itself is as long as its patient has rows."""
    number: dict[object, int] = {}
    own = patterns_of(rows, rows["cluster_key"]).items()
    by_cluster = {key: number.setdefault(pattern, len(number)) for key, pattern in own}
    return pd.Series([by_cluster[key] for key in rows["cluster_key"]], index=rows.index, dtype=np.int64)


def _classes(rows: pd.DataFrame) -> np.ndarray:
    """A number per row, the same for rows that an outsider finds alike."""
    columns = [rows[name] for name in QUASI[:-1]]
    return rows.groupby([*columns, _pattern_column(rows)], sort=False).ngroup().to_numpy()


def _numbered(values: pd.Series) -> np.ndarray:
    return np.asarray(pd.factorize(values)[0], dtype=np.int64)
