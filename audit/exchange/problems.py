"""What is wrong with a received set: file, row, column, reason. Knows no Django."""

from collections.abc import Sequence
from dataclasses import dataclass

# So many are listed; the rest is counted.
MOST_LISTED = 200
LONGEST_SAID = 40


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong. file: member of the zip, empty for the zip itself.

    row: as a spreadsheet counts, the header is row 1; None where no row is meant. column: empty where none is meant.
    """

    file: str
    reason: str
    row: int | None = None
    column: str = ""

    @property
    def sentence(self) -> str:
        """Where, then what: "sides.csv, row 44, column exposure_seconds: ..."."""
        place = [self.file or "the zip"]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column:
            place.append(f"column {self.column}")
        return f"{', '.join(place)}: {self.reason}"


class Refused(ValueError):
    """A set that is not taken. problems: at most MOST_LISTED; total: all that were found."""

    def __init__(self, problems: Sequence[Problem], total: int | None = None) -> None:
        self.total = len(problems) if total is None else total
        self.problems = tuple(problems[:MOST_LISTED])
        super().__init__(self.problems[0].sentence if self.problems else "refused")


def said(value: object) -> str:
    """A value from outside, quoted in a sentence: short, printable, nothing that reads backwards."""
    text = str(value)
    short = text if len(text) <= LONGEST_SAID else text[: LONGEST_SAID - 1] + "\u2026"
    return "\u201c" + "".join(letter if letter.isprintable() else "\u00b7" for letter in short) + "\u201d"
