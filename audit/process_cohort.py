"""Records to the frame of the process criteria: how each nail procedure was done and recorded. No name passes it."""

from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from audit.cohort import Scope
from clinic.access.models import Practice
from clinic.procedures.models import AnaestheticDose, NailProcedure, TreatedSide
from clinic.theatre.models import ChecklistPhase
from clinic.vocabulary.procedure import Answer, Technique, Tourniquet
from clinic.vocabulary.theatre import PhaseTiming

if TYPE_CHECKING:
    import pandas as pd

TOE_PROCESS_FIELDS = (
    "key", "operation__patient__key", "operation__performed_on", "live_phases", "tourniquet", "tourniquet_on_at",
    "tourniquet_off_at", "tourniquet_removal_witnessed", "dose_rows", "incomplete_doses", "technique", "agent_batch",
    "agent_expires_on", "unknown_exposures",
)  # fmt: skip


def process_toes(practice: Practice, *, performed_from: date, performed_to: date, as_of: date) -> "pd.DataFrame":
    """One row per nail procedure, with what the criteria of process ask; one statement."""
    import pandas as pd

    last = min(performed_to, as_of)
    scope = Scope(as_of, practice=practice, performed_on__gte=performed_from, performed_on__lte=last)
    toes = NailProcedure.objects.filter(scope.along("operation__")).order_by("pk")
    rows = toes.annotate(
        live_phases=_number(ChecklistPhase.objects.filter(timing=PhaseTiming.LIVE), "operation"),
        dose_rows=_number(AnaestheticDose.objects.all(), "operation"),
        incomplete_doses=_number(AnaestheticDose.objects.filter(Q(batch="") | Q(expires_on__isnull=True)), "operation"),
        unknown_exposures=_number(_without_exposure(), "nail_procedure", OuterRef("pk")),
    ).values_list(*TOE_PROCESS_FIELDS)
    frame = pd.DataFrame(rows, columns=list(TOE_PROCESS_FIELDS))
    return _process_frame(frame)


def _number(rows: QuerySet, of: str, pk: OuterRef | None = None) -> Coalesce:
    """How many of `rows` belong to the operation, or to what `pk` names."""
    own = rows.filter(**{of: pk or OuterRef("operation")}).order_by()
    return Coalesce(Subquery(own.values(of).annotate(number=Count("pk")).values("number")), 0)


def _without_exposure() -> QuerySet:
    return TreatedSide.objects.filter(applications__isnull=True, stated_exposure_seconds__isnull=True)


def _process_frame(frame: "pd.DataFrame") -> "pd.DataFrame":
    import pandas as pd

    takes_agent = frame["technique"].map(lambda code: Technique(code).takes_agent).astype(bool)
    on_at, off_at = (pd.to_datetime(frame[f"tourniquet_{name}_at"], utc=True) for name in ("on", "off"))
    agent_known = (frame["agent_batch"] != "") & frame["agent_expires_on"].notna()
    return pd.DataFrame(
        {
            "toe_key": frame["key"],
            "patient_key": frame["operation__patient__key"],
            "performed_on": pd.to_datetime(frame["operation__performed_on"]),
            "live_phases": frame["live_phases"].astype("int64"),
            "tourniquet_used": ~frame["tourniquet"].isin([Tourniquet.NONE, Tourniquet.NOT_RECORDED]),
            "tourniquet_minutes": (off_at - on_at).dt.total_seconds() / 60,
            "removal_witnessed": frame["tourniquet_removal_witnessed"] == Answer.YES,
            "doses": frame["dose_rows"].astype("int64"),
            "batches_recorded": (frame["dose_rows"] > 0)
            & (frame["incomplete_doses"] == 0)
            & (agent_known | ~takes_agent),
            "takes_agent": takes_agent,
            "exposure_recorded": frame["unknown_exposures"] == 0,
        }
    )
