"""The slip with a link: a square to scan, and the address to type."""

import segno
from django import forms

from clinic.access.answers import choice
from clinic.access.once import OneTimeForm
from clinic.vocabulary.recall import LinkReason


class LinkForm(OneTimeForm, forms.Form):
    use_required_attribute = False
    about = choice("What the link asks about", LinkReason, "Choose what the link asks about", columns=3)


def qr_picture(address: str) -> str:
    """The address as a QR code (ISO/IEC 18004) in a picture that a page may carry in itself."""
    code = segno.make(address, error="m", micro=False)
    return code.svg_data_uri(scale=5, border=4, dark="#000", light="#fff")
