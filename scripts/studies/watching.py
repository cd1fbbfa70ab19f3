"""Memory of a watch over many files: a real process, its resident memory looked at after every round."""

from __future__ import annotations

import json
import os
import queue
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import psutil

from darklib.jobs.library import init
from darklib.scenario.fits_file import fits_bytes
from scripts.benchmarks.small_fits import header

ROOT = Path(__file__).resolve().parents[2]
LOOK_EVERY_S = 0.5
"""Ten times as often as usual, so that the study need not wait; what a look leaves behind shows the sooner."""

PORTION = 250
"""Files that arrive together, half as many to half as many again."""

WATCHER = """
import sys
from darklib.jobs import watch
from darklib.store import settled
from darklib.cli.main import run
watch.LOOK_EVERY_S = settled.LOOKS_APART_S = float(sys.argv.pop(1))
run()
"""
"""The program itself; only how often it looks may be chosen, so that a test need not wait."""

MEGABYTE = 1e6


@dataclass(frozen=True)
class Sample:
    """After a round: files taken in so far, resident bytes of the watch, and the most it ever had until then."""

    files: int
    rounds: int
    resident: int
    peak: int


def run(seed: int, count: int) -> str:
    """The table: the same many files, once staying where they are and once moved into the library."""
    started = time.monotonic()
    both = []
    for move in (False, True):
        samples = []
        with TemporaryDirectory() as folder:
            for sample in watched(Path(folder), seed, count, move=move, look_every_s=LOOK_EVERY_S):
                samples.append(sample)
                sys.stderr.write(f"{'moved' if move else 'staying'}: {sample}\n")
        both.append(samples)
    return table(seed, count, *both) + f" Measured in {(time.monotonic() - started) / 60:.0f} minutes."


def table(seed: int, count: int, staying: list[Sample], moved: list[Sample]) -> str:
    """Both series of samples, a row for every tenth of the files, and what they come to."""
    lines = [
        (
            f"Memory of `ingest --watch` over {count:,} small FITS files (seed {seed}) that arrive in portions of "
            f"{PORTION // 2} to {PORTION * 3 // 2}, a look every {LOOK_EVERY_S:g} s: resident memory of the process "
            "after the round, MB."
        ),
        "",
        "| files taken in | files stay | rounds | with `--move` | rounds |",
        "|---:|---:|---:|---:|---:|",
    ]
    step = max(count // 10, 1)
    for files in range(step, count + 1, step):
        cells = []
        for samples in (staying, moved):
            one = next((one for one in samples if one.files >= files), None)
            cells += [f"{one.resident / MEGABYTE:.1f}", str(one.rounds)] if one else ["not measured", ""]
        lines.append(f"| {files:,} | " + " | ".join(cells) + " |")
    lines += [
        "",
        (
            f"Growth over the second half: {growth(staying):.0f} bytes a file where they stay (each is remembered by a "
            f"mark of some hundred bytes for as long as it is there), {growth(moved):.0f} with `--move`. "
            f"Peak {staying[-1].peak / MEGABYTE:.0f} and {moved[-1].peak / MEGABYTE:.0f} MB."
        ),
    ]
    return "\n".join(lines)


def growth(samples: list[Sample]) -> float:
    """Bytes a file, by a straight line through the second half of the samples (least squares)."""
    later = [one for one in samples if one.files >= samples[-1].files / 2]
    if len(later) < 2:
        return float("nan")
    slope: float = np.polyfit([one.files for one in later], [one.resident for one in later], 1)[0]
    return slope


def watched(
    folder: Path, seed: int, count: int, *, move: bool, portion: int = PORTION, look_every_s: float = 5.0
) -> Iterator[Sample]:
    """Watches a folder while files arrive in it; a sample for every round."""
    dice = random.Random(seed)
    library, card = folder / "library", folder / "card"
    init(str(library), timezone="Etc/UTC")
    card.mkdir()
    options = ["--library", str(library), "--json", "--quiet", "ingest", str(card), "--watch", *["--move"] * move]
    with _process([sys.executable, "-c", WATCHER, str(look_every_s), *options]) as (process, lines):
        arrived = files = rounds = 0
        while files < count:
            if arrived == files:
                more = min(dice.randint(portion // 2, portion * 3 // 2), count - arrived)
                for number in range(arrived, arrived + more):
                    _arrive(card, number, seed)
                arrived += more
            document = lines.get(timeout=600)
            if document["schema"] != "darklib/ingest/1" or document["counts"]["stored"] != document["counts"]["seen"]:
                raise RuntimeError(f"the watch told of something else: {json.dumps(document)[:500]}")
            files += document["counts"]["seen"]
            rounds += 1
            looked = psutil.Process(process.pid)
            yield Sample(files, rounds, looked.memory_info().rss, _peak(process.pid))


def _arrive(card: Path, number: int, seed: int) -> None:
    """One file, written under another name first, as careful programs do."""
    pixels = np.random.default_rng([seed, number]).normal(1000.0, 20.0, (50, 60)).astype(np.uint16)
    night = card / f"{(datetime(2026, 9, 12, tzinfo=UTC) + timedelta(days=number // 400)):%Y-%m-%d}"
    night.mkdir(exist_ok=True)
    data = fits_bytes(pixels, header(number, cards=65, kind=("Light Frame", "Dark Frame")[number // 200 % 2]))
    unfinished = night / f"F_{number:05d}.fits.part"
    unfinished.write_bytes(data)
    unfinished.rename(night / f"F_{number:05d}.fits")


def _peak(pid: int) -> int:
    try:
        status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    except OSError:
        return psutil.Process(pid).memory_info().rss
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM")) * 1024


@contextmanager
def _process(command: list[str]) -> Iterator[tuple[subprocess.Popen[str], queue.Queue[dict[str, Any]]]]:
    """The watch, and its documents as they come. It is ended with Ctrl-C, which it must heed."""
    documents: queue.Queue[dict[str, Any]] = queue.Queue()
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, encoding="utf-8", env=environment)
    stdout = process.stdout
    assert stdout is not None

    def read() -> None:
        for line in stdout:
            documents.put(json.loads(line))

    threading.Thread(target=read, daemon=True).start()
    try:
        yield process, documents
        process.send_signal(signal.SIGINT)
        if process.wait(60) != 130:
            raise RuntimeError(f"the watch ended with {process.returncode}")
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
        stdout.close()
