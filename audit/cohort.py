"""Records to frames: the one door from the clinical record to the figures. No name passes it.

Four queries whatever the number of operations: sides, contacts with closures, side findings, toe findings.
"""

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Aggregate, Count, F, Max, Min, OuterRef, Q, QuerySet, Subquery, Sum, Value

from clinic.access.models import Practice
from clinic.procedures.models import Application, NailProcedure, TreatedSide
from clinic.recall.models import Closure
from clinic.reviews.models import Contact, SideFinding, ToeFinding, counts
from clinic.vocabulary.procedure import Technique
from clinic.vocabulary.review import ContactResult, LossReason

if TYPE_CHECKING:
    import pandas as pd

    from audit.measures.columns import Cohort

SIDE_FIELDS = {
    "side_key": "key",
    "toe_key": "nail_procedure__key",
    "operation_key": "nail_procedure__operation__key",
    "patient_key": "nail_procedure__operation__patient__key",
    "performed_on": "nail_procedure__operation__performed_on",
    "age_years": "nail_procedure__operation__age_years",
    "sex": "nail_procedure__operation__patient__sex",
    "foot": "nail_procedure__foot",
    "toe": "nail_procedure__toe",
    "side": "side",
    "technique": "nail_procedure__technique",
    "matrix_destroyed": "nail_procedure__matrix_destroyed",
    "agent": "nail_procedure__agent",
    "exposure_seconds": "exposure",
    "strength_percent": "nail_procedure__strength_percent",
    "strength_basis": "nail_procedure__strength_basis",
    "curettage": "nail_procedure__curettage",
    "lavage": "nail_procedure__lavage",
    "operator": "nail_procedure__operation__operator__key",
    "infection_at_operation": "nail_procedure__infection_before",
    "prior_surgery": "nail_procedure__prior_surgery_same_side",
    "died_on": "nail_procedure__operation__patient__died_on",
    "reoperated_on": "reoperated_on",
    "amputated_on": "nail_procedure__amputated_on",
}
# Worked out beside the record's own columns.
DOSE_FIELDS = {
    "applications": "number_of_applications",
    "seconds_each": "seconds_of_each",
}
REVIEW_FIELDS = {
    "review_key": "review__key",
    "seen_on": "review__seen_on",
    "operated_on": "review__operated_on",
    "origin": "review__origin",
    "observer": "review__observer",
    "means": "review__means",
}
FINDING_FIELDS = {
    "side_key": "treated_side__key",
    **REVIEW_FIELDS,
    "extent": "extent",
    "symptoms": "symptoms",
    "retreatment": "retreatment",
}
TOE_WORDS = (
    "signs", "fluid_colour", "fluid_consistency", "fluid_amount", "erythema_mm", "spreading", "swelling", "warmth",
    "tenderness", "odour", "lymphangitis", "wound_opened", "swab", "antibiotic", "diagnosis", "healing", "pain",
    "satisfaction",
)  # fmt: skip
TOE_FIELDS = {"toe_key": "nail_procedure__key", **REVIEW_FIELDS, **{word: word for word in TOE_WORDS}}
# The strongest reason in the log explains the loss: somebody who moved also did not reply.
REASONS = (
    (ContactResult.MOVED, LossReason.MOVED),
    (ContactResult.DECLINED, LossReason.DECLINED),
    (ContactResult.DID_NOT_ATTEND, LossReason.DID_NOT_ATTEND),
)


class Scope:
    """Which operations, as conditions that can be asked along any path of joins.

    Joins, not nested lists of keys: a database that has no statistics yet plans those well, too.
    """

    def __init__(self, as_of: date, **conditions: object) -> None:
        self.as_of = as_of
        self.conditions = {"struck_at__isnull": True, "performed_on__lte": as_of, **conditions}

    def along(self, path: str) -> Q:
        """The conditions on the operation that `path` leads to, such as "review__operation__"."""
        return Q(**{f"{path}{name}": value for name, value in self.conditions.items()})


