"""Time as it passes on the wall: whole processes, and two ways of doing one thing taken in turns."""

from __future__ import annotations

import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
BYTE_CODE = Path(tempfile.gettempdir()) / "darklib-bench-byte-code"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table. target: in words; met: None where nothing was promised, or nothing could be measured."""

    what: str
    measured: str
    reference: str
    ratio: str
    target: str
    met: bool | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """How much to measure. rounds: of taking turns; files, megabytes: of the ingest rows; scratch: where files go."""

    quick: bool
    rounds: int
    files: int
    megabytes: float
    scratch: Path
    cache: Path


def seconds_of(work: Callable[[], object]) -> float:
    """How long one call takes."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def in_turns(first: Callable[[], object], second: Callable[[], object], rounds: int) -> tuple[list[float], list[float]]:
    """Seconds of both, A B A B, so that whatever slows the machine down for a while slows both."""
    a, b = [], []
    for _ in range(rounds):
        a.append(seconds_of(first))
        b.append(seconds_of(second))
    return a, b


def process(*words: str, statuses: Sequence[int] = (0,)) -> Callable[[], subprocess.CompletedProcess[bytes]]:
    """A call that starts the project's interpreter with these words and waits for its end.

    Raises RuntimeError where it ends with another status than `statuses`: the time of a failure says nothing.
    """
    command = [sys.executable, *words]
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1", "PYTHONPYCACHEPREFIX": str(BYTE_CODE)}
    # Installed programs have their byte code beside them; a checkout may be told not to write any.
    surroundings.pop("PYTHONDONTWRITEBYTECODE", None)

    def call() -> subprocess.CompletedProcess[bytes]:
        done = subprocess.run(command, env=surroundings, cwd=ROOT, check=False, capture_output=True)
        if done.returncode not in statuses:
            said = done.stderr.decode("utf-8", "replace")[-2000:]
            raise RuntimeError(f"status {done.returncode}: {subprocess.list2cmdline(command)}\n{said}")
        return done

    return call


def median(values: Sequence[float]) -> float:
    """The middle one."""
    return float(statistics.median(values))


def usable_cores() -> int:
    """Cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def machine() -> str:
    """What the figures were measured on, in one line."""
    memory = ""
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        memory = f", {os.sysconf('SC_PHYS_PAGES') * os.sysconf('SC_PAGE_SIZE') / 2**30:.0f} GB of memory"
    return (
        f"{usable_cores()} cores{memory}, {platform.system()} {platform.machine()}, "
        f"Python {platform.python_version()}, load {_load()} at the start"
    )


def _load() -> str:
    return f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "unknown"


def milliseconds(seconds: float) -> str:
    """As read: '34.2 ms', '812 ms'."""
    value = seconds * 1000
    return f"{value:.1f} ms" if value < 100 else f"{value:.0f} ms"
