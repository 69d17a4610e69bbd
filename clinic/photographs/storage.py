"""Files of photographs: outside everything a web server shows, readable by the application alone.

A photograph is two files under one random name, the picture and its preview. Neither ever changes.
"""

import os
import re
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings

FULL, PREVIEW = "full", "preview"
SIZES = (FULL, PREVIEW)
NAME = re.compile(r"\A[0-9a-f]{32}\Z")
UNFINISHED = ".part"

Write = Callable[[str, str, bytes], None]


def path_of(name: str, size: str) -> Path:
    """name: 32 hexadecimal digits; size: full or preview. Raises ValueError for anything else."""
    if not NAME.match(name) or size not in SIZES:
        raise ValueError(f"no file of a photograph: name {name!r}, size {size!r}")
    return Path(settings.PHOTOGRAPH_DIR) / f"{name}.{size}"


@contextmanager
def gone_unless_successful() -> Iterator[Write]:
    """Gives a function write(name, size, data). If the block fails, what it wrote is gone again.

    Put it around the transaction, so that a commit that fails counts as a failure, too.
    """
    written: list[Path] = []

    def write(name: str, size: str, data: bytes) -> None:
        path = path_of(name, size)
        written.append(path)
        put(path, data)

    try:
        yield write
    except BaseException:
        for path in written:
            path.unlink(missing_ok=True)
        raise


def put(path: Path, data: bytes) -> None:
    """Write a file that appears whole or not at all, and survives a power cut once this returns."""
    folder = path.parent
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    unfinished = path.with_name(path.name + UNFINISHED)
    try:
        with open(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.rename(unfinished, path)
    except BaseException:
        unfinished.unlink(missing_ok=True)
        raise
    sync_folder(folder)


def sync_folder(folder: Path) -> None:
    """A new or a taken name is safe only once its folder is written, too."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def read(name: str, size: str) -> bytes:
    """Raises FileNotFoundError where there is none."""
    return path_of(name, size).read_bytes()


def remove(name: str) -> None:
    """Both files; one that is not there is no mistake."""
    for size in SIZES:
        path_of(name, size).unlink(missing_ok=True)
    if Path(settings.PHOTOGRAPH_DIR).exists():
        sync_folder(Path(settings.PHOTOGRAPH_DIR))


def strays(known: Collection[str], *, written_before: float) -> list[Path]:
    """Files that belong to no name in `known`, such as one written just before a power cut.

    written_before: seconds since the epoch; a younger file may belong to a photograph that is being saved.
    """
    folder = Path(settings.PHOTOGRAPH_DIR)
    found = sorted(folder.iterdir()) if folder.exists() else []
    names = set(known)
    return [path for path in found if belongs_to(path) not in names and path.stat().st_mtime < written_before]


def belongs_to(path: Path) -> str:
    """The name that a finished file stands under; empty for anything else in the folder."""
    name, _, size = path.name.partition(".")
    return name if NAME.match(name) and size in SIZES else ""
