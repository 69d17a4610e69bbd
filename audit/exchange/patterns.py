"""What a patient's rows show together: techniques and sides, toe by toe. One patient, one pattern. Knows no Django.

Rows of a patient carry one code, so whoever knows how many toes somebody had treated sees it in the file. Patients are
therefore counted as alike only if all their rows are alike.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.exchange.words import WiderSide, WiderTechnique, YesNo
from audit.stats.disclosure import Codes, Widening
from clinic.vocabulary.procedure import NailSide

Toe = tuple[str, str, tuple[str, ...]]  # technique, matrix destroyed, sides
Pattern = tuple[Toe, ...]
_EDGES = (NailSide.TIBIAL.value, NailSide.FIBULAR.value)


def patterns_of(rows: pd.DataFrame, clusters: Iterable[object]) -> dict[object, Pattern]:
    """The pattern of every cluster, in the order of the rows.

    rows: with toe_key, technique, matrix_destroyed and side. clusters: who stands together, a label per row.
    """
    sides: dict[object, dict[tuple[str, str, str], list[str]]] = {}
    values = zip(
        clusters, rows["toe_key"], rows["technique"], rows["matrix_destroyed"], rows["side"], strict=True
    )  # fmt: skip
    for cluster, toe, technique, destroyed, side in values:
        sides.setdefault(cluster, {}).setdefault((toe, technique, destroyed), []).append(side)
    return {cluster: tuple(sorted(_toe(*one) for one in toes.items())) for cluster, toes in sides.items()}


def _toe(named: tuple[str, str, str], sides: list[str]) -> Toe:
    return named[1], named[2], tuple(sorted(sides))


def wider_side(side: str) -> str:
    return WiderSide.EDGE.value if side in _EDGES else side


def wider_technique(technique: str, matrix_destroyed: str, rare: frozenset[str]) -> str:
    """A technique too rare to be named; whether the matrix was destroyed is never given up, the outcome hangs on it."""
    if technique not in rare:
        return technique
    destroyed = matrix_destroyed == YesNo.YES
    return (WiderTechnique.WITH_MATRICECTOMY if destroyed else WiderTechnique.WITHOUT_MATRICECTOMY).value


@dataclass(frozen=True)
class Patterns:
    """Patterns as numbers, with two wider levels. codes: one per row. steps: for `disclosure.anonymise`.

    level_of: how far each number was widened: 0 as it was, 1 edges, 2 rare techniques too.
    """

    codes: Codes
    steps: tuple[Widening, ...]
    level_of: Mapping[int, int]


def patterns(rows: pd.DataFrame, clusters: pd.Series, rare: frozenset[str], labels: Sequence[str]) -> Patterns:
    """Numbers the pattern of every cluster.

    clusters: who stands together under one code, a label per row. labels: of the two steps, in words.
    """
    by_cluster = patterns_of(rows, clusters)
    own = [by_cluster[key] for key in clusters]
    number: dict[Pattern, int] = {}
    level_of: dict[int, int] = {}

    def code(pattern: Pattern, level: int) -> int:
        found = number.setdefault(pattern, len(number))
        level_of.setdefault(found, level)
        return found

    codes = np.array([code(pattern, 0) for pattern in own], dtype=np.int64)
    edges = _step(sorted(number), lambda toe: _edges(toe), code, 1)
    named = _step(sorted(number), lambda toe: _named(_edges(toe), rare), code, 2)
    steps = (
        Widening("pattern", edges, labels[0]),
        Widening("pattern", named, labels[1]),
    )
    return Patterns(codes, steps, level_of)


def _step(
    known: Sequence[Pattern], widen: Callable[[Toe], Toe], code: Callable[[Pattern, int], int], level: int
) -> dict[int, int]:
    return {code(pattern, level - 1): code(tuple(sorted(map(widen, pattern))), level) for pattern in known}


def _edges(toe: Toe) -> Toe:
    technique, destroyed, sides = toe
    return technique, destroyed, tuple(sorted(map(wider_side, sides)))


def _named(toe: Toe, rare: frozenset[str]) -> Toe:
    technique, destroyed, sides = toe
    return wider_technique(technique, destroyed, rare), destroyed, sides
