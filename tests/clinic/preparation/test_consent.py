"""Consent: what the patient said, confirmed on the day in the same words, or told in words what differs."""

from datetime import date

import pytest
from django.urls import reverse

from clinic.preparation.models import Consent, ConsentElement
from clinic.vocabulary.preparation import ConsentPoint
from tests.clinic.preparation.posts import consent_answers, consent_to, errors, text
from tests.factories import NOON, create_consent, create_patient

pytestmark = pytest.mark.django_db
CONFIRMED = {"confirmed": "on", "confirm_reason": "Not relevant here"}


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def test_every_answer_is_kept(client, patient, practitioner, assistant):
    response = consent_to(
        client, patient, practitioner, toe="left-3", part="both", intent="temporary", given_by="patient",
        discussed_on="2026-11-20", discussed_by=assistant.key, photographs="yes", interpreter="interpreter",
        note="In the patient's language",
    )  # fmt: skip

    made = Consent.objects.get()
    assert response["Location"] == reverse("consent", args=[made.key])
    kept = {name: getattr(made, name) for name in (
        "patient", "foot", "toe", "part", "intent", "given_by", "discussed_on", "discussed_by", "photographs",
        "interpreter", "note", "recorded_by", "reconfirmed_on", "withdrawn_on",
    )}  # fmt: skip
    assert kept == {
        "patient": patient, "foot": "left", "toe": 3, "part": "both", "intent": "temporary", "given_by": "patient",
        "discussed_on": date(2026, 11, 20), "discussed_by": assistant, "photographs": "yes",
        "interpreter": "interpreter", "note": "In the patient's language", "recorded_by": practitioner,
        "reconfirmed_on": None, "withdrawn_on": None,
    }  # fmt: skip
    assert list(ConsentElement.objects.values_list("code", flat=True)) == ConsentPoint.codes()
    assert Consent.history.get().history_user == practitioner
    assert ConsentElement.history.first().history_user == practitioner


REFUSED = [
    ({"toe": None}, "Choose the toe"),
    ({"part": None}, "Choose which part of the nail"),
    ({"part": "left"}, "Choose which part of the nail"),
    ({"intent": None}, "Choose whether the result is meant to be permanent"),
    ({"given_by": None}, "Choose who gave consent"),
    ({"given_by": "not_recorded"}, "Choose who gave consent"),
    ({"discussed_on": None}, "When was it talked about? Give day, month and year"),
    ({"discussed_on": "2026-11-26"}, "The date of the talk lies in the future"),
    ({"discussed_on": "1990-05-16"}, "The date of the talk lies before the patient was born; check it"),
    ({"discussed_by": None}, "Choose who talked with the patient"),
    ({"photographs": None}, "Choose whether photographs may be taken, or “Not assessed”"),
    ({"interpreter": None}, "Choose whether somebody interpreted"),
    ({"points": ["everything"]}, "Choose from the list"),
    ({"given_by": "other"}, "Note who gave consent and with what authority"),
    ({"interpreter": "not_there"}, "Note how the talk was possible without an interpreter"),
    ({"note": "x" * 1851}, "The note may have at most 1850 characters"),
]


@pytest.mark.parametrize(("changes", "sentence"), REFUSED, ids=[str(changes)[:50] for changes, _ in REFUSED])
def test_is_refused_with_a_sentence_at_the_field(client, patient, practitioner, changes, sentence):
    response = consent_to(client, patient, practitioner, **changes)

    assert errors(response) == [sentence]
    assert response.content.decode().count(sentence) == 2
    assert not Consent.objects.exists()


@pytest.mark.parametrize(("born", "asked"), [("2011-11-26", True), ("2010-11-25", False)])
def test_a_child_that_consents_alone_asks_for_a_note(client, practice, practitioner, born, asked):
    """Under 16: common practice, no source. The first is 14, the second has the 16th birthday that day."""
    child = create_patient(practice, born_on=date.fromisoformat(born))

    response = consent_to(client, child, practitioner)

    assert errors(response) == (["The patient was 14 on that day. Note how consent was settled"] if asked else [])
    if asked:
        consent_to(client, child, practitioner, note="Judged competent, mother present")
    assert Consent.objects.count() == 1


def test_not_after_death(client, patient, practitioner):
    patient.died_on = date(2026, 11, 1)
    patient.save()

    assert errors(consent_to(client, patient, practitioner)) == [
        "The date of the talk lies after the date of death on record"
    ]


