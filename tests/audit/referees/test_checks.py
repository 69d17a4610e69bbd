"""Every reference value is met, and the page that shows them is made of the same entries."""

import json
from dataclasses import replace

import pytest
from django.urls import reverse

from audit.referees.checks import FAMILIES, REFERENCE, all_checks, check, entries

CASES = [pytest.param(family, entry, id=f"{family}-{entry['id']}") for family in FAMILIES for entry in entries(family)]


@pytest.mark.parametrize(("family", "entry"), CASES)
def test_our_value_lies_within_the_tolerance_of_the_reference(family, entry):
    """Source: the citation of the entry; `how_verified` says how far the source itself was read."""
    found = check(family, entry)

    assert found.lines
    assert found.agrees, [line for line in found.lines if not line.agrees]


@pytest.mark.parametrize(("family", "entry"), CASES)
def test_a_value_moved_beyond_the_tolerance_would_be_noticed(family, entry):
    first = check(family, entry).lines[0]
    if first.difference is None:
        return
    moved = replace(first, ours=first.ours + 3 * first.tolerance + 1e-6)

    assert not moved.agrees


def test_every_file_of_references_is_read():
    files = {path.stem for path in REFERENCE.glob("*.json")}

    assert files == set(FAMILIES)


def test_every_entry_says_where_it_comes_from():
    for family in FAMILIES:
        for entry in json.loads((REFERENCE / f"{family}.json").read_text("utf-8")):
            assert len(entry["citation"]) > 5, entry["id"]
            assert len(entry["how_verified"]) > 5, entry["id"]


@pytest.mark.django_db
def test_the_page_shows_every_entry_with_reference_ours_and_difference(client_of, lead):
    page = client_of(lead).get(reverse("audit-checks")).content.decode()

    for found in all_checks():
        assert f'id="{found.id}"' in page
    assert page.count("<tr") > len(all_checks())
    assert "Every value lies within its tolerance" in page
