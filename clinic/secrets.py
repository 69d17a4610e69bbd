"""Where secret values come from. No secret has a default; development makes its own on first use."""

import json
import os
from pathlib import Path

from cryptography.fernet import Fernet
from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key


def required(name: str, *, at_least: int = 1) -> str:
    """The environment's value of `name`; refuses to start without it, naming the variable."""
    value = os.environ.get(name, "")
    if len(value) < at_least:
        raise ImproperlyConfigured(f"{name} must be set, {at_least} characters or more (DEVELOPERS.md, Settings).")
    return value


def development_secrets(folder: Path) -> dict[str, str]:
    """Keys of this one working copy, made at random on first use and readable by their owner only."""
    path = folder / "development-keys.json"
    if not path.exists():
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        keys = {"SECRET_KEY": get_random_secret_key(), "IDENTITY_KEY": Fernet.generate_key().decode()}
        try:
            with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
                json.dump(keys, file)
        except FileExistsError:  # another process was faster
            pass
    return json.loads(path.read_text())
