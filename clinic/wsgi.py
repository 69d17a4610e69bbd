"""Entry point for a WSGI server."""

import os

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")
django.setup(set_prefix=False)

from clinic.access.requests import Utf8Handler  # noqa: E402 - needs the settings

application = Utf8Handler()
