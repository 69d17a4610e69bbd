"""Two people, two posts, second thoughts: nothing is doubled, nothing is overwritten unseen, nothing is forgotten."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db.models import QuerySet
from django.urls import reverse

from clinic.access.drafts import draft_of
from clinic.access.models import Submission
from clinic.access.once import new_token
from clinic.procedures import views
from clinic.procedures.answers import answers_of
from clinic.procedures.models import Application, NailProcedure, Operation, TreatedSide
from tests.clinic.operation_posts import errors, send, text
from tests.factories import add_toe, create_member, create_operation, create_patient, create_review

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 9, 33, tzinfo=UTC)
TODAY = date(2026, 11, 25)
OPERATED = date(2026, 10, 13)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def patient(practice):
    return create_patient(practice, born_on=date(1986, 8, 2))


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


@pytest.fixture
def operation(patient, practitioner):
    """Complete, so that a correction changes only what a test says."""
    operation = create_operation(patient=patient, operator=practitioner, performed_on=OPERATED)
    operation.nail_procedures.update(infection_before="none", prior_surgery_same_side="no")
    return operation


def amend(client, operation, *, version: int | None = None, reason: str = "Typing error", **changes):
    posted = answers_of(operation, TODAY) | {"version": version or operation.version, "reason": reason}
    for name, value in changes.items():
        posted[name.replace("_", "-", 1)] = value
    posted = {name: value for name, value in posted.items() if value is not None}
    return client.post(reverse("operation-amend", args=[operation.key]), posted)


# --- sending twice


def test_six_identical_posts_make_one_operation(client, patient, practitioner):
    once = new_token()

    answers = [send(client, patient, practitioner, once=once) for _ in range(6)]

    toe = NailProcedure.objects.get()
    assert {response["Location"] for response in answers} == {reverse("toe", args=[toe.key])}
    assert (Operation.objects.count(), TreatedSide.objects.count()) == (1, 1)


def test_a_refused_post_does_not_use_up_the_form(client, patient, practitioner):
    once = new_token()

    send(client, patient, practitioner, once=once, toe1_toe=None)
    send(client, patient, practitioner, once=once)

    assert Operation.objects.count() == 1


def test_two_people_recording_the_same_toe_make_one_operation(client, patient, practitioner, monkeypatch):
    """The second one looked before the first one saved, so that only the look inside the transaction helps."""
    look = views.earlier_sides
    looks = iter([lambda *args, **options: [], look])
    send(client, patient, practitioner)
    monkeypatch.setattr(views, "earlier_sides", lambda *args, **options: next(looks)(*args, **options))

    response = send(client, patient, practitioner)

    assert "on 25 Nov 2026 is already recorded; open that one to correct it" in errors(response)[0]
    assert (Operation.objects.count(), Submission.objects.count()) == (1, 1)


# --- taking back


def test_undo_strikes_out_and_opens_the_answers_again(client, patient, practitioner):
    send(client, patient, practitioner, toe1_strength_percent="77")
    operation = Operation.objects.get()

    response = client.post(reverse("operation-undo", args=[operation.key]))

    operation.refresh_from_db()
    assert response["Location"] == reverse("operation-new", args=[patient.key])
    assert (operation.struck_at, operation.struck_reason) == (NOW, "Undone by the author")
    assert draft_of(practitioner, "operation", patient.key)["toe1-strength_percent"] == "77"
    assert send(client, patient, practitioner).status_code == 302, "the same toe may be recorded again"


@pytest.mark.parametrize("why", ["late", "somebody else", "changed", "reviewed"])
def test_undo_ends(client, client_of, lead, patient, practitioner, why):
    send(client, patient, practitioner)
    operation = Operation.objects.get()
    if why == "changed":
        operation.save_version(by=practitioner)
    if why == "reviewed":
        create_review(operation, day=0)
    by = client_of(lead) if why == "somebody else" else client
    minutes = 11 if why == "late" else 9

    with time_machine.travel(NOW + timedelta(minutes=minutes), tick=False):
        response = by.post(reverse("operation-undo", args=[operation.key]), follow=True)

    operation.refresh_from_db()
    assert operation.struck_at is None
    assert "It is too late to undo this operation" in text(response)


def test_striking_out_asks_for_a_reason(client, operation):
    response = client.post(reverse("operation-strike", args=[operation.key]), {"reason": " "})

    operation.refresh_from_db()
    assert operation.struck_at is None
    assert "Give the reason for striking out this operation" in text(response)


def test_the_author_and_the_lead_may_strike_out_others_not(client_of, practice, lead, operation):
    url = reverse("operation-strike", args=[operation.key])

    response = client_of(create_member(practice)).post(url, {"reason": "Wrong patient"}, follow=True)
    operation.refresh_from_db()
    assert operation.struck_at is None
    assert "Only the practice lead or the person who recorded this operation may strike it out." in text(response)

    response = client_of(lead).post(url, {"reason": "Wrong patient"}, follow=True)
    operation.refresh_from_db()
    assert (operation.struck_at, operation.struck_reason) == (NOW, "Wrong patient")
    assert "Struck out: Wrong patient" in text(response)
    assert operation.history.first().history_user == lead


def test_a_struck_out_operation_stays_readable_and_is_not_corrected(client, operation):
    client.post(reverse("operation-strike", args=[operation.key]), {"reason": "Wrong patient"})

    page = client.get(reverse("operation", args=[operation.key]))
    refused = client.get(reverse("operation-amend", args=[operation.key]), follow=True)

    assert "Phenol, 80 % w/w" in text(page)
    assert "A struck-out operation cannot be corrected." in text(refused)


# --- correcting


def test_a_correction_keeps_every_earlier_value(client, operation, practitioner):
    amend(client, operation, toe1_agent="tca", toe1_strength_percent="88,5", toe1_seconds_2="45")
    operation.refresh_from_db()
    response = amend(client, operation, reason="Second look", toe1_side="tibial")

    nail = NailProcedure.objects.get()
    treated = TreatedSide.objects.get()
    assert response["Location"] == reverse("operation", args=[operation.key])
    assert (nail.agent, str(nail.strength_percent), treated.side, treated.exposure_seconds) == (
        "tca",
        "88.5",
        "tibial",
        105,
    )
    page = text(client.get(reverse("operation", args=[operation.key])))
    for said in (
        "Terry Testcase: Typing error",
        "Right 1st toe (hallux): agent: Phenol → Trichloroacetic acid",
        "Right 1st toe (hallux): strength in %: 80.0 → 88.5",
        "application 2: seconds: 60 → 45",
        "Terry Testcase: Second look",
        "Right 1st toe (hallux): treated side: Fibular (lateral) side → Tibial (medial) side",
    ):
        assert said in page


def test_a_correction_without_change_of_a_row_writes_no_version_of_it(client, operation):
    amend(client, operation, visit_note="Left dressing dry")

    assert Operation.objects.get().version == 2
    assert (NailProcedure.objects.get().version, TreatedSide.objects.get().version) == (1, 1)
    assert Application.history.count() == 2


def test_a_correction_asks_for_the_reason(client, operation):
    response = amend(client, operation, reason="", toe1_agent="tca")

    assert errors(response) == ["Give the reason for the correction"]
    assert NailProcedure.objects.get().agent == "phenol"


def test_a_wrong_side_is_renamed_and_keeps_its_findings(client, operation):
    create_review(operation, day=40)

    amend(client, operation, toe1_side="tibial")

    treated = TreatedSide.objects.get()
    assert (treated.side, treated.findings.count()) == ("tibial", 1)


def test_one_side_becomes_both_and_back(client, operation):
    amend(client, operation, toe1_side="both", toe1_same="on")
    operation = Operation.objects.get()
    assert set(TreatedSide.objects.values_list("side", flat=True)) == {"tibial", "fibular"}

    amend(client, operation, toe1_side="fibular", toe1_same=None)

    assert TreatedSide.objects.get().side == "fibular"
    page = text(client.get(reverse("operation", args=[operation.key])))
    assert "treated side: Tibial (medial) side → taken away" in page


def test_a_side_with_findings_is_not_taken_away(client, patient, practitioner):
    operation = create_operation(
        patient=patient, operator=practitioner, performed_on=OPERATED, sides=("tibial", "fibular")
    )
    operation.nail_procedures.update(infection_before="none", prior_surgery_same_side="no")
    create_review(operation, day=40)

    response = amend(client, operation, toe1_side="tibial", toe1_same=None)

    assert errors(response) == [
        "The fibular (lateral) side of the right 1st toe (hallux) has review findings, or a later operation revises "
        "it, and cannot be taken away"
    ]
    assert (TreatedSide.objects.count(), Application.objects.count(), Operation.objects.get().version) == (2, 4, 1)


def test_another_date_moves_the_copies_at_the_reviews(client, operation):
    review = create_review(operation, day=40)

    amend(client, operation, visit_performed_on="2026-10-12")

    review.refresh_from_db()
    operation.refresh_from_db()
    assert (operation.performed_on, review.operated_on, review.day) == (date(2026, 10, 12), date(2026, 10, 12), 41)
    assert review.history.first().history_change_reason == "Typing error"


def test_a_confirmed_reason_stands_once_in_the_note(client, operation):
    unusual = {"toe1_seconds_1": "100", "confirm_confirmed": "on", "confirm_confirm_reason": "Thick nail"}
    amend(client, operation, **unusual)
    operation.refresh_from_db()
    amend(client, operation, **unusual)

    operation.refresh_from_db()
    assert operation.note == "Unusual, confirmed: Thick nail"


def test_a_date_after_a_review_is_refused(client, operation):
    review = create_review(operation, day=10)

    response = amend(client, operation, visit_performed_on="2026-10-24")

    assert errors(response) == ["A review is dated 23 Oct 2026, before this operation date; check both"]
    operation.refresh_from_db()
    review.refresh_from_db()
    assert (operation.performed_on, operation.version, review.operated_on) == (OPERATED, 1, OPERATED)


def test_the_age_follows_the_date(client, operation):
    amend(client, operation, visit_performed_on="2020-08-01")

    assert Operation.objects.get().age_years == 33


def test_more_than_four_applications_survive_a_correction(client, operation):
    treated = TreatedSide.objects.get()
    for number in (3, 4, 5):
        Application.objects.create(treated_side=treated, number=number, seconds=10)

    amend(client, operation, toe1_agent="tca")

    assert [row.seconds for row in treated.applications.all()] == [60, 60, 10, 10, 10]


@pytest.mark.parametrize("now", [{"is_active": False}, {"role": "assistant"}])
def test_who_operated_stays_although_they_left_or_changed_their_role(client, practice, operation, now):
    surgeon, other = create_member(practice), create_member(practice)
    Operation.objects.update(operator=surgeon)
    operation.refresh_from_db()
    type(surgeon).objects.filter(pk__in=[surgeon.pk, other.pk]).update(**now)

    refused = amend(client, operation, visit_operator=other.key)
    response = amend(client, operation, visit_note="Left dressing dry")

    assert errors(refused) == ["Choose an operator of this practice who may operate"]
    assert response.status_code == 302
    assert (Operation.objects.get().operator, Operation.objects.get().note) == (surgeon, "Left dressing dry")


@pytest.mark.parametrize(
    ("changes", "kept"),
    [
        ({"toe1_toe": "right-2"}, False),
        ({"toe1_toe": "left-1"}, False),
        ({"toe1_side": "tibial"}, False),
        ({"toe1_side": "whole", "toe1_technique": "tna_chemical"}, True),
        ({"toe1_agent": "tca"}, True),
    ],
)
def test_a_later_operation_revises_only_the_same_toe_and_side(client, patient, practitioner, operation, changes, kept):
    later = create_operation(patient=patient, operator=practitioner, performed_on=date(2026, 11, 20))
    earlier = TreatedSide.objects.get(nail_procedure__operation=operation)
    TreatedSide.objects.filter(nail_procedure__operation=later).update(revises=earlier)

    response = amend(client, operation, **changes)

    link = TreatedSide.objects.get(nail_procedure__operation=later)
    assert response.status_code == 302
    assert (link.revises, link.version) == ((earlier, 1) if kept else (None, 2))
    if not kept:
        assert link.history.first().history_change_reason == "Typing error"


def test_an_operation_moved_behind_the_one_that_revises_it_is_no_longer_revised(
    client, patient, practitioner, operation
):
    later = create_operation(patient=patient, operator=practitioner, performed_on=OPERATED + timedelta(days=2))
    link = TreatedSide.objects.filter(nail_procedure__operation=later)
    link.update(revises=TreatedSide.objects.get(nail_procedure__operation=operation))

    moved = (OPERATED + timedelta(days=5)).isoformat()
    amend(client, operation, visit_performed_on=moved, toe1_prior_surgery="yes")

    assert link.get().revises is None
    assert TreatedSide.objects.get(nail_procedure__operation=operation).revises == link.get()


def test_a_re_operation_corrected_to_another_toe_revises_nothing_any_more(client, patient, practitioner, operation):
    before = create_operation(patient=patient, operator=practitioner, performed_on=date(2025, 6, 3))
    operation.nail_procedures.update(prior_surgery_same_side="yes")
    sides = TreatedSide.objects.filter(nail_procedure__operation=operation)
    sides.update(revises=TreatedSide.objects.get(nail_procedure__operation=before))

    amend(client, operation, toe1_toe="right-3")

    assert sides.get().revises is None


# --- exposure known at one side, or known differently


@pytest.fixture
def two_sides(patient, practitioner):
    """Tibial without exposure, fibular with 60 s; as it may come from elsewhere."""
    operation = create_operation(
        patient=patient, operator=practitioner, performed_on=OPERATED, sides=("tibial", "fibular"), seconds=()
    )
    operation.nail_procedures.update(infection_before="none", prior_surgery_same_side="no")
    Application.objects.create(treated_side=TreatedSide.objects.get(side="fibular"), number=1, seconds=60)
    return operation


def test_the_page_opens_with_the_seconds_of_either_side(client, two_sides):
    page = client.get(reverse("operation-amend", args=[two_sides.key]))

    toe = page.context["entry"].toes[0]
    assert (toe["exposure"].value(), toe["seconds_1"].value(), toe["fibular_1"].value()) == ("each", None, 60)


@pytest.mark.parametrize("stated", [None, 90])
def test_correcting_the_note_leaves_the_exposure_of_both_sides(client, two_sides, stated):
    TreatedSide.objects.filter(side="tibial").update(stated_exposure_seconds=stated)

    response = amend(client, two_sides, visit_note="Left dressing dry")

    assert response.status_code == 302
    assert {row.side: row.exposure_seconds for row in TreatedSide.objects.all()} == {"tibial": stated, "fibular": 60}
    assert Application.history.count() == 1
    assert set(TreatedSide.objects.values_list("version", flat=True)) == {1}


def test_a_changed_exposure_is_checked_and_stored(client, two_sides):
    def stored() -> dict:
        return {row.side: row.exposure_seconds for row in TreatedSide.objects.all()}

    amend(client, two_sides, toe1_fibular_1="50")
    assert stored() == {"tibial": None, "fibular": 50}
    two_sides.refresh_from_db()
    refused = amend(client, two_sides, toe1_seconds_1="40", toe1_fibular_1="50")
    assert errors(refused) == [
        "Seconds count for the tibial side, but it is ticked as not recorded; clear one",
    ]
    amend(client, two_sides, toe1_seconds_1="40", toe1_fibular_1="50", toe1_unknown_tibial=None)
    assert stored() == {"tibial": 40, "fibular": 50}


# --- two people


@pytest.mark.parametrize("act", ["amend", "strike", "undo"])
def test_every_act_locks_the_operation(client, patient, practitioner, monkeypatch, act):
    """A review saved at the same time waits, or is waited for; it never keeps the old date."""
    send(client, patient, practitioner)
    operation = Operation.objects.get()
    locked, lock = [], QuerySet.select_for_update
    monkeypatch.setattr(QuerySet, "select_for_update", lambda rows: locked.append(rows.model) or lock(rows))

    if act == "amend":
        amend(client, operation, visit_note="Left dressing dry")
    else:
        client.post(reverse(f"operation-{act}", args=[operation.key]), {"reason": "Wrong patient"})

    operation.refresh_from_db()
    assert operation.version == 2
    assert Operation in locked


def test_a_conflict_shows_stored_and_typed_and_saves_nothing(client, client_of, lead, operation):
    amend(client_of(lead), operation, visit_note="Lead was first", toe1_agent="tca")

    response = amend(client, operation, version=1, toe1_agent="phenol", toe1_strength_percent="70", visit_note="")

    page = text(response)
    assert response.status_code == 409
    assert "Terry Testcase changed this at 09:33 on 25 November 2026" in page
    assert "Trichloroacetic acid" in page
    assert [(each.label, each.stored, each.typed) for each in response.context["differences"]] == [
        ("Note", "Lead was first", ""),
        ("Agent", "Trichloroacetic acid", "Phenol"),
        ("Strength", "80", "70"),
    ]
    assert str(NailProcedure.objects.get().strength_percent) == "80.0"


def test_saving_again_after_a_conflict_is_a_decision(client, client_of, lead, operation):
    amend(client_of(lead), operation, toe1_agent="tca")
    mine = {"toe1_agent": "phenol", "toe1_strength_percent": "70"}
    shown = amend(client, operation, version=1, **mine)

    amend(client, operation, version=shown.context["version"], **mine)

    nail = NailProcedure.objects.get()
    assert (nail.agent, str(nail.strength_percent)) == ("phenol", "70.0")


def test_a_page_without_version_conflicts(client, operation):
    assert amend(client, operation, version="x").status_code == 409
    assert amend(client, operation, version="²").status_code == 409


def test_several_toes_keep_their_places_in_a_correction(client, operation):
    add_toe(operation, foot="left", toe=1)
    operation.nail_procedures.update(infection_before="none", prior_surgery_same_side="no")

    amend(client, operation, toe2_toe="left-2")

    assert [(nail.foot, nail.toe) for nail in operation.nail_procedures.order_by("pk")] == [("right", 1), ("left", 2)]


def test_two_toes_do_not_trade_places_in_one_correction(client, operation):
    add_toe(operation, foot="left", toe=1)
    operation.nail_procedures.update(infection_before="none", prior_surgery_same_side="no")

    response = amend(client, operation, toe1_toe="left-1", toe2_toe="right-1")

    assert errors(response) == ["Toe 1: Two toes of one operation cannot trade places in one correction; do one first"]
    assert [(nail.foot, nail.toe) for nail in operation.nail_procedures.order_by("pk")] == [("right", 1), ("left", 1)]
