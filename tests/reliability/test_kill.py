"""Real SIGKILL of a real process group, at the calls of a command one after the other: the next run makes it good."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from killing import KILLED, Ask, kill_at, runner, spread
from small_library import set_stage

pytestmark = [
    pytest.mark.usefixtures("in_process"),
    pytest.mark.skipif(not hasattr(os, "fork"), reason="SIGKILL of a process group is of POSIX; Windows has none"),
]

MOST = 80
"""Kills tried on one command, spread evenly over its calls where it makes more."""


@pytest.fixture
def ask(stage: tuple[Path, Path], tmp_path: Path) -> Iterator[Ask]:
    with runner(stage[1], tmp_path / "migrations") as asking:
        yield asking


@pytest.mark.parametrize("name", ["ingest --move"])
def test_killed_at_a_few_calls(
    name: str, ask: Ask, stage: tuple[Path, Path], tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    set_stage(*stage)
    calls = ask(name, 0, False)["calls"]
    numbers = spread(calls, 5)[1:-1]
    troubles = kill_at(name, numbers, ask, stage, tmp_path)
    assert not troubles, "\n".join(troubles)
    record_property("measured", f"kills, a few: {name}: {len(numbers)} of {calls} calls, all survived")


@pytest.mark.long
@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", KILLED)
def test_killed_at_every_call(
    name: str, ask: Ask, stage: tuple[Path, Path], tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    set_stage(*stage)
    calls = ask(name, 0, False)["calls"]
    numbers = spread(calls, MOST)
    troubles = kill_at(name, numbers, ask, stage, tmp_path)
    assert not troubles, "\n".join(troubles)
    record_property("measured", f"kills: {name}: {len(numbers)} of {calls} calls, all survived")


@pytest.mark.long
@pytest.mark.timeout(300)
def test_killed_with_its_worker_processes(
    ask: Ask, stage: tuple[Path, Path], tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """The whole group goes at once, readers as well, and none of them is left."""
    set_stage(*stage)
    calls = ask("ingest", 0, True)["calls"]
    numbers = spread(calls, 8)
    troubles = kill_at("ingest", numbers, ask, stage, tmp_path, workers=True)
    assert not troubles, "\n".join(troubles)
    record_property("measured", f"kills: ingest with workers: {len(numbers)} of {calls} calls, all survived")