def build(practice: Practice, *, performed_from: date, performed_to: date, as_of: date) -> "Cohort":
    """Everything recorded by `as_of` about the operations of the practice in the period, both ends included."""
    last = min(performed_to, as_of)
    scope = Scope(as_of, practice=practice, performed_on__gte=performed_from, performed_on__lte=last)
    return _cohort(practice, scope, None, performed_from, performed_to)


def build_for_toe(nail_procedure: NailProcedure, *, as_of: date) -> "Cohort":
    """The same frames for one toe, so that its page and the audit cannot disagree."""
    operation = nail_procedure.operation
    day = operation.performed_on
    return _cohort(operation.practice, Scope(as_of, pk=operation.pk), nail_procedure, day, day)


def _cohort(
    practice: Practice, scope: Scope, toe: NailProcedure | None, performed_from: date, performed_to: date
) -> "Cohort":
    # Imported here: recording a review must not wait for pandas.
    from audit.measures.columns import Cohort, check

    cohort = Cohort(
        practice_code=practice.code,
        performed_from=performed_from,
        performed_to=performed_to,
        as_of=scope.as_of,
        sides=_sides(scope, toe),
        findings=_findings(scope, toe),
        toe_findings=_toe_findings(scope, toe),
        bands=tuple(practice.exposure_bands_seconds),
    )
    check(cohort)
    return cohort


def _of(toe: NailProcedure | None, path: str) -> Q:
    """Nothing more where no single toe is asked for."""
    return Q(**{path: toe}) if toe else Q()


def _sides(scope: Scope, toe: NailProcedure | None) -> "pd.DataFrame":
    import pandas as pd

    asked = scope.along("nail_procedure__operation__") & _of(toe, "nail_procedure")
    treated = TreatedSide.objects.filter(asked).order_by("pk")
    treated = treated.annotate(
        applied=_of_applications(Sum("seconds")),
        number_of_applications=_of_applications(Count("pk")),
        # Told only where all were alike.
        seconds_of_each=_of_applications(Max("seconds"), alike=True),
        reoperated_on=_reoperated(scope.as_of),
    )
    fields = [*SIDE_FIELDS.values(), *DOSE_FIELDS.values(), "stated_exposure_seconds"]
    fields[fields.index("exposure")] = "applied"
    frame = pd.DataFrame(treated.values_list(*fields), columns=[*SIDE_FIELDS, *DOSE_FIELDS, "stated_seconds"])
    for name in DOSE_FIELDS:
        frame[name] = frame[name].astype("float64")
    return _with_days(frame, _loss_reasons(scope), scope.as_of)


def _of_applications(asked: Aggregate, *, alike: bool = False) -> Subquery:
    """One figure of all applications of a side; with `alike` only where they all lasted as long."""
    each = Application.objects.filter(treated_side=OuterRef("pk")).order_by().values("treated_side")
    if alike:
        each = each.annotate(shortest=Min("seconds"), longest=Max("seconds")).filter(shortest=F("longest"))
    return Subquery(each.annotate(figure=asked).values("figure"))


def _reoperated(as_of: date) -> Subquery:
    """The first standing operation, by `as_of`, that says it revises this side."""
    later = TreatedSide.objects.filter(
        revises=OuterRef("pk"),
        nail_procedure__operation__struck_at__isnull=True,
        nail_procedure__operation__performed_on__lte=as_of,
    ).order_by()
    first = later.values("revises").annotate(first=Min("nail_procedure__operation__performed_on"))
    return Subquery(first.values("first"))


