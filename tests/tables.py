"""How a program begins that a test runs in a process of its own: tables made from the models, without migrations."""

TABLES = """
import django
from django.conf import settings
settings.MIGRATION_MODULES = dict.fromkeys(["auth", "contenttypes", "sessions", "clinic", "audit"])
django.setup()
from django.core.management import call_command
call_command("migrate", run_syncdb=True, verbosity=0)
"""
