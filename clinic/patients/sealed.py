"""Sealing of identities: encryption at rest with a key of its own, and digests that let sealed text be found.

The key is IDENTITY_KEY, never SECRET_KEY. Several keys separated by commas: the first seals, all of them open.
"""

import hashlib
import hmac
import unicodedata
from functools import lru_cache

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings
from django.db import models

SHORTEST_PREFIX, LONGEST_PREFIX = 1, 12


@lru_cache(maxsize=4)
def _vault(keys: tuple[str, ...]) -> MultiFernet:
    return MultiFernet([Fernet(key) for key in keys])


@lru_cache(maxsize=4)
def _digest_key(first_key: str) -> bytes:
    return hashlib.sha256(b"digest:" + first_key.encode()).digest()


def seal(text: str) -> str:
    return _vault(tuple(settings.IDENTITY_KEYS)).encrypt(text.encode()).decode()


def unseal(token: str) -> str:
    """The text of a sealed value; raises ValueError if it was sealed with a key we do not hold."""
    try:
        return _vault(tuple(settings.IDENTITY_KEYS)).decrypt(token.encode()).decode()
    except InvalidToken as error:
        raise ValueError("This identity was sealed with another IDENTITY_KEY.") from error


class SealedField(models.TextField):
    """Text that is encrypted in the database and plain in Python. Cannot be filtered on: use digests."""

    def from_db_value(self, value, expression, connection):
        return unseal(value) if value else value

    def get_prep_value(self, value):
        # Filtering on sealed text would find nothing without saying so: equal texts seal differently each time.
        return seal(value) if value else value

    def get_lookup(self, lookup_name):
        if lookup_name not in {"isnull"}:
            raise TypeError(f"A sealed field cannot be filtered with {lookup_name}; use its digest.")
        return super().get_lookup(lookup_name)


def plain_letters(text: str) -> str:
    """Lower case without accents, so that 'Renée' and 'renee' find each other."""
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in decomposed if letter.isalnum() or letter.isspace())


def digest(practice_id: int, kind: str, text: str) -> str:
    """Keyed digest of `text`, different in every practice and for every kind."""
    message = f"{practice_id}|{kind}|{text}".encode()
    key = _digest_key(settings.IDENTITY_KEYS[-1])  # the oldest key: digests survive a rotation of the first
    return hmac.new(key, message, hashlib.sha256).hexdigest()[:32]


def name_digests(practice_id: int, *names: str) -> set[str]:
    """Digests of every prefix (1 to 12 letters) of every word of the names."""
    words = plain_letters(" ".join(names).replace("-", " ")).split()
    prefixes = {word[:length] for word in words for length in range(SHORTEST_PREFIX, LONGEST_PREFIX + 1)}
    return {digest(practice_id, "name", prefix) for prefix in prefixes if len(prefix) >= 1}


def query_digests(practice_id: int, query: str) -> list[str]:
    """Digests of the words somebody typed; every one of them must be found."""
    words = plain_letters(query.replace("-", " ")).split()
    return [digest(practice_id, "name", word[:LONGEST_PREFIX]) for word in words]


def record_number_digest(practice_id: int, number: str) -> str:
    """Tells whether two record numbers are one: letter case and width of gaps do not count, signs do (12/3, 1/23)."""
    return digest(practice_id, "number", " ".join(unicodedata.normalize("NFKC", number).casefold().split()))


def loose_number_digest(practice_id: int, number: str) -> str:
    """Finds a record number typed without its signs; several numbers may share it."""
    return digest(practice_id, "loose number", "".join(plain_letters(number).split()))
