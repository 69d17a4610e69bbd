"""The invented practices of the demo as frames, loaded once for every test that counts them."""

from dataclasses import dataclass
from datetime import date

import pandas as pd
import pytest
from django.db import transaction

from audit import cohort
from audit.measures.columns import Cohort
from audit.process_cohort import process_toes
from clinic.access.models import Practice
from clinic.demo.load import load
from clinic.demo.people import HOUSES

FIRST, LAST, AS_OF = date(2022, 4, 1), date(2025, 3, 31), date(2025, 5, 30)
LOADED_ON = date(2026, 11, 25)


@dataclass(frozen=True)
class House:
    """Three audit years of one practice as they were known on 30 May 2025."""

    frames: Cohort
    toes: pd.DataFrame


@pytest.fixture(scope="session")
def demo_houses(django_db_setup, django_db_blocker) -> dict[str, House]:
    """Both practices by code; the records are taken back again."""
    asked = {"performed_from": FIRST, "performed_to": LAST, "as_of": AS_OF}
    with django_db_blocker.unblock(), transaction.atomic():
        load(LOADED_ON, "a password of the test")
        found = {
            practice.code: House(cohort.build(practice, **asked), process_toes(practice, **asked))
            for practice in Practice.objects.filter(code__in=[house.code for house in HOUSES])
        }
        transaction.set_rollback(True)
    return found
