"""Strengths an agent is known in. Source of the lists: common practice, no source."""

from decimal import Decimal

import pytest

from clinic.dosing.amounts import check_strength
from clinic.vocabulary.procedure import STRENGTHS, Anaesthetic, Vasoconstrictor


@pytest.mark.parametrize(
    ("agent", "percents"),
    [
        ("lidocaine", "1 2"),
        ("mepivacaine", "2 3"),
        ("prilocaine", "1 3 4"),
        ("bupivacaine", "0.25 0.5 0.75"),
        ("levobupivacaine", "0.25 0.5 0.75"),
        ("ropivacaine", "0.2 0.5 0.75 1"),
        ("articaine", "4"),
    ],
)
def test_listed_strengths_pass_however_they_are_written(agent, percents):
    for text in percents.split():
        check_strength(Anaesthetic(agent), Decimal(text))
        check_strength(Anaesthetic(agent), Decimal(text + (".00" if "." not in text else "0")))
    assert len(STRENGTHS[Anaesthetic(agent)]) == len(percents.split())


@pytest.mark.parametrize(
    ("agent", "typed", "words"),
    [
        ("lidocaine", "20", "Lidocaine is listed as 1 or 2 %, not as 20 %; did you mean 2 % (20 mg/mL)?"),
        ("lidocaine", "10", "Lidocaine is listed as 1 or 2 %, not as 10 %; did you mean 1 % (10 mg/mL)?"),
        ("mepivacaine", "30", "Mepivacaine is listed as 2 or 3 %, not as 30 %; did you mean 3 % (30 mg/mL)?"),
        (
            "bupivacaine",
            "2.5",
            "Bupivacaine is listed as 0.25, 0.5 or 0.75 %, not as 2.5 %; did you mean 0.25 % (2.5 mg/mL)?",
        ),
        ("articaine", "40", "Articaine is listed as 4 %, not as 40 %; did you mean 4 % (40 mg/mL)?"),
        ("lidocaine", "1.5", "Lidocaine is listed as 1 or 2 %, not as 1.5 %"),
        ("lidocaine", "0.2", "Lidocaine is listed as 1 or 2 %, not as 0.2 %"),
        ("articaine", "0", "Articaine is listed as 4 %, not as 0 %"),
    ],
)
def test_others_are_refused_with_what_was_probably_meant(agent, typed, words):
    with pytest.raises(ValueError, match="is listed as") as refusal:
        check_strength(Anaesthetic(agent), Decimal(typed))

    assert str(refusal.value) == words


def test_an_agent_without_a_list_has_bounds():
    check_strength(Anaesthetic.OTHER, Decimal("0.1"))
    check_strength(Anaesthetic.OTHER, Decimal(5))
    for typed in ("0.05", "5.1", "20"):
        with pytest.raises(ValueError, match=r"must be between 0.1 and 5 %; it is"):
            check_strength(Anaesthetic.OTHER, Decimal(typed))


def test_every_agent_has_its_entry():
    assert set(STRENGTHS) == set(Anaesthetic)
    assert all(list(listed) == sorted(set(listed)) for listed in STRENGTHS.values())


def test_not_recorded_is_no_kind_of_vasoconstrictor():
    kinds = {term: term.kind for term in Vasoconstrictor}

    assert kinds[Vasoconstrictor.NOT_RECORDED] is None
    assert kinds[Vasoconstrictor.ADRENALINE_100] == kinds[Vasoconstrictor.ADRENALINE_200] == "adrenaline"
    assert (kinds[Vasoconstrictor.NONE], kinds[Vasoconstrictor.FELYPRESSIN]) == ("none", "felypressin")


def test_dilutions_in_micrograms():
    # Source: 1 g in 100 000 mL is 10 micrograms in 1 mL; the meaning shown to people says the same.
    for parts, term in ((100_000, Vasoconstrictor.ADRENALINE_100), (200_000, Vasoconstrictor.ADRENALINE_200)):
        assert f"{1_000_000 // parts} micrograms in 1 mL" in term.meaning
