"""A received set, from bytes to rows that may be counted, or to every reason why not. Knows no Django."""

import hashlib
import json
import re
from dataclasses import dataclass
from typing import Any

import pandas as pd

from audit.exchange.cells import read_rows
from audit.exchange.columns import FILE
from audit.exchange.contradictions import check_rows
from audit.exchange.manifest import Manifest, ManifestError, read
from audit.exchange.outline import unpacked
from audit.exchange.package import MANIFEST, SUMS, members
from audit.exchange.problems import Problem, Refused, said

MOST_MANIFEST_BYTES = 64 * 1024
DEEPEST = 20
_SUM_LINE = re.compile(r"([0-9a-f]{64})  ([A-Za-z0-9._-]{1,60})")


@dataclass(frozen=True, eq=False)
class ReceivedSet:
    """A set in which everything holds together. sha256: of the zip as it came; manifest.content: of its rows."""

    manifest: Manifest
    rows: pd.DataFrame
    sha256: str


def read_set(data: bytes) -> ReceivedSet:
    """Reads a zip as it came from outside.

    Raises Refused with file, row, column and reason: the first kind of thing that is wrong, all cases of it. Only rows
    and manifest are believed; every other member follows from them and must be what this version makes.
    """
    files = unpacked(data)
    _check_sums(files)
    manifest = _manifest(files[MANIFEST])
    rows = read_rows(files[FILE])
    if hashlib.sha256(files[FILE]).hexdigest() != manifest.file_sha256:
        raise Refused([Problem(MANIFEST, "is not the checksum of sides.csv", column="file_sha256")])
    check_rows(rows, manifest)
    _check_descriptions(files, rows, manifest)
    return ReceivedSet(manifest, rows, hashlib.sha256(data).hexdigest())


def _check_sums(files: dict[str, bytes]) -> None:
    try:
        lines = files[SUMS].decode("ascii").splitlines()
    except UnicodeDecodeError as error:
        raise Refused([Problem(SUMS, "is not a list of checksums")]) from error
    wanted = {name: hashlib.sha256(data).hexdigest() for name, data in files.items() if name != SUMS}
    given: dict[str, str] = {}
    for place, line in enumerate(lines, start=1):
        found = _SUM_LINE.fullmatch(line)
        if found is None or found[2] not in wanted or found[2] in given:
            raise Refused([Problem(SUMS, f"{said(line)} is not a checksum of a member", place)])
        given[found[2]] = found[1]
    wrong = [name for name, digest in wanted.items() if given.get(name) != digest]
    if wrong:
        raise Refused([Problem(name, "its checksum is another: it was changed after it was made") for name in wrong])


def _manifest(data: bytes) -> Manifest:
    if len(data) > MOST_MANIFEST_BYTES:
        raise Refused([Problem(MANIFEST, f"has {len(data)} bytes; at most {MOST_MANIFEST_BYTES} are read")])
    try:
        found = _json(data)
    except (ValueError, RecursionError) as error:
        raise Refused([Problem(MANIFEST, f"cannot be read: {_why(error)}")]) from error
    if not isinstance(found, dict):
        raise Refused([Problem(MANIFEST, "is not a list of names and values")])
    try:
        return read(found)
    except ManifestError as error:
        raise Refused([Problem(MANIFEST, str(error))]) from error


def _json(data: bytes) -> Any:
    text = data.decode("ascii")
    depth = deepest = 0
    for letter in text:
        depth += (letter in "[{") - (letter in "]}")
        deepest = max(deepest, depth)
    if deepest > DEEPEST:
        raise ValueError("too many brackets within brackets")
    return json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_constant, parse_float=_no_constant)


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands there twice")
    return found


def _no_constant(text: str) -> None:
    raise ValueError(f"{said(text)} is not a number of this format")


def _why(error: Exception) -> str:
    """Our own sentence, or a plain one: a library's text may quote what was sent."""
    own = type(error) is ValueError
    return str(error) if own else "it is not JSON of plain letters"


def _check_descriptions(files: dict[str, bytes], rows: pd.DataFrame, manifest: Manifest) -> None:
    made = members(rows, manifest)
    other = [name for name, data in files.items() if data != made[name]]
    if other:
        raise Refused([Problem(name, "is not what belongs to these rows") for name in other])
