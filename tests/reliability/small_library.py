"""A small library with a bit of everything in it, a card to take in, and every command that writes: the stage of this
folder's tests. Files are of a few kilobytes, so that thousands of runs stay affordable.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from importlib import import_module
from io import FileIO
from pathlib import Path
from typing import Any

import numpy as np
from breaking_seam import BreakingSeam

from darklib.catalogue import schema
from darklib.facts.errors import DarklibError
from darklib.facts.naming import body_id
from darklib.facts.train import TrainFacts, fingerprint
from darklib.jobs import audit, correct
from darklib.jobs.asked import Nights, Stated
from darklib.jobs.export import export
from darklib.jobs.ingest import ingest
from darklib.jobs.library import init, open_library
from darklib.jobs.rebuild import rebuild
from darklib.jobs.results import IngestResult
from darklib.jobs.verify import verify
from darklib.jobs.watch import Asked as Watched
from darklib.jobs.watch import Watch
from darklib.readers.answers import Look, Refusal
from darklib.readers.guard import LOOK
from darklib.readers.open import look
from darklib.scenario.fits_file import fits_bytes
from darklib.store.durable import is_part
from darklib.store.seam import Seam, StrPath

NOW = datetime(2026, 10, 5, 9, 0, tzinfo=UTC)
MODIFIED = datetime(2026, 10, 4, 3, 0, tzinfo=UTC).timestamp()
REFUSED_AT_FIRST = "refused_at_first"
"""Files with this in their name are refused while the library is made, and can be read later."""


class FixedSeam(Seam):
    """Real files, and a clock that stands still: two runs of one command then record the same.

    Nothing waits for the disk: no test here cuts the power, and thousands of fsyncs take minutes.
    """

    hasty = False
    """The clock leaps, so that a run records every file by itself, as a slow card makes it do."""
    _seconds = 0.0

    def now(self) -> datetime:
        return NOW

    def monotonic(self) -> float:
        self._seconds += 60.0 if self.hasty else 0.0
        return self._seconds

    def fsync(self, handle: FileIO) -> None:
        self._call("fsync", str(handle.name), lambda: None)

    def fsync_folder(self, path: StrPath) -> None:
        self._call("fsync_folder", os.fspath(path), lambda: None)


class FaultSeam(FixedSeam, BreakingSeam):
    """Breaks one call; else as FixedSeam."""


class InProcessGuard:
    """Stands in for the worker processes: looks in this process, and at each content once.

    refusing: files that were refused when the library was made.
    """

    refusing = False
    _known: dict[tuple[str, str, float], Look] = {}  # noqa: RUF012

    def __init__(self, workers: int = 0, timeout_s: float = 0.0, task: str = LOOK) -> None:
        self.workers, self.task = workers, task

    def __enter__(self) -> InProcessGuard:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def map(self, paths: list[str], ahead: int = 8) -> Iterator[Look]:
        for path in paths:
            yield self._look(path)

    def _look(self, path: str) -> Look:
        if self.task != LOOK:
            module, _, function = self.task.partition(":")
            found_by_task: Look = getattr(import_module(module), function)(path)
            return found_by_task
        try:
            data = Path(path).read_bytes()
        except OSError:
            return look(path)
        key = hashlib.sha256(data).hexdigest(), Path(path).suffix, Path(path).stat().st_mtime
        if key not in self._known:
            self._known[key] = look(path)
        found = replace(self._known[key], path=path)
        if self.refusing and REFUSED_AT_FIRST in path:
            return replace(found, facts=None, pixels=None, refusal=Refusal("unsupported", "a form not read yet"))
        return found


@cache
def fits(
    kind: str | None,
    number: int = 0,
    *,
    exposure_s: float = 300.0,
    serial: str | None = "0042",
    focal_mm: float = 480.0,
    model: str = "Alder 26",
) -> bytes:
    """A frame of 48 x 32 pixels. kind: for IMAGETYP, None for a header without one."""
    level = {"Light": 1100, "Dark": 520, "Flat": 22000, "Bias": 500, None: 9000}[kind]
    pixels = np.random.default_rng([number, level]).normal(level, 12.0, (32, 48)).round().astype(np.uint16)
    lines: list[tuple[str, Any, str]] = [
        ("INSTRUME", model, ""),
        ("EXPTIME", exposure_s, ""),
        ("GAIN", 100, ""),
        ("OFFSET", 50, ""),
        ("CCD-TEMP", -10.0, ""),
        ("SET-TEMP", -10.0, ""),
        ("DATE-OBS", f"2026-10-03T22:{number // 60:02d}:{number % 60:02d}", ""),
    ]
    if serial:
        lines.append(("SERIALNO", serial, ""))
    if kind is not None:
        lines.append(("IMAGETYP", kind, ""))
    if kind in ("Light", "Flat"):
        lines += [("FILTER", "L", ""), ("TELESCOP", "Linden 80", ""), ("FOCALLEN", focal_mm, ""), ("APTDIA", 80.0, "")]
    if kind == "Light":
        lines.append(("OBJECT", "NGC 7331", ""))
    return fits_bytes(pixels, lines)


def put(folder: Path, files: Mapping[str, bytes]) -> None:
    """Writes files, all modified at one moment."""
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        os.utime(path, (MODIFIED, MODIFIED))


FIRST_CARD = {
    "lights/L_1.fits": fits("Light", 1),
    "darks/D_1.fits": fits("Dark", 1),
    "darks/D_2.fits": fits("Dark", 2),
    "flats/F_1.fits": fits("Flat", 3, exposure_s=2.0),
    "biases/B_1.fits": fits("Bias", 4, exposure_s=0.0),
    f"{REFUSED_AT_FIRST}.fits": fits("Dark", 5),
}
SPARE_CARD = {"darks/S_1.fits": fits("Dark", 6, serial=None), "darks/S_2.fits": fits("Dark", 7, serial=None)}
CARD = {
    "lights/L_1.fits": fits("Light", 11),
    "lights/L_2.fits": fits("Light", 12),
    "darks/D_1.fits": fits("Dark", 13),
    "again/darks/D_1.fits": fits("Dark", 13),
    "grey/G_1.fits": fits(None, 14, exposure_s=30.0),
    "known.fits": FIRST_CARD["darks/D_2.fits"],
    "short.fits": fits("Dark", 15)[:4000],
    "notes.txt": b"the seeing was poor\n",
}


def make_stage(at: Path) -> None:
    """Makes the stage: `library` with frames, a correction, a retired frame and a file set aside; `card` to take in.

    The guard must be replaced by InProcessGuard.
    """
    seam = FixedSeam()
    put(at / "first", FIRST_CARD)
    put(at / "spare", SPARE_CARD)
    put(at / "card", CARD)
    init(str(at / "library"), timezone="Etc/GMT+1", seam=seam)
    InProcessGuard.refusing = True
    try:
        with open_library(at / "library", seam=seam) as opened:
            ingest(opened, [str(at / "first")], copiers=0)
            ingest(opened, [str(at / "spare")], copiers=0)
            correct.amend(opened, [sha(FIRST_CARD["darks/D_1.fits"])], {"temperature_c": -9.5}, note="sensor was off")
            correct.retire(opened, [sha(FIRST_CARD["darks/D_2.fits"])], note="a light leak")
    finally:
        InProcessGuard.refusing = False


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


@dataclass(frozen=True)
class Command:
    """act: runs the command on a stage. moves: the source may be taken away. repeated: codes of errors that running it
    once more may end in, since there is nothing left to do. hasty: see FixedSeam. lasting: what somebody
    changes meanwhile is rightly taken for what it then is (a watch looks again; a second copy is spoilt for good).
    """

    act: Callable[[Seam, Path], Any]
    moves: bool = False
    repeated: tuple[str, ...] = ()
    hasty: bool = False
    lasting: bool = False


def _job(job: Callable[..., Any], *arguments: Any, **named: Any) -> Callable[[Seam, Path], Any]:
    def act(seam: Seam, at: Path) -> Any:
        with open_library(at / "library", seam=seam) as opened:
            return job(opened, *arguments, **named)

    return act


def _ingest(**named: Any) -> Callable[[Seam, Path], Any]:
    def act(seam: Seam, at: Path) -> Any:
        with open_library(at / "library", seam=seam) as opened:
            return ingest(opened, [str(at / "card")], copiers=0, **named)

    return act


class Unheard:
    """Whom a watch tells what is looked for on the disk instead. A mistake of the program is none of a disk."""

    def watching(self, places: Sequence[str]) -> None:
        pass

    def took_in(self, result: IngestResult, root: Path) -> None:
        pass

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        assert error.code != "unexpected", error.text

    def note(self, text: str) -> None:
        pass


def _watch(seam: Seam, at: Path) -> None:
    """A few looks at the card, each later than any pause: what settled is taken in, what failed is tried again."""
    now_s = 0.0
    seam.monotonic = lambda: now_s  # type: ignore[method-assign]
    watch = Watch(at / "library", Watched((str(at / "card"),)), Unheard(), seam)
    watch.begin()
    for _ in range(5):
        watch.look()
        now_s += 4000.0


def _verify_against(seam: Seam, at: Path) -> None:
    """The second copy is made by somebody else, who meets no faults."""
    for name in ("frames", "set-aside", "journal"):
        if not (at / "second" / name).exists():
            shutil.copytree(at / "library" / name, at / "second" / name)
    shutil.copy2(at / "library" / "darklib.toml", at / "second")
    with open_library(at / "library", seam=seam) as opened:
        verify(opened, against=str(at / "second"))


def _export(form: str) -> Callable[[Seam, Path], Any]:
    def act(seam: Seam, at: Path) -> Any:
        with open_library(at / "library", seam=seam) as opened:
            return export(
                opened,
                to=str(at / "handed"),
                describe=lambda batch: {"id": batch.id},
                nights=Nights(),
                form=form,
            )

    return act


DARK_1, DARK_2, FLAT_1 = (sha(FIRST_CARD[name]) for name in ("darks/D_1.fits", "darks/D_2.fits", "flats/F_1.fits"))
AT = "2026-10-04T12:00"
WITHOUT_SERIAL = body_id(None, "Alder 26", None)
LINDEN = fingerprint(TrainFacts("Linden 80", 480.0, 80.0))

COMMANDS: dict[str, Command] = {
    "init": Command(
        lambda seam, at: init(str(at / "new"), timezone="Etc/UTC", seam=seam), repeated=("library_exists",)
    ),
    "ingest": Command(_ingest()),
    "ingest --move": Command(_ingest(move=True), moves=True),
    "ingest --in-place": Command(_ingest(in_place=True)),
    "ingest --watch": Command(_watch, lasting=True),
    "ingest, stated": Command(_ingest(stated=Stated(body="Old box", temperature_c=-7.0)), hasty=True),
    "set-aside --retry": Command(_job(audit.retry_set_aside), hasty=True),
    "amend": Command(
        _job(correct.amend, [DARK_1, FLAT_1], {"exposure_s": 301.5, "filter": "Ha"}, note="a typing error")
    ),
    "amend --undo": Command(_job(correct.undo, [DARK_1])),
    "retire": Command(_job(correct.retire, [DARK_1, FLAT_1], note="clouds")),
    "restore": Command(_job(correct.restore, [DARK_2])),
    "bodies name": Command(_job(correct.name_body, "0042", "The old camera")),
    "bodies join": Command(_job(correct.join_bodies, WITHOUT_SERIAL, "0042")),
    "bodies changed": Command(_job(correct.body_changed, "0042", what="remapped", at=AT, note="")),
    "trains changed": Command(_job(correct.train_changed, LINDEN, at=AT, note="taken apart")),
    "export --as list": Command(_export("list")),
    "export --as csv": Command(_export("csv")),
    "export --as links": Command(_export("links")),
    "export --as copies": Command(_export("copies")),
    "verify --against": Command(_verify_against, lasting=True),
    "rebuild": Command(lambda seam, at: rebuild(at / "library", seam=seam)),
}
UPGRADE = Command(lambda seam, at: open_library(at / "library", seam=seam).close())
"""Run by `later_darklib`: the tables are brought up to its own."""


LATER_TABLES = """
import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade():
    with op.batch_alter_table("bodies", recreate="always") as batch:
        batch.add_column(sa.Column("colour", sa.Text(), nullable=True))
    op.execute("UPDATE bodies SET colour = 'red'")
    op.create_table("notes", sa.Column("pk", sa.Integer(), primary_key=True), sa.Column("text", sa.Text()))
    op.create_index("ix_notes_text", "notes", ["text"])
