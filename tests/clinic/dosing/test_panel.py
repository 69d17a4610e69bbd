"""The panel shows the whole arithmetic and what it is not: no dose is recommended."""

from decimal import Decimal

import pytest
from django.template.loader import render_to_string

from clinic.dosing.arithmetic import assess
from tests.clinic.dosing.drugs import LEFT_1, dose, shipped


def panel(doses, codes, weight="48", age=40) -> str:
    limits = shipped(*codes)
    result = assess(doses, limits, weight_kg=None if weight is None else Decimal(weight), age_years=age)
    return render_to_string("dosing/panel.html", {"result": result})


TWO_TOES = [dose("lidocaine", "2", "4"), dose("lidocaine", "2", "4", toe=LEFT_1)]


@pytest.mark.parametrize(("weight", "codes"), [("48", ["lidocaine-uk"]), (None, ["lidocaine-uk"]), ("48", [])])
def test_every_panel_defers_to_the_local_protocol_and_recommends_nothing(weight, codes):
    text = panel(TWO_TOES, codes, weight)

    assert "It recommends no dose. The local protocol comes first, and the clinician decides." in text
    assert "mg of the salt as labels state it" in text
    assert "80 mg + 80 mg = 160 mg" in text


def test_above_is_red_with_fact_problem_and_protocol():
    text = panel(TWO_TOES, ["lidocaine-teaching"])

    assert "dose-panel red" in text
    assert "Above the limit" in text
    assert "111.1 % of 144 mg, 16 mg above the limit" in text
    assert "Possible problem: toxicity of the local anaesthetic, which may come late. See local protocol." in text


def test_more_than_eighty_per_cent_is_amber():
    text = panel([dose("lidocaine", "2", "8.1")], ["lidocaine-uk"], weight="70")

    assert "dose-panel amber" in text
    assert "More than 80 % of a limit" in text
    assert "Possible problem" not in text


def test_what_is_not_assessed_is_amber_and_says_why():
    assert "Limit not assessed: no weight" in panel(TWO_TOES, ["lidocaine-uk"], weight=None)
    text = panel(TWO_TOES, [])
    assert "Not assessed: no approved limit for plain lidocaine" in text
    assert "dose-panel amber" in text


def test_within_is_plain_and_praised_by_nothing():
    text = panel([dose("lidocaine", "1", "4")], ["lidocaine-uk"])

    assert "dose-panel plain" in text
    assert "tag ok" not in text
    assert "icon-tick" not in text


def test_a_source_is_shown_escaped():
    [limit] = shipped("lidocaine-uk")
    hostile = type(limit)(**{**vars(limit), "source": "<script>alert(1)</script>"})
    result = assess(TWO_TOES, [hostile], weight_kg=Decimal(48), age_years=8)

    text = render_to_string("dosing/panel.html", {"result": result})

    assert "<script>" not in text
    assert "&lt;script&gt;" in text
    assert "Age 8: the limit may be lower for children; clinician decides, see local protocol" in text
    assert "Common practice, no source" in text
