"""Ten cases worked by hand, each with the source of its figures beside it.

Case numbers and results: worked from the sources named; where two sources disagree, the test keeps both answers.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from clinic.dosing.arithmetic import Level, LimitState, assess, check_strength
from clinic.vocabulary.procedure import Anaesthetic
from tests.clinic.dosing.drugs import LEFT_1, RIGHT_1, dose, shipped

ADULT = 40


def test_1_a_cartridge_of_mepivacaine():
    # Source: mepivacaine 3 % monograph, UK edition, which prints 2.2 mL as 66 mg.
    assert dose("mepivacaine", "3", "2.2").milligrams == 66


def test_2_two_cartridges_in_one_toe():
    # Source: the same monograph, section on foot use: 132 mg (4.4 mL) per digit, 6 mg/kg in 24 h.
    given = [dose("mepivacaine", "3", "4.4")]

    result = assess(given, shipped("mepivacaine-uk"), weight_kg=Decimal(70), age_years=ADULT)

    assert result.totals[0].milligrams == 132
    assert result.totals[0].limit_mg == 420
    assert result.totals[0].share == Fraction(132, 420)  # 31 %
    assert (result.digits[0].limit_mg, result.digits[0].share) == (132, 1)
    assert (result.state, result.level) == (LimitState.AT_LIMIT, Level.AMBER)


def test_3_one_per_cent_lidocaine():
    # Source: lidocaine hydrochloride 2 % summary of product characteristics: 4.5 mg/kg, at most 200 mg.
    result = assess([dose("lidocaine", "1", "4")], shipped("lidocaine-uk"), weight_kg=Decimal(70), age_years=ADULT)

    assert (result.totals[0].milligrams, result.totals[0].limit_mg) == (40, 200)  # not 4.5 x 70 = 315
    assert result.share == Fraction(1, 5)
    assert (result.state, result.level) == (LimitState.WITHIN, Level.PLAIN)


def two_toes_of_lidocaine():
    return [dose("lidocaine", "2", "4", toe=RIGHT_1), dose("lidocaine", "2", "4", toe=LEFT_1)]


def test_4_the_same_record_within_the_label():
    # Source: the same label. 80 % is reached, not exceeded, so it is not amber.
    result = assess(two_toes_of_lidocaine(), shipped("lidocaine-uk"), weight_kg=Decimal(48), age_years=ADULT)

    assert (result.totals[0].milligrams, result.totals[0].limit_mg) == (160, 200)
    assert result.share == Fraction(4, 5)
    assert (result.state, result.level) == (LimitState.WITHIN, Level.PLAIN)


def test_4_the_same_record_above_the_teaching():
    # Source: podiatry teaching slides on maximum safe dose, 3 mg/kg: 48 kg x 3 = 144 mg.
    result = assess(two_toes_of_lidocaine(), shipped("lidocaine-teaching"), weight_kg=Decimal(48), age_years=ADULT)

    assert result.totals[0].limit_mg == 144
    assert result.share == Fraction(160, 144)  # 111 %
    assert (result.state, result.level) == (LimitState.ABOVE, Level.RED)


def test_4_the_other_label_is_a_third_answer():
    # Source: US label, lidocaine hydrochloride: 4.5 mg/kg, at most 300 mg; 48 kg x 4.5 = 216 mg.
    result = assess(two_toes_of_lidocaine(), shipped("lidocaine-us"), weight_kg=Decimal(48), age_years=ADULT)

    assert (result.totals[0].limit_mg, result.share) == (216, Fraction(160, 216))


def test_5_a_light_patient():
    # Source: lidocaine label as in case 3; 4.5 x 40 = 180 mg is below the absolute 200 mg.
    result = assess([dose("lidocaine", "2", "5")], shipped("lidocaine-uk"), weight_kg=Decimal(40), age_years=ADULT)

    assert (result.totals[0].milligrams, result.totals[0].limit_mg) == (100, 180)
    assert result.share == Fraction(100, 180)  # 56 %


def test_6_bupivacaine():
    # Source: 2 mg/kg, textbook of practical procedures and an undergraduate table of maximum doses.
    result = assess(
        [dose("bupivacaine", "0.5", "3")], shipped("bupivacaine-uk"), weight_kg=Decimal(60), age_years=ADULT
    )

    assert (result.totals[0].milligrams, result.totals[0].limit_mg) == (15, 120)
    assert result.share == Fraction(1, 8)  # 12.5 %


def mixture(lidocaine_ml: str):
    return [
        dose("mepivacaine", "3", "3.2", toe=RIGHT_1),
        dose("mepivacaine", "3", "3.2", toe=LEFT_1),
        dose("lidocaine", "2", lidocaine_ml, toe=LEFT_1),
    ]


def test_7_two_agents_exactly_at_the_limit():
    # Source: podiatry teaching slides: 192 mg mepivacaine at 6 mg/kg use up 32 of 70 kg, which leaves 38 kg x 3 mg/kg
    # = 114 mg lidocaine.
    limits = shipped("mepivacaine-uk", "lidocaine-teaching")

    result = assess(mixture("5.7"), limits, weight_kg=Decimal(70), age_years=ADULT)

    assert result.by_agent == ((Anaesthetic.LIDOCAINE, 114), (Anaesthetic.MEPIVACAINE, 192))
    assert result.share == 1
    assert (result.state, result.level) == (LimitState.AT_LIMIT, Level.AMBER)
    assert result.sum_words == "Sum of the shares of all limits: 54.3 % + 45.7 % = 100 %, at the limit"


def test_7_the_smallest_step_beyond_is_above():
    # Source: own arithmetic; volumes are recorded in 0.1 mL.
    limits = shipped("mepivacaine-uk", "lidocaine-teaching")

    result = assess(mixture("5.8"), limits, weight_kg=Decimal(70), age_years=ADULT)

    assert (result.state, result.level) == (LimitState.ABOVE, Level.RED)
    assert all(total.state == LimitState.WITHIN for total in result.totals)


def test_8_no_weight():
    # Source: own definition; no weight is assumed, 70 kg least of all.
    result = assess([dose("lidocaine", "2", "4")], shipped("lidocaine-uk"), weight_kg=None, age_years=ADULT)

    assert result.totals[0].milligrams == 80
    assert (result.totals[0].limit_mg, result.share) == (None, None)
    assert (result.state, result.level) == (LimitState.NO_WEIGHT, Level.AMBER)
    assert result.headline == "Limit not assessed: no weight"
    assert "limit not assessed: no weight" in result.totals[0].words
    assert "70" not in " ".join(result.steps)


def test_9_a_child():
    # Source: mepivacaine monograph as in case 2. That a lower limit may apply: common practice, no source.
    result = assess([dose("mepivacaine", "3", "4.4")], shipped("mepivacaine-uk"), weight_kg=Decimal(30), age_years=9)

    assert (result.totals[0].limit_mg, result.totals[0].share) == (180, Fraction(132, 180))  # 73 %
    assert result.digits[0].share == 1
    [note] = [note for note in result.notes if "Age" in note.words]
    assert note.words == "Age 9: the limit may be lower for children; clinician decides, see local protocol"
    assert note.source.citation == "Common practice, no source"


def test_10_milligrams_per_millilitre_typed_as_per_cent():
    # Source: common practice, no source: 2 % lidocaine is also labelled 20 mg/mL.
    assert dose("lidocaine", "20", "4").milligrams == 800
    with pytest.raises(ValueError, match=r"not as 20 %; did you mean 2 % \(20 mg/mL\)\?"):
        check_strength(Anaesthetic.LIDOCAINE, Decimal(20))
