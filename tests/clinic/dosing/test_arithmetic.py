"""Adding up holds whatever the order, the split and the number of needles; what is missing never counts as within."""

from dataclasses import FrozenInstanceError, replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from clinic.dosing.amounts import Dose, Limit
from clinic.dosing.arithmetic import Level, LimitState, assess, is_above, percent
from clinic.vocabulary.procedure import STRENGTHS, Anaesthetic, Foot, Vasoconstrictor, VasoconstrictorKind
from tests.clinic.dosing.drugs import LEFT_1, RIGHT_1, dose, shipped

ALL_LIMITS = shipped(
    "lidocaine-uk", "lidocaine-adrenaline-uk", "mepivacaine-uk", "bupivacaine-uk", "bupivacaine-adrenaline-us",
    "levobupivacaine-teaching", "prilocaine-teaching", "prilocaine-felypressin", "ropivacaine-memory",
    "articaine-memory",
)  # fmt: skip
volumes = some.integers(1, 200).map(lambda tenths: Decimal(tenths) / 10)
toes = some.none() | some.tuples(some.sampled_from(Foot), some.integers(1, 5))
weights = some.integers(50, 3000).map(lambda tenths: Decimal(tenths) / 10)


@some.composite
def some_dose(draw, recorded: bool = True) -> Dose:
    agent = draw(some.sampled_from([agent for agent in Anaesthetic if STRENGTHS[agent]]))
    volume = draw(volumes if recorded else volumes | some.none())
    kind = draw(some.sampled_from(Vasoconstrictor))
    return Dose(agent, draw(some.sampled_from(STRENGTHS[agent])), kind, volume, draw(toes))


def sums(result):
    """Everything but the lines of the single rows."""
    plain = [replace(total, words="") for total in (*result.totals, *result.digits)]
    return plain, result.by_agent, result.share, result.state, result.level, set(result.reasons)


# --- properties; source of each: they follow from addition


@given(some.lists(some_dose(recorded=False), max_size=6), weights | some.none(), some.randoms(use_true_random=False))
@settings(max_examples=150, deadline=None)
def test_the_order_of_rows_does_not_matter(doses, weight, chance):
    shuffled = doses[:]
    chance.shuffle(shuffled)

    one, other = (assess(each, ALL_LIMITS, weight_kg=weight, age_years=40) for each in (doses, shuffled))

    assert sums(one) == sums(other)


@given(some_dose(), some.integers(1, 199), weights)
@settings(max_examples=150, deadline=None)
def test_a_dose_in_two_rows_is_the_dose_in_one(whole, tenths, weight):
    first = min(Decimal(tenths) / 10, whole.volume_ml)
    parts = [replace(whole, volume_ml=first)]
    if whole.volume_ml > first:
        parts.append(replace(whole, volume_ml=whole.volume_ml - first))

    one, other = (assess(each, ALL_LIMITS, weight_kg=weight, age_years=40) for each in ([whole], parts))

    assert sums(one) == sums(other)


@given(some.lists(some_dose(), min_size=1, max_size=6), weights)
@settings(max_examples=150, deadline=None)
def test_a_sum_of_shares_up_to_one_means_that_no_single_limit_is_passed(doses, weight):
    result = assess(doses, ALL_LIMITS, weight_kg=weight, age_years=40)

    if result.share is not None and result.share <= 1:
        assert all(total.milligrams <= total.limit_mg for total in result.totals)
    if any(total.limit_mg is not None and total.milligrams > total.limit_mg for total in result.totals):
        assert (result.state, result.level) == (LimitState.ABOVE, Level.RED)


@given(some.lists(some_dose(), min_size=1, max_size=6), some_dose(), weights)
@settings(max_examples=150, deadline=None)
def test_one_more_dose_never_lowers_a_share_or_takes_back_red(doses, more, weight):
    before = assess(doses, ALL_LIMITS, weight_kg=weight, age_years=40)
    after = assess([*doses, more], ALL_LIMITS, weight_kg=weight, age_years=40)

    least_before, least_after = (sum(total.least for total in each.totals) for each in (before, after))
    assert (
        least_after > least_before if more.drug in {limit.drug for limit in ALL_LIMITS} else least_after == least_before
    )
    assert not (before.level == Level.RED and after.level != Level.RED)


@given(some.lists(some_dose(recorded=False), min_size=1, max_size=5), some.sampled_from(ALL_LIMITS), weights)
@settings(max_examples=150, deadline=None)
def test_the_count_of_records_and_the_screen_agree_about_above(doses, limit, weight):
    of_drug = [each for each in doses if each.drug == limit.drug]

    result = assess(of_drug, [limit], weight_kg=weight, age_years=40)

    assert is_above(of_drug, limit, weight) == (result.state == LimitState.ABOVE)


