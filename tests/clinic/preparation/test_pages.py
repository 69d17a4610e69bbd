"""Pages before an operation: what they show, that they work without script, and how often they ask the database."""

import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.http import QueryDict
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.datastructures import MultiValueDict

from clinic.access.once import new_token
from clinic.preparation.clearance import states_of
from clinic.preparation.forms import AssessmentEntry
from clinic.preparation.models import Assessment, Consent
from clinic.preparation.recording import change_assessment, decide_flag
from tests.clinic.preparation.posts import assess, assessment_answers, consent_to, text
from tests.factories import create_assessment, create_consent, create_patient

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def test_the_patients_page_leads_to_everything(client, patient, practitioner):
    url = reverse("patient", args=[patient.key])
    page = client.get(url).content.decode()
    assert "No assessment is recorded." in page
    assert "No consent is recorded." in page
    for name in ("assessment-new", "consent-new"):
        assert reverse(name, args=[patient.key]) in page

    create_assessment(patient, by=practitioner, assessed_on=date(2026, 11, 1))
    newest = create_assessment(patient, by=practitioner, pregnancy="yes")
    consent = create_consent(patient, by=practitioner, foot="left", toe=2)
    page = client.get(url).content.decode()
    assert reverse("assessment", args=[newest.key]) in page
    assert page.count("/assessments/") == 1
    assert "1 flag is open" in page
    assert reverse("consent", args=[consent.key]) in page
    assert "Left 2nd toe, fibular (lateral) side" in page


def test_reception_sees_none_of_it(client_of, patient, practitioner, reception):
    assessment = create_assessment(patient, by=practitioner)

    page = client_of(reception).get(reverse("patient", args=[patient.key])).content.decode()

    assert "Before an operation" not in page
    assert assessment.key not in page


def test_nobody_prepares_an_operation_on_the_dead(client, patient):
    patient.died_on = date(2026, 11, 1)
    patient.save()

    assert "/assessment/" not in client.get(reverse("patient", args=[patient.key])).content.decode()


@pytest.mark.parametrize("name", ["assessment-new", "consent-new"])
def test_the_patient_is_named_on_top(client, patient, name):
    page = text(client.get(reverse(name, args=[patient.key])))

    identity = patient.identity
    assert identity.spoken_name in page
    assert "17 May 1990 (36)" in page
    assert identity.record_number in page


def test_everything_goes_by_plain_posts(client, patient, practitioner):
    """No page before an operation brings a script of its own: assess, decide, consent, confirm, read."""
    made = client.get(assess(client, patient, practitioner, health__pregnancy="yes")["Location"])
    (form,) = [form for _, form in made.context["flags"] if form]
    hidden = {name: form[name].value() for name in ("once", "code", "fact", "on")}
    assessment = Assessment.objects.get()
    decided = client.post(
        reverse("flag-decide", args=[assessment.key]), hidden | {"outcome": "proceed", "text": "Asked for"}, follow=True
    )
    assert "No flag is open" in text(decided)
    given = client.get(consent_to(client, patient, practitioner)["Location"])
    consent = Consent.objects.get()
    said = {"toe": "right-1", "part": "fibular", "reconfirmed_on": "2026-11-25", "version": "1"}
    confirmed = client.post(reverse("consent-confirm", args=[consent.key]), said, follow=True)
    assert "Confirmed 25 Nov 2026" in text(confirmed)

    for page in (made, decided, given, confirmed):
        scripts = re.findall(r"<script[^>]*src=\"([^\"]+)\"", page.content.decode())
        assert [path.rsplit("/", 1)[-1].split(".")[0] for path in scripts] == ["base"]


def test_flags_are_said_with_fact_problem_protocol_and_source(client, patient, practitioner):
    assessment = create_assessment(patient, by=practitioner, pregnancy="yes")

    page = text(client.get(reverse("assessment", args=[assessment.key])))

    assert "Stop and discuss" in page
    assert "Pregnant. Possible problem: the anaesthetic or the agent may reach the child. See local protocol." in page
    assert "Source: Service leaflets on nail surgery in pregnancy and breastfeeding (no evidence base)" in page


# --- statements


def statements(client, url: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert client.get(url).status_code == 200
    return len(captured)


def test_statements_are_few_and_do_not_grow(client, practice, patient, practitioner):
    assessment = create_assessment(patient, by=practitioner, pregnancy="yes", diabetes="type_2", foot_risk="low")
    consent = create_consent(patient, by=practitioner)
    of_patient = [reverse(name, args=[patient.key]) for name in ("assessment-new", "consent-new")]
    of_assessment = [reverse(name, args=[assessment.key]) for name in ("assessment", "assessment-change")]
    of_consent = [reverse(name, args=[consent.key]) for name in ("consent", "consent-confirm")]
    urls = [*of_patient, *of_assessment, *of_consent]
    patients_page = reverse("patient", args=[patient.key])
    few = {url: statements(client, url) for url in [*urls, patients_page]}

    for number in range(10):
        create_assessment(patient, by=practitioner, assessed_on=date(2026, 10, 1) + timedelta(days=number))
        create_consent(patient, by=practitioner, toe=1 + number % 5, foot="left")
        create_assessment(create_patient(practice), by=practitioner)
        deciding(assessment, practitioner, number)
        changing(assessment, practitioner, number)

    many = {url: statements(client, url) for url in [*urls, patients_page]}
    assert many == few
    assert max(many[url] for url in urls) <= 12


def deciding(assessment, by, number: int) -> None:
    fetched = Assessment.objects.with_parts().get(pk=assessment.pk)
    flag = states_of(fetched, date(2026, 11, 25))[0].flag
    decide_flag(by=by, assessment=fetched, flag=flag, outcome="proceed", text=f"Look {number}", now=fetched.recorded_at)


def changing(assessment, by, number: int) -> None:
    fetched = Assessment.objects.with_parts().get(pk=assessment.pk)
    toes = 1 + number % 4
    posted = assessment_answers(by, toes=toes, health__condition=["liver"] if number % 2 else ["renal"],
                                health__pregnancy="yes")  # fmt: skip
    entry = AssessmentEntry(
        member=by, patient=fetched.patient, today=date(2026, 11, 25), assessment=fetched,
        data=query(posted | {"version": str(fetched.version), "reason": "x", "once": new_token()}),
    )  # fmt: skip
    assert entry.is_valid(), list(entry.errors())
    change_assessment(by=by, assessment=fetched, version=fetched.version, values=entry.values(), reason=entry.reason)


def query(answers):
    made = QueryDict(mutable=True)
    made.update(MultiValueDict({n: v if isinstance(v, list) else [v] for n, v in answers.items()}))
    return made