@pytest.mark.parametrize(
    ("changes", "warning"),
    [
        ({"points": [code for code in ConsentPoint.codes() if code not in {"pain", "rare"}]},
         "not ticked: pain and rare harm"),
        ({"given_by": "parent"}, "a parent or guardian consented for a patient of 36"),
    ],
)  # fmt: skip
def test_what_is_unusual_is_saved_after_a_tick_and_a_reason(client, patient, practitioner, changes, warning):
    asked = consent_to(client, patient, practitioner, **changes)
    assert errors(asked) == [f"Tick that this is correct, or change the answer: {warning}", "Give the reason"]

    consent_to(client, patient, practitioner, **changes, **CONFIRMED)
    made = Consent.objects.get()
    assert made.note == "Unusual, confirmed: Not relevant here"
    assert made.history.get().history_change_reason == "Not relevant here"


def test_nothing_ticked_at_all_is_told_apart_from_everything(client, patient, practitioner):
    asked = consent_to(client, patient, practitioner, points=None)

    assert "not ticked: diagnosis, procedure, said back," in errors(asked)[0]


def test_a_second_consent_for_the_toe_is_a_decision(client, patient, practitioner):
    create_consent(patient, by=practitioner, discussed_on=date(2026, 11, 3), part="tibial")

    asked = consent_to(client, patient, practitioner)
    assert "a consent for the right 1st toe (hallux) of 3 Nov 2026 is on record; the newer one counts" in text(asked)

    consent_to(client, patient, practitioner, **CONFIRMED)
    assert Consent.objects.count() == 2


def test_a_consent_for_another_toe_is_none(client, patient, practitioner):
    create_consent(patient, by=practitioner, foot="left")

    consent_to(client, patient, practitioner)

    assert Consent.objects.count() == 2


def test_nothing_is_ticked_for_anybody(client, patient):
    page = client.get(reverse("consent-new", args=[patient.key])).content.decode()

    assert " checked" not in page
    assert page.count("selected") == 1  # who talked with the patient


def test_a_form_sent_twice_makes_one(client, patient, practitioner):
    url, answers = reverse("consent-new", args=[patient.key]), consent_answers(practitioner)

    first, second = client.post(url, answers), client.post(url, answers)

    assert Consent.objects.count() == 1
    assert first["Location"] == second["Location"]


def test_a_failure_leaves_nothing(client, patient, practitioner, monkeypatch):
    def fails(*args, **kwargs):
        raise RuntimeError("in the middle")

    monkeypatch.setattr("clinic.preparation.recording.keep_all", fails)
    client.raise_request_exception = False

    assert consent_to(client, patient, practitioner).status_code == 500
    assert not Consent.objects.exists()
    assert not Consent.history.exists()


def test_extra_fields_change_nothing(client, patient, practitioner):
    consent_to(client, patient, practitioner, reconfirmed_on="2026-11-25", reconfirmed_by=practitioner.key,
               withdrawn_on="2026-11-25", struck_reason="x", version="7", foot="left")  # fmt: skip

    made = Consent.objects.get()
    assert (made.reconfirmed_on, made.withdrawn_on, made.struck_reason, made.version) == (None, None, "", 1)
    assert made.foot == "right"


def test_nobody_of_another_practice_can_have_talked(client, patient, practitioner, colleague_elsewhere):
    response = consent_to(client, patient, practitioner, discussed_by=colleague_elsewhere.key)

    assert errors(response) == ["Choose who talked with the patient"]


def test_text_is_shown_as_text(client, patient, practitioner):
    consent_to(client, patient, practitioner, note="<script>alert(1)</script>")

    page = client.get(reverse("consent", args=[Consent.objects.get().key])).content.decode()
    assert "<script>alert(1)" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


# --- confirmed on the day


def confirm(client, consent, *, toe="right-1", part="fibular", on="2026-11-25", version=None):
    posted = {"toe": toe, "part": part, "reconfirmed_on": on, "version": str(version or consent.version)}
    return client.post(reverse("consent-confirm", args=[consent.key]), posted)


@pytest.fixture
def consent(patient, practitioner):
    return create_consent(patient, by=practitioner)


def test_the_same_words_confirm_it(client_of, consent, assistant):
    assert confirm(client_of(assistant), consent).status_code == 302

    consent.refresh_from_db()
    assert (consent.reconfirmed_on, consent.reconfirmed_by, consent.version) == (date(2026, 11, 25), assistant, 2)
    assert consent.history.first().history_change_reason == "Confirmed on the day"
    assert "Confirmed 25 Nov 2026" in text(client_of(assistant).get(reverse("consent", args=[consent.key])))


