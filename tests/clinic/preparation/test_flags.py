"""Flags at, below and above each threshold; the source of the threshold stands beside it in test_thresholds."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from clinic.preparation.facts import Facts, FootFacts, ToeFacts
from clinic.preparation.flags import flags_of
from clinic.preparation.thresholds import thresholds_with
from clinic.vocabulary.preparation import Allergen, Antithrombotic, Condition

ON = date(2026, 11, 25)
D = Decimal
NOTHING = Facts(age_years=34, weight_kg=D(70))


def raised(facts: Facts, **options) -> dict[str, str]:
    """Level by code."""
    return {flag.code: flag.level.value for flag in flags_of(facts, on=ON, **options)}


def foot(**findings) -> Facts:
    return replace(NOTHING, feet=(FootFacts("right", **findings),))


def toe(**findings) -> Facts:
    return replace(NOTHING, toes=(ToeFacts("left", 1, **findings),))


def facts(**findings) -> Facts:
    return replace(NOTHING, **findings)


def test_nothing_found_raises_nothing():
    pulses = {"dorsalis_pedis": "palpable", "posterior_tibial": "palpable", "doppler": "triphasic"}
    measures = {"abpi": D("1.1"), "toe_pressure": 90, "tbi": D("0.9"), "ankle_pressure": 120, "monofilament_sites": 10}
    well = FootFacts("right", **pulses, **measures)

    assert raised(facts(feet=(well,), diabetes="none", pregnancy="no", tobacco="never")) == {}


def test_what_was_not_recorded_raises_nothing_but_the_missing_weight():
    assert raised(Facts(feet=(FootFacts("left"),), toes=(ToeFacts("left", 1),))) == {"weight": "note"}


@pytest.mark.parametrize(
    ("findings", "level"),
    [
        # ABPI: caution below 0.90 and above 1.30, stop below 0.50
        ({"abpi": D("0.00")}, "stop"),
        ({"abpi": D("0.49")}, "stop"),
        ({"abpi": D("0.50")}, "caution"),
        ({"abpi": D("0.51")}, "caution"),
        ({"abpi": D("0.89")}, "caution"),
        ({"abpi": D("0.90")}, None),
        ({"abpi": D("0.91")}, None),
        ({"abpi": D("1.29")}, None),
        ({"abpi": D("1.30")}, None),
        ({"abpi": D("1.31")}, "caution"),
        # toe pressure in mmHg: caution below 60, stop below 40 (and below 30)
        ({"toe_pressure": 0}, "stop"),
        ({"toe_pressure": 29}, "stop"),
        ({"toe_pressure": 30}, "stop"),
        ({"toe_pressure": 39}, "stop"),
        ({"toe_pressure": 40}, "caution"),
        ({"toe_pressure": 59}, "caution"),
        ({"toe_pressure": 60}, None),
        ({"toe_pressure": 61}, None),
        # TBI: caution below 0.70
        ({"tbi": D("0.69")}, "caution"),
        ({"tbi": D("0.70")}, None),
        ({"tbi": D("0.71")}, None),
        # ankle pressure in mmHg: stop below 50
        ({"ankle_pressure": 49}, "stop"),
        ({"ankle_pressure": 50}, None),
        ({"ankle_pressure": 51}, None),
        # monofilament: caution below 8 of 10
        ({"monofilament_sites": 0}, "caution"),
        ({"monofilament_sites": 7}, "caution"),
        ({"monofilament_sites": 8}, None),
        ({"monofilament_sites": 9}, None),
    ],
)
def test_measures_of_a_foot(findings, level):
    code = {"monofilament_sites": "monofilament"}.get(name := next(iter(findings)), name) + "_right"

    assert raised(foot(**findings)) == ({code: level} if level else {})


def test_the_two_depths_of_a_low_toe_pressure_are_told_apart():
    """Below 30 mmHg is grade 3 of Medicina 2024;60:1179 Table 2; 30 to 39 is grade 2."""
    deep, low = (flags_of(foot(toe_pressure=value), on=ON)[0] for value in (29, 30))

    assert deep.fact == "Right foot: toe pressure 29 mmHg, below 30 mmHg"
    assert low.fact == "Right foot: toe pressure 30 mmHg, below 40 mmHg"
    assert deep.problem != low.problem


@pytest.mark.parametrize(
    ("pulses", "fact"),
    [
        (("not_palpable", "palpable"), "Right foot: the dorsalis pedis pulse is not palpable"),
        (("palpable", "not_palpable"), "Right foot: the posterior tibial pulse is not palpable"),
        (
            ("not_palpable", "not_palpable"),
            "Right foot: the dorsalis pedis and posterior tibial pulses are not palpable",
        ),
        (("not_examined", "palpable"), None),
    ],
)  # fmt: skip
def test_pulses(pulses, fact):
    """Common practice, no source."""
    found = flags_of(foot(dorsalis_pedis=pulses[0], posterior_tibial=pulses[1]), on=ON)

    assert [(flag.fact, flag.level.value) for flag in found] == ([(fact, "caution")] if fact else [])


@pytest.mark.parametrize(
    ("signal", "level"),
    [("triphasic", None), ("biphasic", None), ("monophasic", "note"), ("no_signal", "note"), ("not_examined", None)],
)
def test_doppler(signal, level):
    """Common practice, no source."""
    assert raised(foot(doppler=signal)).get("doppler_right") == level


def test_both_feet_are_flagged_apart():
    both = facts(feet=(FootFacts("right", abpi=D("0.4")), FootFacts("left", abpi=D("0.8"))))

    assert raised(both) == {"abpi_right": "stop", "abpi_left": "caution"}


@pytest.mark.parametrize(
    ("findings", "wanted"),
    [
        ({"infection": "none"}, {}),
        ({"infection": "inflamed"}, {"infection_left_1": "note"}),
        ({"infection": "purulent"}, {"infection_left_1": "note"}),
        ({"infection": "spreading"}, {"infection_left_1": "stop"}),
        ({"infection": "not_assessed"}, {}),
        ({"bone_infection": "yes"}, {"bone_left_1": "stop"}),
        ({"bone_infection": "not_assessed"}, {}),
        ({"prior_surgery": "conservative"}, {}),
        ({"prior_surgery": "avulsion"}, {"prior_left_1": "note"}),
        ({"prior_surgery": "chemical"}, {"prior_left_1": "note"}),
        ({"prior_surgery": "excisional"}, {"prior_left_1": "note"}),
    ],
)
def test_the_toe(findings, wanted):
    """Common practice, no source; infection present at surgery is a concept of a surveillance protocol (CDC NHSN)."""
    assert raised(toe(**findings)) == wanted


def test_pus_before_the_operation_is_said_to_be_counted_apart():
    (flag,) = flags_of(toe(infection="purulent"), on=ON)

    assert flag.fact == "Left 1st toe (hallux): pus"
    assert "present at the time of surgery" in flag.problem


# --- diabetes and HbA1c


@pytest.mark.parametrize(
    ("kind", "level"),
    [("none", None), ("type_1", "caution"), ("type_2", "caution"), ("other", "caution"), ("not_assessed", None)],
)
def test_diabetes(kind, level):
    """Common practice, no source."""
    assert raised(facts(diabetes=kind)).get("diabetes") == level


def test_diabetes_names_the_foot_risk_where_it_was_judged():
    judged, not_judged = (
        flags_of(facts(diabetes="type_2", foot_risk=risk), on=ON)[0].fact for risk in ("high", "not_assessed")
    )

    assert judged == "Diabetes, type 2, foot risk high"
    assert not_judged == "Diabetes, type 2"


@pytest.mark.parametrize(
    ("value", "unit", "level"),
    [
        (D("68.9"), "mmol_mol", None),
        (D("69"), "mmol_mol", "caution"),
        (D("69.1"), "mmol_mol", "caution"),
        (D("8.4"), "percent", None),
        (D("8.5"), "percent", "caution"),
        (D("8.6"), "percent", "caution"),
    ],
)
def test_hba1c(value, unit, level):
    assert raised(facts(hba1c=value, hba1c_unit=unit, hba1c_on=ON)).get("hba1c") == level


@pytest.mark.parametrize(
    ("taken_on", "stale"),
    [
        (date(2026, 11, 25), False),
        (date(2026, 5, 26), False),
        (date(2026, 5, 25), False),  # six calendar months to the day
        (date(2026, 5, 24), True),
        (None, True),
    ],
)
def test_an_old_hba1c(taken_on, stale):
    """3 to 6 months is common practice, no source; the default is 6."""
    result = facts(hba1c=D(50), hba1c_unit="mmol_mol", hba1c_on=taken_on)

    assert raised(result).get("hba1c_stale") == ("caution" if stale else None)


def test_six_months_back_from_a_short_month():
    """31 August and six months is the end of February."""
    result = facts(hba1c=D(50), hba1c_unit="mmol_mol", hba1c_on=date(2026, 8, 31))

    assert flags_of(result, on=date(2027, 2, 28)) == []
    assert [flag.code for flag in flags_of(result, on=date(2027, 3, 1))] == ["hba1c_stale"]


def test_a_missing_hba1c_matters_in_diabetes_only():
    assert raised(facts(diabetes="type_1")) == {"diabetes": "caution", "hba1c_missing": "note"}
    assert raised(facts(diabetes="none")) == {}


# --- clotting and INR


@pytest.mark.parametrize("code", Antithrombotic.codes())
def test_medicines_against_clotting_are_noted(code):
    """Reilly and Blandford, preprint 2021: nail surgery as a rule without stopping them."""
    taken = facts(antithrombotics={code: "yes"}, inr=D(2), inr_on=ON)

    assert raised(taken) == {f"takes_{code}": "note"}


@pytest.mark.parametrize("answer", ["no", "not_assessed", "not_recorded"])
def test_medicines_not_taken_or_not_asked_are_not_noted(answer):
    assert raised(facts(antithrombotics=dict.fromkeys(Antithrombotic.codes(), answer))) == {}


@pytest.mark.parametrize(("inr", "level"), [("3.4", None), ("3.5", None), ("3.6", "stop"), ("10", "stop")])
def test_inr(inr, level):
    """Palamaras and Semkova 2015: above 3.5."""
    assert raised(facts(inr=D(inr), inr_on=ON)).get("inr") == level


@pytest.mark.parametrize(
    ("taken_on", "stale"),
    [
        (ON, False),
        (ON - timedelta(days=2), False),
        (ON - timedelta(days=3), False),  # 72 hours, counted in whole days
        (ON - timedelta(days=4), True),
        (None, True),
    ],
)
def test_an_old_inr(taken_on, stale):
    """72 hours is common practice, no source."""
    result = facts(antithrombotics={"warfarin": "yes"}, inr=D("2.5"), inr_on=taken_on)

    assert raised(result).get("inr_stale") == ("stop" if stale else None)


def test_warfarin_without_any_inr_stops():
    (first, *_) = flags_of(facts(antithrombotics={"warfarin": "yes"}), on=ON)

    assert (first.code, first.level.value, first.fact) == (
        "inr_stale",
        "stop",
        "Takes warfarin, and no INR is recorded",
    )


def test_what_was_decided_about_an_old_inr_does_not_hold_for_a_later_day():
    result = facts(antithrombotics={"warfarin": "yes"}, inr=D("2.5"), inr_on=date(2026, 11, 1))
    facts_of_days = {flags_of(result, on=day)[0].fact for day in (ON, ON + timedelta(days=1))}

    assert len(facts_of_days) == 2
    assert "INR of 1 Nov 2026 is more than 72 hours old on 25 Nov 2026" in facts_of_days


# --- health


@pytest.mark.parametrize(
    ("findings", "wanted"),
    [
        ({"pregnancy": "yes"}, {"pregnancy": "stop"}),
        ({"pregnancy": "declined"}, {"pregnancy": "note"}),
        ({"pregnancy": "no"}, {}),
        ({"pregnancy": "not_applicable"}, {}),
        ({"breastfeeding": "yes"}, {"breastfeeding": "note"}),
        ({"breastfeeding": "declined"}, {}),
        ({"tobacco": "current"}, {"tobacco": "note"}),
        ({"tobacco": "ex"}, {}),
        ({"immunosuppression": "none"}, {}),
        ({"immunosuppression": "not_assessed"}, {}),
        ({"immunosuppression": "steroid"}, {"immunosuppression": "caution"}),
        ({"immunosuppression": "several"}, {"immunosuppression": "caution"}),
        ({"age_years": 15}, {"child": "note"}),
        ({"age_years": 16}, {}),
        ({"age_years": 17}, {}),
        ({"weight_kg": None}, {"weight": "note"}),
        ({"allergy_words": "to strawberries"}, {"allergy_words": "note"}),
    ],
)
def test_health(findings, wanted):
    """Pregnancy: service leaflets, no evidence base. The others: common practice, no source."""
    assert raised(facts(**findings)) == wanted


LEVEL_OF_CONDITION = {
    **dict.fromkeys(("cardiac", "epilepsy", "liver", "renal", "myasthenia", "porphyria"), "caution"),  # lidocaine label
    "methaemoglobinaemia": "caution",  # common practice, no source, as all below
    **dict.fromkeys(("raynaud", "vasospasm", "sickle_cell", "buerger", "crps"), "caution"),
    **dict.fromkeys(("prosthetic_joint", "heart_valve"), "note"),
}


@pytest.mark.parametrize("code", Condition.codes())
def test_conditions(code):
    assert raised(facts(conditions={code: "yes"})) == {f"condition_{code}": LEVEL_OF_CONDITION[code]}
    assert raised(facts(conditions={code: "no"})) == {}


@pytest.mark.parametrize("code", ["raynaud", "vasospasm", "sickle_cell", "buerger"])
def test_narrow_vessels_and_a_vasoconstrictor_stop(code):
    """Common practice, no source: stop for a vasoconstrictor, caution for the tourniquet."""
    assert raised(facts(conditions={code: "yes"}), vasoconstrictor=True) == {
        f"condition_{code}": "caution",
        f"vasoconstrictor_{code}": "stop",
    }


def test_a_vasoconstrictor_alone_raises_nothing():
    assert raised(facts(conditions={"epilepsy": "yes"}), vasoconstrictor=True) == {"condition_epilepsy": "caution"}


LEVEL_OF_ALLERGY = {  # common practice, no source
    "amide": "stop", "phenol": "stop", "ester": "note", "antibiotic": "note",
    **dict.fromkeys(("iodine", "chlorhexidine", "latex", "dressing"), "caution"),
}  # fmt: skip


@pytest.mark.parametrize("code", Allergen.codes())
def test_allergies(code):
    assert raised(facts(allergies={code: "rash"})) == {f"allergy_{code}": LEVEL_OF_ALLERGY[code]}


def test_an_allergy_says_what_happened():
    (flag,) = flags_of(facts(allergies={"amide": "severe"}), on=ON)

    assert flag.fact == "Allergy to amide anaesthetic: severe, whole body"


# --- all together


def test_the_weightiest_come_first():
    many = facts(pregnancy="yes", tobacco="current", diabetes="type_2", feet=(FootFacts("right", abpi=D("0.4")),))

    levels = [flag.level.value for flag in flags_of(many, on=ON)]

    assert levels == sorted(levels, key=["stop", "caution", "note"].index)
    assert levels.count("stop") == 2


EVERYTHING = Facts(
    diabetes="type_2", hba1c=D(90), hba1c_unit="mmol_mol", inr=D(4), immunosuppression="biologic",
    pregnancy="yes", breastfeeding="yes", tobacco="current", age_years=12,
    feet=tuple(
        FootFacts(foot, dorsalis_pedis="not_palpable", doppler="no_signal", abpi=D("0.3"), toe_pressure=20,
                  tbi=D("0.2"), ankle_pressure=30, monofilament_sites=0)
        for foot in ("right", "left")
    ),
    toes=tuple(
        ToeFacts("right", toe, infection="spreading", bone_infection="yes", prior_surgery="chemical")
        for toe in range(1, 5)
    ),
    conditions=dict.fromkeys(Condition.codes(), "yes"), antithrombotics=dict.fromkeys(Antithrombotic.codes(), "yes"),
    allergies=dict.fromkeys(Allergen.codes(), "severe"),
)  # fmt: skip


def test_every_flag_is_a_fact_a_problem_and_the_local_protocol():
    found = flags_of(EVERYTHING, on=ON, vasoconstrictor=True)

    assert len({flag.code for flag in found}) == len(found) > 50
    for flag in found:
        assert flag.sentence == f"{flag.fact}. Possible problem: {flag.problem}. See local protocol."
        assert flag.source.citation
        assert len(flag.code) <= 40
        assert len(flag.fact) <= 300


def test_no_flag_tells_anybody_what_to_do():
    """The record counts and shows; a treatment, a dose or an instruction has no place in it."""
    instructions = {"stop", "give", "refer", "consider", "avoid", "use", "must", "should", "mg", "antibiotics", "call"}

    for flag in flags_of(EVERYTHING, on=ON, vasoconstrictor=True):
        assert not instructions & set(flag.problem.lower().replace(",", " ").replace(";", " ").split()), flag.problem


def test_a_practice_moves_a_threshold():
    own = thresholds_with({"inr_stop_above": "3.0", "toe_pressure_caution_below": 70})

    assert raised(facts(inr=D("3.2"), inr_on=ON), thresholds=own) == {"inr": "stop"}
    assert raised(foot(toe_pressure=65), thresholds=own) == {"toe_pressure_right": "caution"}
    assert raised(foot(toe_pressure=65)) == {}
