"""From figures to a signed report: frozen bytes, the report as HTML and as PDF, the signature, and opening it again."""

import json
import zlib
from base64 import b64encode
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from audit.cycle import SignedYear, carried_over, is_preliminary, last_signed_before, standards_now
from audit.measures.standards import Standard
from audit.measures.years import year_label
from audit.models import Action, AuditYear, SignedAudit, Snapshot
from audit.periods import Period, audit_year
from audit.records import read_material
from audit.stored import forget_old, records_version
from clinic.access.models import Conflict, Member
from clinic.paper import NoPaper, pdf_of_html

if TYPE_CHECKING:
    from audit.measures.columns import Cohort

Plain = dict[str, Any]
STYLE = Path(__file__).with_name("report.css")
# Drawn into the summary and the appendix of the report.
SUMMARY_CHARTS = ("by-technique", "over-time")
# Operators are for the practice lead alone, so they stand in no report.
TABLES = ("technique", "exposure", "side", "curettage", "lavage", "toe", "year")


class RecordsMoved(Exception):
    """A record was changed while the figures were counted."""


@dataclass(frozen=True)
class Frozen:
    """A snapshot that is not stored yet. records: version of the records it was counted from."""

    body: bytes
    checksum: str
    figures: Plain
    words: Plain
    standards: tuple[Standard, ...]
    records: str


def period_of(year: AuditYear) -> Period:
    return audit_year(year.practice, year.starting_year)


def words_of(year: AuditYear) -> Plain:
    """What people wrote, as plain values: no key and no time of writing, so that the same words are the same bytes."""
    actions = year.actions.select_related("who").order_by("agreed_at", "pk")
    last = last_signed_before(year)
    return {
        "starting_year": year.starting_year,
        "practice_name": year.practice.name,
        "is_demo": year.practice.is_demo,
        "preliminary": is_preliminary(year.practice, year.starting_year, year.as_of),
        "aim": year.aim,
        "context": year.context,
        "interpretation": year.interpretation,
        "limitations": year.limitations,
        "no_action_reason": year.no_action_reason,
        "actions": [action_as_plain(each) for each in actions],
        "carried_over": [action_as_plain(each) for each in carried_over(year)],
        "as_of": year.as_of.isoformat(),
        "before": {"year": last.audit_year.starting_year, "checksum": last.snapshot.checksum} if last else None,
    }


def action_as_plain(action: Action) -> Plain:
    return {
        "what": action.what,
        "who": str(action.who),
        "due_on": action.due_on.isoformat(),
        "how_known": action.how_known,
        "criterion": action.criterion,
        "state": action.state,
        "closed_on": action.closed_on.isoformat() if action.closed_on else None,
        "outcome": action.outcome,
        "agreed_in": action.audit_year.starting_year,
    }


def freeze(year: AuditYear, *, figures: Plain | None = None, standards: Sequence[Standard] | None = None) -> Frozen:
    """Counts the year and gives the canonical bytes; nothing is stored.

    figures: those of `report.annual` where they were counted already from the records as they stand.
    """
    from audit.report.annual import snapshot
    from audit.report.frozen_rows import checksum

    version = records_version()
    material = read_material(year.practice, period_of(year), as_of=year.as_of)
    expected = tuple(standards) if standards is not None else standards_now(year.practice)
    words = words_of(year)
    body = snapshot(material, expected, words, figures)
    return Frozen(body, checksum(body), json.loads(body)["figures"], words, expected, version)


def keep_snapshot(year: AuditYear, frozen: Frozen, *, now: datetime) -> Snapshot:
    """Stores the bytes, once for each checksum."""
    found = Snapshot.objects.filter(audit_year=year, checksum=frozen.checksum).first()
    return found or Snapshot.objects.create(
        audit_year=year,
        checksum=frozen.checksum,
        packed=zlib.compress(frozen.body, 9),
        bytes_unpacked=len(frozen.body),
        definitions_version=frozen.figures["definitions_version"],
        code_version=frozen.figures["code"]["version"],
        frozen_at=now,
    )


def sign_year(*, by: Member, year: AuditYear, version: int, now: datetime) -> SignedAudit:
    """Freezes the year and signs it, in one transaction after the counting.

    version: of the year that was read. Raises Conflict if somebody changed or signed it meanwhile, RecordsMoved if a
    record was changed while it was counted.
    """
    frozen = freeze(year)
    number = SignedAudit.objects.filter(audit_year=year).count() + 1
    stamp = Stamp(str(by), now, frozen.checksum, number)
    html = report_html(frozen.figures, frozen.words, before=figures_before(year), stamp=stamp)
    pdf = report_pdf(html, frozen.words, stamp)
    try:
        with transaction.atomic():
            year.version = version
            year.save_version(by=by, reason=f"Signed, {frozen.checksum[:8]}")
            if records_version() != frozen.records:
                raise RecordsMoved
            if (words_of(year), standards_now(year.practice)) != (frozen.words, frozen.standards):
                raise Conflict(year.key)
            kept = keep_snapshot(year, frozen, now=now)
            signed = SignedAudit(
                audit_year=year, number=number, snapshot=kept, signed_by=by, signed_at=now,
                preliminary=frozen.words["preliminary"], html=html, pdf=pdf,
                pdf_checksum=checksum_of(pdf) if pdf else "",
            )  # fmt: skip
            signed.save(force_insert=True)
            forget_old(year.practice, now=now)
    except IntegrityError:  # another signature is in force
        raise Conflict(year.key) from None
    return signed


