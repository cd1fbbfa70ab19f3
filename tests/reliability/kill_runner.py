"""Runs commands in child processes that kill themselves, process group and all, at a call that is asked for.

Started by test_kill.py as a process of its own: `kill_runner.py AT MIGRATIONS`. Each line of standard input is a JSON
document {"command", "n", "workers"}; each is answered by one line {"killed", "calls", "left"}. A child is forked for
each, so that the libraries are loaded once. Calls are those of the seam and every statement and commit of the
catalogue; a write that is to be the last is done by half.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable
from io import FileIO
from pathlib import Path
from typing import Any, TypeVar

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent.parent)]

from breaking_seam import _UNCOUNTED  # noqa: E402
from small_library import COMMANDS, UPGRADE, FixedSeam, InProcessGuard, later_darklib  # noqa: E402
from sqlalchemy import Engine, event  # noqa: E402

from darklib.catalogue import address  # noqa: E402
from darklib.jobs import intake  # noqa: E402
from darklib.readers import guard as readers  # noqa: E402
from darklib.store import durable, hashing  # noqa: E402
from darklib.store.seam import Buffer  # noqa: E402

T = TypeVar("T")


class Counter:
    """Counts calls of all sorts; at number n the process group is killed."""

    n = 0
    calls = 0

    def call(self) -> None:
        self.calls += 1
        if self.calls == self.n:
            os.killpg(os.getpgid(0), signal.SIGKILL)
            time.sleep(60)


COUNTER = Counter()


class KillingSeam(FixedSeam):
    def _call(self, name: str, path: str, func: Callable[[], T]) -> T:
        if name not in _UNCOUNTED:
            COUNTER.call()
        return func()

    def write(self, handle: FileIO, data: Buffer) -> int:
        if COUNTER.calls + 1 == COUNTER.n:
            handle.write(bytes(data)[: len(data) // 2])
        return super().write(handle, data)

    def transfer(self, source: FileIO, target: FileIO, count: int) -> int:
        if COUNTER.calls + 1 == COUNTER.n:
            os.sendfile(target.fileno(), source.fileno(), None, max(1, os.fstat(source.fileno()).st_size // 2))
        return super().transfer(source, target, count)


def count_the_catalogue() -> None:
    event.listen(Engine, "before_cursor_execute", lambda *_: COUNTER.call())
    event.listen(Engine, "commit", lambda *_: COUNTER.call())
    back_up = address.back_up

    def counted(*arguments: Any) -> None:
        COUNTER.call()
        back_up(*arguments)
        COUNTER.call()

    address.back_up = counted


def child(asked: dict[str, Any], at: Path, migrations: Path, answer: int) -> None:
    os.setpgid(0, 0)
    COUNTER.n = asked["n"]
    guard = intake.Guard
    if not asked["workers"]:
        intake.Guard = readers.Guard = InProcessGuard  # type: ignore[assignment, misc]
    durable.PIECE = durable.TRANSFERRED = hashing.PIECE = 4096
    assert guard is not InProcessGuard
    if asked["command"] == "upgrade":
        with later_darklib(migrations):
            UPGRADE.act(KillingSeam(), at)
    else:
        seam = KillingSeam()
        seam.hasty = COMMANDS[asked["command"]].hasty
        COMMANDS[asked["command"]].act(seam, at)
    os.write(answer, str(COUNTER.calls).encode())


def run(asked: dict[str, Any], at: Path, migrations: Path) -> dict[str, Any]:
    reading, writing = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(reading)
        try:
            child(asked, at, migrations, writing)
            os._exit(0)
        except BaseException as error:  # noqa: BLE001 - told to the test
            os.write(2, f"{asked}: {error!r}\n".encode())
            os._exit(1)
    os.close(writing)
    _, status = os.waitpid(pid, 0)
    with os.fdopen(reading, "rb") as pipe:
        calls = pipe.read()
    if os.WIFEXITED(status) and os.WEXITSTATUS(status):
        return {"error": os.WEXITSTATUS(status)}
    return {
        "killed": os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL,
        "calls": int(calls or 0),
        "left": left_of(pid),
    }


def left_of(group: int) -> bool:
    """Whether a process of the killed group is still there after a moment."""
    for _ in range(200):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return False
        except PermissionError:  # macOS says so of a group of zombies
            return False
        time.sleep(0.01)
    return True


if __name__ == "__main__":
    count_the_catalogue()
    place, folder = Path(sys.argv[1]), Path(sys.argv[2])
    for line in sys.stdin:
        sys.stdout.write(json.dumps(run(json.loads(line), place, folder)) + "\n")
        sys.stdout.flush()