def _with_days(frame: "pd.DataFrame", reasons: dict[str, str], as_of: date) -> "pd.DataFrame":
    import pandas as pd

    frame["performed_on"] = pd.to_datetime(frame["performed_on"])
    for name in ("died", "amputated"):
        # What came after the cut-off was not known then.
        happened = pd.to_datetime(frame.pop(f"{name}_on"))
        frame[f"{name}_day"] = _days_after(frame["performed_on"], happened.where(happened <= pd.Timestamp(as_of)))
    frame["reoperated_day"] = _days_after(frame["performed_on"], pd.to_datetime(frame.pop("reoperated_on")))
    frame["age_years"] = frame["age_years"].astype("Int64")
    frame["strength_percent"] = frame["strength_percent"].astype("float64")
    frame["takes_agent"] = frame["technique"].map(lambda code: Technique(code).takes_agent).astype(bool)
    frame["matrix_destroyed"] = frame["matrix_destroyed"].astype(bool)
    frame["exposure_seconds"] = _exposure(frame)
    frame["loss_reason"] = [reasons.get(key, LossReason.NEVER_TRIED.value) for key in frame["operation_key"]]
    return frame


def _days_after(start: "pd.Series", end: "pd.Series") -> "pd.Series":
    """Whole days from operation to `end`; a date before the operation is a slip of the pen and says nothing."""
    days = (end - start).dt.days.astype("float64")
    return days.where(days >= 0)


def _exposure(frame: "pd.DataFrame") -> "pd.Series":
    """Sum of the applications, else the stated total; not a number where there was neither, or no agent."""
    applied = frame["exposure_seconds"].astype("float64")
    stated = frame.pop("stated_seconds").astype("float64")
    return applied.fillna(stated).where(frame["takes_agent"])


def _loss_reasons(scope: Scope) -> dict[str, str]:
    """Why each operation would be lost: the reason somebody closed it with, else what its contact log amounts to.

    An operation without a contact or a closure is not in it. One query for both.
    """
    contacts = Contact.objects.filter(scope.along("operation__"), made_on__lte=scope.as_of, struck_at__isnull=True)
    until = Q(reopened_on__isnull=True) | Q(reopened_on__gt=scope.as_of)
    closures = Closure.objects.filter(scope.along("operation__") & until, closed_on__lte=scope.as_of)
    logged = contacts.order_by().annotate(by_hand=Value(0)).values_list("operation__key", "result", "by_hand")
    closed = closures.order_by().annotate(by_hand=Value(1)).values_list("operation__key", "reason", "by_hand")
    results: dict[str, set[str]] = {}
    reasons: dict[str, str] = {}
    for key, code, by_hand in logged.union(closed):
        if by_hand:
            reasons[key] = code
        else:
            results.setdefault(key, set()).add(code)
    return {key: loss_reason(found) for key, found in results.items()} | reasons


def loss_reason(results: Iterable[str]) -> str:
    """The reason that a set of contact results amounts to."""
    found = set(results)
    if not found:
        return LossReason.NEVER_TRIED.value
    return next((reason.value for result, reason in REASONS if result.value in found), LossReason.NO_REPLY.value)


def _seen(scope: Scope) -> Q:
    """Findings of reviews that count and were seen by the cut-off."""
    return counts("review__") & scope.along("review__operation__") & Q(review__seen_on__lte=scope.as_of)


def _findings(scope: Scope, toe: NailProcedure | None) -> "pd.DataFrame":
    found = SideFinding.objects.filter(_seen(scope) & _of(toe, "treated_side__nail_procedure"))
    return _review_frame(found, FINDING_FIELDS)


def _toe_findings(scope: Scope, toe: NailProcedure | None) -> "pd.DataFrame":
    frame = _review_frame(ToeFinding.objects.filter(_seen(scope) & _of(toe, "nail_procedure")), TOE_FIELDS)
    return frame.astype({"erythema_mm": "float64", "pain": "float64"})


def _review_frame(found: QuerySet, fields: dict[str, str]) -> "pd.DataFrame":
    import pandas as pd

    rows = found.order_by("review__seen_on", "review_id", "pk").values_list(*fields.values())
    frame = pd.DataFrame(rows, columns=list(fields))
    seen, operated = pd.to_datetime(frame.pop("seen_on")), pd.to_datetime(frame.pop("operated_on"))
    frame["day"] = (seen - operated).dt.days.astype("int64")
    return frame
