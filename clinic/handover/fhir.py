"""One patient's procedures, reviews and findings as FHIR R4 resources. Knows the shape, not the database's details.

Codes are our own under local names, with their labels as text; licensed terminologies are not shipped. LOINC 72514-3
(pain severity, 0 to 10) is the one outside code of a finding. Toes also carry the HCPCS level II modifiers TA to T9;
their system identifier is from memory, unverified.
R4 names: performed[x] and usedCode; R5 calls them occurrence[x] and used.
"""

from collections.abc import Iterator
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from clinic.patients.models import Patient
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.reviews.models import Review, SideFinding, ToeFinding
from clinic.vocabulary.procedure import Agent, Sex
from clinic.vocabulary.review import Observer, PainState
from clinic.vocabulary.sites import toe_name

Resource = dict[str, Any]
LOCAL = "urn:nail-surgery"
LOINC_PAIN = {"system": "http://loinc.org", "code": "72514-3", "display": "Pain severity - 0-10 verbal numeric rating"}
HCPCS = "urn:oid:2.16.840.1.113883.6.285"
NAMESPACE = uuid5(NAMESPACE_URL, LOCAL)
UNITS = "http://unitsofmeasure.org"
_GENDER = {Sex.FEMALE: "female", Sex.MALE: "male", Sex.OTHER: "other", Sex.NOT_RECORDED: "unknown"}
TOE_FINDINGS = ("healing", "signs", "fluid_colour", "fluid_consistency", "fluid_amount", "swab", "antibiotic",
                "diagnosis", "satisfaction")  # fmt: skip
SIDE_FINDINGS = ("extent", "symptoms", "retreatment")


def bundle(patient: Patient, operations: list[Operation]) -> Resource:
    """A collection of everything. operations: standing ones of the patient, with toes, sides and reviews fetched."""
    resources = [person(patient)]
    for operation in operations:
        for nail in operation.nail_procedures.all():
            resources += procedures(patient, operation, nail)
        for review in operation.reviews.all():
            if not review.struck_at:
                resources += visit(patient, review)
    return {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [{"fullUrl": urn(each["resourceType"], each["id"]), "resource": each} for each in resources],
    }


def urn(kind: str, key: str) -> str:
    """The address of a resource within the bundle, made from its key: the same in every bundle."""
    return uuid5(NAMESPACE, f"{kind}/{key}").urn


def refer(kind: str, key: str) -> Resource:
    return {"reference": urn(kind, key)}


def person(patient: Patient) -> Resource:
    identity = patient.identity
    name = {"family": identity.family_name, **({"given": [identity.given_name]} if identity.given_name else {})}
    found = {
        "resourceType": "Patient",
        "id": patient.key,
        "identifier": [{"system": f"{LOCAL}:record-number", "value": identity.record_number}],
        "name": [name],
        "gender": _GENDER[Sex(patient.sex)],
        "birthDate": identity.born_on.isoformat(),
    }
    return {**found, "deceasedDateTime": patient.died_on.isoformat()} if patient.died_on else found


def procedures(patient: Patient, operation: Operation, nail: NailProcedure) -> Iterator[Resource]:
    """One Procedure for each treated side, and what was measured at it as part of it."""
    for side in nail.treated_sides.all():
        yield {
            "resourceType": "Procedure",
            "id": side.key,
            "status": "completed",
            "code": coded("technique", nail.technique, nail.get_technique_display()),
            "subject": to_patient(patient),
            "performedDateTime": operation.performed_on.isoformat(),
            "bodySite": sites(nail, side),
            # "No agent" and "not recorded" are codes, too: left out, one would read like the other.
            "usedCode": [coded("agent", nail.agent, nail.get_agent_display())],
        }
        yield exposed(patient, operation, nail, side)


def exposed(patient: Patient, operation: Operation, nail: NailProcedure, side: TreatedSide) -> Resource:
    """The time of exposure with its applications; without one, whether none can be or none was recorded."""
    seconds = side.exposure_seconds
    applications = list(side.applications.all())
    found = {
        "resourceType": "Observation",
        "id": f"{side.key}-exposure",
        "status": "final",
        "partOf": [refer("Procedure", side.key)],
        "code": coded("observation", "exposure", "Exposure of the matrix to the agent, in all"),
        "subject": to_patient(patient),
        "effectiveDateTime": operation.performed_on.isoformat(),
    }
    if seconds is None:
        return {**found, "dataAbsentReason": absent("not-applicable" if nail.agent == Agent.NONE else "unknown")}
    found["valueQuantity"] = quantity(seconds, "s")
    parts = [
        {"code": coded("observation", "application", f"Application {each.number}"),
         "valueQuantity": quantity(each.seconds, "s")}
        for each in applications
    ]  # fmt: skip
    return {**found, "component": parts} if parts else found