"""


@contextmanager
def later_darklib(folder: Path) -> Iterator[None]:
    """A later version, whose tables are today's and one migration more. folder: where its migrations are put."""
    if not folder.exists():
        ours = next(one for one in schema.migration_folders() if (one / "env.py").exists())
        shutil.copytree(ours, folder, ignore=shutil.ignore_patterns("__pycache__"))
        (folder / "versions" / "0005_later.py").write_text(LATER_TABLES, encoding="utf-8")
    before = schema.migration_folders, schema.REVISION
    schema.migration_folders, schema.REVISION = lambda: (folder,), "0005"
    try:
        yield
    finally:
        schema.migration_folders, schema.REVISION = before


# What stands on a stage


def state(at: Path) -> dict[str, Any]:
    """All that counts: files by their content, and the rows of the catalogue. Runs, their times, and the folders that
    are named after a run are left out: a second try is another run.
    """
    with open_library(at / "library" if not (at / "new").exists() else at / "new", seam=FixedSeam()):
        pass
    found: dict[str, Any] = {}
    for path in sorted(at.rglob("*")):
        name = path.relative_to(at).as_posix()
        inside = name.split("/")[1:] if name.startswith(("library/", "new/")) else None
        if inside and inside[0] in ("journal", "backups", "cache", "catalogue.sqlite-wal", "catalogue.sqlite-shm"):
            continue
        if inside and (inside[0].endswith(".lock") or inside[0] == "catalogue.sqlite"):
            continue
        if path.is_symlink():
            found[name] = f"-> {os.readlink(path)}"
        elif path.is_file() and not is_part(path.name):
            if inside and inside[0] == "set-aside":
                name = f"library/set-aside/{inside[-1]}"
            found[name] = sha(path.read_bytes())
    for root in ("library", "new"):
        if (at / root).exists():
            found[f"{root} catalogue"] = rows(at / root / "catalogue.sqlite")
    return found


