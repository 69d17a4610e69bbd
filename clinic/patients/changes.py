"""Versions of rows as a list people can read: who, when, why, old value and new value."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby, pairwise
from typing import Any

from clinic.access.numbers import say_day


@dataclass(frozen=True)
class Line:
    """One value that changed; `old` is empty where the row is new, `new` where it was taken away."""

    label: str
    old: str
    new: str


@dataclass(frozen=True)
class Step:
    """What one person saved at one moment."""

    at: datetime
    by: str
    reason: str
    lines: tuple[Line, ...]


def steps_of(
    versions: Iterable[Any],
    labels: Mapping[str, str],
    *,
    subject: Callable[[Any], str] = lambda version: "",
    with_first: bool = True,
) -> list[Step]:
    """Steps of all rows among `versions`, which arrive with their authors fetched.

    labels: the fields that count, and their words. subject: what is said before the words, such as the toe.
    with_first: False leaves out what a row held when it was made.
    """
    by_row = groupby(sorted(versions, key=lambda version: (version.id, version.history_id)), key=lambda row: row.id)
    found: list[Step] = []
    for _, group in by_row:
        rows = list(group)
        if with_first:
            found.append(_step(rows[0], _made(rows[0], labels, subject)))
        found += [_step(newer, _changed(older, newer, labels, subject)) for older, newer in pairwise(rows)]
    return [step for step in found if step.lines]


def newest_first(steps: Sequence[Step]) -> list[Step]:
    """Steps of one saving, which touches several rows, put together."""

    def saving(step: Step) -> tuple[datetime, str, str]:
        return step.at.replace(microsecond=0), step.by, step.reason

    ordered = sorted(steps, key=saving, reverse=True)
    return [
        Step(at, by, reason, tuple(line for step in group for line in step.lines))
        for (at, by, reason), group in groupby(ordered, key=saving)
    ]


def _step(version: Any, lines: tuple[Line, ...]) -> Step:
    by = str(version.history_user) if version.history_user else "unknown"
    return Step(version.history_date, by, version.history_change_reason or "", lines)


def _made(row: Any, labels: Mapping[str, str], subject: Callable[[Any], str]) -> tuple[Line, ...]:
    values = [(label, shown(row, name)) for name, label in labels.items()]
    return tuple(Line(_named(subject(row), label), "", value) for label, value in values if value)


def _changed(older: Any, newer: Any, labels: Mapping[str, str], subject: Callable[[Any], str]) -> tuple[Line, ...]:
    if newer.history_type == "-":
        values = [(label, shown(older, name)) for name, label in labels.items()]
        return tuple(Line(_named(subject(older), label), value, "") for label, value in values if value)
    return tuple(
        Line(_named(subject(newer), label), shown(older, name), shown(newer, name))
        for name, label in labels.items()
        if getattr(older, name) != getattr(newer, name)
    )


def _named(subject: str, label: str) -> str:
    return f"{subject}: {label}" if subject else label[:1].upper() + label[1:]


def shown(row: Any, name: str) -> str:
    """The words for a stored value, never its code."""
    value = getattr(row, name)
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return f"{say_day(value.date())}, {value:%H:%M}"
    if isinstance(value, date):
        return say_day(value)
    words = getattr(row, f"get_{name}_display", None)
    return str(words() if words else value)
