"""Whether an operation's site is the one that was consented to, in words that can be read aloud."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from clinic.preparation.models import Consent
from clinic.vocabulary.preparation import ConsentIntent
from clinic.vocabulary.sites import NailPart, site_name

EDGES = {NailPart.TIBIAL, NailPart.FIBULAR}


@dataclass(frozen=True)
class Mismatch:
    """differs: which of foot, toe, part and intent are not the same; 'consent' where there is none.

    within: the part chosen lies inside what was consented to, one side of both.
    """

    differs: tuple[str, ...]
    sentence: str
    within: bool = False


def compare(consent: Consent, foot: str, toe: int, part: str, *, who: str = "You chose") -> Mismatch | None:
    """None where foot, toe and part are those of the consent.

    part: tibial, fibular, both or whole. who: how the second sentence begins.
    """
    stated, chosen = (consent.foot, consent.toe, consent.part), (foot, toe, part)
    differs = tuple(
        name for name, said, now in zip(("foot", "toe", "part"), stated, chosen, strict=True) if said != now
    )
    if not differs:
        return None
    within = differs == ("part",) and consent.part == NailPart.BOTH and part in EDGES
    return Mismatch(differs, f"Consent says the {site_name(*stated)}. {who} the {site_name(*chosen)}.", within)


def compare_intent(consent: Consent, *, matrix_destroyed: bool) -> Mismatch | None:
    """None where the technique does to the matrix what was consented to."""
    wanted = ConsentIntent.PERMANENT if matrix_destroyed else ConsentIntent.TEMPORARY
    if consent.intent == wanted:
        return None
    done = "destroys the matrix" if matrix_destroyed else "leaves the matrix"
    said = "permanent" if consent.intent == ConsentIntent.PERMANENT else "temporary"
    return Mismatch(("intent",), f"Consent is for a {said} operation. The technique {done}.")


def check_site(
    consents: Sequence[Consent], foot: str, toe: int, part: str, *, who: str = "You chose"
) -> tuple[Consent | None, Mismatch | None]:
    """The consent that names exactly this site; otherwise how the one that comes closest differs.

    consents: those that count on the day, the newest first.
    """
    if not consents:
        return None, Mismatch(("consent",), f"No consent is on record for the {site_name(foot, toe, part)}.")
    found = [(consent, compare(consent, foot, toe, part, who=who)) for consent in consents]
    exact = next((consent for consent, mismatch in found if mismatch is None), None)
    if exact:
        return exact, None
    differing = [mismatch for _, mismatch in found if mismatch]
    return None, min(differing, key=lambda mismatch: (len(mismatch.differs), not mismatch.within))


def valid_on(consent: Consent, day: date) -> bool:
    """Given by that day and not withdrawn by then; the same as the query of that name."""
    return consent.discussed_on <= day and (consent.withdrawn_on is None or consent.withdrawn_on > day)