_NAMES = {"bodies": "id", "readouts": "key", "series": "id", "trains": "fingerprint"}
_REFERS = {"body": "bodies", "readout": "readouts", "series": "series", "train": "trains", "joined_to": "bodies"}
_VARIES = frozenset(["pk", "run", "statement", "made_at"])


def rows(path: Path, *, runs: bool = False) -> dict[str, list[str]]:
    """Every row of every table, with plain sqlite3; references by what they refer to. runs: ids of runs count too."""
    # What is worked out from other rows is made anew by a rebuild, and so at another time.
    varies = {"pk", "made_at"} if runs else _VARIES
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        tables = [
            row[0]
            for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            if row[0] not in ("about", "alembic_version", "" if runs else "runs") and not row[0].startswith("sqlite_")
        ]
        held = {name: [dict(row) for row in connection.execute(f"SELECT * FROM {name}")] for name in tables}
    named = {table: {row["pk"]: row[column] for row in held[table]} for table, column in _NAMES.items()}
    out = {}
    for table, found in sorted(held.items()):
        lines = []
        for row in found:
            plain = {}
            for column, value in row.items():
                if column in varies:
                    continue
                if column in _REFERS and column != table and isinstance(value, int):
                    value = named[_REFERS[column]][value]
                if column == "undone_by" and not runs:
                    value = value is not None
                if column == "kept_path" and not runs and str(value).startswith("set-aside/"):
                    value = str(value).split("/")[-1]
                if isinstance(value, str) and value[:1] in ("{", "["):
                    value = json.loads(value)  # the order of keys means nothing
                plain[column] = value
            # The card holds one frame twice. Which of them was stored and which only seen may change with a fault.
            lines.append(json.dumps(plain, sort_keys=True, default=str).replace("/again/", "/"))
        out[table] = sorted(lines)
    return out