@pytest.mark.parametrize(
    ("toe", "part", "site"),
    [
        ("left-1", "fibular", "left 1st toe (hallux), fibular (lateral) side"),
        ("right-2", "fibular", "right 2nd toe, fibular (lateral) side"),
        ("right-1", "tibial", "right 1st toe (hallux), tibial (medial) side"),
        ("right-1", "both", "right 1st toe (hallux), both sides"),
        ("right-1", "whole", "right 1st toe (hallux), whole nail"),
        ("left-5", "whole", "left 5th toe, whole nail"),
    ],
)
def test_other_words_are_refused_and_read_back(client, consent, toe, part, site):
    response = confirm(client, consent, toe=toe, part=part)

    assert errors(response) == [
        "Consent says the right 1st toe (hallux), fibular (lateral) side. "
        f"The patient now says the {site}. This consent does not cover it"
    ]
    consent.refresh_from_db()
    assert consent.reconfirmed_on is None


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"toe": ""}, "Choose the toe"),
        ({"part": ""}, "Choose which part of the nail"),
        ({"on": ""}, "When was it confirmed? Give day, month and year"),
        ({"on": "2026-11-26"}, "The date of confirmation lies in the future"),
        ({"on": "2026-11-19"}, "The date of confirmation lies before the talk (20 Nov 2026)"),
    ],
)
def test_what_cannot_confirm(client, consent, changes, sentence):
    assert errors(confirm(client, consent, **changes)) == [sentence]


def test_the_site_is_not_filled_in_from_the_consent(client, consent):
    page = client.get(reverse("consent-confirm", args=[consent.key])).content.decode()

    assert " checked" not in page


def test_two_people_at_once(client, consent):
    confirm(client, consent, on="2026-11-24")

    late = confirm(client, consent, version=1)
    assert late.status_code == 409
    assert "Somebody changed this a moment ago" in text(late)
    consent.refresh_from_db()
    assert consent.reconfirmed_on == date(2026, 11, 24)

    confirm(client, consent, version=late.context["form"]["version"].value())
    consent.refresh_from_db()
    assert consent.reconfirmed_on == date(2026, 11, 25)


# --- withdrawn, struck out


def end(client, name, consent, **changes):
    posted = {"reason": "Wants to wait", "version": consent.version, **changes}
    return client.post(reverse(name, args=[consent.key]), posted, follow=True)


def test_a_withdrawn_consent_stands_no_longer(client_of, consent, assistant):
    client = client_of(assistant)

    page = text(end(client, "consent-withdraw", consent))

    consent.refresh_from_db()
    assert (consent.withdrawn_on, consent.withdrawn_by) == (date(2026, 11, 25), assistant)
    assert "Withdrawn 25 Nov 2026" in page
    assert "Wants to wait" in page
    refused = client.get(reverse("consent-confirm", args=[consent.key]), follow=True)
    assert "This consent does not stand any more" in text(refused)


@pytest.mark.parametrize("name", ["consent-withdraw", "consent-strike"])
@pytest.mark.parametrize(
    ("changes", "sentence"),
    [({"reason": ""}, "Give the "), ({"version": 9}, "Somebody changed this a moment ago"), ({"version": ""}, "Give")],
)
def test_what_keeps_it_standing(client, consent, name, changes, sentence):
    assert sentence in text(end(client, name, consent, **changes))
    assert Consent.objects.valid_on(date(2026, 11, 25)).exists()


def test_only_the_lead_or_the_author_strikes_out(client_of, consent, assistant, lead):
    assert "Only the practice lead or the person" in text(end(client_of(assistant), "consent-strike", consent))
    assert "Consent struck out" in text(end(client_of(lead), "consent-strike", consent))

    consent.refresh_from_db()
    assert (consent.struck_at, consent.struck_reason) == (NOON, "Wants to wait")


def test_a_second_withdrawal_changes_nothing(client, consent):
    end(client, "consent-withdraw", consent)
    consent.refresh_from_db()

    end(client, "consent-withdraw", consent, reason="Again")

    assert Consent.history.count() == 2


def test_the_history_is_newest_first_and_begins_after_the_recording(client, consent):
    confirm(client, consent)
    end(client, "consent-withdraw", consent, version=2)

    steps = client.get(reverse("consent", args=[consent.key])).context["steps"]

    assert [[(line.label, line.new) for line in step.lines] for step in steps] == [
        [("Withdrawn", "25 Nov 2026")],
        [("Confirmed on the day", "25 Nov 2026")],
    ]
    assert [step.reason for step in steps] == ["Wants to wait", "Confirmed on the day"]


@pytest.mark.parametrize("odd", ["\x00", "9" * 30, "x" * 5000, "٣"])
def test_odd_input_is_an_answer_and_never_a_crash(client, patient, practitioner, odd):
    url = reverse("consent-new", args=[patient.key])
    for name in consent_answers(practitioner):
        assert client.post(url, consent_answers(practitioner) | {name: odd}).status_code in {200, 302, 400}, name