# --- facts of the trade


def test_two_millilitres_of_three_per_cent_are_sixty_milligrams():
    # Source: definition of % w/v, 1 g in 100 mL: 3 g / 100 mL = 30 mg/mL.
    assert dose("mepivacaine", "3", "2").milligrams == 60


def test_the_salt_is_not_converted_to_base():
    # Source: lidocaine 2 % summary of product characteristics: 20 mg of the hydrochloride are 16.22 mg of base. The
    # maximum is stated as hydrochloride, so 1 mL counts 20 mg.
    assert dose("lidocaine", "2", "1").milligrams == 20


def test_four_injection_sites_are_one_digital_block():
    # Common practice, no source: one digital block is given through several needle sites of the same toe.
    one_row = [dose("mepivacaine", "3", "4.0")]
    four_rows = [dose("mepivacaine", "3", "1.0") for _ in range(4)]

    one, four = (
        assess(each, shipped("mepivacaine-uk"), weight_kg=Decimal(70), age_years=40) for each in (one_row, four_rows)
    )

    assert sums(one) == sums(four)
    assert len(four.digits) == 1
    assert four.digits[0].milligrams == 120


def test_the_digit_is_the_toe_of_one_foot():
    # Source: mepivacaine monograph, 132 mg per digit. Both first toes with 132 mg each stay at it.
    result = assess(
        [dose("mepivacaine", "3", "4.4", toe=toe) for toe in (LEFT_1, RIGHT_1)],
        shipped("mepivacaine-uk"), weight_kg=Decimal(70), age_years=40,
    )  # fmt: skip

    assert [(digit.toe, digit.milligrams) for digit in result.digits] == [(RIGHT_1, 132), (LEFT_1, 132)]
    assert result.totals[0].milligrams == 264
    assert result.state == LimitState.AT_LIMIT


def test_a_top_up_passes_the_digit_while_the_total_is_far_away():
    # Source: the same monograph; 4.5 mL = 135 mg in one toe.
    given_ = [dose("mepivacaine", "3", "4"), dose("mepivacaine", "3", "0.5")]

    result = assess(given_, shipped("mepivacaine-uk"), weight_kg=Decimal(90), age_years=40)

    assert result.totals[0].state == LimitState.WITHIN
    assert (result.digits[0].state, result.state, result.level) == (LimitState.ABOVE, LimitState.ABOVE, Level.RED)
    assert result.digits[0].words.endswith("102.3 % of 132 mg, 3 mg above the limit")


def test_the_weight_is_counted_up_to_the_cap():
    # Source: podiatry teaching slides, 3 mg/kg with the weight capped at 70 kg: 210 mg.
    result = assess([dose("lidocaine", "2", "5")], shipped("lidocaine-teaching"), weight_kg=Decimal(92), age_years=40)

    assert result.totals[0].limit_mg == 210
    assert "3 mg/kg × 70 kg (weighs 92 kg, counted as 70 kg) = 210 mg" in result.totals[0].words


def test_plain_and_with_adrenaline_are_two_limits_and_one_agent():
    # Source: UK label wording, 200 mg plain and 500 mg with adrenaline; shares of both are added.
    given_ = [
        dose("lidocaine", "2", "5"),
        dose("lidocaine", "2", "10", vasoconstrictor=Vasoconstrictor.ADRENALINE_200),
    ]

    result = assess(given_, shipped("lidocaine-uk", "lidocaine-adrenaline-uk"), weight_kg=Decimal(70), age_years=40)

    assert result.by_agent == ((Anaesthetic.LIDOCAINE, Decimal(300)),)
    assert result.share == Fraction(100, 200) + Fraction(200, 500)
    assert "Lidocaine with and without vasoconstrictor: 300 mg" in result.steps
    assert result.level == Level.AMBER  # 90 %


def test_the_whole_arithmetic_in_words():
    # Source: lidocaine label, 4.5 mg/kg, at most 200 mg; multiplied by hand.
    limit = replace(shipped("lidocaine-uk")[0], source="the source")

    result = assess(
        [dose("lidocaine", "2.00", "4.0"), dose("lidocaine", "2.00", "4.0", toe=None)],
        [limit], weight_kg=Decimal("48.0"), age_years=40,
    )  # fmt: skip

    assert result.steps == (
        "Right 1st toe (hallux): plain lidocaine, 2 % × 10 × 4 mL = 80 mg",
        "No toe named: plain lidocaine, 2 % × 10 × 4 mL = 80 mg",
        "Plain lidocaine: 80 mg + 80 mg = 160 mg; limit 4.5 mg/kg × 48 kg = 216 mg, at most 200 mg (the source): "
        "80 % of 200 mg",
    )
    assert result.notes == ()


