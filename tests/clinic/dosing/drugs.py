"""Doses and shipped limits of the tests, in short."""

from decimal import Decimal

from clinic.dosing.amounts import Dose, Limit, Toe
from clinic.dosing.candidates import candidate_of
from clinic.vocabulary.procedure import Anaesthetic, Foot, Vasoconstrictor

RIGHT_1: Toe = (Foot.RIGHT, 1)
LEFT_1: Toe = (Foot.LEFT, 1)


def dose(
    agent: str,
    percent: str,
    volume: str | None,
    *,
    toe: Toe | None = RIGHT_1,
    vasoconstrictor: Vasoconstrictor = Vasoconstrictor.NONE,
) -> Dose:
    return Dose(Anaesthetic(agent), Decimal(percent), vasoconstrictor, None if volume is None else Decimal(volume), toe)


def shipped(*codes: str) -> list[Limit]:
    """Candidates, as they would count once approved."""
    return [candidate_of(code).limit for code in codes]
