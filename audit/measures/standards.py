"""What a practice expects of a criterion. Light enough to be imported where nothing is counted."""

from dataclasses import dataclass
from enum import StrEnum


class Direction(StrEnum):
    """How a target is to be read."""

    AT_LEAST = "at_least"
    AT_MOST = "at_most"
    MONITOR = "monitor"


DIRECTION_WORDS = {Direction.AT_LEAST: "at least", Direction.AT_MOST: "at most", Direction.MONITOR: "watched"}


@dataclass(frozen=True)
class Standard:
    """What the practice expects now. version: 0 where it has kept the shipped one."""

    code: str
    direction: Direction
    target: float | None
    source: str
    version: int = 0
