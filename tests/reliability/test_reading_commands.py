"""Commands that only look: where the disk refuses a call, they say so or leave the file out, and change nothing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from small_library import DARK_1, FaultSeam, set_stage

from darklib.facts.errors import DarklibError
from darklib.jobs import audit, overview
from darklib.jobs.asked import FramesAsked, GapsAsked, Nights
from darklib.jobs.explain import explain
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, open_library
from darklib.jobs.match import match
from darklib.jobs.plan import gaps

pytestmark = pytest.mark.usefixtures("in_process")

COMMANDS: dict[str, Callable[[Opened, Path], Any]] = {
    "status": lambda opened, at: overview.status(opened),
    "frames": lambda opened, at: overview.frames(opened, FramesAsked()),
    "sets": lambda opened, at: overview.sets(opened),
    "bodies": lambda opened, at: overview.bodies(opened),
    "trains": lambda opened, at: overview.trains(opened),
    "batches": lambda opened, at: overview.batches(opened),
    "match": lambda opened, at: match(opened, nights=Nights()),
    "gaps": lambda opened, at: gaps(opened, GapsAsked(plan=True)),
    "explain": lambda opened, at: explain(opened, DARK_1),
    "check": lambda opened, at: audit.check(opened, [str(at / "card"), str(at / "first")]),
    "verify": lambda opened, at: audit.verify(opened),
    "verify --against, dry": lambda opened, at: audit.verify(opened, against=str(at / "copy"), dry_run=True),
    "set-aside": lambda opened, at: audit.set_aside(opened),
    "ingest --dry-run": lambda opened, at: ingest(opened, [str(at / "card")], dry_run=True, copiers=0),
}


def snapshot(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.endswith(("-wal", "-shm", ".lock"))
    }


def look(name: str, seam: FaultSeam, at: Path) -> Any:
    with open_library(at / "library", seam=seam) as opened:
        return COMMANDS[name](opened, at)


def broken_everywhere(name: str, stage: tuple[Path, Path], step: int) -> tuple[int, int]:
    set_stage(*stage)
    at = stage[1]
    if "against" in name:
        set_stage(stage[0] / "library", at / "copy")
    quiet = FaultSeam()
    look(name, quiet, at)
    before = snapshot(at)
    tried = 0
    for n in range(1, quiet.count + 1, step):
        seam = FaultSeam(n, "EIO")
        try:
            look(name, seam, at)
        except DarklibError as error:
            assert error.text  # noqa: PT017
            assert error.remedy  # noqa: PT017
        tried += 1
        assert snapshot(at) == before, f"{name}, call {n}: {quiet.calls[n - 1]}"
    return quiet.count, tried


@pytest.mark.parametrize("name", ["status", "check", "verify"])
def test_some_calls_broken(name: str, stage: tuple[Path, Path]) -> None:
    assert broken_everywhere(name, stage, 13)[1] > 1


@pytest.mark.long
@pytest.mark.parametrize("name", COMMANDS)
def test_every_call_broken(name: str, stage: tuple[Path, Path], record_property: Callable[[str, object], None]) -> None:
    calls, tried = broken_everywhere(name, stage, 1)
    record_property("measured", f"faults, only looking: {name}: {calls} calls, {tried} broken (EIO), {tried} survived")


def test_what_cannot_be_read_is_never_cleared_for_erasing(stage: tuple[Path, Path]) -> None:
    """Whichever call of `check` fails, the answer is an error or not a yes it would not have given."""
    set_stage(*stage)
    at = stage[1]
    quiet = FaultSeam()
    with open_library(at / "library", seam=quiet) as opened:
        opening = quiet.count
        assert not audit.check(opened, [str(at / "card")]).may_erase, "most of that card was never taken in"
    for n in range(opening + 1, quiet.count + 1, 5):
        seam = FaultSeam(n, "EIO")
        with open_library(at / "library", seam=seam) as opened:
            try:
                assert not audit.check(opened, [str(at / "card")]).may_erase
            except DarklibError:
                continue
