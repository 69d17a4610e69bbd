"""Files appear whole or not at all, for their owner only, under names of our own."""

import os
import stat

import pytest
from django.conf import settings as django_settings

from clinic.photographs import storage

NAME, OTHER = "0" * 32, "f" * 32


def test_two_sizes_under_one_name(folder):
    with storage.gone_unless_successful() as write:
        write(NAME, storage.FULL, b"picture")
        write(NAME, storage.PREVIEW, b"small")

    assert storage.read(NAME, storage.FULL) == b"picture"
    assert storage.read(NAME, storage.PREVIEW) == b"small"
    assert sorted(path.name for path in (folder / "photographs").iterdir()) == [f"{NAME}.full", f"{NAME}.preview"]


def test_only_the_owner_may_read(folder):
    with storage.gone_unless_successful() as write:
        write(NAME, storage.FULL, b"picture")

    for path, mode in ((folder / "photographs", 0o700), (storage.path_of(NAME, storage.FULL), 0o600)):
        assert stat.S_IMODE(path.stat().st_mode) == mode


def test_after_a_failure_nothing_is_left(folder):
    def half_way():
        with storage.gone_unless_successful() as write:
            write(NAME, storage.FULL, b"picture")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        half_way()

    assert list((folder / "photographs").iterdir()) == []


@pytest.mark.parametrize("call", ["fsync", "rename"])
def test_a_write_that_fails_leaves_nothing(folder, monkeypatch, call):
    def fails(*args):
        raise OSError(28, "No space left on device")

    def second_one_fails():
        with storage.gone_unless_successful() as write:
            write(NAME, storage.FULL, b"picture")
            monkeypatch.setattr(os, call, fails)
            write(NAME, storage.PREVIEW, b"small")

    with pytest.raises(OSError, match="No space"):
        second_one_fails()

    assert list((folder / "photographs").iterdir()) == []


def test_a_file_is_complete_and_synced_before_it_has_its_name(folder, monkeypatch):
    """What was done in which order: file written to the disk, then named, then the folder written."""
    done = []
    rename, fsync = os.rename, os.fsync

    def renamed(old, new):
        done.append(("name", old.read_bytes()))
        rename(old, new)

    def synced(descriptor):
        done.append(("sync", stat.S_ISDIR(os.fstat(descriptor).st_mode)))
        fsync(descriptor)

    monkeypatch.setattr(os, "rename", renamed)
    monkeypatch.setattr(os, "fsync", synced)
    with storage.gone_unless_successful() as write:
        write(NAME, storage.FULL, b"picture")

    assert done == [("sync", False), ("name", b"picture"), ("sync", True)]


def test_a_file_is_never_written_over(folder):
    with storage.gone_unless_successful() as write:
        write(NAME, storage.FULL, b"picture")
    (folder / "photographs" / f"{NAME}.preview.part").write_bytes(b"of another process")

    with pytest.raises(FileExistsError), storage.gone_unless_successful() as write:
        write(NAME, storage.PREVIEW, b"small")


@pytest.mark.parametrize("name", ["", "../" + "0" * 29, "/etc/passwd", "0" * 31, "0" * 33, "G" * 32, "0" * 32 + "\n"])
def test_no_other_name_reaches_the_disk(folder, name):
    for act in (lambda: storage.read(name, storage.FULL), lambda: storage.remove(name)):
        with pytest.raises(ValueError, match="no file of a photograph"):
            act()


def test_no_other_size_reaches_the_disk(folder):
    with pytest.raises(ValueError, match="no file of a photograph"):
        storage.path_of(NAME, "../full")


def test_removing_takes_both_and_may_be_repeated(folder):
    with storage.gone_unless_successful() as write:
        for name in (NAME, OTHER):
            for size in storage.SIZES:
                write(name, size, b"x")

    storage.remove(NAME)
    storage.remove(NAME)

    assert sorted(path.name for path in (folder / "photographs").iterdir()) == [f"{OTHER}.full", f"{OTHER}.preview"]


def test_removing_where_nothing_was_ever_kept(folder):
    storage.remove(NAME)

    assert not (folder / "photographs").exists()


def test_strays_are_what_nobody_owns_and_nobody_is_writing(folder):
    with storage.gone_unless_successful() as write:
        for name in (NAME, OTHER):
            write(name, storage.FULL, b"x")
    half = folder / "photographs" / f"{NAME}.preview.part"
    half.write_bytes(b"x")
    old = 1_000_000.0
    for path in (storage.path_of(NAME, storage.FULL), storage.path_of(OTHER, storage.FULL), half):
        os.utime(path, (old, old))

    assert storage.strays({NAME}, written_before=old + 1) == [half, storage.path_of(OTHER, storage.FULL)]
    assert storage.strays({NAME}, written_before=old) == []


def test_no_web_server_is_told_of_the_folder():
    """The folder of the installation itself, not that of the tests."""
    where = django_settings.VAR_DIR / "photographs"
    served = [
        *django_settings.STATICFILES_DIRS,
        django_settings.STATIC_ROOT,
        django_settings.BASE_DIR / "clinic" / "static",
    ]

    assert not any(place and (where == place or place in where.parents) for place in served)
    assert not django_settings.MEDIA_URL.strip("/")
