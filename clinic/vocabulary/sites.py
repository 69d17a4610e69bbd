"""Foot, toe and part of the nail in full words, as they are read back before saving."""

from collections.abc import Collection, Iterable

from clinic.vocabulary import sources as s
from clinic.vocabulary.procedure import TOES, Foot, NailSide
from clinic.vocabulary.terms import Term, label_of


class NailPart(Term):
    """What the picker of the nail offers; both sides are one answer."""

    TIBIAL = "tibial", "Tibial (medial) side", "The nail edge towards the midline of the body", s.ANATOMY
    FIBULAR = "fibular", "Fibular (lateral) side", "The nail edge away from the midline of the body", s.ANATOMY
    BOTH = "both", "Both sides", "Both nail edges, the centre is kept", s.ANATOMY
    WHOLE = "whole", "Whole nail", "The whole nail plate", s.ANATOMY


BOTH = NailPart.BOTH.value
SITES = [(f"{foot.value}-{toe}", f"{foot.value.capitalize()} {words}") for foot in Foot for toe, words in TOES.items()]


def split_site(site: str) -> tuple[str, int]:
    """Foot and toe of a picker's answer: 'right-1' is ('right', 1)."""
    foot, _, toe = site.partition("-")
    return foot, int(toe)


def sides_of(part: str) -> tuple[str, ...]:
    """The treated sides that a choice of the picker means."""
    return (NailSide.TIBIAL.value, NailSide.FIBULAR.value) if part == BOTH else (part,)


def part_of(sides: Collection[str]) -> str:
    """The choice of the picker for stored sides."""
    return BOTH if len(sides) > 1 else next(iter(sides), "")


def toe_name(foot: str, toe: int) -> str:
    """'right 1st toe (hallux)'."""
    return f"{foot} {TOES[toe]}"


def part_name(part: str) -> str:
    """'fibular (lateral) side'."""
    return small(label_of(NailPart, part))


def site_name(foot: str, toe: int, part: str) -> str:
    """'right 1st toe (hallux), tibial (medial) side'."""
    return f"{toe_name(foot, toe)}, {part_name(part)}"


def landmark(part: str, toe: int) -> str:
    """What the side lies next to; toes, not left and right, because both feet mirror."""
    if part == NailSide.TIBIAL:
        return "the side facing the other foot" if toe == 1 else "the side towards the 1st toe"
    if part == NailSide.FIBULAR:
        if toe == 5:
            return "the outer edge of the foot"
        return "the side next to the 2nd toe" if toe == 1 else "the side away from the 1st toe"
    return "the centre is kept" if part == BOTH else "the complete nail plate"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def small(text: str) -> str:
    """With a small first letter, for the middle of a sentence."""
    return text[:1].lower() + text[1:]


def listed(items: Iterable[str]) -> str:
    """'a', 'a and b', 'a, b and c'."""
    every = list(items)
    return " and ".join(filter(None, [", ".join(every[:-1]), every[-1]])) if every else ""
