"""Forms offer what the practice uses; what is on record, or was typed into an older page, stays true."""

import pytest
import time_machine
from django.urls import reverse

from clinic.procedures.models import AnaestheticDose, NailProcedure, Operation
from tests.clinic.operation_posts import answers_for, send
from tests.clinic.practice.browsing import text
from tests.factories import NOON, create_operation, create_patient


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


@pytest.fixture
def patient(practice):
    return create_patient(practice)


def offered(page, name: str, codes: tuple[str, ...]) -> list[str]:
    shown = text(page)
    return [code for code in codes if f'name="{name}" value="{code}"' in shown]


AGENTS = ("phenol", "sodium_hydroxide", "tca", "bca", "other", "none", "not_recorded")


def test_a_practice_that_chose_nothing_is_offered_everything(client, patient):
    page = client.get(reverse("operation-new", args=[patient.key]))

    assert offered(page, "toe1-agent", AGENTS) == list(AGENTS)
    assert all(f'<optgroup label="{system}">' in text(page) for system in ("Heifetz", "Mozena", "Martínez-Nova"))


def test_the_operation_form_offers_the_agents_of_the_practice(client, patient, practice):
    practice.agents_offered = ["phenol"]
    practice.save()

    page = client.get(reverse("operation-new", args=[patient.key]))

    assert offered(page, "toe1-agent", AGENTS) == ["phenol", "other", "none", "not_recorded"]


def test_a_record_with_another_agent_shows_it_and_is_corrected_without_a_question(client, practitioner, practice):
    operation = create_operation(
        practice, operator=practitioner, performed_on=NOON.date(), agent="tca", seconds=(60, 60)
    )
    practice.agents_offered = ["phenol"]
    practice.save()
    url = reverse("operation-amend", args=[operation.key])

    assert offered(client.get(url), "toe1-agent", AGENTS) == ["phenol", "tca", "other", "none", "not_recorded"]
    answers = answers_for(practitioner, toe1_agent="tca", toe1_lavage="saline")
    assert client.post(url, {**answers, "version": "1", "reason": "Misread"}).status_code == 302
    assert NailProcedure.objects.get().agent == "tca"


def test_an_agent_that_is_not_offered_is_recorded_after_a_tick_and_a_reason(client, patient, practitioner, practice):
    practice.agents_offered = ["phenol"]
    practice.save()

    refused = send(client, patient, practitioner, toe1_agent="tca")

    assert "trichloroacetic acid is not among the agents that this practice uses" in text(refused)
    assert offered(refused, "toe1-agent", AGENTS) == ["phenol", "tca", "other", "none", "not_recorded"]
    assert not Operation.objects.exists()
    send(
        client, patient, practitioner, toe1_agent="tca", confirm_confirmed="on", confirm_confirm_reason="Phenol expired"
    )
    assert NailProcedure.objects.get().agent == "tca"
    assert "Phenol expired" in Operation.objects.get().note


def test_the_chosen_staging_system_is_the_only_one_offered(client, patient, practice):
    practice.staging_system = "heifetz"
    practice.save()

    shown = text(client.get(reverse("operation-new", args=[patient.key])))

    assert '<option value="heifetz:III">' in shown
    assert '<option value="none:">' in shown
    assert "mozena:" not in shown


def test_an_old_record_keeps_the_system_it_was_staged_in(client, practitioner, practice):
    operation = create_operation(practice, operator=practitioner, performed_on=NOON.date())
    NailProcedure.objects.update(stage_system="mozena", stage="IIb")
    practice.staging_system = "heifetz"
    practice.save()
    url = reverse("operation-amend", args=[operation.key])

    shown = text(client.get(url))
    assert '<option value="mozena:IIb" selected>' in shown
    assert "mozena:III" not in shown
    answers = answers_for(practitioner, toe1_stage="mozena:IIb", toe1_lavage="saline")
    assert client.post(url, {**answers, "version": "1", "reason": "Misread"}).status_code == 302
    nail = NailProcedure.objects.get()
    assert (nail.stage_system, nail.stage) == ("mozena", "IIb")


DOSE = {
    "agent": "articaine", "strength_percent": "4", "vasoconstrictor": "none", "volume_ml": "2",
    "route": "digital_block", "batch": "A-1", "expires_on": "2027-05-01", "given_at": "",
}  # fmt: skip


def test_the_room_offers_the_anaesthetics_of_the_practice(client, practitioner, practice):
    operation = create_operation(practice, operator=practitioner, performed_on=NOON.date())
    practice.anaesthetics_offered = ["lidocaine"]
    practice.save()
    url = reverse("dose-add", args=[operation.key])
    nail = operation.nail_procedures.get()

    page = client.get(url)
    assert offered(page, "agent", ("lidocaine", "articaine", "other")) == ["lidocaine", "other"]
    answers = {**DOSE, "toe": nail.key, "once": "t" * 24}
    refused = client.post(url, answers)
    assert "Articaine is not among the anaesthetics that this practice uses" in text(refused)
    assert not AnaestheticDose.objects.exists()
    assert client.post(url, {**answers, "confirmed": "on", "reason": "Borrowed"}).status_code == 302
    assert AnaestheticDose.objects.get().agent == "articaine"
