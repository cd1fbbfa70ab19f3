"""Breaking every call of every command in every way that applies to it, and looking at what is left.

After each broken call: only an error in words came out; no source is lost; the library opens; `verify` finds nothing
but leftovers; the same command again brings the state of an undisturbed run.
"""

from __future__ import annotations

import json
import os
import shutil
import zlib
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from breaking_seam import ERRNOS, FAULTS, Killed
from small_library import COMMANDS, Command, FaultSeam, FixedSeam, differences, set_stage, sha, state

from darklib.facts.errors import DarklibError
from darklib.jobs.library import open_library
from darklib.jobs.verify import verify
from darklib.store.durable import is_part
from darklib.store.seam import StrPath

T = TypeVar("T")
BY_NUMBER = tuple(name for name in ERRNOS if name in ("EIO", "ENOSPC", "EACCES"))
MEDDLING = ("shrink", "grow", "touch")
READS = frozenset(["read", "readinto", "transfer"])


class WatchfulSeam(FaultSeam):
    """Looks, at the moment a source is taken away, whether it may be: its copy is whole, its journal line durable."""

    def __init__(self, at: Path, n: int = 0, fault: str = "EIO") -> None:
        super().__init__(n, fault)
        self.at = at
        self.taken: list[str] = []
        self.too_early: list[str] = []

    def unlink(self, path: StrPath) -> None:
        if Path(path).is_relative_to(self.at / "card") and not self.killed:
            self.taken.append(os.fspath(path))
            trouble = self._not_yet(Path(path))
            if trouble:
                self.too_early.append(f"{path}: {trouble}")
        super().unlink(path)

    def _not_yet(self, path: Path) -> str:
        content = sha(path.read_bytes())
        library = self.at / "library"
        for journal in sorted((library / "journal").glob("*.jsonl")):
            for entry in whole_lines(journal.read_bytes()):
                if entry["do"] == "stored" and entry["record"]["sha256"] == content:
                    if sha((library / entry["record"]["path"]).read_bytes()) != content:
                        return "the stored copy differs"
                    return self._not_durable(journal, library / entry["record"]["path"])
        return "no journal line"

    def _not_durable(self, journal: Path, stored: Path) -> str:
        """By the calls of this run: what was written to a file was followed by its fsync, a name by its folder's."""
        for written, synced, place, folder in (
            ("write", "fsync", journal, journal),
            ("create_exclusive", "fsync_folder", journal, journal.parent),
            ("link", "fsync_folder", stored, stored.parent),
            ("mkdir", "fsync_folder", stored.parent, stored.parent.parent),
        ):
            calls = [n for n, call in enumerate(self.calls) if call == (written, str(place))]
            after = [n for n, call in enumerate(self.calls) if call == (synced, str(folder))]
            if calls and (not after or after[-1] < calls[-1]):
                return f"{written} of {place.name} without {synced}"
        return ""


def whole_lines(data: bytes) -> Iterable[dict[str, Any]]:
    """Entries of a journal file, read here anew from the description of its lines: JSON, with a CRC-32 of the entry."""
    *lines, _ = data.split(b"\n")
    for line in lines:
        document = json.loads(line)
        start = line.index(b'"entry":') + len(b'"entry":')
        end = line.rindex(b',"crc32":')
        assert zlib.crc32(line[start:end]) == document["crc32"]
        yield document["entry"]


@dataclass
class Tally:
    """What was tried on one command. calls: those of an undisturbed run; tried: faults by sort; survived: all good."""

    command: str
    calls: int = 0
    tried: Counter[str] = field(default_factory=Counter)
    survived: int = 0
    troubles: list[str] = field(default_factory=list)

    @property
    def count(self) -> int:
        return sum(self.tried.values())


@dataclass(frozen=True)
class Undisturbed:
    calls: list[tuple[str, str]]
    final: dict[str, Any]
    taken: int


_undisturbed: dict[tuple[str, Path], Undisturbed] = {}


def undisturbed(name: str, template: Path, at: Path) -> Undisturbed:
    """Runs a command with nothing broken: its calls, and the state it leaves."""
    if (name, at) not in _undisturbed:
        set_stage(template, at)
        seam = WatchfulSeam(at)
        seam.hasty = COMMANDS[name].hasty
        COMMANDS[name].act(seam, at)
        assert seam.too_early == []
        assert found_by_verify(template, at, leftovers=False) == []
        _undisturbed[name, at] = Undisturbed(list(seam.calls), state(at), len(seam.taken))
    return _undisturbed[name, at]


def faults_for(call: tuple[str, str], at: Path) -> tuple[str, ...]:
    """The faults that make sense for a call. Nobody meddles with the journal, which is ours: that is damage, which
    `verify` finds, and no fault of a command.
    """
    name, path = call
    if name not in READS:
        return (*BY_NUMBER, "kill")
    outside = not Path(path).is_relative_to(at / "library" / "journal") and not path.endswith("darklib.toml")
    return (*BY_NUMBER, "kill", "short", "end", *(MEDDLING if outside else ()))


