"""Two entries that were merged by mistake: what was whose is so again."""

import pytest

from clinic.preparation.models import Assessment
from clinic.procedures.models import Operation
from tests.clinic.merging.test_merging import JUNE, MAY, apart, merged
from tests.factories import create_assessment, create_operation

pytestmark = pytest.mark.django_db


def given(entry, **contact):
    for name, value in contact.items():
        setattr(entry.identity, name, value)
    entry.identity.save()


def of(entry) -> tuple[str, str]:
    entry.identity.refresh_from_db()
    return entry.identity.phone, entry.identity.email


@pytest.fixture
def pair(kept, other):
    return kept, other


def test_a_phone_that_the_merge_filled_in_goes_and_an_own_one_stays(pair, lead):
    one, two = pair
    given(one, email="one@example.org")
    given(two, phone="020 7946 0100", email="two@example.org")
    merged(one, two, lead)
    assert of(one) == ("020 7946 0100", "one@example.org")

    apart(two, lead)

    assert of(one) == ("", "one@example.org")
    assert of(two) == ("020 7946 0100", "two@example.org")
    assert one.identity.history.latest("history_id").history_change_reason.startswith("Not the same person")


def test_a_phone_that_was_changed_after_the_merge_stays(pair, lead):
    one, two = pair
    given(two, phone="020 7946 0100")
    merged(one, two, lead)
    one.identity.refresh_from_db()
    one.identity.phone = "020 7946 0199"
    one.identity.save_version(by=lead, reason="Told at the desk")

    apart(two, lead)

    assert of(one) == ("020 7946 0199", "")


def test_a_phone_typed_after_an_earlier_mistake_is_not_taken_for_one_filled_in(pair, lead, clock):
    one, two = pair
    given(two, phone="020 7946 0100")
    merged(one, two, lead)
    clock.shift(60)
    apart(two, lead)
    one.identity.refresh_from_db()
    one.identity.phone = "020 7946 0100"
    one.identity.save_version(by=lead, reason="They share one")
    merged(one, two, lead)

    apart(two, lead)

    assert of(one) == ("020 7946 0100", "")


@pytest.mark.parametrize("whose", [0, 1])
def test_a_wish_told_while_they_were_one_holds_for_both(pair, lead, whose):
    one, two = pair
    merged(one, two, lead)
    told = pair[whose]
    told.no_contact_wished = True
    told.save_version(by=lead, reason="Told at the desk")

    apart(two, lead)
    one.refresh_from_db()

    assert (one.no_contact_wished, two.no_contact_wished) == (True, True)


def test_after_a_merge_the_wrong_way_round_each_gets_its_own_back(pair, lead, practitioner):
    one, two = pair
    own = create_operation(patient=one, operator=practitioner, performed_on=MAY)
    asked = create_assessment(patient=one, by=practitioner)
    theirs = create_operation(patient=two, operator=practitioner, performed_on=JUNE)
    merged(two, one, lead)
    apart(one, lead)
    two.refresh_from_db()
    merged(one, two, lead)

    apart(two, lead)

    assert set(Operation.objects.filter(patient=one)) == {own}
    assert set(Operation.objects.filter(patient=two)) == {theirs}
    assert Assessment.objects.get(pk=asked.pk).patient == one
