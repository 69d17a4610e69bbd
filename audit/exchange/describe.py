"""Descriptions that travel with the rows: Data Package v2, CSV on the Web, data dictionary, completeness. No Django.

Everything here follows from the columns and the rows, so a reader can make it again and compare.
"""

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import pandas as pd

from audit.exchange.columns import DAY_LIMITS, FIELDS, FILE, FORMAT_VERSION, Field, Holds
from audit.exchange.csv_text import to_csv
from audit.exchange.manifest import Manifest
from audit.measures.definitions import DEFINITIONS

DICTIONARY, COMPLETENESS, DEFINITIONS_FILE = "dictionary.csv", "completeness.csv", "definitions.csv"
_DICTIONARY_HEADER = ("column", "title", "meaning", "holds", "unit", "codes", "low", "high", "empty_means", "known_to",
                      "needed_for")  # fmt: skip
_COMPLETENESS_HEADER = ("column", "rows", "filled", "empty", "not_recorded", "not_assessed", "withheld", "widened")
_WIDENED = {"18_and_over", "any", "edge", "merged", "other_with_matricectomy", "other_without_matricectomy"}
_TITLES = {
    FILE: "Treated sides, one row each",
    DICTIONARY: "Data dictionary of the columns",
    COMPLETENESS: "How complete each column is",
    DEFINITIONS_FILE: "What counts: the definitions behind the outcomes",
}


def dictionary() -> bytes:
    """Every column: what it holds, its codes with labels, what an empty cell means."""
    rows = [
        (
            field.name, field.title, field.meaning, field.holds.value, field.unit,
            "; ".join(f"{code} = {label}" for code, label in field.labels.items()) or _limits(field),
            _bound(field.low), _bound(field.high), field.blank or "never empty", field.known.value, field.why,
        )
        for field in FIELDS
    ]  # fmt: skip
    return to_csv(_DICTIONARY_HEADER, rows)


def definitions() -> bytes:
    """The rules of counting with their sources."""
    rows = [(one.code, one.label, one.sentence, one.source.citation, one.source.note) for one in DEFINITIONS.items]
    return to_csv(("rule", "label", "sentence", "source", "note"), [(*row[:5],) for row in rows])


def completeness(rows: pd.DataFrame) -> bytes:
    """For every column how many cells are filled, and how many of those say that nothing was recorded."""
    lines = []
    for field in FIELDS:
        values = rows[field.name]
        empty = int((values == "").sum())
        counts = [int((values == code).sum()) for code in ("not_recorded", "not_assessed", "withheld")]
        lines.append((field.name, len(rows), len(rows) - empty, empty, *counts, int(values.isin(_WIDENED).sum())))
    return to_csv(_COMPLETENESS_HEADER, lines)


def data_package(manifest: Manifest, files: Mapping[str, bytes]) -> bytes:
    """Data Package v2. files: the CSV members by name, as they lie in the package."""
    schemas = {FILE: _table_schema()}
    resources = [_resource(name, data, schemas.get(name) or _plain_schema(data)) for name, data in files.items()]
    return _json(
        {
            "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
            "name": "nail-surgery-peer-set",
            "title": "Nail surgery: operations and 12-month outcomes of one practice, protected",
            "version": f"{FORMAT_VERSION}.0.0",
            "description": f"Practice {manifest.practice} in group {manifest.group}, audit year {manifest.audit_year}.",
            "resources": resources,
        }
    )


def csv_on_the_web() -> bytes:
    """W3C CSV on the Web metadata of the rows; found beside the file by its name."""
    return _json(
        {
            "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
            "url": FILE,
            "dc:title": _TITLES[FILE],
            "dialect": {"delimiter": ",", "encoding": "utf-8", "header": True, "lineTerminators": ["\n"],
                        "quoteChar": '"', "doubleQuote": True},
            "tableSchema": {"columns": [_csvw_column(field) for field in FIELDS], "primaryKey": "row_code"},
        }
    )  # fmt: skip


