"""python manage.py audit: the same figures as the page, and errors that name the argument."""

import json
from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from audit import periods
from audit.periods import Period
from tests.factories import create_operation, create_practice, create_review

DATES = ("--from", "2024-01-01", "--to", "2024-12-31", "--as-of", "2026-03-01")


def run(*arguments):
    out = StringIO()
    call_command("audit", *arguments, stdout=out)
    return out.getvalue()


@pytest.fixture
def practice(db):
    practice = create_practice(code="harbour")
    for _ in range(20):
        create_review(create_operation(practice))
    create_review(create_operation(practice), symptoms="ingrowth", extent="strip")
    return practice


def test_the_only_practice_need_not_be_named(practice):
    said = run(*DATES)
    assert "Practice harbour: surgery from 1 Jan 2024 to 31 Dec 2024" in said
    assert "1 of 21 known" in said


def test_json_holds_the_same_numbers(practice):
    figures = json.loads(run(*DATES, "--json"))
    assert (figures["headline"]["events"], figures["headline"]["ascertained"]) == (1, 21)
    assert figures["unit"] == "side"
    assert figures["outcome"] == "symptomatic_recurrence"


@pytest.mark.parametrize("unit", ["side", "toe", "patient"])
@pytest.mark.parametrize("outcome", ["any_regrowth", "symptomatic_recurrence", "re_operation"])
def test_every_unit_and_outcome(practice, unit, outcome):
    figures = json.loads(run(*DATES, "--unit", unit, "--outcome", outcome, "--json"))
    assert (figures["unit"], figures["outcome"]) == (unit, outcome)
    assert figures["headline"]["ascertained"] == 21


def test_an_open_period_is_called_preliminary(practice):
    assert "PRELIMINARY" in run("--from", "2024-01-01", "--to", "2025-12-31", "--as-of", "2026-03-01")
    assert "PRELIMINARY" not in run(*DATES)


def test_without_dates_the_last_matured_year_is_taken(practice):
    figures = json.loads(run("--as-of", "2025-05-30", "--json"))
    assert (figures["performed_from"], figures["performed_to"]) == ("2023-04-01", "2024-03-31")


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        (("--practice", "nowhere"), "--practice"),
        (("--from", "2024-02-30", "--to", "2024-12-31"), "--from"),
        (("--from", "2024-01-01"), "--to"),
        (("--to", "2024-01-01"), "--from"),
        (("--from", "2024-01-02", "--to", "2024-01-01"), "--to"),
        (("--from", "1899-01-01", "--to", "2024-01-01"), "--from"),
        (("--as-of", "2999-01-01"), "--as-of"),
        (("--from", "2024-01-01", "--to", "2024-12-31", "--as-of", "2023-01-01"), "--as-of"),
        (("--as-of", "0001-01-01"), "--as-of"),
        (("--unit", "nail"), "--unit"),
        (("--outcome", "happiness"), "--outcome"),
    ],
)
def test_misuse_names_the_argument(practice, arguments, name):
    with pytest.raises(CommandError, match=name):
        run(*arguments)


def test_misuse_has_its_own_exit_code(practice):
    with pytest.raises(CommandError) as problem:
        run("--practice", "nowhere")
    assert problem.value.returncode == 2


def test_several_practices_must_be_told_apart(practice):
    create_practice(code="hill")
    with pytest.raises(CommandError, match="harbour, hill"):
        run(*DATES)
    assert "Practice hill" in run("--practice", "hill", *DATES)


def test_an_empty_period_says_so(practice):
    assert "no cases" in run("--from", "2020-01-01", "--to", "2020-12-31", "--as-of", "2026-03-01")


def test_audit_years_follow_the_month_of_the_practice(practice):
    assert periods.audit_year(practice, 2023) == Period(date(2023, 4, 1), date(2024, 3, 31))
    practice.audit_year_starts_month = 1
    assert periods.audit_year(practice, 2023) == Period(date(2023, 1, 1), date(2023, 12, 31))
    practice.audit_year_starts_month = 3
    assert periods.audit_year(practice, 2023) == Period(date(2023, 3, 1), date(2024, 2, 29))


def test_a_year_has_matured_on_day_425_of_its_last_operation(practice):
    assert periods.last_matured_year(practice, date(2025, 5, 30)) == periods.audit_year(practice, 2023)
    assert periods.last_matured_year(practice, date(2025, 5, 29)) == periods.audit_year(practice, 2022)
