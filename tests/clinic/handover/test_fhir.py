"""One patient as FHIR R4, valid against a general FHIR library, nothing invented and nothing lost."""

import json
from uuid import UUID

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.handover.fhir import bundle
from clinic.handover.models import Handover
from clinic.handover.views import operations_of
from clinic.vocabulary.procedure import Technique
from tests.factories import add_toe, create_operation, create_patient, create_review

PASSWORD = "a long enough word"


@pytest.fixture
def patient(practice, lead):
    patient = create_patient(practice, family_name="O'Fiction", given_name="", sex="other")
    operation = create_operation(patient=patient, operator=lead, sides=("tibial", "fibular"), seconds=(60, 60, 45))
    add_toe(operation, foot="left", toe=5, technique=Technique.PNA_ONLY)
    create_review(operation, day=14)
    create_review(operation, day=365, extent="spicule", symptoms="ingrowth", means="phone", observer="patient",
                  pain_state="not_asked", pain=None, healing="not_assessed")  # fmt: skip
    return patient


def resources(patient, kind: str) -> list[dict]:
    found = bundle(patient, operations_of(patient))
    return [entry["resource"] for entry in found["entry"] if entry["resource"]["resourceType"] == kind]


def test_a_general_fhir_library_reads_every_resource(patient):
    from fhir.resources.R4B.bundle import Bundle

    found = json.loads(json.dumps(bundle(patient, operations_of(patient))))
    read = Bundle.model_validate(found)

    assert json.loads(read.model_dump_json()) == found
    assert len(read.entry) == len(found["entry"]) > 30


def test_the_library_would_refuse_a_wrong_one(patient):
    from fhir.resources.R4B.procedure import Procedure
    from pydantic import ValidationError

    wrong = {**resources(patient, "Procedure")[0], "performedDateTime": "14 March 2024"}
    with pytest.raises(ValidationError):
        Procedure.model_validate(wrong)


def test_references_lead_to_resources_of_the_bundle_and_ids_are_once(patient):
    entries = bundle(patient, operations_of(patient))["entry"]
    addresses = [entry["fullUrl"] for entry in entries]

    assert all(UUID(address.removeprefix("urn:uuid:")).urn == address for address in addresses)
    assert len(set(addresses)) == len(addresses)
    referred = {part.split('"')[0] for part in json.dumps(entries).split('"reference": "')[1:]}
    assert referred
    assert referred <= set(addresses)
    # The same resource has the same address in a later bundle.
    assert addresses == [entry["fullUrl"] for entry in bundle(patient, operations_of(patient))["entry"]]


def test_each_treated_side_is_a_procedure_with_its_place_and_agent(patient):
    found = resources(patient, "Procedure")

    assert len(found) == 3
    places = {tuple(site["coding"][0]["code"] for site in each["bodySite"]) for each in found}
    assert places == {("R1", "tibial"), ("R1", "fibular"), ("L5", "fibular")}
    assert {code["code"] for each in found for code in each["bodySite"][0]["coding"][1:]} == {"T5", "T4"}
    assert sorted(each["usedCode"][0]["coding"][0]["code"] for each in found) == ["none", "phenol", "phenol"]


def test_no_agent_and_an_agent_not_recorded_read_differently(practice, lead):
    patient = create_patient(practice)
    operation = create_operation(patient=patient, operator=lead, sides=("tibial",), agent="not_recorded", seconds=())
    add_toe(operation, foot="left", toe=5, technique=Technique.PNA_ONLY)

    used = {each["id"]: each["usedCode"][0]["coding"][0]["code"] for each in resources(patient, "Procedure")}
    why = {
        each["id"].removesuffix("-exposure"): each["dataAbsentReason"]["coding"][0]["code"]
        for each in resources(patient, "Observation")
    }

    assert sorted(used.values()) == ["none", "not_recorded"]
    assert {used[key]: why[key] for key in used} == {"none": "not-applicable", "not_recorded": "unknown"}


def test_exposure_is_the_sum_of_its_applications(patient):
    found = [each for each in resources(patient, "Observation") if each["code"]["coding"][0]["code"] == "exposure"]

    timed = [each for each in found if "valueQuantity" in each]

    assert (len(timed), len(found)) == (2, 3)
    for each in timed:
        assert each["valueQuantity"] == {"value": 165, "unit": "s", "system": "http://unitsofmeasure.org", "code": "s"}
        assert [part["valueQuantity"]["value"] for part in each["component"]] == [60, 60, 45]


def test_not_looked_at_is_a_missing_value_and_never_a_finding(patient):
    for each in resources(patient, "Observation"):
        has_value = any(name.startswith("value") for name in each)
        assert has_value != ("dataAbsentReason" in each)
    pains = [each for each in resources(patient, "Observation") if each["code"].get("text") == "Pain, 0 to 10"]
    assert sorted("valueInteger" in each for each in pains) == [False, False, True, True]


def test_what_the_patient_said_says_so(patient):
    reported = [each for each in resources(patient, "Observation") if each.get("performer")]

    assert reported
    assert all(each["note"][0]["text"] == "Observer: The patient" for each in reported)
    assert all(each["method"]["text"] == "Phone" for each in reported)


def test_what_was_struck_out_is_not_handed_over(patient):
    operation = patient.operations.get()
    review = operation.reviews.first()
    review.struck_at, review.struck_reason = review.recorded_at, "wrong patient"
    review.save()

    assert len(resources(patient, "Encounter")) == 1


def test_no_note_of_a_clinician_is_in_it(patient):
    operation = patient.operations.get()
    operation.note = "UNIQUE free words"
    operation.save()

    assert "UNIQUE" not in json.dumps(bundle(patient, operations_of(patient)))


def test_taking_is_noted(patient, lead, client_of):
    answer = client_of(lead).post(
        reverse("patient-fhir", args=[patient.key]), {"purpose": "Referral", "password": PASSWORD}
    )

    assert answer["Content-Type"] == "application/fhir+json"
    row = Handover.objects.get()
    assert (row.patient, row.kind, row.purpose) == (patient, "fhir", "Referral")
    assert json.loads(answer.content)["resourceType"] == "Bundle"


def test_statements_do_not_grow_with_reviews(practice, lead):
    patient = create_patient(practice)
    operation = create_operation(patient=patient, operator=lead)

    def statements() -> int:
        with CaptureQueriesContext(connection) as queries:
            bundle(patient, operations_of(patient))
        return len(queries)

    create_review(operation, day=10)
    patient = type(patient).objects.select_related("identity").get(pk=patient.pk)
    few = statements()
    for day in range(20, 30):
        create_review(operation, day=day)

    assert statements() == few <= 10
