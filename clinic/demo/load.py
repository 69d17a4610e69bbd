"""From the plan to the database: one transaction, every row with its history."""

import random
from datetime import date, datetime, time
from typing import Any

from django.conf import settings
from django.db import models, transaction
from simple_history.utils import bulk_update_with_history

from clinic.access.models import Draft, Member, Practice
from clinic.demo import afterwards, before, flags, harbour, load_before, scenario
from clinic.demo.people import EXPOSURE_BANDS_SECONDS, HARBOUR, RECEPTION, TARNWICK, House, phone
from clinic.demo.picture import picture_with_place
from clinic.demo.rows import ROWS_AT_ONCE, Rows
from clinic.demo.shapes import DosePlan, OperationPlan, PatientPlan, PhotographPlan, Plan, ReviewPlan, SidePlan, mint
from clinic.demo.surgery import ZONE
from clinic.demo.ways import SET_AT, settle
from clinic.patients.identity import Identity, NameDigest
from clinic.patients.models import RISK_FIELDS, Patient
from clinic.photographs import storage
from clinic.photographs.cleaning import clean
from clinic.photographs.models import Photograph
from clinic.photographs.recording import facts_of
from clinic.procedures.models import (
    AnaestheticDose,
    Application,
    NailProcedure,
    Operation,
    OperationEvent,
    TreatedSide,
)
from clinic.procedures.signing import amending
from clinic.reviews.models import Booking, Contact, Review, SideFinding, ToeFinding
from clinic.vocabulary.photograph import PhotographUse
from clinic.vocabulary.procedure import ConsentGiver
from clinic.vocabulary.theatre import Route

SEED = 20220401
OPERATED_AT, SIGNED_AT, AMENDED_AT = time(15, 45), time(16, 30), time(17, 40)
SEEN_AT, CALLED_AT = time(16, 0), time(11, 0)


def load(today: date, password: str) -> None:
    """Everything of the demonstration as it stands in the morning of `today`."""
    first = scenario.build()
    twin = first.rows[23][0]
    afterwards.extend(first, today)
    rng = random.Random(SEED)
    with storage.gone_unless_successful() as keep_file, transaction.atomic():
        _Writer(TARNWICK, first, rng, password, keep_file).write()
        _Writer(HARBOUR, harbour.build(twin), rng, password, keep_file).write()


def moment(day: date, clock: time) -> datetime:
    return datetime.combine(day, clock, ZONE)


