"""What a browser would post from the operation page, for the tests of that page."""

import html
import re

from django.test import Client
from django.urls import reverse

from clinic.access.once import new_token
from clinic.patients.models import Patient

TODAY = "2026-11-25"


def answers_for(operator, *, toes: int = 1, **changes: object) -> dict[str, object]:
    """A complete, usual operation today; `changes` with _ for the first dash, as toe1_agent="tca"; None leaves out."""
    posted: dict[str, object] = {
        "once": new_token(),
        "toes": str(toes),
        "visit-when": TODAY,
        "visit-performed_on": "",
        "visit-operator": operator.key,
        "visit-consent_given_by": "patient",
        "visit-note": "",
    }
    for number in range(1, toes + 1):
        posted |= {f"toe{number}-{name}": value for name, value in toe_answers(number).items()}
    for name, value in changes.items():
        of_a_part = re.match(r"(visit|confirm|toe\d)_", name)
        posted[name.replace("_", "-", 1) if of_a_part else name] = value
    return {name: value for name, value in posted.items() if value is not None}


def toe_answers(number: int) -> dict[str, str]:
    return {
        "toe": f"right-{number}",
        "side": "fibular",
        "technique": "pna_chemical",
        "agent": "phenol",
        "strength_percent": "80",
        "strength_basis": "w_w",
        "exposure": "each",
        "seconds_1": "60",
        "seconds_2": "60",
        "infection_before": "none",
        "prior_surgery": "no",
    }


def send(client: Client, patient: Patient, operator, **changes: object):
    return client.post(reverse("operation-new", args=[patient.key]), answers_for(operator, **changes))


def text(response) -> str:
    """The words of a page, as they are read."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", response.content.decode())))


def errors(response) -> list[str]:
    """The sentences of the error summary."""
    summary = re.search(r'<div class="error-summary".*?</div>', response.content.decode(), re.S)
    return (
        [html.unescape(found) for found in re.findall(r'<a href="#[^"]+">(.*?)</a>', summary.group(0))]
        if summary
        else []
    )
