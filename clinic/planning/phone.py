"""The practice's number as patients read and dial it. Knows no Django."""

import re

FEWEST_DIGITS, MOST_DIGITS = 3, 15  # ITU-T E.164 allows 15 with the country code
EXAMPLE = "01632 960100"
_TRUNK = re.compile(r"\(\s*0\s*\)")


def fault_of(phone: str) -> str:
    """Why patients could not dial this; empty where they can."""
    abroad = phone.startswith(("+", "00"))
    if re.search(r"[,;/&|\n]|\bor\b", phone, re.IGNORECASE):
        return f"Enter one number only, such as {EXAMPLE}; a phone would dial two as one"
    if abroad and _TRUNK.search(phone):
        return "Leave out “(0)”: after a country code it is not dialled, as in +44 1632 960100"
    if not re.fullmatch(r"\+?[\d\s().-]+", phone):
        return f"Enter the number in digits, such as {EXAMPLE} or +44 1632 960100"
    digits = len(re.sub(r"\D", "", phone)) - 2 * phone.startswith("00")
    if digits > MOST_DIGITS:
        return f"The number has {digits} digits, and none has more than {MOST_DIGITS}: enter one number only"
    if digits < FEWEST_DIGITS:
        return "The number is too short; enter it as patients dial it"
    return ""


def dialled(phone: str) -> str:
    """What stands behind `tel:` (RFC 3966): digits, and the plus of a country code."""
    number = _TRUNK.sub("", phone) if phone.startswith(("+", "00")) else phone
    return re.sub(r"[^\d+]", "", number)