def readme(manifest: Manifest) -> bytes:
    """What lies in the package and how to check it, for somebody who opens it in a text editor."""
    steps = [f"  {label}: {count} rows" for label, count in sorted(manifest.steps.items())]
    lines = [
        "Nail surgery: one practice's operations and 12-month outcomes, for peer review",
        "",
        f"Group {manifest.group}, practice {manifest.practice}, audit year {manifest.audit_year}.",
        f"Definitions version {manifest.definitions}; outcome read on day {manifest.window} after the operation.",
        f"Unit: {manifest.unit}. Selection: {manifest.selection}.",
        "",
        f"{FILE}: {manifest.rows} rows, one for each treated side; rows of one patient share a code.",
        f"{DICTIONARY}: every column and code. {DEFINITIONS_FILE}: what counts. {COMPLETENESS}: what is missing.",
        f"datapackage.json describes them as a Data Package v2, {FILE}-metadata.json as CSV on the Web.",
        "SHA256SUMS: check with `sha256sum -c SHA256SUMS`.",
        "",
        f"Protection: at least {manifest.k} patients look alike in what an outsider may know; "
        f"here at least {manifest.least_alike} do.",
        *steps,
        f"  rows left out: {manifest.rows_left_out}",
        f"  patients under several codes: {manifest.patients_cut}",
        f"Days since operation are limits: {', '.join(map(str, DAY_LIMITS))}.",
        f"Zero events: {manifest.zero_events}.",
        f"Missing: {manifest.missing}.",
        f"Small numbers: {manifest.small_numbers}.",
        "Codes of rows, patients and toes are random and mean nothing anywhere else. "
        "Nobody may try to find out who a row is about.",
        "",
    ]
    return "\n".join(lines).encode()


def _limits(field: Field) -> str:
    if field.holds is Holds.DAY:
        return "one of " + ", ".join(map(str, DAY_LIMITS))
    return field.pattern


def _bound(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _resource(name: str, data: bytes, schema: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "name": name.removesuffix(".csv"),
        "title": _TITLES[name],
        "type": "table",
        "path": name,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "dialect": {"delimiter": ",", "lineTerminator": "\n", "quoteChar": '"', "doubleQuote": True, "header": True},
        "schema": schema,
    }


def _table_schema() -> dict[str, Any]:
    return {
        "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
        "fields": [_schema_field(field) for field in FIELDS],
        "fieldsMatch": "exact",
        "missingValues": [""],
        "primaryKey": ["row_code"],
    }


def _plain_schema(data: bytes) -> dict[str, Any]:
    header = data.decode().split("\n", 1)[0].split(",")
    numbers = set(_COMPLETENESS_HEADER[1:])
    return {
        "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
        "fields": [{"name": name, "type": "integer" if name in numbers else "string"} for name in header],
        "fieldsMatch": "exact",
        "missingValues": [""],
    }


def _schema_field(field: Field) -> dict[str, Any]:
    constraints: dict[str, Any] = {} if field.blank else {"required": True}
    kind = {Holds.WHOLE: "integer", Holds.DAY: "integer", Holds.NUMBER: "number"}.get(field.holds, "string")
    if field.codes:
        constraints["enum"] = list(field.codes)
    if field.pattern:
        constraints["pattern"] = field.pattern
    if field.holds is Holds.DAY:
        constraints["enum"] = list(DAY_LIMITS)
    elif field.low is not None and field.high is not None:
        constraints |= {"minimum": _plain(field.low), "maximum": _plain(field.high)}
    found = {"name": field.name, "type": kind, "title": field.title, "description": field.meaning}
    if field.codes:
        found["categories"] = [{"value": code, "label": label} for code, label in field.labels.items()]  # type: ignore[assignment]
    return {**found, "constraints": constraints} if constraints else found


def _csvw_column(field: Field) -> dict[str, Any]:
    found: dict[str, Any] = {"name": field.name, "titles": field.name, "dc:title": field.title,
                             "dc:description": field.meaning, "required": not field.blank}  # fmt: skip
    if field.holds in {Holds.WHOLE, Holds.DAY, Holds.NUMBER}:
        base = "decimal" if field.holds is Holds.NUMBER else "integer"
        found["datatype"] = {"base": base, "minimum": _plain(field.low), "maximum": _plain(field.high)}
    else:
        found["datatype"] = {"base": "string", "format": field.pattern or f"({'|'.join(field.codes)})"}
    return {**found, "null": ""} if field.blank else found


def _plain(value: float | None) -> float | int | None:
    return int(value) if value is not None and value == int(value) else value


def _json(data: Mapping[str, Any]) -> bytes:
    return (json.dumps(data, indent=2, ensure_ascii=True) + "\n").encode()
