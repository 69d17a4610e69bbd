"""What a browser would post from the form of a photograph."""

import html
import re
from pathlib import Path

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from clinic.access.once import new_token
from tests.factories import picture_bytes


def sent(data: bytes, name: str = "IMG_0001.jpg", content_type: str = "image/jpeg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, content_type)


def answers(**changes: object) -> dict[str, object]:
    """A complete form; None leaves out."""
    posted = {
        "once": new_token(),
        "picture": sent(picture_bytes()),
        "taken_on": "2026-11-25",
        "review": "",
        "consent_for": "care",
        "consent_given_by": "patient",
        "consent_given_on": "2026-11-25",
        "note": "",
        **changes,
    }
    return {name: value for name, value in posted.items() if value is not None}


def add(client: Client, nail, **changes: object):
    return client.post(reverse("photograph-add", args=[nail.key]), answers(**changes))


def errors(response) -> list[str]:
    found = re.findall(r'class="error">.*?</span> (.*?)</span></p>', response.content.decode(), re.S)
    return [html.unescape(text) for text in found]


def files(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())
