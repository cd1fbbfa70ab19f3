"""Two real processes at one library: no frame lost, none stored twice, nobody told that something is locked."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from fault_map import whole_lines
from replay_check import assert_replay_is_equal
from small_library import fits, put, set_stage, sha

from darklib.catalogue.catalogue import FrameQuery
from darklib.facts.errors import DarklibError
from darklib.jobs.ingest import ingest
from darklib.jobs.library import open_library
from darklib.jobs.rebuild import rebuild
from darklib.store import keeping_apart
from darklib.store.layout import Library
from darklib.store.seam import Seam

pytestmark = pytest.mark.usefixtures("in_process")
PROCESS = Path(__file__).with_name("process.py")


def card(first: int, count: int, name: str = "IMG") -> dict[str, bytes]:
    """Frames of several series that differ by less than what tells series and trains apart."""
    kinds = ("Light", "Dark", "Flat", "Bias")
    return {
        f"{number % 3}/{name}_{number:04}.fits": fits(
            kinds[number % 4], number, exposure_s=300.0 + (number % 5) / 1000, focal_mm=478.0 + number % 5
        )
        for number in range(first, first + count)
    }


def run(at: Path, *tasks: Sequence[str]) -> list[dict[str, int]]:
    """Starts one process a task, lets all begin at once, and returns what each said. Those that `look` end last."""
    go, done = at / "go", at / "done"
    processes = [
        subprocess.Popen(
            [sys.executable, str(PROCESS), str(at / "library"), str(go), *task],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for task in tasks
    ]
    answers: dict[int, dict[str, int]] = {}
    try:
        for process in processes:
            assert process.stdout is not None
            assert process.stdout.readline() == "ready\n"
        go.touch()
        for number in sorted(range(len(tasks)), key=lambda number: tasks[number][0] == "look"):
            if tasks[number][0] == "look":
                done.touch()
            out, err = processes[number].communicate(timeout=100)
            assert (processes[number].returncode, err) == (0, ""), f"{tasks[number]} said {err}"
            answers[number] = json.loads(out)
    finally:
        for process in processes:
            process.kill()
            process.communicate()
    return [answers[number] for number in range(len(tasks))]


def look_after(at: Path, before: set[str], *cards: dict[str, bytes]) -> tuple[int, int]:
    """Every frame of the cards is stored, once, with the right content; journals are whole; a replay gives the same.

    Returns how many frames and how many journal files there are.
    """
    wanted = {sha(data) for one in cards for data in one.values()}
    journals = sorted((at / "library" / "journal").glob("*.jsonl"))
    entries: list[dict[str, Any]] = [entry for path in journals for entry in whole_lines(path.read_bytes())]
    stored = [entry["record"]["sha256"] for entry in entries if entry["do"] == "stored"]
    assert sorted(stored) == sorted(before | wanted), "each frame has one line"
    with open_library(at / "library") as opened:
        frames = opened.catalogue.frames(FrameQuery(retired=None)).frames
        assert opened.replayed == 0
    assert {frame.sha256 for frame in frames} == before | wanted
    files = {path for path in (at / "library" / "frames").rglob("*") if path.is_file()}
    assert {sha(path.read_bytes()) for path in files} == before | wanted
    assert len(files) == len(frames), "no second copy is left"
    assert_replay_is_equal(at, "two at once")
    return len(frames), len(journals)


def before(at: Path) -> set[str]:
    with open_library(at / "library") as opened:
        return {frame.sha256 for frame in opened.catalogue.frames(FrameQuery(retired=None)).frames}


def test_two_processes_take_in_cards_with_frames_in_common(
    stage: tuple[Path, Path], record_property: Callable[[str, object], None]
) -> None:
    set_stage(*stage)
    at = stage[1]
    known = before(at)
    one, other = card(100, 24), card(112, 24, "DSC")
    put(at / "one", one)
    put(at / "other" / "deeper", other)
    first, second = run(at, ("ingest", str(at / "one")), ("ingest", str(at / "other")))
    assert (first["seen"], second["seen"]) == (24, 24)
    assert first["stored"] + second["stored"] == 36
    assert first["duplicates"] + second["duplicates"] == 12
    frames, journals = look_after(at, known, one, other)
    record_property(
        "measured",
        f"two processes, 24 files each, 12 in common: {frames - len(known)} frames stored, {journals} journals",
    )


@pytest.mark.long
@pytest.mark.parametrize("attempt", range(3))
def test_two_processes_take_in_the_same_card(
    attempt: int, stage: tuple[Path, Path], record_property: Callable[[str, object], None]
) -> None:
    set_stage(*stage)
    at = stage[1]
    known = before(at)
    files = card(200 + 60 * attempt, 60)
    put(at / "one", files)
    first, second = run(at, ("ingest", str(at / "one")), ("ingest", str(at / "one")))
    assert first["stored"] + second["stored"] == 60
    assert first["duplicates"] + second["duplicates"] == 60
    frames, journals = look_after(at, known, files)
    record_property(
        "measured", f"two processes, the same 60 files: {frames - len(known)} frames stored, {journals} journals"
    )


@pytest.mark.long
def test_others_match_while_cards_are_taken_in(
    stage: tuple[Path, Path], record_property: Callable[[str, object], None]
) -> None:
    set_stage(*stage)
    at = stage[1]
    known = before(at)
    one, other = card(400, 60), card(460, 60)
    put(at / "one", one)
    put(at / "other", other)
    _, _, third = run(at, ("ingest", str(at / "one")), ("ingest", str(at / "other")), ("look", str(at / "done")))
    assert third["fewer"] == 0, "frames only ever become more"
    assert third["replayed"] == 0, "what others record they apply themselves"
    assert third["looks"] > 1
    frames, _ = look_after(at, known, one, other)
    assert third["frames"] == frames
    record_property("measured", f"two ingests of 60 files and {third['looks']} matches meanwhile: {frames} frames")


def test_rebuild_has_the_library_alone(stage: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """It changes nothing while others are at work, and others do not get between its two renames."""
    set_stage(*stage)
    root = stage[1] / "library"
    monkeypatch.setattr(keeping_apart, "WAIT_ALONE_S", 0.05)
    monkeypatch.setattr(keeping_apart, "WAIT_S", 0.05)
    with open_library(root) as opened:
        with pytest.raises(DarklibError, match="Another darklib is using") as told:
            rebuild(root)
        assert told.value.code == "library_busy"
        assert not list(opened.layout.backups.glob("*rebuild*"))
        ingest(opened, [str(stage[1] / "card")], copiers=0)
    with keeping_apart.alone(Seam(), Library(root)), pytest.raises(DarklibError, match="being made anew or upgraded"):
        open_library(root)
    rebuild(root)
    with open_library(root) as opened:
        assert opened.catalogue.counts()["frames"] == len(before(stage[1])) > 7
