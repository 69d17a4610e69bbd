"""What a change would mean is counted in the practice's own records, and in no other's."""

from datetime import UTC, datetime, timedelta

import pytest

from clinic.practice import effect
from clinic.practice.topics import with_values
from clinic.procedures.models import AnaestheticDose, NailProcedure, TreatedSide
from clinic.theatre.models import ChecklistPhase
from tests.factories import NOON, add_toe, create_operation, create_template

pytestmark = pytest.mark.django_db
ON = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


def exposed(practice, *seconds: int, **more):
    return create_operation(practice, seconds=seconds, **more)


@pytest.fixture
def operations(practice, other_practice):
    """Totals 120, 180, 181, one stated 175, one not recorded; besides a struck-out one and another practice's."""
    made = [exposed(practice, 60, 60), exposed(practice, 90, 90), exposed(practice, 90, 91), exposed(practice)]
    stated = exposed(practice)
    TreatedSide.objects.filter(nail_procedure__operation=stated).update(stated_exposure_seconds=175)
    struck = exposed(practice, 300)
    struck.struck_at, struck.struck_reason = NOON, "Wrong patient"
    struck.save()
    exposed(other_practice, 300)
    exposed(practice, technique="pna_only")
    return [*made, stated]


def test_exposures_beyond_a_limit_that_itself_asks_for_no_note(practice, operations):
    after = with_values(practice, {"exposure_note_seconds": 174, "exposure_note_below_seconds": 121})

    said = effect.of_times(practice, after)

    assert said[0] == ("Of 4 treated sides with a recorded exposure, 4 would ask for a note; 1 by the limits of today.")
    assert said[-1].endswith("Records stay as they are.")


@pytest.mark.parametrize(("above", "notes"), [(119, 4), (120, 3), (180, 1), (181, 0)])
def test_each_upper_limit_counts_what_lies_above_it(practice, operations, above, notes):
    after = with_values(practice, {"exposure_note_seconds": above})
    exposures = [seconds for seconds in effect.exposures_of(practice) if seconds is not None]

    assert sorted(exposures) == [120, 175, 180, 181]
    assert effect.how_many(exposures, after, effect.exposure_note) == notes


def test_both_sides_and_both_toes_of_an_operation_count(practice):
    operation = create_operation(practice, sides=("tibial", "fibular"), seconds=(60, 30))
    add_toe(operation, seconds=(45,))

    assert sorted(effect.exposures_of(practice)) == [45, 90, 90]


def test_the_bands_with_and_without_the_change(practice, operations):
    after = with_values(practice, {"exposure_bands_seconds": [120, 175]})

    said = effect.of_audit(practice, after)

    assert said[0] == (
        "Treated sides by exposure today: up to 30 s: 0, 31 to 60 s: 0, 61 to 120 s: 1, 121 to 180 s: 2, "
        "above 180 s: 1, not recorded: 1."
    )
    assert said[1] == "With these limits: up to 120 s: 1, 121 to 175 s: 1, above 175 s: 2, not recorded: 1."


def tourniquet(practice, minutes: float) -> None:
    nail = create_operation(practice).nail_procedures.get()
    off = ON + timedelta(minutes=minutes)
    NailProcedure.objects.filter(pk=nail.pk).update(tourniquet="ring", tourniquet_on_at=ON, tourniquet_off_at=off)


def test_tourniquets_beyond_note_and_alarm(practice):
    for minutes in (10, 20, 20.5, 30, 31):
        tourniquet(practice, minutes)
    after = with_values(practice, {"tourniquet_note_minutes": 10, "tourniquet_alarm_minutes": 20})

    said = effect.of_times(practice, after)

    assert said[:2] == [
        "Of 5 tourniquets with both times on record, 4 were on for more than 10 minutes; by the note of today 3 were "
        "on for more than 20 minutes.",
        "Of 5 tourniquets with both times on record, 3 were on for more than 20 minutes; by the alarm of today 1 was "
        "on for more than 30 minutes.",
    ]


def test_toes_staged_in_another_system_keep_it(practice):
    for system, stage in (("mozena", "IIa"), ("mozena", "III"), ("heifetz", "I"), ("none", "")):
        nail = create_operation(practice).nail_procedures.get()
        NailProcedure.objects.filter(pk=nail.pk).update(stage_system=system, stage=stage)

    said = effect.of_staging(practice, with_values(practice, {"staging_system": "martinez_nova"}))

    assert said == [
        "New operations will be offered Martínez-Nova only.",
        "Toes on record by system: Heifetz: 1, Mozena: 2, Not staged: 1. Each keeps the system it was staged in.",
    ]


def test_an_agent_taken_out_names_its_records_and_templates(practice, other_practice):
    create_operation(practice, agent="tca")
    create_operation(practice, agent="tca")
    create_operation(other_practice, agent="bca")
    create_template(practice, name="Total, acid", agent="tca")
    after = with_values(practice, {"agents_offered": ["phenol", "sodium_hydroxide"]})

    assert effect.of_agents(practice, after) == [
        "The form will no longer offer trichloroacetic acid; 2 toes on record with it stay as they are.",
        "The template “Total, acid” names trichloroacetic acid and will leave that answer open.",
        "The form will no longer offer bichloroacetic acid; no record holds it.",
    ]
    assert effect.of_agents(after, practice)[0] == "The form will offer trichloroacetic acid and bichloroacetic acid."


def test_an_anaesthetic_and_a_dressing_taken_out(practice):
    operation = create_operation(practice)
    operation.dressing = "honey"
    operation.save()
    AnaestheticDose.objects.create(operation=operation, agent="articaine", strength_percent=4, volume_ml=2)
    create_template(practice, name="Sweet", dressing="honey")
    without = {
        "anaesthetics_offered": [code for code in practice.anaesthetics_offered if code != "articaine"],
        "dressings_offered": [code for code in practice.dressings_offered if code != "honey"],
    }
    after = with_values(practice, without)

    assert effect.of_agents(practice, after) == [
        "The form will no longer offer articaine; 1 dose on record with it stays as it is."
    ]
    assert effect.of_dressings(practice, after) == [
        "The form will no longer offer honey; 1 operation on record with it stays as it is.",
        "The template “Sweet” names honey and will leave that answer open.",
    ]


def test_phases_gone_through_keep_their_words(practice):
    operation = create_operation(practice)
    for phase in ("before_anaesthesia", "before_incision"):
        ChecklistPhase.objects.create(
            operation=operation, phase=phase, timing="live", completed_at=NOON, by=operation.operator,
            second_initials="TM",
        )  # fmt: skip

    said = effect.of_checklist(practice, practice)

    assert said[1] == "2 phases that were gone through keep the words that were read then."
