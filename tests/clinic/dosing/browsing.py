"""What a lead's browser sends to the pages of limits, and operations for them to count."""

import re
from decimal import Decimal

from django.urls import reverse

from clinic.procedures.models import AnaestheticDose, Operation
from tests.factories import create_operation, create_patient

CHECKED = {"checked": "on", "checked_against": "Label of March 2026"}
OWN = {
    "agent": "lidocaine",
    "vasoconstrictor": "none",
    "profile": "Local protocol 2026",
    "mg_per_kg": "3",
    "absolute_mg": "200",
    "per_digit_mg": "",
    "weight_cap_kg": "70",
    "period_h": "",
    "source_text": "Our protocol, 2026",
    "version": "1",
}


def hidden(page) -> dict[str, str]:
    """The hidden answers of the approval as a browser would send them back."""
    text = page.content.decode()
    form = text[text.index('id="approve-head"') :]
    pairs = re.findall(r'type="hidden" name="(\w+)"(?: value="([^"]*)")?', form)
    return {name: value for name, value in pairs if name in {"once", "version", "instead_of"}}


def approve(browser, url, **changes):
    return browser.post(url, {**hidden(browser.get(url)), **CHECKED, **changes})


def change_of(browser, row, **changes) -> dict[str, str]:
    text = browser.get(reverse("limit-change", args=[row.key])).content.decode()
    once = re.search(r'name="once" value="([^"]+)"', text).group(1)
    stored = {"profile": row.profile, "mg_per_kg": "4.5", "absolute_mg": "200", "source_text": row.source_text}
    return {**stored, "version": str(row.version), "once": once, "reason": "New label", **changes}


def weighed(practice, weight: str, *doses: tuple[str, str, str | None]) -> Operation:
    operation = create_operation(patient=create_patient(practice))
    operation.weight_kg = Decimal(weight)
    operation.save()
    for agent, percent, volume in doses:
        AnaestheticDose.objects.create(
            operation=operation, nail_procedure=operation.nail_procedures.get(), agent=agent,
            strength_percent=percent, volume_ml=volume,
        )  # fmt: skip
    return operation
