"""The table of thresholds against what is printed, and what a practice may set instead."""

import re
from decimal import Decimal

import pytest

from clinic.preparation.thresholds import DEFAULTS, THRESHOLDS, thresholds_with

# name, value, where the value stands; [C] is common practice without a source, [M] is from memory, unverified.
PRINTED = [
    ("abpi_caution_below", "0.90", "IWGDF 2015: 0.9 to 1.3 largely excludes arterial disease (news summary)"),
    ("abpi_caution_above", "1.30", "the same"),
    ("abpi_stop_below", "0.50", "foot and ankle handbook, citing Giacalone 1997: below 0.5 at risk of not healing"),
    ("toe_pressure_caution_below", "60", "Medicina 2024;60:1179 Table 2: grade 1 is 40 to 59 mmHg"),
    ("toe_pressure_stop_below", "40", "foot and ankle handbook, citing Giacalone 1997: below 40 mmHg at risk"),
    ("toe_pressure_critical_below", "30", "Medicina 2024;60:1179 Table 2: grade 3 is below 30 mmHg"),
    ("tbi_caution_below", "0.70", "[M] later editions of the guidance; the 2015 one gives 0.75"),
    ("ankle_pressure_stop_below", "50", "Medicina 2024;60:1179 Table 2: below 50 mmHg threatens the limb"),
    ("monofilament_caution_below", "8", "[C]"),
    ("hba1c_mmol_caution_from", "69", "UK perioperative guidance, secondary account: below 69 mmol/mol"),
    ("hba1c_percent_caution_from", "8.5", "the same: 8.5 %"),
    ("hba1c_months", "6", "[C] 3 to 6 months; the longer end"),
    ("inr_stop_above", "3.5", "Palamaras and Semkova, Br J Dermatol 2015: avoid skin surgery above 3.5"),
    ("inr_days", "3", "[C] 72 hours"),
    ("child_below_years", "16", "[C]"),
]


def test_the_defaults_are_the_printed_ones():
    assert {name: Decimal(value) for name, value, _ in PRINTED} == dict(DEFAULTS)
    assert all(row.source.citation for row in THRESHOLDS)
    assert all(row.low <= row.default <= row.high for row in THRESHOLDS)


def test_both_units_of_hba1c_say_nearly_the_same():
    """NGSP % = 0.09148 x IFCC mmol/mol + 2.152; master equation from memory, unverified."""
    converted = Decimal("0.09148") * DEFAULTS["hba1c_mmol_caution_from"] + Decimal("2.152")

    assert abs(converted - DEFAULTS["hba1c_percent_caution_from"]) < Decimal("0.05")


def test_a_practice_sets_some_and_keeps_the_rest():
    own = thresholds_with({"inr_stop_above": "3.0", "hba1c_months": 3})

    assert own["inr_stop_above"] == Decimal("3.0")
    assert own["hba1c_months"] == 3
    assert own["abpi_stop_below"] == DEFAULTS["abpi_stop_below"]
    assert thresholds_with({}) == DEFAULTS


@pytest.mark.parametrize(
    ("own", "sentence"),
    [
        ({"abpi": 1}, "abpi is no threshold"),
        ({"inr_stop_above": "high"}, "inr_stop_above must be a number; it is 'high'"),
        ({"inr_stop_above": "NaN"}, "inr_stop_above must be a number; it is 'NaN'"),
        ({"inr_stop_above": "Infinity"}, "inr_stop_above must be between 0.5 and 10; it is Infinity"),
        ({"hba1c_months": "3.5"}, "hba1c_months must be whole months; it is 3.5"),
        ({"inr_stop_above": 11}, "inr_stop_above must be between 0.5 and 10; it is 11"),
        ({"tbi_caution_below": -1}, "tbi_caution_below must be between 0 and 1.5; it is -1"),
        ({"abpi_stop_below": "0.95"}, "abpi_stop_below is 0.95, above abpi_caution_below, which is 0.90"),
        ({"toe_pressure_critical_below": 45}, "above toe_pressure_stop_below, which is 40"),
    ],
)
def test_what_cannot_be_a_threshold(own, sentence):
    with pytest.raises(ValueError, match=re.escape(sentence)):
        thresholds_with(own)
