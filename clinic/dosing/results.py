"""What the arithmetic of local anaesthetic gives: states, sums, and every step in words.

Pure: no Django, no records.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from clinic.dosing.amounts import Toe, said
from clinic.vocabulary import sources as s
from clinic.vocabulary.procedure import Anaesthetic, VasoconstrictorKind
from clinic.vocabulary.terms import Source, Term


class LimitState(Term):
    """How what was given stands to a limit, the gravest last. What is not assessed is not within it."""

    NONE_GIVEN = "none_given", "No local anaesthetic is recorded", "There is nothing to add up", s.OWN_DESIGN
    WITHIN = "within", "Within the limit", "Less than the approved limit", s.OWN_DESIGN
    AT_LIMIT = "at_limit", "At the limit", "Exactly the approved limit", s.OWN_DESIGN
    INCOMPLETE = (
        "incomplete", "Limit not assessed: not everything is recorded",
        "A volume or the vasoconstrictor is not recorded", s.OWN_DESIGN,
    )  # fmt: skip
    NO_LIMIT = (
        "no_limit", "Limit not assessed: no approved limit",
        "Nobody has approved a limit for this agent and vasoconstrictor", s.OWN_DESIGN,
    )  # fmt: skip
    NO_WEIGHT = "no_weight", "Limit not assessed: no weight", "No weight is recorded, and none is assumed", s.OWN_DESIGN
    ABOVE = "above", "Above the limit", "More than the approved limit", s.OWN_DESIGN

    @property
    def is_assessed(self) -> bool:
        return self not in {LimitState.INCOMPLETE, LimitState.NO_LIMIT, LimitState.NO_WEIGHT}


class Level(StrEnum):
    """How loudly it is shown: amber above 80 % of a limit or where it is not assessed, red above 100 %."""

    PLAIN = "plain"
    AMBER = "amber"
    RED = "red"


@dataclass(frozen=True)
class Note:
    """What else is to be known, and from where."""

    words: str
    source: Source


@dataclass(frozen=True)
class Total:
    """One drug in the whole attendance, or, with a toe, at that toe alone.

    milligrams: of the recorded volumes. limit_mg: None where it cannot be said. share: milligrams / limit_mg, None
    where it is not assessed. least: the share it has in any case, 0 where even that is unknown. reason: why it was not
    assessed, otherwise empty. words: the arithmetic in one line.
    """

    agent: Anaesthetic
    vasoconstrictor: VasoconstrictorKind | None
    toe: Toe | None
    milligrams: Decimal
    limit_mg: Decimal | None
    share: Fraction | None
    least: Fraction
    state: LimitState
    reason: str
    words: str


@dataclass(frozen=True)
class Result:
    """Everything the screen shows, in the order of the arithmetic.

    rows: a line for each dose, as given. by_agent: mg of each agent, with and without vasoconstrictor. totals: by drug.
    digits: by drug and toe, where a limit holds per digit. share: the sum of shares, None where a part is missing.
    sum_words: that sum, empty where there is one drug only. state: the gravest. reasons: why what was not assessed.
    """

    rows: tuple[str, ...]
    by_agent: tuple[tuple[Anaesthetic, Decimal], ...]
    totals: tuple[Total, ...]
    digits: tuple[Total, ...]
    share: Fraction | None
    sum_words: str
    state: LimitState
    level: Level
    reasons: tuple[str, ...]
    notes: tuple[Note, ...]

    @property
    def headline(self) -> str:
        """'Limit not assessed: no approved limit for plain articaine'."""
        if self.state.is_assessed:
            return "; ".join([self.state.label, *(f"not assessed: {reason}" for reason in self.reasons)])
        return f"Limit not assessed: {'; '.join(self.reasons)}"

    @property
    def steps(self) -> tuple[str, ...]:
        """The whole arithmetic, line by line."""
        together = [
            f"{agent.label} with and without vasoconstrictor: {said(milligrams)} mg"
            for agent, milligrams in self.by_agent
            if sum(total.agent == agent for total in self.totals) > 1
        ]
        totals = [total.words for total in self.totals]
        lines = [*self.rows, *totals, *together, self.sum_words, *(total.words for total in self.digits)]
        return tuple(line for line in lines if line)