@transaction.atomic
def reopen(*, by: Member, signed: SignedAudit, version: int, reason: str, now: datetime) -> None:
    """The year may be changed and signed anew; what was signed stays as it is. Raises Conflict and SignedYear."""
    year = signed.audit_year
    year.version = version
    year.save_version(by=by, reason=f"Opened again: {reason}")
    current = SignedAudit.objects.filter(pk=signed.pk, reopened_at__isnull=True).first()
    if current is None:
        raise SignedYear(year.key)
    current.reopened_by, current.reopened_at, current.reopened_reason = by, now, reason
    current.save(update_fields=["reopened_by", "reopened_at", "reopened_reason"])


# --- the report


@dataclass(frozen=True)
class Stamp:
    """Who signed what when; none of it is in the snapshot, so that signing twice gives one checksum."""

    signed_by: str
    signed_at: datetime
    checksum: str
    number: int

    @property
    def check(self) -> str:
        """The beginning of the checksum, as it is printed."""
        return f"{self.checksum[:4]} {self.checksum[4:8]}"


def figures_before(year: AuditYear) -> Plain | None:
    """The figures of the last signed year; None where there is none."""
    last = last_signed_before(year)
    return json.loads(last.snapshot.body)["figures"] if last else None


def report_html(figures: Plain, words: Plain, *, before: Plain | None, stamp: Stamp | None) -> str:
    """The body of the report, complete in itself: pictures are within it as data. stamp: None for a draft."""
    from audit.measures.definitions import Outcome
    from audit.report.benchmarks import beside_published
    from audit.report.criteria_table import beside
    from audit.report.declared import FIGURES
    from audit.report.figures import common_charts, outcome_charts
    from audit.report.guideline import ITEMS, SQUIRE, STROBE

    piece, common = figures["outcomes"][figures["primary"]], figures["common"]
    charts = [*outcome_charts(piece), *common_charts(common)]
    summary = [with_cases(each) for each in charts if each.slug.endswith(SUMMARY_CHARTS)]
    rest = [each for each in charts if not each.slug.endswith(SUMMARY_CHARTS)]
    return render_to_string(
        "audit/report_body.html",
        {
            "figures": figures,
            "words": words,
            "stamp": stamp,
            "yearly": piece,
            "outcome": Outcome(figures["primary"]),
            "common": common,
            "criteria": beside(figures["criteria"], before),
            "has_before": before is not None,
            "year_label": year_label(words["starting_year"]),
            "before_label": year_label(words["before"]["year"]) if words["before"] else "",
            "summary_charts": [drawn(each) for each in summary],
            "appendix_charts": [drawn(with_cases(each)) for each in rest],
            "tables": [{"code": code, **piece["titles"][code], "rows": piece[code]} for code in TABLES],
            "published": beside_published(figures["outcomes"]),
            "declared": FIGURES,
            "items": ITEMS,
            "guidelines": (SQUIRE, STROBE),
        },
    )  # fmt: skip


def with_cases(chart: Any) -> Any:
    """On paper, groups without a single case only take room; the page names them."""
    if not isinstance(getattr(chart, "rows", None), tuple):
        return chart
    return replace(chart, rows=tuple(row for row in chart.rows if row.total))


def drawn(chart: Any) -> Plain:
    """A chart in greys, as data within the page, with its words and numbers."""
    from audit.charts import draw, telling

    picture = draw.image(chart, theme="print", width="wide", form="svg")
    return {
        "title": chart.title,
        "source": f"data:image/svg+xml;base64,{b64encode(picture).decode()}",
        "words": telling.alt_text(chart),
        "table": telling.table(chart),
    }


def report_pdf(html: str, words: Plain, stamp: Stamp | None) -> bytes | None:
    """The same body on paper; None where the server cannot lay out text."""
    try:
        return pdf_of_html(paper(html, words, stamp), STYLE.read_text("utf-8"))
    except NoPaper:
        return None


def paper(html: str, words: Plain, stamp: Stamp | None) -> str:
    shown = {
        "body": as_rendered(html), "words": words, "stamp": stamp, "as_of": words["as_of"],
        "year_label": year_label(words["starting_year"]),
    }  # fmt: skip
    return render_to_string("audit/report_paper.html", shown)


def as_rendered(html: str) -> SafeString:
    """The body of a report came out of our own template, which escaped what people wrote, and the database keeps it."""
    return mark_safe(html)  # noqa: S308


def checksum_of(body: bytes) -> str:
    from hashlib import sha256

    return sha256(body).hexdigest()


# --- afterwards


@dataclass(frozen=True)
class Since:
    """What changed in the records since a report was signed. rows, figures: as in `report.changes`.

    years: the records as they stand.
    """

    rows: tuple[Any, ...]
    figures: tuple[Any, ...]
    years: "Cohort"


def changed_since(signed: SignedAudit, live: Callable[[], Plain]) -> Since:
    """Compares the data of the snapshot with the records as they stand, up to the same data date.

    live: gives the figures of the year as it is asked now, which may be another data date since it was opened again.
    """
    from audit.report.annual import annual, standard_of
    from audit.report.changes import changed_figures, changed_rows
    from audit.report.frozen_rows import material_as_plain

    stored = json.loads(signed.snapshot.body)
    data, year = stored["data"], signed.audit_year
    period = Period(date.fromisoformat(data["performed_from"]), date.fromisoformat(data["performed_to"]))
    as_of = date.fromisoformat(data["as_of"])
    now = read_material(year.practice, period, as_of=as_of)
    then, standards = stored["figures"], [standard_of(each) for each in stored["figures"]["standards"]]
    figures = live() if as_of == year.as_of else annual(now, standards)
    return Since(changed_rows(data, material_as_plain(now)), changed_figures(then, figures), now.years)
