"""Print the figures of the audit page: python manage.py audit --practice CODE --from DATE --to DATE."""

import json
from argparse import ArgumentParser, ArgumentTypeError
from collections.abc import Iterator
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from audit.charts.words import limits, percent
from audit.measures.definitions import OUTCOMES, UNITS
from audit.periods import Period, last_matured_year, matured, problems, said
from audit.process_cohort import process_toes
from audit.records import read_years, standard_for, standards_of
from clinic.access.models import Practice

Plain = dict[str, Any]
# The page's fields and the command's arguments have the same checks, each under its own name.
ARGUMENTS = {"performed_from": "--from", "performed_to": "--to", "as_of": "--as-of"}


def day(text: str) -> date:
    """A date written as year-month-day."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise ArgumentTypeError(f"{text!r} is not a day in the calendar; write one like 2024-04-01") from error


class Command(BaseCommand):
    help = "Print the figures of the audit, the same as its page shows. Without dates: the last matured audit year."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--practice", metavar="CODE", help="code of the practice; may be left out if there is one")
        parser.add_argument("--from", dest="performed_from", type=day, metavar="DATE", help="first day of surgery")
        parser.add_argument("--to", dest="performed_to", type=day, metavar="DATE", help="last day of surgery")
        parser.add_argument("--as-of", type=day, metavar="DATE", help="data cut-off; today if left out")
        parser.add_argument("--unit", choices=[code for code, _ in UNITS], default="side")
        parser.add_argument("--outcome", choices=[code for code, _ in OUTCOMES], default="symptomatic_recurrence")
        parser.add_argument("--json", action="store_true", help="print JSON instead of text")

    def handle(self, *args: Any, **options: Any) -> None:
        from audit.measures.material import within
        from audit.measures.process import process
        from audit.report import process as of_process
        from audit.report.pieces import outcome_piece
        from audit.report.plain import without_records

        today = timezone.localdate()
        practice = the_practice(options["practice"])
        as_of = options["as_of"] or today
        period = the_period(practice, options["performed_from"], options["performed_to"], as_of=as_of, today=today)
        years = read_years(practice, period, as_of=as_of)
        piece = outcome_piece(
            within(years, period.performed_from, period.performed_to), years, outcome=options["outcome"],
            unit=options["unit"], standard=standard_for(standards_of(practice), options["outcome"]),
            starts_month=practice.audit_year_starts_month,
        )  # fmt: skip
        toes = process_toes(
            practice, performed_from=period.performed_from, performed_to=period.performed_to, as_of=as_of
        )
        criteria = process(toes)
        if options["json"]:
            figures = without_records(piece) | {"process": of_process.to_json(criteria)}
            self.stdout.write(json.dumps(figures, indent=2, ensure_ascii=False))
        else:
            self.stdout.write("\n".join(lines(piece, preliminary=not matured(period, as_of))))
            self.stdout.write("\n".join(["", "How operations were done and recorded", *map(criterion_line, criteria)]))


def the_practice(code: str | None) -> Practice:
    """The practice named, or the only one."""
    if code:
        found = Practice.objects.filter(code=code).first()
        if found is None:
            raise CommandError(f"--practice: there is no practice with the code {code!r}.", returncode=2)
        return found
    several = list(Practice.objects.order_by("code")[:2])
    if len(several) != 1:
        known = ", ".join(Practice.objects.order_by("code").values_list("code", flat=True)) or "none yet"
        raise CommandError(f"--practice: say which practice; codes are {known}.", returncode=2)
    return several[0]


def the_period(practice: Practice, first: date | None, last: date | None, *, as_of: date, today: date) -> Period:
    """The dates given, both or none; without them the last audit year matured by the data date."""
    if (first is None) != (last is None):
        missing = "--from" if first is None else "--to"
        raise CommandError(f"{missing}: give both --from and --to, or neither.", returncode=2)
    try:
        period = Period(first, last) if first and last else last_matured_year(practice, as_of)
    except (ValueError, OverflowError) as error:
        raise CommandError(f"--as-of: no audit year has matured by {as_of}.", returncode=2) from error
    for field, sentence in problems(period, as_of=as_of, today=today):
        raise CommandError(f"{ARGUMENTS[field]}: {sentence}", returncode=2)
    return period


def lines(piece: Plain, *, preliminary: bool) -> Iterator[str]:
    """The figures as text, in the order of the page."""
    first, last = day_said(piece["performed_from"]), day_said(piece["performed_to"])
    yield f"Practice {piece['practice']}: surgery from {first} to {last}"
    yield f"Data as of {day_said(piece['as_of'])}; definitions version {piece['definitions_version']}"
    if preliminary:
        yield "PRELIMINARY: not every operation has reached the end of its outcome window."
    yield ""
    yield piece["headline"]["sentence"]
    yield from piece["follow_up"]["sentences"]
    yield ""
    yield count_line(piece["headline"])
    yield count_line(piece["no_matricectomy"])
    for code, title in piece["titles"].items():
        yield from ("", f"{title['title']}. {title['population']}", *(count_line(row) for row in piece[code]))
    yield from ("", *estimated_lines(piece["estimated"]))
    yield from ("", "Known outcomes by source", *(part_line(part) for part in piece["follow_up"]["by_source"]))
    yield from ("", "Lost by reason", *(part_line(part) for part in piece["follow_up"]["by_reason"]))
    infection = piece["infection"]
    yield from ("", f"Infection within 30 days, of {infection['contacted']} nail procedures with a contact")
    yield from (f"  {flag['label']}: {flag['events']}{interval_words(flag['interval'])}" for flag in infection["flags"])
    yield from ("", *piece["notes"])


def day_said(text: str) -> str:
    return said(date.fromisoformat(text))


def estimated_lines(found: Plain) -> Iterator[str]:
    """The estimated risk by each day, overall and by technique, and what it says against the standard."""
    yield "Estimated risk over time, per treated side with matricectomy"
    for row in (found["all"], *found["technique"]):
        for each in row["days"]:
            value = each["withheld"] or f"{percent(each['risk'])} ({limits(each['low'], each['high'])} %)"
            yield f"  {row['label']}, {row['sides']} sides, by day {each['day']}: {value}"
    for part in ("verdict", "unseen"):
        if found[part] and found[part]["sentence"]:
            yield found[part]["sentence"]


def count_line(row: Plain) -> str:
    """One group: events of known, the rest of the eligible, the interval, both bounds."""
    if row["shown"] == "not_applicable":
        return f"  {row['label']}: {row['note']}"
    best, worst = row["best"], row["worst"]
    bounds = f"; best {percent(best['rate'])}, worst {percent(worst['rate'])}" if worst else ""
    note = f" [{row['note']}]" if row["note"] else ""
    return (
        f"  {row['label']}: {row['events']} of {row['ascertained']} known{interval_words(row['interval'])}; "
        f"of {row['eligible']} eligible, {row['pending']} pending, {row['lost']} lost, "
        f"{row['censored']} counted apart; {row['patients']} patients{bounds}{note}"
    )


def criterion_interval(found: Any) -> str:
    if found is None or found.rate is None:
        return ""
    return f", {percent(found.rate)} ({limits(found.low, found.high)} %)"


def criterion_line(found: Any) -> str:
    """'  P1 Consent recorded before the operation: 96 of 100, 96.0 % (90.2 to 98.4 %), target 100 %'."""
    criterion = found.criterion
    share = criterion_interval(found.found) if found.of else ", no case"
    apart = f"; {len(found.apart)} counted apart ({criterion.apart})" if found.apart else ""
    target = f"target {percent(criterion.target)}"
    return f"  {criterion.code} {criterion.label}: {found.met} of {found.of}{share}, {target}{apart}"


def part_line(part: Plain) -> str:
    return f"  {part['label']}: {part['units']}"


def interval_words(interval: Plain | None) -> str:
    if not interval or interval["rate"] is None:
        return ""
    return f", {percent(interval['rate'])} ({limits(interval['low'], interval['high'])} %)"
