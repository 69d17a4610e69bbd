"""Recording an operation: what the page asks, what is stored, in words and in rows."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
import time_machine
from django.contrib.messages import get_messages
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access.drafts import draft_of, keep_draft
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.vocabulary.sites import SITES, landmark, part_of, sides_of, site_name
from tests.clinic.operation_posts import answers_for, errors, send, text
from tests.factories import add_toe, create_operation, create_patient

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 9, 33, tzinfo=UTC)
NO_SECONDS = {"toe1_seconds_1": "", "toe1_seconds_2": ""}


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def patient(practice):
    return create_patient(practice, family_name="Sample", given_name="Ada", born_on=date(1986, 8, 2))


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def test_nothing_clinical_is_filled_in(client, patient):
    page = client.get(reverse("operation-new", args=[patient.key])).content.decode()

    inputs = [part.split(">")[0] for part in page.split("<input")[1:] if 'name="toe1-' in part.split(">")[0]]
    assert len(inputs) > 50
    assert not [each for each in inputs if " checked" in each]
    assert not [each for each in inputs if 'type="text"' in each and 'value="' in each]


def test_a_usual_operation_is_stored_in_rows(client, patient, practitioner):
    response = send(
        client, patient, practitioner, toe1_stage="mozena:IIa", toe1_curettage="after", toe1_lavage="saline"
    )

    operation = Operation.objects.get()
    nail = operation.nail_procedures.get()
    treated = nail.treated_sides.get()
    assert response["Location"] == reverse("toe", args=[nail.key])
    assert (operation.performed_on, operation.operator, operation.age_years) == (date(2026, 11, 25), practitioner, 40)
    assert (operation.recorded_by, operation.recorded_at, operation.consent_given_by) == (practitioner, NOW, "patient")
    assert (nail.foot, nail.toe, nail.technique, nail.matrix_destroyed) == ("right", 1, "pna_chemical", True)
    assert (nail.agent, nail.strength_percent, nail.strength_basis) == ("phenol", Decimal("80"), "w_w")
    assert (nail.curettage, nail.lavage, nail.infection_before) == ("after", "saline", "none")
    assert (nail.prior_surgery_same_side, nail.stage_system, nail.stage) == ("no", "mozena", "IIa")
    assert (treated.side, treated.exposure_seconds) == ("fibular", 120)
    assert [(row.number, row.seconds) for row in treated.applications.all()] == [(1, 60), (2, 60)]


def test_saving_says_what_was_saved_and_offers_undo(client, patient, practitioner):
    response = send(client, patient, practitioner, toe1_side="tibial")

    message = next(iter(get_messages(response.wsgi_request)))
    assert str(message) == "Operation saved 09:33. Ada Sample, right 1st toe (hallux), tibial (medial) side."
    assert message.extra_tags == reverse("operation-undo", args=[Operation.objects.get().key])


def test_what_is_left_open_is_stored_as_not_recorded(client, patient, practitioner):
    send(client, patient, practitioner)

    nail = NailProcedure.objects.get()
    assert (nail.curettage, nail.lavage, nail.stage_system, nail.stage) == ("not_recorded", "not_recorded", "none", "")


@pytest.mark.parametrize(
    ("changes", "stored"),
    [
        ({"toe1_unknown_fibular": "on"}, {"tibial": 120, "fibular": None}),
        ({"toe1_unknown_tibial": "on", "toe1_fibular_1": "45", **NO_SECONDS}, {"tibial": None, "fibular": 45}),
        (
            {"toe1_exposure": "total", "toe1_total_seconds": "90", "toe1_unknown_fibular": "on", **NO_SECONDS},
            {"tibial": 90, "fibular": None},
        ),
    ],
)
def test_exposure_not_recorded_at_one_of_two_sides(client, patient, practitioner, changes, stored):
    assert send(client, patient, practitioner, toe1_side="both", **changes).status_code == 302

    assert {row.side: row.exposure_seconds for row in TreatedSide.objects.all()} == stored


def test_both_sides_with_the_same_seconds(client, patient, practitioner):
    send(client, patient, practitioner, toe1_side="both", toe1_same="on")

    sides = {row.side: row.exposure_seconds for row in TreatedSide.objects.all()}
    assert sides == {"tibial": 120, "fibular": 120}


def test_both_sides_with_different_seconds(client, patient, practitioner):
    send(client, patient, practitioner, toe1_side="both", toe1_fibular_1="45", toe1_fibular_3="30")

    sides = {row.side: [each.seconds for each in row.applications.all()] for row in TreatedSide.objects.all()}
    assert sides == {"tibial": [60, 60], "fibular": [45, 30]}


def test_only_the_total_is_known(client, patient, practitioner):
    changes = {"toe1_exposure": "total", "toe1_seconds_1": "", "toe1_seconds_2": "", "toe1_total_seconds": "150"}
    send(client, patient, practitioner, **changes)

    treated = TreatedSide.objects.get()
    assert (treated.stated_exposure_seconds, treated.applications.count()) == (150, 0)


def test_exposure_not_recorded_is_an_answer(client, patient, practitioner):
    changes = {"toe1_exposure": "not_recorded", "toe1_seconds_1": "", "toe1_seconds_2": ""}
    send(client, patient, practitioner, **changes)

    assert TreatedSide.objects.get().exposure_seconds is None


def test_a_technique_without_agent(client, patient, practitioner):
    changes = dict.fromkeys(("agent", "strength_percent", "strength_basis", "exposure", "seconds_1", "seconds_2"))
    send(client, patient, practitioner, toe1_technique="pna_only", **{f"toe1_{name}": None for name in changes})

    nail = NailProcedure.objects.get()
    assert (nail.agent, nail.strength_basis, nail.matrix_destroyed) == ("none", "not_applicable", False)


def test_strength_not_recorded_is_an_answer(client, patient, practitioner):
    send(client, patient, practitioner, toe1_strength_percent="", toe1_strength_basis="not_recorded")

    nail = NailProcedure.objects.get()
    assert (nail.strength_percent, nail.strength_basis) == (None, "not_recorded")


def test_a_decimal_comma_is_a_decimal_sign(client, patient, practitioner):
    send(client, patient, practitioner, toe1_agent="sodium_hydroxide", toe1_strength_percent="2,5")

    assert NailProcedure.objects.get().strength_percent == Decimal("2.5")


def test_yesterday_and_another_day(client, patient, practitioner):
    send(client, patient, practitioner, visit_when="2026-11-24")
    send(client, patient, practitioner, visit_when="another", visit_performed_on="2026-09-30")

    assert sorted(Operation.objects.values_list("performed_on", flat=True)) == [date(2026, 9, 30), date(2026, 11, 24)]


def test_four_toes_in_one_operation(client, patient, practitioner):
    send(client, patient, practitioner, toes=4, toe4_toe="left-1")

    toes = Operation.objects.get().nail_procedures.order_by("pk")
    assert [(nail.foot, nail.toe) for nail in toes] == [("right", 1), ("right", 2), ("right", 3), ("left", 1)]


def test_another_toe_keeps_everything_typed(client, patient, practitioner):
    response = send(client, patient, practitioner, toe1_seconds_1="6x", add_toe="1")

    page = response.content.decode()
    assert (page.count("data-toe>"), errors(response)) == (2, [])
    assert 'value="6x"' in page
    assert Operation.objects.count() == 0


def test_a_toe_taken_away_moves_the_others_up(client, patient, practitioner):
    response = send(client, patient, practitioner, toes=3, toe3_strength_percent="77", remove_toe="2")

    toes = response.context["entry"].toes
    assert [form["toe"].value() for form in toes] == ["right-1", "right-3"]
    assert toes[1]["strength_percent"].value() == "77"


@pytest.mark.parametrize("count", ["0", "5", "-1", "²", "99999999999999", "x", ""])
def test_a_forged_number_of_toes_is_one(client, patient, practitioner, count):
    response = client.post(
        reverse("operation-new", args=[patient.key]), answers_for(practitioner, add_toe=None) | {"toes": count}
    )

    assert response.status_code == 302
    assert NailProcedure.objects.count() == 1


def test_the_page_reads_the_site_back_in_words(client, patient, practitioner):
    response = send(client, patient, practitioner, toe1_side="tibial", toe1_toe="left-1", toe1_technique=None)

    assert "Left 1st toe (hallux), tibial (medial) side, the side facing the other foot." in text(response)


@pytest.mark.parametrize(
    ("part", "toe", "said"),
    [
        ("fibular", 1, "the side next to the 2nd toe"),
        ("fibular", 3, "the side away from the 1st toe"),
        ("fibular", 5, "the outer edge of the foot"),
        ("tibial", 5, "the side towards the 1st toe"),
        ("both", 2, "the centre is kept"),
        ("whole", 2, "the complete nail plate"),
    ],
)
def test_landmarks_name_toes_never_left_and_right(part, toe, said):
    assert landmark(part, toe) == said
    assert all("left" not in landmark(part, toe) for _ in SITES)


def test_parts_and_sides_are_each_other_s_reverse():
    assert [part_of(sides_of(part)) for part in ("tibial", "fibular", "both", "whole")] == [
        "tibial", "fibular", "both", "whole",
    ]  # fmt: skip
    assert site_name("left", 5, "whole") == "left 5th toe, whole nail"


def test_surgery_on_the_same_side_revises_the_earlier_one(client, patient, practitioner):
    earlier = create_operation(patient=patient, operator=practitioner, performed_on=date(2024, 6, 3))
    other_side = create_operation(
        patient=patient, operator=practitioner, performed_on=date(2025, 6, 3), sides=("tibial",)
    )

    send(client, patient, practitioner, toe1_prior_surgery="yes")

    new = TreatedSide.objects.latest("pk")
    assert new.revises.nail_procedure.operation == earlier
    assert new.revises.nail_procedure.operation != other_side


def test_surgery_elsewhere_before_revises_nothing_of_ours(client, patient, practitioner):
    send(client, patient, practitioner, toe1_prior_surgery="yes")

    assert TreatedSide.objects.get().revises is None


def test_a_draft_opens_again_and_ends_with_saving(client, patient, practitioner):
    url = reverse("operation-new", args=[patient.key])
    response = client.post(url, answers_for(practitioner, toes=2, toe2_strength_percent="77", leave="1"))
    assert response["Location"] == reverse("patient", args=[patient.key])
    assert (Operation.objects.count(), draft_of(practitioner, "operation", patient.key)["toes"]) == (0, "2")

    page = client.get(url)
    assert page.context["entry"].toes[1]["strength_percent"].value() == "77"
    assert "leave" not in draft_of(practitioner, "operation", patient.key)

    send(client, patient, practitioner)
    assert draft_of(practitioner, "operation", patient.key) is None


def test_a_draft_can_be_thrown_away(client, patient, practitioner):
    url = reverse("operation-new", args=[patient.key])
    client.post(url, answers_for(practitioner, leave="1"))

    response = client.post(url, answers_for(practitioner, start_again="1"), follow=True)

    assert draft_of(practitioner, "operation", patient.key) is None
    assert response.context["entry"].toes[0]["toe"].value() is None


def test_today_in_a_draft_is_still_the_same_day_tomorrow(client, patient, practitioner):
    keep_draft(practitioner, "operation", patient.key, {"toes": "1", "visit-when": "2026-11-24"})

    page = client.get(reverse("operation-new", args=[patient.key])).content.decode()

    assert page.count('value="2026-11-24"') == 1
    checked = [part.split(">")[0] for part in page.split("<input")[1:] if " checked" in part.split(">")[0]]
    assert ['value="2026-11-24"' in each for each in checked] == [True]


def test_the_operation_page_tells_who_recorded_what(client, patient, practitioner):
    send(client, patient, practitioner, toe1_side="both", toe1_fibular_1="30", visit_note="Calm patient")

    page = text(client.get(reverse("operation", args=[Operation.objects.get().key])))

    for said in ("60 + 60 = 120 s", "30 s", "Phenol, 80 % w/w", "Calm patient", "Right 1st toe (hallux), both sides"):
        assert said in page


def test_questions_to_the_database_do_not_grow(client, patient, practitioner):
    operation = create_operation(patient=patient, operator=practitioner)
    urls = [
        reverse("operation", args=[operation.key]),
        reverse("operation-amend", args=[operation.key]),
        reverse("operation-new", args=[patient.key]),
    ]
    few = [queries(client, url) for url in urls]
    for number in (2, 3, 4, 5):
        add_toe(operation, toe=number, sides=("tibial", "fibular"))
        create_operation(patient=patient, operator=practitioner, performed_on=date(2020, 1, number))

    assert [queries(client, url) for url in urls] == few


def queries(client, url) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(url).status_code == 200
    return len(caught)
