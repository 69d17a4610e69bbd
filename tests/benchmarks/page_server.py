"""Stores an invented year in the database that the environment names, asks pages for it, prints the times as JSON."""

import json
import statistics
import sys
import time

import django

REQUESTS = 40
AT_ONCE = 500
PAGES = (
    ("audit", {}), ("audit-course", {}), ("audit-records", {"group": "headline", "status": "event"}),
    ("audit-quality", None), ("audit-year-results", None), ("audit-year-course", None), ("audit-standard", None),
    ("audit-actions", None), ("audit-sign", None), ("audit-monitoring", {}),
)  # fmt: skip
QUESTION = {"performed_from": "2023-04-01", "performed_to": "2024-03-31", "as_of": "2025-05-30"}


def main(size: int) -> None:
    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import reverse

    from tests.factories import create_audit_year, create_member, create_practice

    call_command("migrate", verbosity=0)
    practice = create_practice(code="bench")
    lead = create_member(practice, role="lead", username="lead")
    reviews = store(practice, lead, size)
    create_audit_year(practice, by=lead, quality_open=10**6)
    client = Client()
    client.force_login(lead)
    rows = []
    for name, query in PAGES:
        address = reverse(name, args=[] if query is not None else [2023])
        asked = {**QUESTION, **query} if query is not None and name != "audit-monitoring" else {}
        first = timed(client, address, asked)[0]
        connection.queries_log.clear()  # it holds so many at most, and would hide these
        with CaptureQueriesContext(connection) as captured:
            length = timed(client, address, asked)[1]
        times = sorted(timed(client, address, asked)[0] for _ in range(REQUESTS))
        rows.append(
            {"page": name, "first": first, "median": statistics.median(times), "high": times[int(REQUESTS * 0.95)],
             "statements": len(captured), "bytes": length}
        )  # fmt: skip
    print(json.dumps({"procedures": size, "reviews": reviews, "pages": rows}))


def timed(client, address: str, query: dict) -> tuple[float, int]:
    begin = time.perf_counter()
    response = client.get(address, query)
    if response.status_code != 200:
        raise SystemExit(f"{address}: {response.status_code}")
    return time.perf_counter() - begin, len(response.content)


def store(practice, lead, size: int) -> int:
    """The frames of `year` as rows with their histories; gives the number of reviews."""
    from datetime import timedelta

    from django.db import transaction
    from simple_history.utils import bulk_create_with_history

    from clinic.patients.models import Patient
    from clinic.procedures.models import Application, NailProcedure, Operation, TreatedSide
    from clinic.reviews.models import Review, SideFinding, ToeFinding
    from tests.benchmarks.year import year
    from tests.factories import NOON, calm_toe

    made = year(size).cohort
    sides, findings, looks = (
        frame.to_dict("records") for frame in (made.sides, made.findings, made.toe_findings)
    )  # fmt: skip

    def kept(rows):
        return {row.key: row for row in bulk_create_with_history(list(rows), type(rows[0]), batch_size=AT_ONCE)}

    with transaction.atomic():
        first = {side["toe_key"]: side for side in sides}
        patients = kept([Patient(key=key, practice=practice) for key in dict.fromkeys(s["patient_key"] for s in sides)])
        operations = kept(
            [
                Operation(
                    key=side["operation_key"], practice=practice, patient=patients[side["patient_key"]], operator=lead,
                    performed_on=side["performed_on"].date(), age_years=int(side["age_years"]), recorded_by=lead,
                    recorded_at=NOON,
                ) for side in first.values()
            ]
        )  # fmt: skip
        toes = kept(
            [
                NailProcedure(
                    key=key, operation=operations[side["operation_key"]], foot=side["foot"], toe=side["toe"],
                    technique=side["technique"], matrix_destroyed=True, agent=side["agent"],
                    strength_percent="89.0" if side["takes_agent"] else None, strength_basis=side["strength_basis"],
                    curettage=side["curettage"], lavage=side["lavage"], infection_before=side["infection_at_operation"],
                ) for key, side in first.items()
            ]
        )  # fmt: skip
        treated = kept(
            [
                TreatedSide(key=side["side_key"], nail_procedure=toes[side["toe_key"]], side=side["side"])
                for side in sides
            ]
        )
        applied = [
            Application(treated_side=treated[side["side_key"]], number=1, seconds=int(side["exposure_seconds"]))
            for side in sides
            if side["exposure_seconds"] == side["exposure_seconds"]
        ]
        bulk_create_with_history(applied, Application, batch_size=AT_ONCE)
        by_key = {row["review_key"]: row for row in looks}
        reviews = kept(
            [
                Review(
                    key=key, operation=operations[first[row["toe_key"]]["operation_key"]], operated_on=day,
                    seen_on=day + timedelta(days=row["day"]), origin="planned", observer="operator", means="in_person",
                    recorded_by=lead, recorded_at=NOON,
                )
                for key, row in by_key.items()
                for day in [first[row["toe_key"]]["performed_on"].date()]
            ]
        )  # fmt: skip
        bulk_create_with_history(
            [
                ToeFinding(review=reviews[row["review_key"]], nail_procedure=toes[row["toe_key"]],
                           **{**calm_toe(), "healing": row["healing"], "pain": int(row["pain"])}) for row in looks
            ], ToeFinding, batch_size=AT_ONCE,
        )  # fmt: skip
        bulk_create_with_history(
            [
                SideFinding(review=reviews[row["review_key"]], treated_side=treated[row["side_key"]],
                            extent=row["extent"], symptoms=row["symptoms"], retreatment="none") for row in findings
            ], SideFinding, batch_size=AT_ONCE,
        )  # fmt: skip
    return len(reviews)


if __name__ == "__main__":
    main(int(sys.argv[1]))
