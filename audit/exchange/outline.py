"""The outside of a received zip: what it may look like before any of it is unpacked. Knows no Django.

Nothing is written to disk and nothing fetched. Sizes are counted while reading, not believed.
"""

import io
import stat
import struct
import zipfile
from collections.abc import Sequence
from zlib import error as ZlibError

from audit.exchange.package import MEMBERS
from audit.exchange.problems import Problem, Refused, said

# Common practice, no source. Documented in one table in DEVELOPERS.md.
MOST_BYTES = 5 * 1024 * 1024
MOST_UNPACKED_BYTES = 20 * 1024 * 1024
MOST_MEMBERS = 20
MOST_RATIO = 100
_START, _END = b"PK\x03\x04", b"PK\x05\x06"
_END_SIZE = 22
_LOCAL_SIZE = 30
_PACKED = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
_ENCRYPTED = 0x1


def unpacked(data: bytes) -> dict[str, bytes]:
    """The members of a set, each read to its end; raises Refused for anything that is not plainly a set."""
    _refuse_odd_shape(data)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            _refuse_entries(entries, data)
            return _read(archive, entries)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, ZlibError, EOFError, NotImplementedError, struct.error,
            UnicodeError, ValueError, OverflowError) as damage:  # fmt: skip
        if isinstance(damage, Refused):
            raise
        raise _refused("the zip is damaged; make the file again or copy it again") from damage


def _refuse_odd_shape(data: bytes) -> None:
    """A zip and nothing but one: no bytes before, between or after, no comment, few entries."""
    if not data:
        raise _refused("the file is empty")
    if len(data) > MOST_BYTES:
        raise _refused(f"the file has {len(data)} bytes; at most {MOST_BYTES} are taken")
    if not data.startswith(_START):
        raise _refused("this is not a zip file as the export page makes it")
    end = data[-_END_SIZE:]
    if len(end) < _END_SIZE or not end.startswith(_END):
        raise _refused("the zip does not end where it should: it is cut off, or something was added to it")
    _, disk, start_disk, here, entries, size, offset, comment = struct.unpack("<4s4H2LH", end)
    if disk or start_disk or here != entries or comment:
        raise _refused("the zip is one part of several, or carries a comment")
    if entries > MOST_MEMBERS:
        raise _refused(f"the zip has {entries} members; a set has {len(MEMBERS)}")
    if offset + size + _END_SIZE != len(data):
        raise _refused("the zip holds bytes that belong to no member")


def _refuse_entries(entries: Sequence[zipfile.ZipInfo], data: bytes) -> None:
    names = [entry.filename for entry in entries]
    for entry in entries:
        if reason := _wrong_entry(entry):
            raise Refused([Problem(said(entry.orig_filename), reason)])
    if twice := next((name for name in names if names.count(name) > 1), None):
        raise Refused([Problem(said(twice), "stands in the zip twice")])
    missing = [name for name in MEMBERS if name not in names]
    if missing:
        raise Refused([Problem(name, "is missing from the zip") for name in missing])
    if sum(entry.file_size for entry in entries) > MOST_UNPACKED_BYTES:
        raise _refused(f"unpacked it would be larger than {MOST_UNPACKED_BYTES} bytes")
    _refuse_layout(entries, data)


def _wrong_entry(entry: zipfile.ZipInfo) -> str:
    mode = entry.external_attr >> 16
    if entry.is_dir():
        return "is a folder; a set has none"
    if stat.S_ISLNK(mode) or (mode and stat.S_IFMT(mode) not in {0, stat.S_IFREG}):
        return "is a link or something else than a file"
    if entry.orig_filename != entry.filename or entry.filename not in MEMBERS:
        return "is not a member of a set"
    if entry.comment or entry.extra:
        return "carries a comment or an extra field; make the file again with the export page"
    if entry.flag_bits & _ENCRYPTED:
        return "is encrypted"
    if entry.compress_type not in _PACKED:
        return "is packed in a way that is not read here"
    if entry.file_size > MOST_RATIO * max(entry.compress_size, 1):
        return f"would become more than {MOST_RATIO} times as large when unpacked"
    return ""


def _refuse_layout(entries: Sequence[zipfile.ZipInfo], data: bytes) -> None:
    """Each member begins where the one before it ends. Those that share bytes unpack to far more than there is."""
    ordered = sorted(entries, key=lambda entry: entry.header_offset)
    directory = struct.unpack("<L", data[-_END_SIZE + 16 : -_END_SIZE + 20])[0]
    starts = [*(entry.header_offset for entry in ordered), directory]
    ends = [0, *(_end(entry) for entry in ordered)]
    if any(end > start for end, start in zip(ends, starts, strict=True)):
        raise _refused("members of the zip lie over each other")
    if ends != starts:
        raise _refused("the zip holds bytes that belong to no member")


def _end(entry: zipfile.ZipInfo) -> int:
    """Where a member ends by its name alone; an extra field before its bytes is one byte too many."""
    return entry.header_offset + _LOCAL_SIZE + len(entry.orig_filename.encode()) + entry.compress_size


def _read(archive: zipfile.ZipFile, entries: Sequence[zipfile.ZipInfo]) -> dict[str, bytes]:
    found: dict[str, bytes] = {}
    room = MOST_UNPACKED_BYTES
    for entry in entries:
        with archive.open(entry) as member:
            content = member.read(room + 1)
        if len(content) > room or len(content) != entry.file_size:
            raise Refused([Problem(entry.filename, "is not as large as the zip says")])
        room -= len(content)
        found[entry.filename] = content
    return found


def _refused(reason: str) -> Refused:
    return Refused([Problem("", reason)])
