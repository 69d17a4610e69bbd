"""What a lead's browser sends to the pages of settings and templates."""

import re

from django.urls import reverse

GOOD = {
    "times": {
        "exposure_note_seconds": "170",
        "exposure_note_below_seconds": "",
        "tourniquet_note_minutes": "20",
        "tourniquet_alarm_minutes": "30",
    },
    "agents": {"agents_offered": ["phenol", "sodium_hydroxide"], "anaesthetics_offered": ["lidocaine", "mepivacaine"]},
    "dressings": {"dressings_offered": ["alginate", "non_adherent"]},
    "staging": {"staging_system": "mozena"},
    "checklist": {"allergies": "Allergies read aloud and answered"},
    "audit": {"exposure_bands": "20, 40, 90", "recurrence_standard": "7,5"},
}
TEMPLATE = {
    "name": "Partial, phenol",
    "technique": "pna_chemical",
    "agent": "phenol",
    "strength_percent": "89",
    "strength_basis": "w_w",
    "lavage": "isopropyl",
    "skin_protected": "yes",
    "tourniquet": "ring",
    "haemostasis": "pressure",
    "dressing": "non_adherent",
    "outer_dressing": "tubular",
    "aftercare": "both",
    "aftercare_sheet": "Sheet A, version 3",
    "offered": "yes",
}


def text(response) -> str:
    return " ".join(response.content.decode().split())


def hidden(response) -> dict[str, str]:
    """The hidden answers of the form, as a browser would send them back."""
    pairs = re.findall(r'type="hidden" name="(\w+)"(?: value="([^"]*)")?', response.content.decode())
    return {name: value for name, value in pairs if name in {"once", "version", "seen"}}


def show(browser, url: str, answers: dict, **changes):
    """The page with the effect of these answers."""
    return browser.post(url, {**hidden(browser.get(url)), **answers, **changes})


def save(browser, url: str, answers: dict, *, reason: str = "As agreed", **changes):
    """Both steps of a change."""
    shown = show(browser, url, answers, **changes)
    return browser.post(url, {**answers, **hidden(shown), "reason": reason, **changes})


def topic_url(code: str) -> str:
    return reverse("settings-topic", args=[code])
