"""Acts on topics: the reviewer asks a practice, the practice answers, the reviewer settles."""

from datetime import datetime

from django.db import transaction

from audit.peers.models import Membership, Remark, Topic, TopicState
from clinic.access.models import Member


@transaction.atomic
def open_topic(*, by: Member, membership: Membership, title: str, text: str, now: datetime) -> Topic:
    """A first question to one practice."""
    topic = Topic(membership=membership, title=title, opened_at=now)
    topic.keep(by=by)
    Remark.objects.create(topic=topic, from_practice=False, by=by, at=now, text=text)
    return topic


@transaction.atomic
def add_remark(
    *, by: Member, topic: Topic, version: int, text: str, from_practice: bool, settled: bool, now: datetime
) -> None:  # fmt: skip
    """An answer, a further question, or the last word. Raises Conflict if the topic moved on meanwhile."""
    topic.version = version
    topic.state = TopicState.SETTLED if settled else TopicState.ANSWERED if from_practice else TopicState.OPEN
    topic.save_version(by=by)
    Remark.objects.create(topic=topic, from_practice=from_practice, by=by, at=now, text=text)
