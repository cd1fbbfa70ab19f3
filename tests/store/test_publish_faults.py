"""Each call of each writing step is broken in turn, in each way: nothing half stays, and a second try makes it good."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pytest
from breaking_seam import BreakingSeam, Killed, LinklessSeam, PoorestSeam, WindowsSeam

from darklib.facts.errors import DarklibError
from darklib.store import durable, hashing
from darklib.store.journal import JournalWriter, read
from darklib.store.layout import Library, make, put_aside
from darklib.store.seam import Seam

DATA = bytes(range(256)) * 20
SHA = hashlib.sha256(DATA).hexdigest()
OTHER = b"stands there already"
RUN = "20261125T093015Z-ab1c2d3"


class LinklessBreaking(LinklessSeam, BreakingSeam):
    def __init__(self, n: int = 0, fault: str = "EIO") -> None:
        BreakingSeam.__init__(self, n, fault)
        self.number = 1


class PoorestBreaking(PoorestSeam, BreakingSeam):
    def __init__(self, n: int = 0, fault: str = "EIO") -> None:
        BreakingSeam.__init__(self, n, fault)
        self.number = 1


class WindowsBreaking(WindowsSeam, BreakingSeam):
    pass


@dataclass(frozen=True)
class Step:
    """before: makes the scene below a folder; act: the step; final: what must stand afterwards, path -> content."""

    act: Callable[[Seam, Path], object]
    final: dict[str, bytes]
    source_stays: bool = True


def _publish(seam: Seam, at: Path) -> object:
    with seam.open_read(at / "card" / "IMG.DNG") as handle:
        return durable.publish(seam, handle, at / "lib" / "dark", "x.dng", SHA)


def _batch(seam: Seam, at: Path) -> object:
    with durable.Batch(seam, at / "lib") as batch:
        durable.copy_in(seam, at / "card" / "IMG.DNG", at / "lib" / "dark", "x.dng", SHA, batch=batch)
        return durable.publish(seam, OTHER, at / "lib" / "dark", "y.dng", batch=batch)


def _journal(seam: Seam, at: Path) -> object:
    # A broken run's file stays as it is; the next run has a file of its own.
    number = len(list((at / "lib").glob("*.jsonl"))) + 1
    with JournalWriter(seam, at / "lib", f"20261125T09301{number}Z-ab1c2d3") as journal:
        journal.append({"what": "stored"})
        return journal.append({"what": "retired"})


STEPS: dict[str, Step] = {
    "publish": Step(_publish, {"lib/dark/x.dng": DATA}),
    "copy_in": Step(
        lambda seam, at: durable.copy_in(seam, at / "card" / "IMG.DNG", at / "lib" / "dark", "x.dng", SHA),
        {"lib/dark/x.dng": DATA},
    ),
    "copy_in beside another": Step(
        lambda seam, at: durable.copy_in(seam, at / "card" / "IMG.DNG", at / "lib", "taken.dng", SHA),
        {"lib/taken-2.dng": DATA},
    ),
    "batch": Step(_batch, {"lib/dark/x.dng": DATA, "lib/dark/y.dng": OTHER}),
    "write_new": Step(
        lambda seam, at: durable.write_new(seam, at / "lib" / "list.txt", b"a\nb\n"), {"lib/list.txt": b"a\nb\n"}
    ),
    "put_aside": Step(
        lambda seam, at: put_aside(
            seam, Library(at / "lib"), RUN, at / "card" / "IMG.DNG", "100_IMG.DNG", "It is damaged.\n", SHA
        ),
        {f"lib/set-aside/{RUN}/100_IMG.DNG": DATA, f"lib/set-aside/{RUN}/100_IMG.DNG.txt": b"It is damaged.\n"},
    ),
    "make": Step(lambda seam, at: make(seam, at / "new", "# empty\n"), {"new/darklib.toml": b"# empty\n"}),
    "remove_source": Step(
        lambda seam, at: durable.remove_source(seam, at / "card" / "IMG.DNG", SHA, at / "lib" / "copy.dng"),
        {},
        source_stays=False,
    ),
}


@pytest.fixture(autouse=True)
def _small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """A small file is then read and written in several pieces."""
    monkeypatch.setattr(hashing, "PIECE", 3000)
    monkeypatch.setattr(durable, "PIECE", 3000)
    monkeypatch.setattr(durable, "TRANSFERRED", 3000)


def scene(at: Path) -> None:
    (at / "card").mkdir(parents=True)
    (at / "card" / "IMG.DNG").write_bytes(DATA)
    (at / "lib").mkdir()
    (at / "lib" / "taken.dng").write_bytes(OTHER)
    (at / "lib" / "copy.dng").write_bytes(DATA)


ALWAYS = {"lib/taken.dng": OTHER, "lib/copy.dng": DATA}


def standing(at: Path) -> dict[str, bytes]:
    """Every file below, temporary ones left out."""
    return {
        path.relative_to(at).as_posix(): path.read_bytes()
        for path in sorted(at.rglob("*"))
        if path.is_file() and not durable.is_part(path.name)
    }


@pytest.mark.parametrize(
    "disk",
    [BreakingSeam, LinklessBreaking, PoorestBreaking, WindowsBreaking],
    ids=["links", "fat", "poorest", "windows"],
)
@pytest.mark.parametrize("name", STEPS)
def test_every_call_broken_in_every_way(name: str, disk: type[BreakingSeam], tmp_path: Path) -> None:
    step = STEPS[name]
    scene(tmp_path / "quiet")
    quiet = disk()
    step.act(quiet, tmp_path / "quiet")
    source = {} if not step.source_stays else {"card/IMG.DNG": DATA}
    final = ALWAYS | source | step.final
    assert standing(tmp_path / "quiet") == final
    assert quiet.count > 3
    broken = 0
    faults = ("EIO", "ENOSPC", "EACCES", "kill", "short", "end") if disk is BreakingSeam else ("EIO", "kill")
    for fault in faults:
        for n in range(1, quiet.count + 1):
            at = tmp_path / f"{fault}-{n}"
            scene(at)
            seam = disk(n, fault)
            outcome: object = None
            try:
                step.act(seam, at)
            except (DarklibError, Killed) as error:
                outcome = error
            except OSError as error:
                # Only the test's own opening of the source is outside the words of `durable`.
                assert seam.broke == ("open_read", str(at / "card" / "IMG.DNG"))
                outcome = error
            if seam.broke is None:
                assert outcome is None
                continue
            broken += 1
            found = standing(at)
            empty_claims = {key for key, data in found.items() if data == b"" and disk is PoorestBreaking}
            if fault != "kill":
                assert not empty_claims
                parts = [path for path in at.rglob("*") if durable.is_part(path.name)]
                assert parts == [], "a step that failed cleans up after itself"
            for key, data in found.items():
                assert key in empty_claims or data in (DATA, OTHER, final.get(key)), f"half a file: {key}"
            if step.source_stays:
                assert found["card/IMG.DNG"] == DATA
            if outcome is None:
                assert found == final
            # Once more on a healthy disk: as if nothing had happened, but for what a kill left behind.
            if empty_claims and name in ("write_new", "make"):
                continue  # on the poorest disk an exact name stays taken; the file can be deleted, `verify` says so
            if outcome is not None and "card/IMG.DNG" in found and "new/darklib.toml" not in found:
                step.act(disk(), at)
            after = standing(at)
            if empty_claims:
                assert set(step.final.values()) <= set(after.values())
            else:
                assert after == final
            for folder in [path for path in at.rglob("*") if path.is_dir()]:
                durable.sweep(Seam(), folder, older_than_s=-1000)
            assert [path for path in at.rglob("*") if durable.is_part(path.name)] == []
    assert broken > quiet.count * (len(faults) - 2), "the faults were really there"


def test_a_journal_broken_at_any_call_never_tells_a_lie(tmp_path: Path) -> None:
    """What was acknowledged is read back, what was refused is not."""
    wanted = [{"number": number} for number in range(3)]

    def run(seam: Seam, folder: Path) -> list[dict[str, int]]:
        acknowledged = []
        with JournalWriter(seam, folder, RUN) as journal:
            for entry in wanted:
                try:
                    journal.append(entry)
                except DarklibError:
                    continue
                acknowledged.append(entry)
        return acknowledged

    (tmp_path / "quiet").mkdir()
    quiet = BreakingSeam()
    assert run(quiet, tmp_path / "quiet") == wanted
    for fault in ("EIO", "ENOSPC", "kill"):
        for n in range(1, quiet.count + 1):
            folder = tmp_path / f"{fault}{n}"
            folder.mkdir()
            seam = BreakingSeam(n, fault)
            acknowledged: list[dict[str, int]] = []
            with suppress(Killed):
                acknowledged = run(seam, folder)
            path = folder / f"{RUN}.jsonl"
            lines = [line.entry for line in read(Seam(), path)] if path.exists() else []
            if fault == "kill":
                assert lines == wanted[: len(lines)]
            else:
                assert seam.broke is not None
                assert lines == acknowledged
                assert len(acknowledged) < 3, "after a failure the writer refuses to go on"


def test_a_full_disk_leaves_nothing_half(tmp_path: Path) -> None:
    """The disk fills up in the middle of the second piece; the error says what to do."""
    scene(tmp_path)
    quiet = BreakingSeam()
    durable.copy_in(quiet, tmp_path / "card" / "IMG.DNG", tmp_path / "one", "x.dng", SHA)
    second = [number for number, (name, _) in enumerate(quiet.calls, 1) if name in ("transfer", "write")][1]
    with pytest.raises(DarklibError, match="the disk is full") as told:
        durable.copy_in(BreakingSeam(second, "ENOSPC"), tmp_path / "card" / "IMG.DNG", tmp_path / "two", "x.dng", SHA)
    assert told.value.code == "disk_full"
    assert "Make room" in told.value.remedy
    assert list((tmp_path / "two").iterdir()) == []
