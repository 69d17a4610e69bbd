"""Limits found in labels and teaching, for the practice lead to check and approve one by one. None is in force.

They differ on purpose: sources of two countries give 200 mg and 300 mg for the same plain lidocaine. needs_check marks
rows with a value written from memory. Pure: no Django, no records.
"""

from dataclasses import dataclass
from decimal import Decimal

from clinic.dosing.amounts import Limit
from clinic.vocabulary.procedure import Anaesthetic, VasoconstrictorKind

LIDOCAINE_SMPC = "Lidocaine hydrochloride 2 % w/v, summary of product characteristics, Irish regulator"
LIDOCAINE_PAGE = "Product page that repeats the UK label wording: 200 mg, or 500 mg with adrenaline"
LIDOCAINE_US = "US label, lidocaine hydrochloride with and without epinephrine"
TEACHING = "Undergraduate table of maximum doses and podiatry teaching slides; weight counted up to 70 kg"
MEPIVACAINE_UK = "Mepivacaine 3 % monograph, UK edition, foot use; contraindicated under 4 years"
FROM_MEMORY = "from memory, unverified"


@dataclass(frozen=True)
class Candidate:
    """code: stands in addresses and is never renamed. needs_check: a value was written from memory."""

    code: str
    profile: str
    limit: Limit
    needs_check: bool


def _row(
    code: str,
    profile: str,
    agent: Anaesthetic,
    kind: VasoconstrictorKind,
    per_kg: str,
    absolute: str,
    source: str,
    *,
    per_digit: str = "",
    cap: str = "",
    period_h: int | None = None,
    needs_check: bool = False,
) -> Candidate:
    amounts = [Decimal(text) if text else None for text in (per_kg, absolute, per_digit, cap)]
    mg_per_kg, absolute_mg, per_digit_mg, weight_cap_kg = amounts
    limit = Limit(agent, kind, mg_per_kg, absolute_mg, per_digit_mg, weight_cap_kg, period_h, source)
    return Candidate(code, profile, limit, needs_check)


A = Anaesthetic
PLAIN, ADRENALINE, FELYPRESSIN = (
    VasoconstrictorKind.NONE,
    VasoconstrictorKind.ADRENALINE,
    VasoconstrictorKind.FELYPRESSIN,
)
CANDIDATES = (
    _row("lidocaine-uk", "UK and Irish label", A.LIDOCAINE, PLAIN, "4.5", "200", LIDOCAINE_SMPC),
    _row("lidocaine-adrenaline-uk", "UK and Irish label", A.LIDOCAINE, ADRENALINE, "", "500", LIDOCAINE_PAGE),
    _row("lidocaine-us", "US label", A.LIDOCAINE, PLAIN, "4.5", "300", LIDOCAINE_US),
    _row("lidocaine-adrenaline-us", "US label", A.LIDOCAINE, ADRENALINE, "7", "500", LIDOCAINE_US),
    _row("lidocaine-teaching", "Teaching", A.LIDOCAINE, PLAIN, "3", "210", TEACHING, cap="70"),
    _row("lidocaine-adrenaline-teaching", "Teaching", A.LIDOCAINE, ADRENALINE, "7", "", TEACHING, cap="70"),
    _row(
        "mepivacaine-uk", "UK foot indication", A.MEPIVACAINE, PLAIN, "6", "", MEPIVACAINE_UK,
        per_digit="132", period_h=24,
    ),
    _row(
        "mepivacaine-us", "US label", A.MEPIVACAINE, PLAIN, "7", "400",
        f"US label: 400 mg once, 1000 mg in 24 h; {FROM_MEMORY}", needs_check=True,
    ),
    _row(
        "bupivacaine-uk", "UK and Irish label", A.BUPIVACAINE, PLAIN, "2", "150",
        f"2 mg/kg: textbook of practical procedures and undergraduate table; 150 mg: UK label, {FROM_MEMORY}",
        needs_check=True,
    ),
    _row(
        "bupivacaine-us", "US label", A.BUPIVACAINE, PLAIN, "2", "175",
        f"2 mg/kg: textbook of practical procedures and undergraduate table; 175 mg: US label, {FROM_MEMORY}",
        needs_check=True,
    ),
    _row(
        "bupivacaine-adrenaline-us", "US label", A.BUPIVACAINE, ADRENALINE, "2", "225",
        f"2 mg/kg: textbook of practical procedures and undergraduate table; 225 mg: US label, {FROM_MEMORY}",
        needs_check=True,
    ),
    _row(
        "levobupivacaine-teaching", "Teaching", A.LEVOBUPIVACAINE, PLAIN, "2", "150",
        f"2 mg/kg: podiatry teaching slides; 150 mg once, 400 mg in 24 h: label, {FROM_MEMORY}", needs_check=True,
    ),
    _row(
        "prilocaine-teaching", "Teaching", A.PRILOCAINE, PLAIN, "5", "400",
        f"5 mg/kg: undergraduate table; up to 6 mg/kg and 400 mg: {FROM_MEMORY}", needs_check=True,
    ),
    _row(
        "prilocaine-felypressin", "Teaching", A.PRILOCAINE, FELYPRESSIN, "5", "300",
        f"5 mg/kg: undergraduate table; up to 6 mg/kg and 300 mg: {FROM_MEMORY}", needs_check=True,
    ),
    _row(
        "ropivacaine-memory", "Label wording, unverified", A.ROPIVACAINE, PLAIN, "3", "200",
        f"3 mg/kg and 200 mg, elsewhere 225 mg: {FROM_MEMORY}", needs_check=True,
    ),
    _row(
        "articaine-memory", "Label wording, unverified", A.ARTICAINE, ADRENALINE, "7", "500",
        f"Articaine 4 % with adrenaline, 7 mg/kg and 500 mg: {FROM_MEMORY}; foot use is off-label", needs_check=True,
    ),
)  # fmt: skip


def candidate_of(code: str) -> Candidate | None:
    return next((candidate for candidate in CANDIDATES if candidate.code == code), None)
