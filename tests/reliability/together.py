"""Several darklib processes at one library, and what must hold afterwards."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fault_map import whole_lines
from replay_check import assert_replay_is_equal
from small_library import fits, sha

from darklib.catalogue.catalogue import FrameQuery
from darklib.jobs.library import open_library

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
