"""How many outcomes are known, and what must be said of the others."""

from audit.measures.follow_up import follow_up
from audit.measures.outcomes import unit_frame
from tests.audit.frames import cohort, cohort_of_groups, group, seen, treated


def followed(*groups, outcome="symptomatic_recurrence"):
    return follow_up(unit_frame(cohort_of_groups(*groups), outcome, "side"))


def named(parts):
    return {part.code: part.units for part in parts if part.units}


def test_completeness_of_the_demonstration():
    found = followed(group("a", events=9, clear=109, lost=34, pending=88))
    assert (found.ascertained, found.eligible, found.lost, found.pending) == (118, 152, 34, 88)
    assert round(found.completeness.rate, 3) == 0.776
    assert (round(found.completeness.low, 3), round(found.completeness.high, 3)) == (0.704, 0.835)


def test_loss_above_a_fifth_and_above_the_event_rate_is_said():
    above, exceeds = followed(group("a", events=9, clear=109, lost=34)).sentences
    assert above == "Loss to follow-up above 20 %: 34 of 152 eligible are lost to follow-up."
    assert exceeds.startswith(
        "The loss exceeds the event rate: 34 of 152 eligible are lost to follow-up, 9 of 118 known"
    )


def test_exactly_a_fifth_is_not_above_it():
    assert followed(group("a", events=8, clear=8, lost=4)).sentences == ()
    (only,) = followed(group("a", events=1, clear=15, lost=4)).sentences
    assert only.startswith("The loss exceeds the event rate")


def test_nothing_is_said_where_nobody_is_lost():
    assert followed(group("a", events=0, clear=12)).sentences == ()


def test_all_lost_is_said_without_a_rate():
    found = followed(group("a", lost=12))
    assert found.sentences == (
        "Loss to follow-up above 20 %: 12 of 12 eligible are lost to follow-up.",
        "No outcome is known, so nothing can be said about the rate.",
    )
    assert found.completeness.events == 0


def test_sources_add_up_to_the_known_and_reasons_to_the_lost():
    sides = [treated(key) for key in "abcd"]
    sides += [treated("e", loss_reason="moved"), treated("f", loss_reason="never_tried")]
    findings = [
        seen("a", 365), seen("b", 365, means="questionnaire", observer="patient"),
        seen("c", 365, means="phone", symptoms="ingrowth"), seen("d", 365, observer="independent"),
    ]  # fmt: skip
    found = follow_up(unit_frame(cohort(sides, findings), "symptomatic_recurrence", "side"))
    assert named(found.by_source) == {"operator": 1, "questionnaire": 1, "phone": 1, "independent": 1}
    assert named(found.by_reason) == {"moved": 1, "never_tried": 1}
    assert sum(part.units for part in found.by_source) == found.ascertained == 4
    assert sum(part.units for part in found.by_reason) == found.lost == 2
    assert (found.examined.events, found.examined.ascertained, found.reported) == (0, 2, 2)
    assert found.examined.best is None
    assert found.completeness is None


def test_parts_lead_to_their_units():
    found = followed(group("a", lost=1, clear=1))
    assert next(part for part in found.by_reason if part.code == "no_reply").keys == ("a-lost-0",)
    assert next(part for part in found.by_source if part.code == "operator").keys == ("a-clear-0",)
    assert "not_applicable" not in {part.code for part in found.by_source}
