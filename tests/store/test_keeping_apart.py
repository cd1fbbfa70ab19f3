"""Locks between commands: in common, alone, and gone with their process."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from breaking_seam import BreakingSeam

from darklib.facts.errors import DarklibError
from darklib.store import keeping_apart
from darklib.store.keeping_apart import alone, recording, using
from darklib.store.layout import Library
from darklib.store.locking import Lock
from darklib.store.seam import Seam, StrPath

HOLDING = """
import sys, time
from pathlib import Path
from darklib.store import keeping_apart
from darklib.store.layout import Library
from darklib.store.seam import Seam
hold = getattr(keeping_apart, sys.argv[1])(Seam(), Library(Path(sys.argv[2])))
print("held", flush=True)
time.sleep(60)
"""


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("WAIT_S", "WAIT_ALONE_S", "WAIT_TO_RECORD_S"):
        monkeypatch.setattr(keeping_apart, name, 0.05)


def test_many_use_a_library_and_one_has_it_alone(tmp_path: Path, impatient: None) -> None:
    library, seam = Library(tmp_path), Seam()
    with using(seam, library), using(seam, library):
        with pytest.raises(DarklibError, match="Another darklib is using") as told:
            alone(seam, library, 0.05)
        assert (told.value.code, told.value.path) == ("library_busy", str(tmp_path))
        assert "run the same command again" in told.value.remedy
    with alone(seam, library):
        with pytest.raises(DarklibError, match="made anew or upgraded"):
            using(seam, library)
        with pytest.raises(DarklibError, match="using"):
            alone(seam, library, 0.05)
    using(seam, library).release()


def test_one_records_while_others_use(tmp_path: Path, impatient: None) -> None:
    library, seam = Library(tmp_path), Seam()
    with using(seam, library), recording(seam, library), pytest.raises(DarklibError, match="writing to the journal"):
        recording(seam, library)
    hold = recording(seam, library)
    hold.release()
    hold.release()
    recording(seam, library).release()


def test_who_waits_gets_it(tmp_path: Path) -> None:
    library, seam = Library(tmp_path), Seam()
    first = recording(seam, library)
    threading.Timer(0.15, first.release).start()
    recording(seam, library).release()


@pytest.mark.parametrize("how", ["using", "alone", "recording"])
def test_a_killed_process_holds_nothing(how: str, tmp_path: Path, repository: Path) -> None:
    """The system lets a dead process' locks go (flock(2); LockFileEx of Windows), so nothing has to be cleared up."""
    library = Library(tmp_path)
    with subprocess.Popen(
        [sys.executable, "-c", HOLDING, how, str(tmp_path)], stdout=subprocess.PIPE, cwd=repository, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        taking = recording if how == "recording" else alone
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(keeping_apart, "WAIT_TO_RECORD_S", 0.05)
            with pytest.raises(DarklibError, match="Another darklib"):
                taking(Seam(), library) if how == "recording" else alone(Seam(), library, 0.05)
        process.kill()
    taking(Seam(), library).release()


@pytest.mark.parametrize("name", ["ENOLCK", "EROFS", "EACCES", "ENOTSUP", "ENOSPC"])
def test_a_disk_without_locks_stops_nobody(name: str, tmp_path: Path) -> None:
    class Lockless(Seam):
        def lock(self, path: StrPath, *, shared: bool, wait_s: float) -> Lock | None:
            raise OSError(getattr(errno, name), os.strerror(getattr(errno, name)), os.fspath(path))

    for taking in (using, alone, recording):
        with taking(Lockless(), Library(tmp_path)):
            pass


def test_a_failing_disk_is_told(tmp_path: Path) -> None:
    with pytest.raises(DarklibError, match="the disk reports an error") as told:
        using(BreakingSeam(1, "EIO"), Library(tmp_path))
    assert told.value.code == "disk_error"


@pytest.mark.skipif(getattr(os, "geteuid", lambda: 0)() == 0, reason="needs permissions that bind this user")
def test_a_lock_made_by_another_user_still_locks(tmp_path: Path, impatient: None) -> None:
    library = Library(tmp_path)
    using(Seam(), library).release()
    library.in_use.chmod(0o444)
    with using(Seam(), library), pytest.raises(DarklibError, match="using"):
        alone(Seam(), library, 0.05)
