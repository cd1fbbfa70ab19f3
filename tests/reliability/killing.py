"""Commands in processes of their own that are killed at a call, and what is left of them."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, nullcontext
from pathlib import Path
from typing import Any

from fault_map import found_by_verify, sources_lost
from small_library import COMMANDS, UPGRADE, Command, FixedSeam, differences, later_darklib, rows, set_stage, state

Ask = Callable[[str, int, bool], dict[str, Any]]

KILLED = [
    "ingest",
    "ingest --move",
    "amend",
    "set-aside --retry",
    "export --as copies",
    "rebuild",
    "upgrade",
    "verify --against",
]


@contextmanager
def runner(at: Path, migrations: Path) -> Iterator[Ask]:
    """Return a function that runs a command in a process of its own, which is killed at call n (0: never)."""
    command = [sys.executable, str(Path(__file__).with_name("kill_runner.py")), str(at), str(migrations)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None

        def asking(name: str, n: int, workers: bool = False) -> dict[str, Any]:
            assert process.stdin is not None
            assert process.stdout is not None
            process.stdin.write(json.dumps({"command": name, "n": n, "workers": workers}) + "\n")
            process.stdin.flush()
            answer: dict[str, Any] = json.loads(process.stdout.readline())
            assert "error" not in answer, "what went wrong stands in the standard error of the test"
            return answer

        yield asking
        process.stdin.close()


def kill_at(
    name: str, numbers: list[int], ask: Ask, stage: tuple[Path, Path], folder: Path, *, workers: bool = False
) -> list[str]:
    """Kills a command at each of the calls; what is wrong afterwards."""
    template, at = stage
    command: Command = UPGRADE if name == "upgrade" else COMMANDS[name]
    set_stage(template, at)
    before = rows(at / "library" / "catalogue.sqlite")
    with later_darklib(folder / "migrations") if name == "upgrade" else nullcontext():
        command.act(FixedSeam(), at)
        final = state(at)
    troubles = []
    for n in numbers:
        set_stage(template, at)
        answer = ask(name, n, workers)
        found = [] if answer["killed"] and not answer["left"] else [f"not killed: {answer}"]
        if name == "upgrade":
            found += between(at / "library", before)
        with later_darklib(folder / "migrations") if name == "upgrade" else nullcontext():
            found += sources_lost(template, at, command)
            found += found_by_verify(template, at, leftovers=True)
            command.act(FixedSeam(), at)
            found += differences(final, state(at))
        troubles += [f"{name}, killed at call {n}: {line}"[:600] for line in found[:3]]
    return troubles


def between(library: Path, before: dict[str, list[str]]) -> list[str]:
    """The tables are the old ones or the new ones, and a backup, once it is whole, is the old catalogue."""
    with closing(sqlite3.connect(library / "catalogue.sqlite")) as connection:
        (version,) = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        columns = {row[1] for row in connection.execute("PRAGMA table_info(bodies)")}
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    found = []
    if ("colour" in columns, "notes" in tables) != ((version == "0005"),) * 2:
        found.append(f"tables between old and new: {version} {sorted(columns)} {sorted(tables)}")
    if version == "0004" and rows(library / "catalogue.sqlite") != before:
        found.append("the old tables are not as they were")
    backup = library / "backups" / "catalogue-0004-before-0005.sqlite"
    whole = backup.exists() and backup.stat().st_size > 0
    if (whole and rows(backup) != before) or (version == "0005" and not whole):
        found.append("the backup is not the old catalogue")
    return found


def spread(calls: int, most: int) -> list[int]:
    return sorted({1 + place * (calls - 1) // max(min(most, calls) - 1, 1) for place in range(min(most, calls))})
