"""The zip that leaves: fixed members, fixed times, the same bytes for the same rows. Knows no Django."""

import hashlib
import io
import zipfile

import pandas as pd

from audit.exchange import describe
from audit.exchange.columns import FILE, NAMES
from audit.exchange.csv_text import to_csv
from audit.exchange.manifest import Manifest, to_bytes

MANIFEST, SUMS, README = "manifest.json", "SHA256SUMS", "README.txt"
DATA_PACKAGE, ON_THE_WEB = "datapackage.json", f"{FILE}-metadata.json"
MEMBERS = (
    README, MANIFEST, DATA_PACKAGE, FILE, ON_THE_WEB, describe.DICTIONARY, describe.DEFINITIONS_FILE,
    describe.COMPLETENESS, SUMS,
)  # fmt: skip
# The earliest time a zip can hold: it tells nothing. The mode lets nobody but the owner read what was unpacked.
_NO_TIME = (1980, 1, 1, 0, 0, 0)
_UNIX, _MODE = 3, 0o100600


def rows_csv(rows: pd.DataFrame) -> bytes:
    """The rows as they lie in the package. rows: every column of the format, all text."""
    return to_csv(NAMES, rows[list(NAMES)].to_numpy().tolist())


def members(rows: pd.DataFrame, manifest: Manifest) -> dict[str, bytes]:
    """Every member by name, in the order of the package. Members other than rows and manifest follow from them."""
    tables = {
        FILE: rows_csv(rows),
        describe.DICTIONARY: describe.dictionary(),
        describe.DEFINITIONS_FILE: describe.definitions(),
        describe.COMPLETENESS: describe.completeness(rows),
    }
    found = {
        README: describe.readme(manifest),
        MANIFEST: to_bytes(manifest),
        DATA_PACKAGE: describe.data_package(manifest, tables),
        ON_THE_WEB: describe.csv_on_the_web(),
        **tables,
    }
    ordered = {name: found[name] for name in MEMBERS if name != SUMS}
    return {**ordered, SUMS: sums(ordered)}


def sums(files: dict[str, bytes]) -> bytes:
    """Checksums as `sha256sum` reads them."""
    return "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(files.items())).encode()


def package(files: dict[str, bytes]) -> bytes:
    """The zip. Stored, not packed: packing differs from one library version to the next."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, _NO_TIME)
            entry.create_system, entry.external_attr = _UNIX, _MODE << 16
            archive.writestr(entry, data)
    return target.getvalue()
