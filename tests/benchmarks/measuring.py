"""Time, memory and a table of both."""

import math
import statistics
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Measured:
    """result: of the last run. best, median: seconds. megabytes: that numpy and Python held at most, above what they
    held before; None where it was not measured."""

    result: Any
    best: float
    median: float
    megabytes: float | None = None


def measure(call: Callable[[], Any], runs: int = 7, memory: bool = True) -> Measured:
    """Runs the call once to warm up, then so many times; then once more under a memory trace, which slows it down."""
    call()
    seconds, result = [], None
    for _ in range(runs):
        begin = time.perf_counter()
        result = call()
        seconds.append(time.perf_counter() - begin)
    return Measured(result, min(seconds), statistics.median(seconds), peak(call) if memory else None)


def measure_once(call: Callable[[], Any]) -> Measured:
    """For what takes long: one run, timed."""
    begin = time.perf_counter()
    result = call()
    seconds = time.perf_counter() - begin
    return Measured(result, seconds, seconds)


def peak(call: Callable[[], Any]) -> float:
    """Megabytes held at most during the call, above what was held before."""
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        tracemalloc.reset_peak()
        call()
        return (tracemalloc.get_traced_memory()[1] - before) / 2**20
    finally:
        tracemalloc.stop()


class Table:
    """Rows printed as they come, under a title and the names of the columns."""

    def __init__(self, title: str, columns: dict[str, int]) -> None:
        self._widths = list(columns.values())
        print(f"\n{title}\n{self._line(list(columns))}")

    def row(self, *cells: str) -> None:
        print(self._line(list(cells)), flush=True)

    def _line(self, cells: list[str]) -> str:
        first = cells[0].ljust(self._widths[0])
        return first + "".join(cell.rjust(width) for cell, width in zip(cells[1:], self._widths[1:], strict=True))


def seconds(value: float) -> str:
    return f"{value * 1e3:.2f} ms" if value < 1 else f"{value:.2f} s"


def megabytes(value: float | None) -> str:
    return "" if value is None else f"{value:.1f} MB"


def small(value: float) -> str:
    return f"{value:.1e}" if math.isfinite(value) else "none"
