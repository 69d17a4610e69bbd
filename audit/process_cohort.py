"""Records to the frame of the process criteria: how each nail procedure was done and recorded. No name passes it.

A fixed number of statements, whatever the number of operations.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from audit.cohort import Scope
from clinic.access.models import Practice
from clinic.dosing.amounts import Dose
from clinic.dosing.arithmetic import assess
from clinic.dosing.effect import dose_of_row
from clinic.dosing.models import approved_limits
from clinic.preparation.matching import check_site
from clinic.preparation.models import Assessment, Consent
from clinic.procedures.clearance import Treated, usable
from clinic.procedures.models import AnaestheticDose, NailProcedure, TreatedSide
from clinic.theatre.models import CheckedItem, ChecklistPhase
from clinic.vocabulary.preparation import Doppler, Pulse
from clinic.vocabulary.procedure import Answer, Technique, Tourniquet
from clinic.vocabulary.sites import part_of
from clinic.vocabulary.theatre import CheckAnswer, PhaseTiming

if TYPE_CHECKING:
    import pandas as pd

SITE_LINES = ("site_stated", "site_repeated")
PERFUSION_COUNTS_FOR = timedelta(days=366)  # common practice, no source
NOT_EXAMINED = {Pulse.NOT_EXAMINED.value, Pulse.NOT_RECORDED.value, Doppler.NOT_EXAMINED.value, None}
FOOT_COLUMNS = ("dorsalis_pedis", "posterior_tibial", "doppler", "abpi", "toe_pressure", "tbi", "ankle_pressure")
COLUMNS = (
    "pk", "key", "operation_id", "operation__patient_id", "operation__patient__key", "operation__performed_on",
    "operation__weight_kg", "operation__age_years", "foot", "toe", "live_phases", "site_lines", "tourniquet",
    "tourniquet_on_at", "tourniquet_off_at", "tourniquet_removal_witnessed", "dose_rows", "incomplete_doses",
    "technique", "agent_batch", "agent_expires_on", "unknown_exposures",
)  # fmt: skip


def process_toes(practice: Practice, *, performed_from: date, performed_to: date, as_of: date) -> "pd.DataFrame":
    """One row per nail procedure, with what the criteria of process ask."""
    import pandas as pd

    last = min(performed_to, as_of)
    scope = Scope(as_of, practice=practice, performed_on__gte=performed_from, performed_on__lte=last)
    toes = NailProcedure.objects.filter(scope.along("operation__")).order_by("pk")
    rows = toes.annotate(
        live_phases=_number(ChecklistPhase.objects.filter(timing=PhaseTiming.LIVE), "operation"),
        site_lines=_number(CheckedItem.objects.filter(code__in=SITE_LINES, answer=CheckAnswer.YES), "phase__operation"),
        dose_rows=_number(AnaestheticDose.objects.all(), "operation"),
        incomplete_doses=_number(AnaestheticDose.objects.filter(Q(batch="") | Q(expires_on__isnull=True)), "operation"),
        unknown_exposures=_number(_without_exposure(), "nail_procedure", OuterRef("pk")),
    ).values_list(*COLUMNS)
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    return _process_frame(frame, practice, scope)


def _number(rows: QuerySet, of: str, pk: OuterRef | None = None) -> Coalesce:
    """How many of `rows` belong to the operation, or to what `pk` names."""
    own = rows.filter(**{of: pk or OuterRef("operation")}).order_by()
    return Coalesce(Subquery(own.values(of).annotate(number=Count("pk")).values("number")), 0)


def _without_exposure() -> QuerySet:
    return TreatedSide.objects.filter(applications__isnull=True, stated_exposure_seconds__isnull=True)


def _process_frame(frame: "pd.DataFrame", practice: Practice, scope: Scope) -> "pd.DataFrame":
    import pandas as pd

    takes_agent = frame["technique"].map(lambda code: Technique(code).takes_agent).astype(bool)
    on_at, off_at = (pd.to_datetime(frame[f"tourniquet_{name}_at"], utc=True) for name in ("on", "off"))
    agent_known = (frame["agent_batch"] != "") & frame["agent_expires_on"].notna()
    consents, perfusion = _Consents(practice, scope), _Perfusion(practice, scope)
    states = _dose_states(practice, scope, frame)
    toes = list(frame.itertuples(index=False))
    return pd.DataFrame(
        {
            "toe_key": frame["key"],
            "patient_key": frame["operation__patient__key"],
            "performed_on": pd.to_datetime(frame["operation__performed_on"]),
            "consent_recorded": pd.Series([consents.recorded_before(toe) for toe in toes], dtype=bool),
            "site_matched": pd.Series([consents.names_the_site(toe) for toe in toes], dtype=bool)
            & (frame["site_lines"] == len(SITE_LINES)),
            "live_phases": frame["live_phases"].astype("int64"),
            "tourniquet_used": ~frame["tourniquet"].isin([Tourniquet.NONE, Tourniquet.NOT_RECORDED]),
            "tourniquet_minutes": (off_at - on_at).dt.total_seconds() / 60,
            "removal_witnessed": frame["tourniquet_removal_witnessed"] == Answer.YES,
            "doses": frame["dose_rows"].astype("int64"),
            "dose_state": [states[pk] for pk in frame["operation_id"]],
            "weight_recorded": frame["operation__weight_kg"].notna(),
            "batches_recorded": (frame["dose_rows"] > 0)
            & (frame["incomplete_doses"] == 0)
            & (agent_known | ~takes_agent),
            "takes_agent": takes_agent,
            "exposure_recorded": frame["unknown_exposures"] == 0,
            "perfusion_assessed": pd.Series([perfusion.assessed(toe) for toe in toes], dtype=bool),
        }
    )


class _Consents:
    """Standing consents of a practice beside what was operated on; three statements."""

    def __init__(self, practice: Practice, scope: Scope) -> None:
        self.of_patient: dict[int, list[Consent]] = defaultdict(list)
        for consent in Consent.objects.standing().filter(patient__practice=practice, discussed_on__lte=scope.as_of):
            self.of_patient[consent.patient_id].append(consent)
        self.treated: dict[int, list[tuple[int, Treated]]] = defaultdict(list)
        standing = NailProcedure.objects.filter(operation__practice=practice, operation__struck_at__isnull=True)
        for patient, operation, *site in standing.values_list(
            "operation__patient_id", "operation_id", "foot", "toe", "operation__performed_on"
        ):
            self.treated[patient].append((operation, (site[0], site[1], site[2])))
        self.sides: dict[int, list[str]] = defaultdict(list)
        sides = TreatedSide.objects.filter(scope.along("nail_procedure__operation__")).order_by("pk")
        for nail, side in sides.values_list("nail_procedure_id", "side"):
            self.sides[nail].append(side)

    def usable(self, toe: Any) -> list[Consent]:
        patient = toe.operation__patient_id
        others = [site for operation, site in self.treated[patient] if operation != toe.operation_id]
        return usable(self.of_patient[patient], others, toe.operation__performed_on)

    def recorded_before(self, toe: Any) -> bool:
        """Both dates by the day of the operation, and written down by its end."""
        day = toe.operation__performed_on
        return any(
            (consent.foot, consent.toe) == (toe.foot, toe.toe)
            and consent.reconfirmed_on is not None
            and consent.reconfirmed_on <= day
            and timezone.localtime(consent.recorded_at).date() <= day
            for consent in self.usable(toe)
        )

    def names_the_site(self, toe: Any) -> bool:
        consent, _ = check_site(self.usable(toe), toe.foot, toe.toe, part_of(self.sides[toe.pk]))
        return consent is not None


class _Perfusion:
    """Whether the blood supply of a foot was looked at before an operation; one statement."""

    def __init__(self, practice: Practice, scope: Scope) -> None:
        assessments = Assessment.objects.standing().filter(patient__practice=practice, assessed_on__lte=scope.as_of)
        rows = assessments.order_by("patient_id", "assessed_on", "pk").values_list(
            "patient_id", "assessed_on", "pk", "feet__foot", *(f"feet__{name}" for name in FOOT_COLUMNS)
        )
        # By patient, oldest first: day and the feet at which something was found.
        self.of_patient: dict[int, list[tuple[date, set[str]]]] = defaultdict(list)
        newest = None
        for patient, day, pk, foot, *findings in rows:
            if pk != newest:
                self.of_patient[patient].append((day, set()))
                newest = pk
            if any(found not in NOT_EXAMINED for found in findings):
                self.of_patient[patient][-1][1].add(foot)

    def assessed(self, toe: Any) -> bool:
        """By the newest assessment up to the day, if that is not older than a year."""
        every, day = self.of_patient[toe.operation__patient_id], toe.operation__performed_on
        place = bisect_right([on for on, _ in every], day) - 1
        if place < 0:
            return False
        on, feet = every[place]
        return day - on <= PERFUSION_COUNTS_FOR and toe.foot in feet


def _dose_states(practice: Practice, scope: Scope, frame: "pd.DataFrame") -> dict[int, str]:
    """How the anaesthetic of each operation stands to the limits approved now; two statements."""
    given: dict[int, list[Dose]] = defaultdict(list)
    doses = AnaestheticDose.objects.filter(scope.along("operation__")).order_by("pk")
    for operation, *row in doses.values_list(
        "operation_id", "agent", "strength_percent", "vasoconstrictor", "volume_ml", "nail_procedure__foot",
        "nail_procedure__toe",
    ):  # fmt: skip
        given[operation].append(dose_of_row(row))
    limits = approved_limits(practice)
    asked = frame.drop_duplicates("operation_id")
    people: Iterable[Sequence[Any]] = zip(
        asked["operation_id"], asked["operation__weight_kg"], asked["operation__age_years"], strict=True
    )
    return {
        pk: assess(given[pk], limits, weight_kg=weight or None, age_years=_whole(age)).state.value
        for pk, weight, age in people
    }


def _whole(age: float | None) -> int | None:
    """Pandas keeps a column with gaps as fractions, and a gap as not a number."""
    return None if age is None or age != age else int(age)
