"""The operation note as a tagged PDF."""

from pathlib import Path
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from clinic.paper import NoPaper, pdf_of_html

STYLE = Path(__file__).with_name("paper.css")


def pdf_of(request: HttpRequest, template: str, shown: dict[str, Any]) -> bytes:
    """The rendered template as PDF/UA: the same input gives the same bytes."""
    return pdf_of_html(render_to_string(template, shown, request), STYLE.read_text("utf-8"))


__all__ = ["NoPaper", "pdf_of"]