# --- levels; source: amber above 80 %, red above 100 %: own definition


@pytest.mark.parametrize(
    ("volume", "state", "level"),
    [
        ("8", LimitState.WITHIN, Level.PLAIN),
        ("8.1", LimitState.WITHIN, Level.AMBER),
        ("10", LimitState.AT_LIMIT, Level.AMBER),
        ("10.1", LimitState.ABOVE, Level.RED),
    ],
)
def test_levels_begin_above_their_borders(volume, state, level):
    result = assess([dose("lidocaine", "2", volume)], shipped("lidocaine-uk"), weight_kg=Decimal(70), age_years=40)

    assert (result.state, result.level) == (state, level)


def test_rounding_hides_no_border():
    assert percent(Fraction(1)) == "100 %"
    assert percent(Fraction(10001, 10000)) == "just above 100 %"
    assert percent(Fraction(79999, 100000)) == "just below 80 %"
    assert percent(Fraction(160, 144)) == "111.1 %"


# --- what is missing; source: own definition, not assessed is not within


def test_no_approved_limit():
    result = assess([dose("articaine", "4", "1.7")], ALL_LIMITS[:1], weight_kg=Decimal(70), age_years=40)

    assert (result.state, result.level, result.share) == (LimitState.NO_LIMIT, Level.AMBER, None)
    assert result.headline == "Limit not assessed: no approved limit for plain articaine"
    assert result.totals[0].milligrams == 68


def test_a_limit_for_plain_is_none_for_adrenaline():
    given_ = [dose("lidocaine", "2", "1", vasoconstrictor=Vasoconstrictor.ADRENALINE_100)]

    result = assess(given_, shipped("lidocaine-uk"), weight_kg=Decimal(70), age_years=40)

    assert result.headline == "Limit not assessed: no approved limit for lidocaine with adrenaline"


def test_one_agent_without_a_limit_leaves_the_sum_unassessed():
    given_ = [dose("lidocaine", "2", "1"), dose("articaine", "4", "1")]

    result = assess(given_, shipped("lidocaine-uk"), weight_kg=Decimal(70), age_years=40)

    assert (result.state, result.share) == (LimitState.NO_LIMIT, None)
    assert result.sum_words == "Sum of the shares of all limits: not assessed"


def test_a_vasoconstrictor_that_was_not_recorded_is_not_plain():
    given_ = [dose("lidocaine", "2", "1", vasoconstrictor=Vasoconstrictor.NOT_RECORDED)]

    result = assess(given_, shipped("lidocaine-uk", "lidocaine-adrenaline-uk"), weight_kg=Decimal(70), age_years=40)

    assert (result.state, result.level) == (LimitState.INCOMPLETE, Level.AMBER)
    assert result.headline == "Limit not assessed: vasoconstrictor not recorded for lidocaine"


def test_a_volume_that_was_not_recorded_is_not_zero():
    given_ = [dose("lidocaine", "2", "1"), dose("lidocaine", "2", None)]

    result = assess(given_, shipped("lidocaine-uk"), weight_kg=Decimal(70), age_years=40)

    assert (result.state, result.share) == (LimitState.INCOMPLETE, None)
    assert result.headline == "Limit not assessed: volume not recorded for plain lidocaine"
    assert "20 mg and 1 without volume" in result.totals[0].words


def test_a_volume_that_was_not_recorded_leaves_the_toe_unassessed():
    given_ = [
        dose("mepivacaine", "3", "4.4"),
        dose("mepivacaine", "3", None),
        dose("mepivacaine", "3", "1", toe=LEFT_1),
    ]

    result = assess(given_, shipped("mepivacaine-uk"), weight_kg=Decimal(70), age_years=40)

    of_toe = {digit.toe: (digit.state, digit.share) for digit in result.digits}
    assert of_toe == {RIGHT_1: (LimitState.INCOMPLETE, None), LEFT_1: (LimitState.WITHIN, Fraction(30, 132))}


@pytest.mark.parametrize("weight", [None, Decimal(70)])
def test_above_in_any_case_is_said_although_something_is_missing(weight):
    given_ = [dose("lidocaine", "2", "11"), dose("lidocaine", "2", None)]

    result = assess(given_, shipped("lidocaine-uk"), weight_kg=weight, age_years=40)

    assert (result.state, result.level) == (LimitState.ABOVE, Level.RED)
    assert result.totals[0].words.endswith("at least 110 % of 200 mg, 20 mg above the limit")


