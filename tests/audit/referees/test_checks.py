"""Every reference value is met, and the page that shows them is made of the same entries."""

import json
from dataclasses import replace
from html import unescape

import pytest
from django.urls import reverse

from audit.referees.checks import FAMILIES, REFERENCE, Check, Line, all_checks, check, entries
from audit.templatetags.checked import exactly

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
def test_the_page_lists_every_method_with_source_reference_ours_and_difference(client_of, lead):
    page = unescape(client_of(lead).get(reverse("audit-checks")).content.decode())

    for found in all_checks():
        assert f"{reverse('audit-checks-family', args=[found.family])}#{found.id}" in page
        assert found.citation in page
        assert exactly(found.nearest.ours) in page
    assert page.count("<tr>") == len(all_checks()) + len(FAMILIES)
    assert "Every value lies within its tolerance" in page


@pytest.mark.django_db
def test_the_page_of_a_family_shows_every_value(client_of, lead):
    client = client_of(lead)
    shown = 0
    for family in FAMILIES:
        page = client.get(reverse("audit-checks-family", args=[family])).content.decode()
        own = [found for found in all_checks() if found.family == family]
        assert all(f'id="{found.id}"' in page for found in own)
        shown += page.count("<tr>") - len(own)

    assert shown == sum(len(found.lines) for found in all_checks())


@pytest.mark.django_db
def test_a_family_that_does_not_exist_has_no_page(client_of, lead):
    assert client_of(lead).get(reverse("audit-checks-family", args=["nothing"])).status_code == 404


def test_the_line_nearest_to_its_tolerance_is_shown():
    lines = (Line("a", 1.0, 1.0, 0.1), Line("b", 1.0, 1.05, 0.1), Line("c", 1.0, 1.2, 1.0))

    assert Check("f", "i", "m", "c", "v", lines).nearest.name == "b"
    outside = (*lines, Line("d", "yes", "no", 0.0))
    assert Check("f", "i", "m", "c", "v", outside).nearest.name == "d"
