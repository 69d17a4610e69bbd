"""Whether an operation's site is the one that was consented to, in words that can be read aloud."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from clinic.patients.models import Patient
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
    chosen = "destroys the matrix" if matrix_destroyed else "leaves the matrix"
    said = "permanent" if consent.intent == ConsentIntent.PERMANENT else "temporary"
    return Mismatch(("intent",), f"Consent is for a {said} operation. The technique you chose {chosen}.")


def consent_for(patient: Patient, foot: str, toe: int, on: date) -> Consent | None:
    """The newest consent to an operation on this toe that is valid on that day, whatever the part of the nail.

    Whether it was confirmed on the day stands in its reconfirmed_on.
    """
    of_toe = patient.consents.valid_on(on).filter(foot=foot, toe=toe)
    return of_toe.order_by("-discussed_on", "-pk").first()


def check_site(patient: Patient, foot: str, toe: int, part: str, on: date) -> Mismatch | None:
    """None where a valid consent names exactly this site; otherwise the mismatch with the consent that comes closest.

    One query.
    """
    consents = list(patient.consents.valid_on(on).order_by("-discussed_on", "-pk"))
    if not consents:
        chosen = site_name(foot, toe, part)
        return Mismatch(("consent",), f"No consent is on record. You chose the {chosen}.")
    return closest(consents, foot, toe, part)


def closest(consents: Iterable[Consent], foot: str, toe: int, part: str) -> Mismatch | None:
    """The mismatch that differs in least; of equals the first, so give the newest first."""
    found = [compare(consent, foot, toe, part) for consent in consents]
    if None in found:
        return None
    return min((each for each in found if each), key=lambda mismatch: (len(mismatch.differs), not mismatch.within))
