"""What hot pixels say, worked out in a process of its own: it wants memory for every frame of the library, which goes
with the process and would else stay with one that watches for weeks.
"""

import signal
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from multiprocessing import get_context
from pathlib import Path

from darklib.jobs.derive import Derived, after_ingest, derive
from darklib.jobs.library import Opened, open_library
from darklib.jobs.results import IngestResult


def after_round(opened: Opened, result: IngestResult) -> IngestResult:
    """As `derive.after_ingest`; nothing is done where nothing was stored."""
    if result.dry_run or not result.stored:
        return result
    with ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_deaf) as apart:
        derived = apart.submit(_derived, opened.root).result()
    return after_ingest(opened, result, derived)


def _derived(root: Path) -> Derived:
    with open_library(root) as opened:
        return derive(opened)


def _deaf() -> None:
    # Ctrl-C goes to every process of the terminal; the watch decides what it means.
    with suppress(ValueError, OSError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
