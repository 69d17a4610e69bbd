"""One operation from its template to the signed note, on a tablet, and how many taps that takes."""

import re
from datetime import date

import pytest

from tests.browser.case import operate, sheet, who_comes_today
from tests.browser.finger import Finger

MOST_TAPS = 30


@pytest.mark.walk
def test_a_whole_case(open_as):
    planned = who_comes_today(date.today())
    page = open_as(planned.operator)
    finger = Finger(page)

    operate(finger, planned)

    note = sheet(page)
    print(f"\n{finger.taps} taps\n{note}")
    assert finger.taps <= MOST_TAPS
    assert "Partial nail avulsion with chemical matricectomy" in note
    assert re.search(r"talked about .*, confirmed ", note)
    assert "Mepivacaine 3 % 2.2 mL, vasoconstrictor: none, digital block, batch DEMO-MEP-555, expiry May 2030" in note
    assert re.search(r"; injected \d\d:\d\d", note)
    assert "Ring tourniquet" in note
    assert "seen off by two people: yes (TM)" in note
    assert note.count("at the time") == 3
    assert re.search(r"Signed\s+\w+ \w+, ", note)
    assert "not signed" not in note
