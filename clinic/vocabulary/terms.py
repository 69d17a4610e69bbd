"""A coded term carries its label, its meaning and where that comes from.

Knows nothing of Django: `choices` is only a list of pairs, which a model field can call.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Self, TypeVar


@dataclass(frozen=True)
class Source:
    """Where a meaning, range or figure comes from; `note` says how far it was verified."""

    citation: str
    note: str = ""


class Term(StrEnum):
    """A code stored in the database, with the words shown to people.

    A member is written `NAME = code, label, meaning, source`. The code is never renamed and never shown.
    """

    label: str
    meaning: str
    source: Source

    def __new__(cls, code: str, label: str, meaning: str, source: Source) -> Self:
        member = str.__new__(cls, code)
        member._value_ = code
        member.label = label
        member.meaning = meaning
        member.source = source
        return member

    @classmethod
    def choices(cls) -> list[tuple[str, str]]:
        """Pairs of code and label in the order of declaration."""
        return [(term.value, term.label) for term in cls]

    @classmethod
    def codes(cls) -> list[str]:
        return [term.value for term in cls]


T = TypeVar("T", bound=Term)


def term_of(terms: type[T], code: str) -> T:
    """The term of `code`; ValueError for an unknown one."""
    found = next((term for term in terms if term.value == code), None)
    if found is None:
        raise ValueError(f"{code!r} is no code of {terms.__name__}")
    return found


def label_of(terms: type[Term], code: str) -> str:
    """The label of `code`; the code itself if it is unknown, so that a page never hides a value."""
    return next((term.label for term in terms if term.value == code), code)
