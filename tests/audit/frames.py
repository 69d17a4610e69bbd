"""Cohort frames from a few lines; every value that a test does not name is plain and recorded."""

from datetime import date, timedelta

import pandas as pd

from audit.measures.columns import FINDINGS, SIDES, TOE_FINDINGS, Cohort

AS_OF = date(2025, 5, 30)
LAST_MATURE = AS_OF - timedelta(days=425)
NAN = float("nan")

_SIDE = {
    "age_years": 40, "sex": "female", "foot": "right", "toe": 1, "side": "fibular", "technique": "pna_chemical",
    "matrix_destroyed": True, "agent": "phenol", "exposure_seconds": 60.0, "takes_agent": True,
    "strength_percent": 80.0, "strength_basis": "w_w", "curettage": "none",
    "lavage": "ethanol", "operator": "m1", "infection_at_operation": "none", "prior_surgery": "no",
    "died_day": NAN, "reoperated_day": NAN, "amputated_day": NAN,
    "loss_reason": "no_reply",
}  # fmt: skip
_FINDING = {
    "origin": "planned", "observer": "operator", "means": "in_person", "extent": "none", "symptoms": "none",
    "retreatment": "none",
}  # fmt: skip
_TOE_FINDING = {
    "means": "in_person", "signs": "none_seen", "fluid_colour": "none", "fluid_consistency": "none",
    "fluid_amount": "dry", "erythema_mm": 0.0, "spreading": "no", "swelling": "no", "warmth": "no",
    "tenderness": "no", "odour": "no", "lymphangitis": "no", "wound_opened": "no", "swab": "not_taken",
    "antibiotic": "none", "diagnosis": "none", "healing": "dry", "pain": 0.0, "satisfaction": "satisfied",
}  # fmt: skip


def treated(key, *, toe=None, patient=None, performed_on=LAST_MATURE, toe_number=1, **values):
    """One row of sides; toe and patient are the side's own unless named."""
    toe = toe or f"toe-{key}"
    keys = {"side_key": key, "toe_key": toe, "operation_key": f"op-{toe}", "patient_key": patient or f"patient-{toe}"}
    return {**keys, "performed_on": pd.Timestamp(performed_on), **_SIDE, "toe": toe_number, **values}


def without_matrix(key, **values):
    plain = {"technique": "pna_only", "matrix_destroyed": False, "agent": "none", "takes_agent": False}
    return treated(key, **{**plain, "exposure_seconds": NAN, **values})


def seen(side, day, *, review=None, **values):
    """One row of findings; clear of everything unless named."""
    return {"side_key": side, "review_key": review or f"r-{side}-{day}", "day": day, **_FINDING, **values}


def toe_seen(toe, day, *, review=None, **values):
    """One row of toe_findings; no sign of anything unless named."""
    return {"toe_key": toe, "review_key": review or f"r-{toe}-{day}", "day": day, **_TOE_FINDING, **values}


def cohort(sides, findings=(), toe_findings=(), *, as_of=AS_OF, bands=(60, 90, 120, 180)):
    return Cohort(
        practice_code="ts",
        performed_from=date(2020, 1, 1),
        performed_to=as_of,
        as_of=as_of,
        sides=pd.DataFrame(list(sides), columns=list(SIDES)),
        findings=pd.DataFrame(list(findings), columns=list(FINDINGS)),
        toe_findings=pd.DataFrame(list(toe_findings), columns=list(TOE_FINDINGS)),
        bands=bands,
    )


def group(name, *, events=0, clear=0, lost=0, pending=0, **values):
    """Sides of one patient each, and their findings: symptomatic regrowth on day 200, clear on day 365, or nothing."""
    sides, findings = [], []
    for status, number in {"event": events, "clear": clear, "lost": lost, "pending": pending}.items():
        for place in range(number):
            key = f"{name}-{status}-{place}"
            performed_on = AS_OF - timedelta(days=100) if status == "pending" else LAST_MATURE
            sides.append(treated(key, performed_on=performed_on, **values))
            findings += {
                "event": [seen(key, 200, extent="spicule", symptoms="ingrowth")],
                "clear": [seen(key, 365)],
            }.get(status, [])
    return sides, findings


def cohort_of_groups(*groups, **values):
    return cohort(
        [row for sides, _ in groups for row in sides], [row for _, found in groups for row in found], **values
    )
