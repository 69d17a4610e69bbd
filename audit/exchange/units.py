"""Rows of a set as units of counting, so that the same code counts records and received rows. Knows no Django."""

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from audit.exchange.words import EarlyContact, YesNo
from audit.measures.definitions import HowKnown, Outcome, Status, Unit
from audit.measures.infection import Flag
from audit.measures.outcomes import BOTH, SEVERAL, unit_status
from clinic.vocabulary.procedure import NailSide

_CODE = {Unit.SIDE: "row_code", Unit.TOE: "toe_code", Unit.PATIENT: "patient_code"}
_ONE_OF = ("technique", "agent", "curettage", "lavage", "age_band")
_EDGES = {NailSide.TIBIAL.value, NailSide.FIBULAR.value}
COLUMNS = (
    "unit_key", "patient_key", "status", "event", "late_event", "source", "examined", "loss_reason", "technique",
    "agent", "exposure_seconds", "side", "curettage", "lavage", "age_band", "matricectomy",
)  # fmt: skip
_DTYPES = {"event": bool, "late_event": bool, "examined": bool, "matricectomy": bool, "exposure_seconds": "float64"}


def units_of(rows: pd.DataFrame, outcome: Outcome, unit: Unit) -> pd.DataFrame:
    """One row per unit with its standing, in the columns that `measures.strata` counts on.

    rows: of a set, every cell valid. A patient has one row for the sides with matricectomy and one for the others.
    """
    groups: dict[tuple[str, str], list[Mapping[Any, Any]]] = {}
    for row in rows.to_dict("records"):
        groups.setdefault((row[_CODE[unit]], row["matrix_destroyed"]), []).append(row)
    found = [_unit(key, own, outcome) for (key, _), own in groups.items()]
    return pd.DataFrame(found, columns=list(COLUMNS)).astype(_DTYPES)


def toes_of(rows: pd.DataFrame) -> pd.DataFrame:
    """One row per toe with a contact in the first 30 days: patient_key and a true or false column per code of Flag."""
    contacted = rows[rows["early_contact"] == EarlyContact.CONTACTED].drop_duplicates("toe_code")
    flags = {flag.value: contacted[f"infection_{flag.value}"] == YesNo.YES for flag in Flag}
    return pd.DataFrame({"patient_key": contacted["patient_code"], **flags}).reset_index(drop=True)


def _unit(key: str, rows: list[Mapping[Any, Any]], outcome: Outcome) -> dict[str, Any]:
    name = outcome.value
    status = unit_status([Status(row[name]) for row in rows])
    own = [row for row in rows if row[name] == status] or rows
    lost = [row for row in own if row["loss_reason"]]
    return {
        "unit_key": key,
        "patient_key": rows[0]["patient_code"],
        "status": status.value,
        "event": status is Status.EVENT,
        "late_event": status in {Status.CLEAR, Status.LOST} and any(row[f"{name}_late"] == YesNo.YES for row in rows),
        "source": own[0][f"{name}_known_by"]
        if status in {Status.EVENT, Status.CLEAR}
        else HowKnown.NOT_APPLICABLE.value,
        "examined": status in {Status.EVENT, Status.CLEAR} and _examined(status, own, name),
        "loss_reason": lost[0]["loss_reason"] if status is Status.LOST and lost else "not_applicable",
        **{column: _one_of(rows, column) for column in _ONE_OF},
        "exposure_seconds": _greatest(row["exposure_seconds"] for row in rows),
        "side": _side(rows),
        "matricectomy": rows[0]["matrix_destroyed"] == YesNo.YES,
    }


def _examined(status: Status, rows: list[Mapping[Any, Any]], name: str) -> bool:
    seen = [row[f"{name}_examined"] == YesNo.YES for row in rows]
    return any(seen) if status is Status.EVENT else all(seen)


def _one_of(rows: list[Mapping[Any, Any]], column: str) -> str:
    codes = {row[column] for row in rows}
    return str(codes.pop()) if len(codes) == 1 else SEVERAL


def _greatest(values: Iterable[str]) -> float:
    return max((float(value) for value in values if value), default=float("nan"))


def _side(rows: list[Mapping[Any, Any]]) -> str:
    by_toe: dict[str, set[str]] = {}
    for row in rows:
        by_toe.setdefault(row["toe_code"], set()).add(row["side"])
    labels = {BOTH if own == _EDGES else "+".join(sorted(own)) for own in by_toe.values()}
    return labels.pop() if len(labels) == 1 else SEVERAL