def visit(patient: Patient, review: Review) -> Iterator[Resource]:
    """An Encounter, and an Observation for each thing that was looked at. What was not assessed says so."""
    yield {
        "resourceType": "Encounter",
        "id": review.key,
        "status": "finished",
        "class": _class(review),
        "type": [coded("origin", review.origin, review.get_origin_display())],
        "subject": to_patient(patient),
        "period": {"start": review.seen_on.isoformat(), "end": review.seen_on.isoformat()},
    }
    for finding in review.toe_findings.all():
        for name in TOE_FINDINGS:
            yield observed(patient, review, finding, name, sites(finding.nail_procedure))
        yield pain(patient, review, finding)
    for finding in review.side_findings.all():
        treated = finding.treated_side
        for name in SIDE_FINDINGS:
            yield observed(patient, review, finding, name, sites(treated.nail_procedure, treated))


def _class(review: Review) -> Resource:
    code, display = ("AMB", "ambulatory") if review.means == "in_person" else ("VR", "virtual")
    return {"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": code, "display": display}


def observed(
    patient: Patient, review: Review, finding: ToeFinding | SideFinding, name: str, site: list[Resource]
) -> Resource:
    """One finding. Nobody looked is not the same as nothing found: it is a missing value with its reason."""
    value, label = getattr(finding, name), getattr(finding, f"get_{name}_display")()
    found = _observation(patient, review, f"{finding.key}-{name.replace('_', '-')}", site[0])
    found["code"] = coded("finding", name, name.replace("_", " ").capitalize())
    if value in {"not_assessed", "not_asked"}:
        return {**found, "dataAbsentReason": absent("not-asked" if value == "not_asked" else "not-performed")}
    if value == "not_applicable":
        return {**found, "dataAbsentReason": absent("not-applicable")}
    return {**found, "valueCodeableConcept": coded(name, value, label)}


def pain(patient: Patient, review: Review, finding: ToeFinding) -> Resource:
    found = _observation(patient, review, f"{finding.key}-pain", sites(finding.nail_procedure)[0])
    found["code"] = {"coding": [LOINC_PAIN], "text": "Pain, 0 to 10"}
    if finding.pain_state != PainState.SCORED or finding.pain is None:
        return {**found, "dataAbsentReason": absent("not-asked")}
    return {**found, "valueInteger": finding.pain}


def _observation(patient: Patient, review: Review, key: str, site: Resource) -> Resource:
    who = coded("observer", review.observer, review.get_observer_display())
    return {
        "resourceType": "Observation",
        "id": key,
        "status": "final",
        "subject": to_patient(patient),
        "encounter": refer("Encounter", review.key),
        "effectiveDateTime": review.seen_on.isoformat(),
        "method": coded("means", review.means, review.get_means_display()),
        "bodySite": site,
        # A patient's own word never reads like an examination.
        "note": [{"text": f"Observer: {who['text']}"}],
        **({"performer": [to_patient(patient)]} if review.observer == Observer.PATIENT else {}),
    }


def sites(nail: NailProcedure, side: TreatedSide | None = None) -> list[Resource]:
    """The toe by our code and by its HCPCS modifier, and the treated side."""
    letter = "R" if nail.foot == "right" else "L"
    number = nail.toe - 1 + (5 if nail.foot == "right" else 0)
    toe = {
        "coding": [
            {"system": f"{LOCAL}:toe", "code": f"{letter}{nail.toe}", "display": toe_name(nail.foot, nail.toe)},
            {"system": HCPCS, "code": "TA" if number == 0 else f"T{number}"},
        ],
        "text": toe_name(nail.foot, nail.toe),
    }
    return [toe] if side is None else [toe, coded("side", side.side, side.get_side_display())]


def coded(system: str, code: str, label: str) -> Resource:
    return {"coding": [{"system": f"{LOCAL}:{system}", "code": str(code), "display": label}], "text": label}


def absent(reason: str) -> Resource:
    system = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
    return {"coding": [{"system": system, "code": reason}]}


def quantity(value: float, unit: str) -> Resource:
    return {"value": value, "unit": unit, "system": UNITS, "code": unit}


def to_patient(patient: Patient) -> Resource:
    return refer("Patient", patient.key)
