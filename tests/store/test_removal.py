"""The only removals there are, and what must hold before them."""

from __future__ import annotations

import hashlib
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from breaking_seam import BreakingSeam, WindowsSeam

from darklib.facts.errors import DarklibError
from darklib.store.durable import copy_in, is_part, remove_source, sweep
from darklib.store.seam import Seam

DATA = b"a night's work" * 100
SHA = hashlib.sha256(DATA).hexdigest()


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "card" / "IMG.DNG"
    path.parent.mkdir()
    path.write_bytes(DATA)
    return path


@pytest.fixture
def stored(tmp_path: Path, source: Path) -> Path:
    return copy_in(Seam(), source, tmp_path / "lib", "IMG.DNG", SHA).path


def test_a_source_goes_when_its_copy_stands(source: Path, stored: Path) -> None:
    remove_source(Seam(), source, SHA, stored)
    assert not source.exists()
    assert stored.read_bytes() == DATA


def test_a_read_only_source_goes_on_windows_too(source: Path, stored: Path) -> None:
    source.chmod(0o444)
    remove_source(WindowsSeam(), source, SHA, stored)
    assert not source.exists()


def refused(source: Path, stored: Path, code: str) -> None:
    before = source.read_bytes()
    with pytest.raises(DarklibError, match=r".") as told:
        remove_source(Seam(), source, SHA, stored)
    assert told.value.code == code
    assert source.read_bytes() == before


def test_a_source_that_changed_since_stays(source: Path, stored: Path) -> None:
    source.write_bytes(DATA[:-1] + b"?")
    refused(source, stored, "source_changed")


def test_a_source_stays_when_its_copy_is_gone_or_shorter(source: Path, stored: Path, tmp_path: Path) -> None:
    refused(source, tmp_path / "lib" / "none", "copy_missing")
    stored.chmod(0o644)
    os.truncate(stored, 10)
    refused(source, stored, "copy_missing")


def test_a_source_that_is_the_copy_stays(source: Path, stored: Path, tmp_path: Path) -> None:
    refused(stored, stored, "same_file")
    other = tmp_path / "other.DNG"
    os.link(stored, other)
    refused(other, stored, "same_file")


def test_a_link_stays(source: Path, stored: Path, tmp_path: Path) -> None:
    link = tmp_path / "link.DNG"
    link.symlink_to(source)
    refused(link, stored, "is_a_link")


def test_a_source_that_is_gone_is_told(source: Path, stored: Path) -> None:
    source.unlink()
    with pytest.raises(DarklibError, match="it is not there"):
        remove_source(Seam(), source, SHA, stored)


def test_a_source_that_cannot_be_removed_keeps_its_permissions(source: Path, stored: Path) -> None:
    quiet = BreakingSeam()
    source.chmod(0o444)
    spare = source.with_name("spare.DNG")
    spare.write_bytes(DATA)
    remove_source(quiet, spare, SHA, stored)
    unlink = 1 + [name for name, _ in quiet.calls].index("unlink")
    with pytest.raises(DarklibError, match="Cannot remove"):
        remove_source(BreakingSeam(unlink, "EACCES"), source, SHA, stored)
    assert source.read_bytes() == DATA
    if os.name != "nt":
        assert source.stat().st_mode & 0o777 == 0o444


# Temporary files of killed runs


def test_only_old_temporary_files_of_our_own_are_swept(tmp_path: Path) -> None:
    class Later(Seam):
        def now(self) -> datetime:
            return datetime.now(UTC) + timedelta(hours=2)

    for name in (".x.fits.abcdefgh.part", "x.fits", "x.part", ".hidden", ".x.part.fits"):
        (tmp_path / name).touch()
    (tmp_path / ".folder.x.part").mkdir()
    assert sweep(Seam(), tmp_path) == []
    assert sweep(Later(), tmp_path) == [tmp_path / ".x.fits.abcdefgh.part"]
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        ".folder.x.part",
        ".hidden",
        ".x.part.fits",
        "x.fits",
        "x.part",
    ]


@pytest.mark.parametrize(
    ("name", "ours"),
    [
        (".x.fits.abcdefgh.part", True),
        (".a.b.part", True),
        ("x.fits.part", False),
        (".x.part", False),
        (".x.fits.a.par", False),
    ],
)
def test_temporary_names(name: str, ours: bool) -> None:
    assert is_part(name) is ours
