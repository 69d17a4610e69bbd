"""From a practice and a period to everything that is counted: the frames in order, the standards, the audit years."""

from datetime import date
from typing import TYPE_CHECKING

from audit import cohort, log_cohort, process_cohort
from audit.measures.standards import Direction, Standard
from audit.measures.years import year_of
from audit.models import PracticeStandard
from audit.periods import Period, audit_year
from clinic.access.models import Practice

if TYPE_CHECKING:
    from audit.measures.columns import Cohort
    from audit.measures.material import Material

# How many audit years before the period stand beside it.
YEARS_BACK = 4
PRIMARY = "O5"
CRITERION_OF = {"symptomatic_recurrence": PRIMARY, "any_regrowth": "O6", "re_operation": "O7"}


def years_before(practice: Practice, period: Period) -> date:
    """The first day of the audit years that are counted beside the period."""
    first = audit_year(
        practice, max(year_of(period.performed_from, practice.audit_year_starts_month) - YEARS_BACK, 1900)
    ).performed_from
    return min(first, period.performed_from)


def read_years(practice: Practice, period: Period, *, as_of: date) -> "Cohort":
    """The period and the audit years before it, in the order of their keys; four statements."""
    from audit.measures.material import in_order

    first = years_before(practice, period)
    return in_order(cohort.build(practice, performed_from=first, performed_to=period.performed_to, as_of=as_of))


def read_material(practice: Practice, period: Period, *, as_of: date) -> "Material":
    """Everything that a yearly report is made from; seven statements."""
    from audit.measures.material import material

    span = {"performed_from": period.performed_from, "performed_to": period.performed_to, "as_of": as_of}
    return material(
        read_years(practice, period, as_of=as_of),
        first=period.performed_from,
        last=period.performed_to,
        process=process_cohort.process_toes(practice, **span),
        contacts=log_cohort.contacts(practice, **span),
        incidents=log_cohort.incidents(practice, **span),
        starts_month=practice.audit_year_starts_month,
    )


def standards_of(practice: Practice) -> tuple[Standard, ...]:
    """What the practice expects of every criterion: its own standard, else the shipped one; one statement.

    The target for recurrence is that of the practice's settings, which live charts use, too.
    """
    from audit.measures.criteria import shipped_standards

    own = {row.code: row for row in PracticeStandard.objects.filter(practice=practice)}
    return tuple(_standard(shipped, own.get(shipped.code), practice) for shipped in shipped_standards())


def _standard(shipped: Standard, row: PracticeStandard | None, practice: Practice) -> Standard:
    direction = Direction(row.direction) if row else shipped.direction
    target = (float(row.target) if row.target is not None else None) if row else shipped.target
    if shipped.code == PRIMARY and direction is Direction.AT_MOST:
        target = float(practice.recurrence_standard)
    return Standard(
        shipped.code, direction, target, row.source if row else shipped.source, row.version if row else 0
    )  # fmt: skip


def standard_for(standards: tuple[Standard, ...], outcome: str) -> float | None:
    """What the practice expects of an outcome; None where it only watches it."""
    from audit.report.annual import share_of

    return share_of(next(each for each in standards if each.code == CRITERION_OF[outcome]))
