"""Identities are sealed at rest and found by keyed digests."""

import re
from datetime import date

import pytest
from django.db import connection

from clinic.patients.identity import Identity, NameDigest, find_patients
from clinic.patients.registering import change_identity, register_patient
from clinic.patients.sealed import (
    digest,
    loose_number_digest,
    name_digests,
    plain_letters,
    record_number_digest,
    seal,
    unseal,
)
from tests.factories import create_member, create_patient

pytestmark = pytest.mark.django_db
PLAIN = ("Zélandia", "Quixotte", "1986-08-02", "RN-4711", "01632 960001", "zel@example.org")


def register(by, **changes):
    identity = dict(
        zip(("family_name", "given_name", "born_on_text", "record_number", "phone", "email"), PLAIN, strict=True)
    )
    return register_patient(by=by, identity=identity | changes, answers={"sex": "female"})


def everything_stored() -> str:
    """Every row of every table, read without the models."""
    with connection.cursor() as cursor:
        rows = []
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')  # noqa: S608
            rows += cursor.fetchall()
    return repr(rows)


def test_no_plain_name_lies_in_the_database_nor_in_its_history(practitioner):
    patient = register(practitioner)
    change_identity(
        by=practitioner,
        patient=patient,
        identity={"given_name": "Velvetina"},
        answers={},
        versions=(1, 1),
        reason="Asked",
    )

    stored = everything_stored()

    for text in (*PLAIN, "Velvetina", "4711"):
        for variant in {text, text.lower(), plain_letters(text), ascii(text).strip("'")}:
            assert variant not in stored, variant
    assert "Asked" in stored, "the search itself works"


def test_equal_texts_seal_differently_and_open_alike():
    assert seal("Sample") != seal("Sample")
    assert unseal(seal("Sample")) == "Sample"


def test_a_sealed_field_cannot_be_filtered():
    with pytest.raises(TypeError, match="use its digest"):
        Identity.objects.filter(family_name="Sample").exists()


def test_the_same_name_has_other_digests_in_another_practice():
    assert not name_digests(1, "Sample") & name_digests(2, "Sample")
    assert digest(1, "name", "sample") != digest(1, "number", "sample")
    assert all(re.fullmatch(r"[0-9a-f]{32}", each) for each in name_digests(1, "Sample"))


def test_a_record_number_is_one_in_any_letter_case_and_width():
    assert record_number_digest(1, "RN-4711  b") == record_number_digest(1, " rn-4711 B")
    assert record_number_digest(1, "RN-4711") == record_number_digest(1, "ＲＮ-4711")


@pytest.mark.parametrize(("one", "other"), [("12/3", "1/23"), ("12 3", "1 23"), ("7-1", "71"), ("A.1", "A1")])
def test_record_numbers_that_differ_in_a_sign_are_two(practitioner, one, other):
    first, second = register(practitioner, record_number=one), register(practitioner, record_number=other)

    assert record_number_digest(1, one) != record_number_digest(1, other)
    assert {first, second} == set(find_patients(practitioner, one.replace("/", "").replace(" ", "")))


@pytest.mark.parametrize(
    "query", ["zelandia", "Zél", "ze quix", "quixotte zelandia", "RN-4711", "rn4711", "4711", "z q", "zelandia 47"]
)
def test_found_by_beginnings_without_accents_and_by_number(practitioner, query):
    patient = register(practitioner)

    assert list(find_patients(practitioner, query)) == [patient]


@pytest.mark.parametrize("query", ["", " ", "landia", "zelandix", "ze smith", "711", "%", "' OR 1=1 --"])
def test_not_found_by_anything_else(practitioner, query):
    register(practitioner)

    assert list(find_patients(practitioner, query)) == []


def test_another_practice_finds_nobody(practitioner, colleague_elsewhere):
    register(practitioner)

    assert list(find_patients(colleague_elsewhere, "zelandia")) == []
    assert list(find_patients(colleague_elsewhere, "RN-4711")) == []


def test_the_same_number_may_exist_in_two_practices(practitioner, colleague_elsewhere):
    register(practitioner)
    register(colleague_elsewhere)

    assert Identity.objects.count() == 2


def test_a_change_of_name_leaves_no_old_digest(practitioner):
    patient = register(practitioner)

    names = {"family_name": "Mock", "given_name": ""}
    change_identity(by=practitioner, patient=patient, identity=names, answers={}, versions=(1, 1), reason="x")

    number = patient.identity.record_number
    expected = name_digests(practitioner.practice_id, "Mock", number)
    expected.add(loose_number_digest(practitioner.practice_id, number))
    assert {row.digest for row in NameDigest.objects.all()} == expected


@pytest.mark.parametrize(
    ("born_on", "day", "age"),
    [
        (date(1986, 8, 2), date(2026, 8, 1), 39),
        (date(1986, 8, 2), date(2026, 8, 2), 40),
        (date(2008, 2, 29), date(2026, 2, 28), 17),
        (date(2008, 2, 29), date(2026, 3, 1), 18),
    ],
)
def test_age_in_completed_years(practice, born_on, day, age):
    create_member(practice)

    assert create_patient(practice, born_on=born_on).identity.age_on(day) == age
