"""Rows that leave the practice: how many patients look alike, and coarsening until enough do. Knows codes only."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from audit.stats.thin import check_whole

Codes = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Columns = Mapping[str, npt.ArrayLike]

# Patients that an outsider must find alike, and values that a sensitive column must show among them: common in health
# statistics, no source; may be raised, never lowered.
FEWEST_ALIKE = 5
FEWEST_VALUES = 2


@dataclass(frozen=True)
class Anonymity:
    """How well rows hide their patients.

    k: patients in the smallest class of rows that agree in every quasi-identifier. distinct: by sensitive column, the
    fewest values in any class. classes: how many.
    """

    k: int
    distinct: Mapping[str, int]
    classes: int


@dataclass(frozen=True)
class Widening:
    """One step of coarsening. to: the wider code of every code of the column. label: in words, "quarter to year".

    A wider code may not be one of the narrower codes, unless it stands for itself.
    """

    column: str
    to: Mapping[int, int]
    label: str


@dataclass(frozen=True)
class Widened:
    """What one step did to the rows kept: rows and patients whose code became wider, 0 where it was not needed."""

    label: str
    column: str
    rows: int
    patients: int


@dataclass(frozen=True, eq=False)
class Released:
    """Rows that may leave, and what it took.

    quasi: the columns of the rows kept, coarsened, in the order of the input. kept: true per input row that stays.
    widened: one per step, in order, of the rows kept. dropped_rows, dropped_patients: patients with no row left.
    tolerated: classes left with one value only, declared harmless. anonymity: of the rows kept, None where
    `withheld` says why nothing may leave.
    """

    quasi: Mapping[str, Codes]
    kept: Flags
    widened: tuple[Widened, ...]
    dropped_rows: int
    dropped_patients: int
    tolerated: int
    anonymity: Anonymity | None
    withheld: str = ""

    @property
    def shown(self) -> bool:
        return not self.withheld


def anonymity(quasi: Columns, sensitive: Columns, patients: npt.ArrayLike | None = None) -> Anonymity:
    """k-anonymity and distinct l-diversity of rows as they stand.

    quasi, sensitive: by name, one code per row, whole numbers, all of one length of at least 1. patients: a code per
    row; rows of one patient count once. Unless given every row is a patient of its own.
    Without any quasi-identifier all rows are one class. Refuses with ValueError no rows and columns of other lengths.

    Sweeney L. Int J Uncertain Fuzz 2002;10:557-570; Machanavajjhala A et al. ACM Trans Knowl Discov Data 2007;1(1):3.
    Referee: fixtures/reference/disclosure.json
    """
    rows = _Rows.of(quasi, sensitive, patients)
    if not rows.number:
        raise ValueError("quasi and sensitive must hold at least 1 row, not 0")
    return _anonymity(rows, rows.quasi, np.ones(rows.number, dtype=np.bool_))


def anonymise(
    quasi: Columns,
    sensitive: Columns,
    steps: Sequence[Widening],
    *,
    patients: npt.ArrayLike | None = None,
    k: int = FEWEST_ALIKE,
    distinct: int = FEWEST_VALUES,
    tolerated: Mapping[str, int] | None = None,
) -> Released:
    """Coarsens in the given order until every class holds k patients and enough values; drops what never does.

    quasi, sensitive, patients: as for `anonymity`; may be empty. steps: in the order in which detail is given up;
    each applies on top of those before it. k: at least 5. distinct: values of each sensitive column, at least 2.
    tolerated: by sensitive column, the one value that a whole class may share because the practice declares it
    harmless ("clear"); any other shared value is never let through.
    A step widens the rows of a failing class together with all rows that would then look the same, and no others, so
    the classes never overlap. Figures beside the rows must be made from the rows kept: a total of all would give back
    what was dropped.
    Refuses with ValueError an unknown column, a code without a wider code, a wider code that is also a narrower one,
    and k or distinct below their least.

    Order and rules: our own choice. Referee: an independent recount in the tests.
    """
    check_whole("k", k, FEWEST_ALIKE)
    check_whole("distinct", distinct, FEWEST_VALUES)
    rows = _Rows.of(quasi, sensitive, patients)
    _check_steps(rows, steps, tolerated or {})
    demand = _Demand(k, distinct, MappingProxyType(dict(tolerated or {})))
    levels = _levels(rows.quasi, steps)
    level = np.zeros(rows.number, dtype=np.int64)
    for place, widest in enumerate(levels[1:], start=1):
        failing = ~demand.met(rows, _at(levels, level))
        alike = _classes(widest, rows.number)
        level[np.isin(alike, alike[failing])] = place
    return _released(rows, levels, level, steps, demand)


@dataclass(frozen=True)
class _Rows:
    quasi: Mapping[str, Codes]
    sensitive: Mapping[str, Codes]
    patients: Codes
    number: int

    @classmethod
    def of(cls, quasi: Columns, sensitive: Columns, patients: npt.ArrayLike | None) -> "_Rows":
        own = {name: check_codes(name, column) for name, column in quasi.items()}
        secret = {name: check_codes(name, column) for name, column in sensitive.items()}
        if not own and not secret:
            raise ValueError("quasi and sensitive must hold at least 1 column, not 0")
        number = len(next(iter((*own.values(), *secret.values()))))
        who = np.arange(number) if patients is None else check_codes("patients", patients)
        for name, column in (*own.items(), *secret.items(), ("patients", who)):
            if len(column) != number:
                raise ValueError(f"{name} must have one code per row, {number}, not {len(column)}")
        return cls(own, secret, np.unique(who, return_inverse=True)[1].astype(np.int64), number)

    def patients_in(self, chosen: Flags) -> int:
        return int(np.unique(self.patients[chosen]).size)

    def patients_in_both(self, chosen: Flags) -> int:
        """Patients with a row that is chosen and a row that is not."""
        return int(np.intersect1d(self.patients[chosen], self.patients[~chosen]).size)


@dataclass(frozen=True)
class _Demand:
    k: int
    distinct: int
    tolerated: Mapping[str, int]

    def met(self, rows: _Rows, quasi: Mapping[str, Codes]) -> Flags:
        """True per row whose class is large and varied enough."""
        classes = _classes(quasi, rows.number)
        good = _distinct(classes, rows.patients) >= self.k
        for name, column in rows.sensitive.items():
            good &= (_distinct(classes, column) >= self.distinct) | self.shared(rows, classes, name)
        return good[classes]

    def shared(self, rows: _Rows, classes: Codes, name: str) -> Flags:
        """True per class in which every row has the one value of this column that is declared harmless."""
        if name not in self.tolerated:
            return np.zeros(_number(classes), dtype=np.bool_)
        others = rows.sensitive[name] != self.tolerated[name]
        return np.asarray(np.bincount(classes, weights=others, minlength=_number(classes)) == 0)


def _levels(quasi: Mapping[str, Codes], steps: Sequence[Widening]) -> list[Mapping[str, Codes]]:
    """The columns as they came, and after each step if it were applied to every row."""
    levels = [quasi]
    for step in steps:
        codes, place = np.unique(levels[-1][step.column], return_inverse=True)
        wider = np.array([step.to[int(code)] for code in codes], dtype=np.int64)[place.reshape(-1)]
        levels.append({**levels[-1], step.column: wider})
    return levels


def _at(levels: Sequence[Mapping[str, Codes]], level: Codes) -> Mapping[str, Codes]:
    """The columns with every row at its own level."""
    row = np.arange(level.size)
    return {name: np.stack([columns[name] for columns in levels])[level, row] for name in levels[0]}


def _released(
    rows: _Rows, levels: Sequence[Mapping[str, Codes]], level: Codes, steps: Sequence[Widening], demand: _Demand
) -> Released:
    current = _at(levels, level)
    kept = demand.met(rows, current)
    report = []
    for place, step in enumerate(steps, start=1):
        changed = kept & (level >= place) & (levels[place][step.column] != levels[place - 1][step.column])
        report.append(Widened(step.label, step.column, int(changed.sum()), rows.patients_in(changed)))
    quasi = MappingProxyType({name: codes[kept] for name, codes in current.items()})
    dropped = int(np.count_nonzero(~kept)), rows.patients_in(~kept) - rows.patients_in_both(kept)
    if not kept.any():
        reason = "no rows" if not rows.number else f"no class reaches {demand.k} patients that look alike and differ"
        return Released(quasi, kept, tuple(report), *dropped, 0, None, reason)
    classes = _classes(quasi, int(kept.sum()))
    uniform = np.zeros(_number(classes), dtype=np.bool_)
    for column in rows.sensitive.values():
        uniform |= _distinct(classes, column[kept]) == 1
    return Released(quasi, kept, tuple(report), *dropped, int(uniform.sum()), _anonymity(rows, current, kept))


def _anonymity(rows: _Rows, quasi: Mapping[str, Codes], kept: Flags) -> Anonymity:
    classes = _classes({name: codes[kept] for name, codes in quasi.items()}, int(kept.sum()))
    fewest = {name: int(_distinct(classes, column[kept]).min()) for name, column in rows.sensitive.items()}
    return Anonymity(int(_distinct(classes, rows.patients[kept]).min()), MappingProxyType(fewest), _number(classes))


def _classes(quasi: Mapping[str, Codes], number: int) -> Codes:
    """The class of each row, numbered from 0: rows that agree in every column."""
    if not quasi or not number:
        return np.zeros(number, dtype=np.int64)
    return np.unique(np.column_stack(list(quasi.values())), axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)


def _number(classes: Codes) -> int:
    return int(classes.max()) + 1 if classes.size else 0


def _distinct(classes: Codes, column: Codes) -> Codes:
    """How many different codes of the column stand in each class."""
    pairs = np.unique(np.column_stack([classes, column]), axis=0)
    return np.bincount(pairs[:, 0], minlength=_number(classes)).astype(np.int64)


def _check_steps(rows: _Rows, steps: Sequence[Widening], tolerated: Mapping[str, int]) -> None:
    reached = {name: set(codes.tolist()) for name, codes in rows.quasi.items()}
    ever = {name: set(codes) for name, codes in reached.items()}
    for step in steps:
        if step.column not in reached:
            raise ValueError(f"steps must name a column of quasi, not {step.column}")
        missing = reached[step.column] - step.to.keys()
        if missing:
            raise ValueError(f"{step.label} must have a wider code for {step.column} {min(missing)}")
        ever[step.column] |= step.to.keys()
        taken = {wide for wide in step.to.values() if wide in ever[step.column] and step.to.get(wide) != wide}
        if taken:
            raise ValueError(f"{step.label} must not widen {step.column} to {min(taken)}, a narrower code")
        reached[step.column] = {step.to[code] for code in reached[step.column]}
        ever[step.column] |= set(step.to.values())
    for name in tolerated:
        if name not in rows.sensitive:
            raise ValueError(f"tolerated must name a column of sensitive, not {name}")


def check_codes(name: str, column: npt.ArrayLike) -> Codes:
    """The column as whole numbers; refuses with ValueError, naming it, what is not a list of whole-number codes."""
    found = np.asarray(column)
    if found.ndim != 1:
        raise ValueError(f"{name} must have one code per row, not the shape {found.shape}")
    if found.size and not (np.issubdtype(found.dtype, np.integer) or np.issubdtype(found.dtype, np.bool_)):
        raise ValueError(f"{name} must hold whole-number codes, not {found.dtype}")
    return found.astype(np.int64)