def try_fault(name: str, n: int, fault: str, quiet: Undisturbed, template: Path, at: Path, tally: Tally) -> None:
    """Breaks call n of a command and notes in the tally what came of it."""
    command = COMMANDS[name]
    set_stage(template, at)
    seam = WatchfulSeam(at, n, fault)
    seam.hasty = command.hasty
    troubles: list[str] = list(seam.too_early)
    try:
        command.act(seam, at)
    except (DarklibError, Killed):
        pass
    except Exception as error:  # noqa: BLE001 - whatever else comes out is what is looked for
        troubles.append(f"not an error in words: {error!r}")
    if seam.broke is None:
        troubles.append("the call was never made")
    tally.tried[fault] += 1
    if fault in MEDDLING:
        mend(template, at)
    troubles += seam.too_early
    troubles += sources_lost(template, at, command)
    troubles += found_by_verify(template, at, leftovers=True, row_by_row=fault == "kill")
    try:
        command.act(FixedSeam(), at)
    except DarklibError as error:
        if error.code not in command.repeated:
            troubles.append(f"the same command again failed: {error.code}: {error}")
    troubles += [f"another state: {line}" for line in differences(quiet.final, state(at))]
    if troubles:
        call = quiet.calls[n - 1]
        tally.troubles.append(f"{name}, call {n} {call[0]} {Path(call[1]).name}, {fault}: " + " | ".join(troubles[:4]))
    else:
        tally.survived += 1


def mend(template: Path, at: Path) -> None:
    """Puts back what a fault did to a file that was there before: somebody's editor has finished, the card is whole."""
    for old in template.rglob("*"):
        path = at / old.relative_to(template)
        ours = {"journal", "cache", "backups", "catalogue.sqlite", "darklib.toml"} & set(
            old.relative_to(template).parts
        )
        if not old.is_file() or ours or not path.exists():
            continue
        if path.read_bytes() != old.read_bytes() or path.stat().st_mtime_ns != old.stat().st_mtime_ns:
            path.chmod(0o644)
            shutil.copy2(old, path)


def sources_lost(template: Path, at: Path, command: Command) -> list[str]:
    """Files of the card that are neither where they were nor, where the command may move them, in the library."""
    lost = []
    for old in (template / "card").rglob("*"):
        path = at / old.relative_to(template)
        if not old.is_file() or (path.exists() and path.read_bytes() == old.read_bytes()):
            continue
        if not command.moves or path.exists():
            lost.append(f"the source was changed: {old.name}")
        elif not any(
            kept.read_bytes() == old.read_bytes()
            for kept in (at / "library" / "frames").rglob("*")
            if kept.is_file() and not is_part(kept.name)
        ):
            lost.append(f"the source is gone and no copy there: {old.name}")
    return lost


def found_by_verify(template: Path, at: Path, *, leftovers: bool, row_by_row: bool = True) -> list[str]:
    """What `verify` finds beyond remarks. leftovers: whole copies that no journal knows yet are fine. row_by_row: a
    sample, even of everything, compares no more than the frames of catalogue and journal, which takes half the time.
    """
    root = at / "new" if (at / "new" / "darklib.toml").exists() else at / "library"
    try:
        with open_library(root, seam=FixedSeam()) as opened:
            result = verify(opened, sample=None if row_by_row else 1.0)
    except DarklibError as error:
        return [f"verify: {error.code} {error}"]
    troubles = [f"verify: {one.code} {one.path}" for one in (*result.differing, *result.missing)]
    if result.catalogue != "ok":
        troubles.append(f"verify: {result.catalogue}")
    card = {sha(path.read_bytes()) for path in (template / "card").rglob("*") if path.is_file()}
    first = {sha(path.read_bytes()) for path in (template / "first").rglob("*") if path.is_file()}
    troubles += [
        f"verify: unknown {name}"
        for name in result.unknown_files
        if not leftovers or sha(Path(name).read_bytes()) not in card | first
    ]
    return troubles


def run_map(name: str, template: Path, at: Path, chosen: Callable[[int, tuple[str, ...]], Iterable[str]]) -> Tally:
    """Tries, for every call of a command, the faults that `chosen` picks of those that apply."""
    quiet = undisturbed(name, template, at)
    tally = Tally(name, len(quiet.calls))
    for n, call in enumerate(quiet.calls, 1):
        faults = faults_for(call, at)
        if COMMANDS[name].lasting:
            faults = tuple(fault for fault in faults if fault not in MEDDLING)
        for fault in chosen(n, faults):
            assert fault in FAULTS
            try_fault(name, n, fault, quiet, template, at, tally)
    return tally