class _Writer(Rows):
    """Writes one practice."""

    def __init__(self, house: House, plan: Plan, rng: random.Random, password: str, keep_file: storage.Write) -> None:
        super().__init__(house, plan)
        self.rng, self.password, self.keep_file = rng, password, keep_file
        # The newest operation of the first practice is still in the room, so that Today shows what that is like.
        newest = max(plan.operations, key=lambda row: (row.performed_on, row.key)) if house is TARNWICK else None
        self.unfinished = newest
        self.records = before.records_of(plan, unfinished=newest)

    def write(self) -> None:
        self._practice()
        self._members()
        self._patients()
        self._identities()
        self._operations()
        self._toes()
        self._sides()
        self._surgery_details()
        load_before.write_before(self, self.records)
        load_before.approve_limits(self)
        self._signatures()
        self._reviews()
        self._findings()
        self._photographs()
        self._appointments()
        flags.write_flags(self, self.records)
        self._drafts()

    def _practice(self) -> None:
        self.practice = Practice(
            key=mint(self.rng),
            code=self.house.code,
            name=self.house.name,
            is_demo=True,
            audit_year_starts_month=4,
            exposure_bands_seconds=EXPOSURE_BANDS_SECONDS,
        )
        self.practice._history_date = SET_AT
        self.practice.save()

    def _members(self) -> None:
        rows = []
        for person in self.house.people:
            row = Member(
                key=mint(self.rng),
                practice=self.practice,
                username=person.username,
                first_name=person.given_name,
                last_name=person.family_name,
                email=f"{person.username}@example.org",
                role=person.role.value,
            )
            row.set_password(self.password)
            rows.append(row)
        self.save(rows)
        self.members = {row.username: row for row in rows}
        self.lead = rows[0]
        if self.house is TARNWICK:
            settle(self.practice, self.lead)
        self.clerk = self.members.get(RECEPTION, self.lead)

    def _patients(self) -> None:
        self.save(self._patient(patient) for patient in self.plan.patients)

    def _patient(self, plan: PatientPlan) -> models.Model:
        risks = {risk: "yes" if risk in plan.risks else "no" for risk in RISK_FIELDS}
        at = moment(plan.operations[0].performed_on, CALLED_AT)
        return self.make(
            Patient,
            plan,
            by=self.clerk,
            at=at,
            key=plan.key,
            practice=self.practice,
            sex=plan.sex,
            died_on=plan.died_on,
            no_contact_wished=plan.no_contact_wished,
            **risks,
        )

    def _identities(self) -> None:
        rows = [self._identity(plan) for plan in self.plan.patients]
        self.save(rows)
        digests = [NameDigest(identity=row, digest=digest) for row in rows for digest in sorted(row.search_digests())]
        NameDigest.objects.bulk_create(digests, batch_size=ROWS_AT_ONCE)

    def _identity(self, plan: PatientPlan) -> Identity:
        # The second practice has numbers of its own within the same fictional range.
        number = plan.number if self.house is TARNWICK else plan.number + harbour.FIRST_NUMBER
        row = Identity(
            key=plan.identity_key,
            patient=self.rows[id(plan)],
            family_name=plan.family_name,
            given_name=plan.given_name,
            born_on_text=plan.born_on.isoformat(),
            record_number=f"{self.house.number_prefix}-{plan.number:04}",
            phone=phone(number),
            email=f"patient.{number}@example.org",
        )
        row.index()
        row._history_user, row._history_date = self.clerk, moment(plan.operations[0].performed_on, CALLED_AT)
        return row

    def _operations(self) -> None:
        self.save(self._operation(operation) for operation in self.plan.operations)

    def _operation(self, plan: OperationPlan) -> models.Model:
        operator, at = self.members[plan.operator], moment(plan.performed_on, OPERATED_AT)
        return self.make(
            Operation, plan, by=operator, at=at,
            key=plan.key, practice=self.practice, patient=self.rows[id(plan.patient)], performed_on=plan.performed_on,
            operator=operator, supervisor=self.members.get(plan.supervisor), weight_kg=plan.weight_kg, note=plan.note,
            age_years=plan.patient.age_on(plan.performed_on), consent_given_by=plan.consent, recorded_by=operator,
            recorded_at=at, **self.records[id(plan)].end,
        )  # fmt: skip

    def _toes(self) -> None:
        rows = []
        for operation in self.plan.operations:
            stored = self.rows[id(operation)]
            for toe in operation.toes:
                rows.append(self.make(
                    NailProcedure, toe, by=stored.operator, at=stored.recorded_at,
                    key=toe.key, operation=stored, foot=toe.foot, toe=toe.toe, technique=toe.technique,
                    matrix_destroyed=toe.matrix_destroyed, agent=toe.agent, strength_percent=toe.strength_percent,
                    strength_basis=toe.strength_basis, curettage=toe.curettage, lavage=toe.lavage,
                    infection_before=toe.infection_before, prior_surgery_same_side=toe.prior_surgery,
                    stage_system=toe.stage_system, stage=toe.stage, tourniquet=toe.tourniquet,
                    tourniquet_on_at=toe.tourniquet_on_at, tourniquet_off_at=toe.tourniquet_off_at,
                    tourniquet_removal_witnessed=toe.witnessed, **self.records[id(operation)].ends.get(toe.key, {}),
                ))  # fmt: skip
        self.save(rows)

    def _sides(self) -> None:
        wrong = {id(side): name for side, name, _ in self.plan.amended}
        sides = [(toe, side) for toe in self.plan.toes for side in toe.sides]
        # A side that revises another needs the other's row first.
        for again in (False, True):
            self.save(self._side(toe, side, wrong) for toe, side in sides if bool(side.revises) is again)

    def _side(self, toe: object, plan: SidePlan, wrong: dict[int, str]) -> models.Model:
        nail = self.rows[id(toe)]
        return self.make(
            TreatedSide, plan, by=nail.operation.operator, at=nail.operation.recorded_at,
            key=plan.key, nail_procedure=nail, side=wrong.get(id(plan), plan.name),
            stated_exposure_seconds=plan.stated_seconds, revises=self.rows[id(plan.revises)] if plan.revises else None,
        )  # fmt: skip

    def _amend(self, plan: SidePlan, reason: str) -> None:
        row = self.rows[id(plan)]
        operation = row.nail_procedure.operation
        at = moment(operation.performed_on, AMENDED_AT)
        with transaction.atomic(), amending(operation, by=operation.operator, now=at, reason=reason):
            row.side = plan.name
            row._history_date = at
            row.save_version(by=operation.operator, reason=reason)

    def _surgery_details(self) -> None:
        applications, doses, events = [], [], []
        for operation in self.plan.operations:
            stored = self.rows[id(operation)]
            by = {"by": stored.operator, "at": stored.recorded_at}
            for side in (side for toe in operation.toes for side in toe.sides):
                applications += [
                    self.make(Application, None, **by, treated_side=self.rows[id(side)], number=number, seconds=seconds)
                    for number, seconds in enumerate(side.applications, start=1)
                ]
            doses += [self._dose(dose, stored, by) for dose in operation.doses]
            events += [self._event(event, stored) for event in operation.events]
        for rows in (applications, doses, events):
            self.save(rows)

    def _dose(self, plan: DosePlan, stored: models.Model, by: dict[str, Any]) -> models.Model:
        names = ("agent", "strength_percent", "vasoconstrictor", "volume_ml", "batch", "expires_on")
        columns = {name: getattr(plan, name) for name in names}
        nail = self.rows[id(plan.toe)] if plan.toe else None
        return self.make(
            AnaestheticDose, None, **by, operation=stored, nail_procedure=nail, route=Route.DIGITAL_BLOCK, **columns
        )

    def _signatures(self) -> None:
        """Last, because a signed record takes nothing more; then what was amended."""
        finished = (operation for operation in self.plan.operations if operation is not self.unfinished)
        operations = [self.rows[id(operation)] for operation in finished]
        for row in operations:
            row.version += 1
            row.signed_by, row.signed_at = row.operator, moment(row.performed_on, SIGNED_AT)
            row._history_user, row._history_date = row.operator, row.signed_at
            if row.supervisor_id:
                row.cosigned_by, row.cosigned_at = row.supervisor, row.signed_at
        bulk_update_with_history(
            operations, Operation, ["version", "signed_by", "signed_at", "cosigned_by", "cosigned_at"],
            batch_size=ROWS_AT_ONCE, default_change_reason="Signed",
        )  # fmt: skip
        for side, _, reason in self.plan.amended:
            self._amend(side, reason)

    def _event(self, plan: Any, stored: models.Model) -> models.Model:
        nail = self.rows[id(plan.toe)] if plan.toe else None
        return self.make(
            OperationEvent, None, by=stored.operator, at=moment(plan.happened_on, SIGNED_AT), operation=stored,
            nail_procedure=nail, kind=plan.kind, harm=plan.harm, happened_on=plan.happened_on,
            candour_completed_on=plan.candour_on, note=plan.note,
        )  # fmt: skip

    def _reviews(self) -> None:
        self.save(
            self._review(self.rows[id(operation)], review)
            for operation in self.plan.operations
            for review in operation.reviews
        )

    def _review(self, operation: models.Model, plan: ReviewPlan) -> models.Model:
        by_patient = plan.observer == "patient"
        who = self.members.get(plan.seen_by or "", operation.operator)
        at = moment(plan.recorded_on or plan.seen_on, SEEN_AT)
        accepted = by_patient and plan.accepted
        return self.make(
            Review, plan, by=who, at=at,
            key=plan.key, operation=operation, operated_on=operation.performed_on, seen_on=plan.seen_on,
            origin=plan.origin, observer=plan.observer, seen_by=None if by_patient else who, means=plan.means,
            next_step=plan.next_step, note=plan.note, recorded_by=who, recorded_at=at,
            accepted_by=who if accepted else None, accepted_at=at if accepted else None,
        )  # fmt: skip

    def _findings(self) -> None:
        toes, sides = [], []
        for plan in (review for operation in self.plan.operations for review in operation.reviews):
            review, rng = self.rows[id(plan)], random.Random(plan.key)
            by = {"by": review.recorded_by, "at": review.recorded_at, "review": review}
            for toe, values in plan.toes:
                toes.append(self.make(
                    ToeFinding, None, **by, key=mint(rng), nail_procedure=self.rows[id(toe)], **values
                ))  # fmt: skip
            for side, values in plan.sides:
                sides.append(self.make(
                    SideFinding, None, **by, key=mint(rng), treated_side=self.rows[id(side)], **values
                ))  # fmt: skip
        self.save(toes)
        self.save(sides)

    def _photographs(self) -> None:
        self.save(self._photograph(plan) for plan in self.plan.photographs)

    def _photograph(self, plan: PhotographPlan) -> models.Model:
        """Cleaned like any other, so that the place it carries is not kept."""
        limits = {"most_bytes": settings.UPLOAD_MAX_FILE_BYTES, "most_pixels": settings.PHOTOGRAPH_MAX_PIXELS}
        picture, review = clean(picture_with_place(), **limits), self.rows[id(plan.review)]
        row = self.make(
            Photograph, plan, by=review.recorded_by, at=review.recorded_at,
            key=plan.key, nail_procedure=self.rows[id(plan.toe)], review=review, taken_on=review.seen_on,
            consent_for=PhotographUse.CARE, consent_given_by=ConsentGiver.PATIENT, consent_given_on=review.seen_on,
            added_by=review.recorded_by, added_at=review.recorded_at, **facts_of(picture),
        )  # fmt: skip
        self.keep_file(row.file_name, storage.FULL, picture.data)
        self.keep_file(row.file_name, storage.PREVIEW, picture.preview)
        return row

    def _appointments(self) -> None:
        contacts, bookings = [], []
        for operation in self.plan.operations:
            stored = self.rows[id(operation)]
            contacts += [self._contact(stored, contact) for contact in operation.contacts]
            bookings += [
                self.make(
                    Booking, None, by=self.clerk, at=stored.recorded_at, key=plan.key, operation=stored,
                    starts_at=plan.starts_at, point=plan.point, booked_by=self.clerk,
                )
                for plan in operation.bookings
            ]  # fmt: skip
        self.save(contacts)
        self.save(bookings)

    def _contact(self, operation: models.Model, plan: Any) -> models.Model:
        at = moment(plan.made_on, CALLED_AT)
        return self.make(
            Contact, None, by=self.clerk, at=at, key=plan.key, operation=operation, made_on=plan.made_on,
            channel=plan.channel, result=plan.result, reported=plan.reported, next_try_on=plan.next_try_on,
            note=plan.note, handled_at=at if plan.handled else None, recorded_by=self.clerk, recorded_at=at,
        )  # fmt: skip

    def _drafts(self) -> None:
        for draft in self.plan.drafts:
            Draft.objects.create(
                member=self.members[draft.member], form=draft.form, subject_key=draft.subject_key, answers=draft.answers
            )
