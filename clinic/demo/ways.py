"""The ways of the first practice: its settings and templates, as its lead set them before the first operation."""

import random
from datetime import datetime, time
from decimal import Decimal

from clinic.access.models import Member, Practice
from clinic.demo.deal import FIRST_DAY
from clinic.demo.people import phone
from clinic.demo.shapes import mint
from clinic.demo.surgery import ZONE
from clinic.planning.models import FollowUp
from clinic.practice.acts import add_template
from clinic.practice.models import OperationTemplate

SET_AT = datetime.combine(FIRST_DAY, time(8, 0), ZONE)
SETTINGS = {
    "staging_system": "mozena",
    "agents_offered": ["phenol", "sodium_hydroxide", "tca"],
    "anaesthetics_offered": ["lidocaine", "mepivacaine", "bupivacaine"],
    "dressings_offered": ["non_adherent", "alginate", "iodine", "gauze"],
    "checklist_wording": {"emergency": "Emergency box: everybody points at it"},
}
OWN_PHONE = phone(999)
AT_NIGHT = "When we are closed: the local number for urgent advice that stands on your aftercare sheet."
SHEET = "Nail surgery at home, version 4"
AFTERWARDS = {
    "tourniquet": "ring",
    "haemostasis": "pressure",
    "dressing": "non_adherent",
    "outer_dressing": "tubular",
    "aftercare": "both",
    "aftercare_sheet": SHEET,
}
PHENOL = {
    "agent": "phenol",
    "strength_percent": Decimal("89.0"),
    "strength_basis": "w_w",
    "lavage": "isopropyl",
    "skin_protected": "yes",
}
TEMPLATES = (
    {"name": "Partial avulsion, phenol", "technique": "pna_chemical", **PHENOL, **AFTERWARDS},
    {"name": "Total avulsion, phenol", "technique": "tna_chemical", **PHENOL, **AFTERWARDS, "dressing": "alginate"},
    {"name": "Partial avulsion alone", "technique": "pna_only", **AFTERWARDS},
)


def settle(practice: Practice, lead: Member) -> None:
    for name, value in SETTINGS.items():
        setattr(practice, name, value)
    practice.save_version(by=lead, reason="Agreed in the practice")
    rng = random.Random(practice.code)  # of its own, so that the records keep their keys
    for values in TEMPLATES:
        row = OperationTemplate(key=mint(rng), practice=practice, **values)
        row._history_date = SET_AT
        add_template(by=lead, row=row, reason="Agreed in the practice")
    follow_up = FollowUp(key=mint(rng), practice=practice, phone=OWN_PHONE, out_of_hours=AT_NIGHT)
    follow_up._history_date = SET_AT
    follow_up.keep(by=lead, reason="Agreed in the practice")
