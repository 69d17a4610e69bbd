"""Which passwords are refused because this program or its place suggests them, and the link to a first one."""

import re
from collections.abc import Iterable

from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.core.exceptions import ValidationError
from django.utils.http import base36_to_int

from clinic.access.models import Member

FIRST_PASSWORD_SECONDS = 24 * 3600
PRODUCT_WORDS = (
    "nailsurgery",
    "toenail",
    "ingrown",
    "ingrowing",
    "regrowth",
    "phenol",
    "matrixectomy",
    "avulsion",
    "podiatr",
    "chiropod",
    "followup",
)
# Shorter words of a practice's name ("of", "the", "foot") would refuse good passwords by accident.
SHORTEST_NAME_WORD = 5


class ProductWordValidator:
    """Refuses a password that contains a word of the trade or of the practice's name."""

    def validate(self, password: str, user: Member | None = None) -> None:
        plain = letters_of(password)
        if any(word in plain for word in PRODUCT_WORDS):
            raise ValidationError("This password contains a word of nail surgery. Choose other words.", "product_word")
        if any(word in plain for word in practice_words(user)):
            raise ValidationError(
                "This password contains the name of the practice. Choose other words.", "practice_name"
            )

    def get_help_text(self) -> str:
        return "Your password must not contain words of nail surgery or the name of the practice."


def letters_of(text: str) -> str:
    """Letters and digits only, in small letters, so that spaces and hyphens hide nothing."""
    return re.sub(r"[^\w]|_", "", text.casefold())


def practice_words(user: Member | None) -> Iterable[str]:
    practice = getattr(user, "practice", None)
    if practice is None:
        return
    for words in (practice.name, practice.code):
        parts = re.split(r"[\W_]+", words.casefold())
        yield from (part for part in parts if len(part) >= SHORTEST_NAME_WORD)
        if whole := letters_of(words):
            yield whole


class FirstPasswordLink(PasswordResetTokenGenerator):
    """The token of a link that sets a password once: it dies with its use, with a sign-in, and after a day."""

    key_salt = "clinic.access.first-password"

    def check_token(self, user: Member | None, token: str | None) -> bool:
        return super().check_token(user, token) and self.age_seconds(token) <= FIRST_PASSWORD_SECONDS

    def age_seconds(self, token: str) -> int:
        return self._num_seconds(self._now()) - base36_to_int(token.split("-")[0])


first_password_link = FirstPasswordLink()
