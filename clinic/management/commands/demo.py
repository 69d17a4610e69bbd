"""Load the invented practices, print their sign-ins, and serve: python manage.py demo."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.db.utils import OperationalError, ProgrammingError
from django.utils import timezone

from clinic.access.models import Member, Practice
from clinic.access.rules import Role
from clinic.demo.load import load
from clinic.demo.people import HOUSES, PEERS
from clinic.patients.models import Patient

ADDRESS = "127.0.0.1:8000"
# Known to everybody who reads this file, hence the refusal outside development.
PASSWORD = "demo-paper-boat-lantern"  # noqa: S105


class Command(BaseCommand):
    help = "Load the demonstration (invented people and records) into an empty database and serve it on this computer."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="load and print the sign-ins only")

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEBUG:
            raise CommandError(
                "The demonstration has a published password: it runs only in development, with DEBUG on."
            )
        self._load_once()
        self._print_sign_ins()
        if not options["no_serve"]:
            self.stdout.write(f"Open http://{ADDRESS}/ in a browser. Stop with Ctrl+C.")
            call_command("runserver", ADDRESS, use_reloader=False)

    def _load_once(self) -> None:
        try:
            foreign, loaded = what_else(), Practice.objects.filter(is_demo=True).exists()
        except (OperationalError, ProgrammingError) as error:
            raise CommandError("The database has no tables yet: run `python manage.py migrate` first.") from error
        if foreign:
            raise CommandError(
                f"This database holds {foreign}. The demonstration is loaded only into a database of its own: "
                "nothing was changed. Set VAR_DIR or DATABASE_URL to another place."
            )
        if loaded:
            self.stdout.write(
                "The demonstration is already loaded; nothing was changed. For one that begins today, "
                "set VAR_DIR to an empty folder and run `python manage.py migrate`."
            )
            return
        if self.stdout.isatty():
            self.stdout.write("Loading the demonstration, about ten seconds ...")
        with transaction.atomic():
            load(timezone.localdate(), PASSWORD)
            # By name: the clinic does not know the audit.
            call_command("demo_peers", verbosity=0)
        self.stdout.write("Loaded: invented people and records; nobody in them exists.")

    def _print_sign_ins(self) -> None:
        self.stdout.write(f"\nSign-ins, all with the password {PASSWORD}")
        for house in HOUSES:
            self.stdout.write(f"\n  {house.name}")
            for person in house.people:
                name = f"{person.given_name} {person.family_name}"
                self.stdout.write(f"    {person.username:<8} {name:<20} {Role(person.role).label}")
        self.stdout.write("")


def what_else() -> str:
    """What the database holds besides the demonstration, in words; empty if nothing."""
    codes = [house.code for house in (*HOUSES, *PEERS)]
    practices = Practice.objects.exclude(is_demo=True, code__in=codes)
    names = [f"the practice {practice.name} ({practice.code})" for practice in practices.order_by("code")[:3]]
    own = Practice.objects.filter(is_demo=True, code__in=codes)
    members = Member.objects.exclude(practice__in=own).count()
    patients = Patient.objects.exclude(practice__in=own).count()
    counted = [
        f"{number} {word}" for number, word in ((members, "other sign-ins"), (patients, "other patients")) if number
    ]
    return ", ".join([*names, *counted])