def test_without_a_weight_nothing_is_within_even_where_the_limit_needs_none():
    given_ = [dose("lidocaine", "2", "4", vasoconstrictor=Vasoconstrictor.ADRENALINE_100)]

    result = assess(given_, shipped("lidocaine-adrenaline-uk"), weight_kg=None, age_years=40)

    assert result.state == LimitState.NO_WEIGHT


def test_nothing_given():
    result = assess([], ALL_LIMITS, weight_kg=None, age_years=None)

    assert (result.state, result.level) == (LimitState.NONE_GIVEN, Level.PLAIN)
    assert (result.steps, result.notes, result.headline) == ((), (), "No local anaesthetic is recorded")


def test_every_state_is_a_complete_term_and_the_gravest_comes_last():
    assert all(term.label and term.meaning and term.source.citation for term in LimitState)
    assert len({term.label for term in LimitState}) == len(list(LimitState))
    assert [term for term in LimitState if not term.is_assessed] == list(LimitState)[3:6]
    assert list(LimitState)[-1] == LimitState.ABOVE


# --- notes


@pytest.mark.parametrize(("age", "who"), [(17, "children"), (18, ""), (69, ""), (70, "older people"), (0, "children")])
def test_age_brings_a_note_and_no_number(age, who):
    # Common practice, no source: lower limits for children and older people; which, a clinician decides.
    with_age, plain = (
        assess([dose("lidocaine", "2", "4")], shipped("lidocaine-uk"), weight_kg=Decimal(30), age_years=years)
        for years in (age, 40)
    )

    assert [note.words for note in with_age.notes] == (
        [f"Age {age}: the limit may be lower for {who}; clinician decides, see local protocol"] if who else []
    )
    assert (with_age.share, with_age.steps) == (plain.share, plain.steps)


def test_an_age_that_was_not_recorded_is_said():
    result = assess([dose("lidocaine", "2", "4")], shipped("lidocaine-uk"), weight_kg=Decimal(70), age_years=None)

    assert result.notes[0].words == "Age not recorded; whether a lower limit applies was not looked at"


def test_what_the_sum_does_not_see_is_noted():
    # Source: mepivacaine monograph, 6 mg/kg in 24 h and per digit.
    given_ = [dose("mepivacaine", "3", "1", toe=None)]

    result = assess(given_, shipped("mepivacaine-uk"), weight_kg=Decimal(70), age_years=40)

    assert [note.words for note in result.notes] == [
        "The limit of plain mepivacaine is for 24 h; only this attendance is added up",
        "A dose of plain mepivacaine names no toe and is in no sum per digit",
    ]
    assert result.digits == ()


# --- refusals


@pytest.mark.parametrize("wrong", [2.0, Decimal("NaN"), Decimal("Infinity"), Decimal(0), Decimal(-1), "2"])
def test_amounts_are_positive_decimals(wrong):
    with pytest.raises(ValueError, match="strength_percent must be a decimal above 0"):
        Dose(Anaesthetic.LIDOCAINE, wrong, Vasoconstrictor.NONE, Decimal(1), None)
    with pytest.raises(ValueError, match="absolute_mg must be a decimal above 0"):
        Limit(Anaesthetic.LIDOCAINE, VasoconstrictorKind.NONE, Decimal(3), wrong, None, None, None, "x")
    with pytest.raises(ValueError, match="weight_kg must be a decimal above 0"):
        assess([], [], weight_kg=wrong, age_years=None)


@pytest.mark.parametrize("toe", [("right", 0), ("right", 6), ("both", 1)])
def test_a_toe_that_no_foot_has(toe):
    with pytest.raises(ValueError, match="toe must be a foot and a number from 1 to 5"):
        dose("lidocaine", "2", "1", toe=toe)


def test_a_limit_that_limits_nothing():
    with pytest.raises(ValueError, match="mg_per_kg or absolute_mg must be given"):
        Limit(Anaesthetic.LIDOCAINE, VasoconstrictorKind.NONE, None, None, Decimal(132), None, None, "x")


def test_two_limits_of_one_drug():
    with pytest.raises(ValueError, match="there are two for plain lidocaine"):
        assess([], shipped("lidocaine-uk", "lidocaine-us"), weight_kg=None, age_years=None)


def test_a_result_cannot_be_changed():
    result = assess([], [], weight_kg=None, age_years=None)

    with pytest.raises(FrozenInstanceError):
        result.state = LimitState.WITHIN