def differences(one: Mapping[str, Any], other: Mapping[str, Any]) -> list[str]:
    """What differs between two states, in words short enough to read."""
    lines = []
    for name in sorted(one.keys() | other.keys()):
        a, b = one.get(name), other.get(name)
        if isinstance(a, dict) and isinstance(b, dict):
            lines += [f"{name}: {line}" for line in differences(a, b)]
        elif isinstance(a, list) and isinstance(b, list):
            lines += [f"{name}: {line}" for line in _rows_that_differ(a, b)]
        elif a != b:
            lines.append(f"{name}: {a} / {b}")
    return lines


def _rows_that_differ(a: list[str], b: list[str]) -> Iterator[str]:
    first = [json.loads(row) for row in a if a.count(row) > b.count(row)]
    second = [json.loads(row) for row in b if b.count(row) > a.count(row)]
    if len(first) != len(second):
        yield f"{len(a)} / {len(b)} rows"
    for x, y in zip(first, second, strict=False):
        yield ", ".join(f"{key} {x[key]!r} / {y[key]!r}" for key in x if x[key] != y[key])
    for x in (first[len(second) :], second[len(first) :]):
        for row in x:
            yield f"only in one: {row}"


def set_stage(template: Path, at: Path) -> None:
    """A fresh copy of the stage, always at the same place: paths are recorded, and must not make a difference."""
    if at.exists():
        shutil.rmtree(at)
    shutil.copytree(template, at, symlinks=True)
