"""The database refuses settings and templates that no form would send."""

import pytest
from django.db import IntegrityError, transaction

from tests.factories import create_template

pytestmark = pytest.mark.django_db


def refused(row, **values) -> bool:
    for name, value in values.items():
        setattr(row, name, value)
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:
        return True
    return False


@pytest.mark.parametrize(
    "values",
    [
        {"staging_system": "none"},
        {"staging_system": "unheard_of"},
        {"exposure_note_seconds": 0},
        {"exposure_note_seconds": 1801},
        {"exposure_note_below_seconds": 180},
        {"exposure_note_below_seconds": 0},
        {"tourniquet_note_minutes": 0},
        {"tourniquet_note_minutes": 30},
        {"tourniquet_alarm_minutes": 121},
    ],
)
def test_impossible_settings(practice, values):
    assert refused(practice, **values)


@pytest.mark.parametrize(
    "values",
    [
        {"name": ""},
        {"technique": "magic"},
        {"agent": "water"},
        {"strength_percent": "101"},
        {"strength_percent": "0"},
        {"strength_basis": ""},
        {"agent": ""},
        {"lavage": "beer"},
        {"tourniquet": "string"},
        {"skin_protected": "perhaps"},
        {"haemostasis": "prayer"},
        {"dressing": "leaf"},
        {"outer_dressing": "sock"},
        {"aftercare": "later"},
        {"technique": "pna_only"},
    ],
)
def test_impossible_templates(practice, values):
    assert refused(create_template(practice), **values)


def test_a_name_stands_once_in_a_practice(practice, other_practice):
    create_template(practice, name="Partial, phenol")
    second = create_template(practice)

    assert refused(second, name="PARTIAL, phenol")
    create_template(other_practice, name="Partial, phenol")


def test_everything_but_the_technique_may_be_open(practice):
    columns = (
        "agent", "strength_basis", "lavage", "tourniquet", "skin_protected", "haemostasis", "dressing",
        "outer_dressing", "aftercare", "aftercare_sheet",
    )  # fmt: skip

    assert create_template(practice, strength_percent=None, **dict.fromkeys(columns, "")).pk
