"""What the pages refuse the database refuses as well."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from audit.peers.models import Remark, SetState, Taking
from tests.audit.exchange.stored import (
    create_export,
    create_group,
    create_membership,
    create_set,
    create_topic,
    someone,
)
from tests.factories import NOON, create_practice

pytestmark = pytest.mark.django_db


def refused(save) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        save()


@pytest.fixture
def membership(practice):
    return create_membership(create_group(practice), practice)


def test_an_export_is_withdrawn_by_somebody_with_a_reason(practice):
    row = create_export(practice)
    row.withdrawn_at = NOON
    refused(row.save)
    row.withdrawn_by = someone(practice)
    refused(row.save)
    row.withdrawn_reason = "wrong side"
    row.save()


def test_an_export_has_a_period_and_checksums(practice):
    for change in ({"performed_to": create_export(practice).performed_from - timedelta(days=1)}, {"sha256": ""}):
        row = create_export(practice)
        for name, value in change.items():
            setattr(row, name, value)
        refused(row.save)


def test_a_practice_is_once_in_a_group_and_a_code_as_well(membership, practice):
    refused(lambda: create_membership(membership.group, practice))
    other = create_membership(membership.group, create_practice())
    other.code = membership.code
    refused(other.save)


def test_who_is_no_practice_has_not_joined(membership):
    membership.practice = None
    refused(membership.save)


def test_a_practice_leaves_only_what_it_joined(practice):
    group = create_group(practice)
    row = create_membership(group, practice)
    row.practice, row.joined_at, row.left_at = None, None, NOON
    refused(row.save)


def test_one_set_a_year_stands(membership):
    create_set(membership)
    refused(lambda: create_set(membership))
    create_set(membership, state=SetState.REPLACED)
    create_set(membership, audit_year="2022-04/2023-03")


def test_the_same_rows_stand_once(membership):
    create_set(membership, content="same")
    refused(lambda: create_set(membership, audit_year="2022-04/2023-03", content="same"))


def test_a_set_is_withdrawn_with_a_reason_and_has_a_known_state(membership):
    row = create_set(membership)
    row.state = SetState.WITHDRAWN
    refused(row.save)
    row.state = "lost"
    refused(row.save)


def test_a_group_counts_what_is_known(practice):
    row = create_group(practice)
    row.outcome = "success"
    refused(row.save)
    row.refresh_from_db()
    row.unit = "foot"
    refused(row.save)


def test_a_remark_says_something_and_a_topic_has_a_state(membership):
    topic = create_topic(membership)
    refused(
        lambda: Remark.objects.create(
            topic=topic, from_practice=True, by=someone(membership.practice), at=NOON, text=""
        )
    )
    topic.state = "forgotten"
    refused(topic.save)


def test_a_taking_is_of_a_known_kind(practice):
    refused(lambda: Taking.objects.create(practice=practice, at=NOON, what="everything"))
