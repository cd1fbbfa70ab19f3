"""What darklib was put through and survived: calls broken, processes killed, bits flipped, two at one library.

The machinery is that of tests/reliability, which does the same in smaller portions; see there for what must hold after
each. Nothing here cuts the power: fsyncs are counted as calls, not tried.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "reliability"), str(ROOT / "tests")]

import pytest  # noqa: E402
from fault_map import Tally, run_map  # type: ignore[import-not-found]  # noqa: E402
from killing import KILLED, kill_at, runner, spread  # type: ignore[import-not-found]  # noqa: E402
from setting import in_this_process, made_stage  # type: ignore[import-not-found]  # noqa: E402
from small_library import COMMANDS, FixedSeam, put, rows, set_stage  # type: ignore[import-not-found]  # noqa: E402
from together import before, card, look_after  # type: ignore[import-not-found]  # noqa: E402
from together import run as together  # noqa: E402

from darklib.facts.errors import DarklibError  # noqa: E402
from darklib.jobs.library import open_library  # noqa: E402
from darklib.jobs.verify import verify  # noqa: E402

Stage = tuple[Path, Path]


def run(seed: int, count: int) -> str:
    """The topic of scripts/figures.py. count: about so many calls are broken; a twentieth as many processes are killed
    and a third as many bits flipped.
    """
    dice = random.Random(seed)
    lines = [
        f"Seed {seed}. What must hold afterwards stands in DEVELOPERS.md.",
        "",
        "| what | done | calls of one run | tried | survived or found |",
        "|---|---|---:|---:|---:|",
    ]
    with tempfile.TemporaryDirectory(prefix="darklib-reliability-") as folder, pytest.MonkeyPatch.context() as patch:
        stage = made_stage(Path(folder))
        in_this_process(patch)
        lines += _broken(stage, count, dice)
        lines += _killed(stage, Path(folder) / "migrations", max(count // 20, 14))
        lines += _flipped(stage, count // 3, dice)
        lines += _at_once(stage)
    return "\n".join(lines)


def _told(text: str) -> None:
    print(f"{time.strftime('%H:%M:%S')} {text}", file=sys.stderr, flush=True)


def _row(what: str, done: str, calls: object, tried: int, good: object) -> str:
    return f"| {what} | {done} | {calls} | {tried} | {good} |"


def _broken(stage: Stage, count: int, dice: random.Random) -> Iterable[str]:
    """Calls broken: for each command as many as fall to it, every call at least once where that is enough."""
    tallies: list[Tally] = []
    lines = []
    each = count // len(COMMANDS)
    for name in COMMANDS:
        _told(f"breaking {name}")
        tally = run_map(name, *stage, _chooser(name, stage, each, dice))
        tallies.append(tally)
        sorts = ", ".join(f"{number} {fault}" for fault, number in sorted(tally.tried.items()))
        lines.append(_row(f"call broken, `{name}`", sorts, tally.calls, tally.count, tally.survived))
        lines += [f"| | **{trouble[:300]}** | | | |" for trouble in tally.troubles[:3]]
    tried, survived = sum(one.count for one in tallies), sum(one.survived for one in tallies)
    return [*lines, _row("**calls broken, all commands**", "", sum(one.calls for one in tallies), tried, survived)]


def _chooser(name: str, stage: Stage, each: int, dice: random.Random) -> Callable[[int, tuple[str, ...]], list[str]]:
    from fault_map import faults_for, undisturbed

    calls = undisturbed(name, *stage).calls
    pairs = [(n, fault) for n, call in enumerate(calls, 1) for fault in faults_for(call, stage[1])]
    picked = set(pairs if len(pairs) <= each else dice.sample(pairs, each))
    return lambda n, faults: [fault for fault in faults if (n, fault) in picked]


def _killed(stage: Stage, migrations: Path, count: int) -> Iterable[str]:
    lines = []
    total = good = 0
    with runner(stage[1], migrations) as ask:
        for name in KILLED:
            _told(f"killing {name}")
            set_stage(*stage)
            calls = ask(name, 0, False)["calls"]
            numbers = spread(calls, max(count // len(KILLED), 2))
            troubles = kill_at(name, numbers, ask, stage, migrations.parent)
            bad = len({line.split(":")[0] for line in troubles})
            done = "SIGKILL of the process group"
            lines.append(_row(f"killed, `{name}`", done, calls, len(numbers), len(numbers) - bad))
            lines += [f"| | **{trouble[:300]}** | | | |" for trouble in troubles[:3]]
            total, good = total + len(numbers), good + len(numbers) - bad
    return [*lines, _row("**kills, all commands**", "", "", total, good)]


def _flipped(stage: Stage, count: int, dice: random.Random) -> Iterable[str]:
    """One bit at a time turned, `verify` run, the bit turned back."""
    set_stage(*stage)
    library = stage[1] / "library"
    with open_library(library, seam=FixedSeam()):
        pass
    (library / "catalogue.sqlite-wal").unlink(missing_ok=True)
    sound = rows(library / "catalogue.sqlite")
    stored = [path for folder in ("frames", "set-aside") for path in (library / folder).rglob("*.fits")]
    journal = sorted((library / "journal").glob("*.jsonl"))
    lines = []
    for what, files in (("stored files and kept copies", stored), ("the journal", journal)):
        _told(f"flipping bits of {what}")
        found = sum(_seen(library, _turned(dice.choice(files), dice)) for _ in range(count))
        lines.append(_row(f"bit flipped in {what}", "`verify`", "", count, f"{found} found"))
    _told("flipping bits of the catalogue")
    outcomes = {"found": 0, "unused": 0, "missed": 0}
    for _ in range(count):
        turned = _turned(library / "catalogue.sqlite", dice)
        with turned:
            same = _same_rows(library, sound)
            seen = _finds(library)
        outcomes["found" if seen else "unused" if same else "missed"] += 1
    told = f"{outcomes['found']} found, {outcomes['unused']} in unused space, {outcomes['missed']} missed"
    return [*lines, _row("bit flipped in the catalogue, which can be made anew", "`verify`", "", count, told)]


class _turned:  # noqa: N801 - reads as a verb
    """One bit of a file, turned as long as the context lasts."""

    def __init__(self, path: Path, dice: random.Random) -> None:
        self.path, self.whole = path, path.read_bytes()
        self.offset, self.bit = dice.randrange(len(self.whole)), dice.randrange(8)

    def __enter__(self) -> None:
        data = bytearray(self.whole)
        data[self.offset] ^= 1 << self.bit
        self.path.chmod(0o644)
        self.path.write_bytes(data)

    def __exit__(self, *_: object) -> None:
        self.path.write_bytes(self.whole)
        for left in ("-wal", "-shm"):
            if self.path.suffix == ".sqlite":
                Path(f"{self.path}{left}").unlink(missing_ok=True)


def _seen(library: Path, turned: _turned) -> bool:
    with turned:
        return _finds(library)


def _finds(library: Path) -> bool:
    """Whether opening the library or `verify` says that something is wrong."""
    try:
        with open_library(library, seam=FixedSeam()) as opened:
            return verify(opened).needs_attention
    except DarklibError:
        return True


def _same_rows(library: Path, sound: dict[str, Any]) -> bool:
    try:
        return bool(rows(library / "catalogue.sqlite") == sound)
    except Exception:  # noqa: BLE001 - whatever a damaged database makes SQLite or the comparison say
        return False


def _at_once(stage: Stage) -> Iterable[str]:
    template, at = stage
    lines = []
    for first, files, common in ((100, 60, 30), (300, 60, 60)):
        _told(f"two at once, {common} of {files} in common")
        set_stage(template, at)
        known = before(at)
        one, other = card(first, files), card(first + files - common, files, "DSC")
        put(at / "one", one)
        put(at / "other", other)
        together(at, ("ingest", str(at / "one")), ("ingest", str(at / "other")))
        frames, journals = look_after(at, known, one, other)
        done = f"{files} files each, {common} in common; {journals} journal files, replay equal"
        wanted = 2 * files - common
        told = f"{frames - len(known)} rows and files"
        lines.append(_row("two processes take in cards at once", done, "", wanted, told))
    return lines
