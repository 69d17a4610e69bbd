"""The standing clock, the operations of following up, and a link with calm answers to send through it."""

import pytest
from django.test import Client
from django.urls import reverse

from tests.clinic.some_days_ago import NOW, TODAY, clock, operated
from tests.factories import create_link

__all__ = ["NOW", "TODAY", "clock", "operated"]
CALM = {"pain0": "1", "fluid0": "none", "nail0": "no", "sore0": "no", "call": "no", "note": ""}


@pytest.fixture
def link(operated):
    """An operation a year ago, and a way to send answers through its link."""
    operation = operated(365)
    row, token = create_link(operation, now=NOW)
    row.url = reverse("report", args=[token])
    return row


def send(link, **changed):
    return Client().post(link.url, CALM | changed)
