"""What a browser would post from the pages before an operation."""

import html
import re

from django.test import Client
from django.urls import reverse

from clinic.access.once import new_token
from clinic.patients.models import Patient
from clinic.vocabulary.preparation import ConsentPoint

TODAY = "2026-11-25"
REQUIRED_OF_A_FOOT = {"dorsalis_pedis": "palpable", "posterior_tibial": "palpable"}


def assessment_answers(by, *, toes: int = 1, **changes: object) -> dict[str, object]:
    """A complete assessment in which nothing was found; `changes` by field name with its prefix, None leaves out."""
    posted: dict[str, object] = {
        "once": new_token(),
        "toes": str(toes),
        "visit-assessed_on": TODAY,
        "visit-assessed_by": by.key,
        "why-indication": "onychocryptosis",
        "why-tried": ["none"],
        **{f"{foot}-{name}": value for foot in ("right", "left") for name, value in REQUIRED_OF_A_FOOT.items()},
        "health-diabetes": "none",
        "health-antithrombotic": ["none"],
        "health-immunosuppression": "none",
        "health-condition": ["none"],
        "health-pregnancy": "no",
        "health-breastfeeding": "no",
        "health-tobacco": "never",
        "allergy-allergies": "none",
    }
    for number in range(1, toes + 1):
        posted |= {
            f"toe{number}-toe": f"right-{number}",
            f"toe{number}-infection": "none",
            f"toe{number}-bone_infection": "no",
            f"toe{number}-prior_surgery": "none",
        }
    return without_none(posted | {name.replace("__", "-"): value for name, value in changes.items()})


def consent_answers(by, **changes: object) -> dict[str, object]:
    """A complete consent; None leaves out."""
    return without_none(
        {
            "once": new_token(),
            "toe": "right-1",
            "part": "fibular",
            "intent": "permanent",
            "given_by": "patient",
            "discussed_on": TODAY,
            "discussed_by": by.key,
            "points": ConsentPoint.codes(),
            "photographs": "no",
            "interpreter": "not_needed",
            **changes,
        }
    )


def without_none(answers: dict[str, object]) -> dict[str, object]:
    return {name: value for name, value in answers.items() if value is not None}


def assess(client: Client, patient: Patient, by, **changes: object):
    return client.post(reverse("assessment-new", args=[patient.key]), assessment_answers(by, **changes))


def consent_to(client: Client, patient: Patient, by, **changes: object):
    return client.post(reverse("consent-new", args=[patient.key]), consent_answers(by, **changes))


def text(response) -> str:
    """The words of a page, as they are read."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())))


def errors(response) -> list[str]:
    """The sentences of the error summary."""
    summary = re.search(r'<div class="error-summary".*?</div>', response.content.decode(), re.S)
    return (
        [html.unescape(found) for found in re.findall(r'<a href="#[^"]+">(.*?)</a>', summary.group(0))]
        if summary
        else []
    )
