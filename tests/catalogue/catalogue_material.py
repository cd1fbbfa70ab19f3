"""Frames, entries and catalogues for the tests of this room, and a look at rows with nothing but sqlite3."""

import hashlib
import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from darklib.catalogue.catalogue import Catalogue
from darklib.catalogue.schema import open_catalogue
from darklib.facts.entries import Entry, RunEnded, RunStarted, Stated, Stored
from darklib.facts.frame import (
    Frame,
    FrameFacts,
    FrameRecord,
    Kind,
    KindDecision,
    KindFrom,
    PixelFacts,
    Statement,
)
from darklib.facts.train import TrainFacts

NOW = datetime(2026, 10, 4, 9, 0, tzinfo=UTC)
NIGHT = datetime(2026, 10, 3, 21, 0, tzinfo=UTC)
SCOPE = TrainFacts("Linden 80", 480.0, 80.0)

# What a replay in another order of rows may number otherwise, and what refers to such numbers.
_NUMBERS = {
    "frames": {"body": "bodies", "readout": "readouts", "series": "series", "train": "trains"},
    "series": {"body": "bodies", "readout": "readouts", "train": "trains"},
    "bodies": {"joined_to": "bodies"},
}
_NAMES = {"bodies": "id", "readouts": "key", "series": "id", "trains": "fingerprint"}


def sha_of(name: object) -> str:
    return hashlib.sha256(repr(name).encode()).hexdigest()


def pixel_facts(version: int = 1, median_dn: float = 500.0, **changes: Any) -> PixelFacts:
    values: dict[str, Any] = {
        "version": version,
        "width": 40,
        "height": 30,
        "median_dn": median_dn,
        "mad_dn": 6.0,
        "mean_dn": 501.25,
        "sd_dn": 9.5,
        "min_dn": 460.0,
        "max_dn": 2000.0,
        "saturated_fraction": 0.0,
        "dn_step": 1,
        "zero_rows": 0,
    }
    return PixelFacts(**{**values, **changes})


def record(
    name: object,
    kind: Kind | None = Kind.DARK,
    *,
    at: datetime | None = NIGHT,
    path: str | None = None,
    source_path: str | None = None,
    size: int = 5760,
    in_place: bool = False,
    measured: PixelFacts | None = None,
    measure: bool = True,
    zone: str = "Etc/UTC",
    **read: Any,
) -> FrameRecord:
    """A frame as a cooled camera writes it. `read` changes what the file says; `name` makes its content."""
    facts: dict[str, Any] = {
        "make": "Alder",
        "model": "A 26",
        "serial": "0042",
        "exposure_s": 300.0,
        "gain": 100.0,
        "offset": 50.0,
        "width": 40,
        "height": 30,
        "bits": 16,
        "sensor_temperature_c": -10.0,
        "set_temperature_c": -10.0,
        "taken_at": at,
    }
    if kind in (Kind.LIGHT, Kind.FLAT):
        facts |= {"train": SCOPE, "filter": "L"}
    if kind is Kind.LIGHT:
        facts |= {"target": "M 31"}
    sha256 = sha_of(name)
    return FrameRecord(
        sha256=sha256,
        size=size,
        path=path or f"frames/{name}.fits",
        in_place=in_place,
        read=FrameFacts("fits", kind=kind, **{**facts, **read}),
        measured=(measured or pixel_facts()) if measure else None,
        decision=KindDecision(kind, KindFrom.HEADER if kind else None, 1.0 if kind else 0.0, "as the header says"),
        zone=zone,
        source_path=source_path or f"/card/{name}.fits",
        modified=NOW - timedelta(hours=6),
    )


def stored(name: object, kind: Kind | None = Kind.DARK, *statements: Statement, **changes: Any) -> Stored:
    return Stored(record(name, kind, **changes), statements)


def started(run: str, command: str = "ingest") -> RunStarted:
    return RunStarted(run, command, ("CARD",), NOW, "0.1.0", "host")


def ended(run: str) -> RunEnded:
    return RunEnded(run, NOW + timedelta(minutes=1), {"stored": 1})


def made(folder: Path, name: str = "catalogue.sqlite") -> Catalogue:
    """A catalogue in a new file: a copy of one that was made once, since making one takes a third of a second."""
    path = folder / name
    if not path.exists():
        path.write_bytes(_empty())
    return open_catalogue(path, folder / "backups", create=False)


@cache
def _empty() -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "catalogue.sqlite"
        open_catalogue(path, Path(folder), create=True).close()
        return path.read_bytes()


def applied(catalogue: Catalogue, entries: Sequence[Entry], run: str = "run-1", offset: int | None = None) -> None:
    """Applies entries as those of one run's journal file; offsets count entries where not given."""
    file = f"{run}.jsonl"
    if offset is None:
        offset = catalogue.positions().get(file, 0) + len(entries)
    catalogue.apply(entries, run=run, journal_file=file, offset=offset)


def raw(path: Path, sql: str, *values: Any) -> list[tuple[Any, ...]]:
    """Rows as plain sqlite3 finds them in the file, through a connection of its own."""
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(sql, values).fetchall()


def dump(path: Path, leave_out: Iterable[str] = ()) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table without row numbers; references are given by what they refer to. Sorted."""
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        tables = [
            row[0]
            for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
            if row[0] not in {"about", "alembic_version", *leave_out}
        ]
        rows = {name: [dict(row) for row in connection.execute(f"SELECT * FROM {name}")] for name in tables}
    named = {table: {row["pk"]: row[column] for row in rows[table]} for table, column in _NAMES.items()}
    for table, columns in _NUMBERS.items():
        for row in rows[table]:
            for column, refers_to in columns.items():
                row[column] = named[refers_to].get(row[column])
    for table, found in rows.items():
        for row in found:
            row.pop("pk", None)
        rows[table] = sorted(found, key=repr)
    return rows


def emptied(catalogue: Catalogue) -> Catalogue:
    """Takes all rows out: a new file for every example would take most of the time."""
    with closing(sqlite3.connect(catalogue.path)) as connection:
        for (table,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
            if table not in ("about", "alembic_version"):
                connection.execute(f"DELETE FROM {table}")
        connection.commit()
    return catalogue


def one(catalogue: Catalogue, name: object = "a") -> Frame:
    (frame,) = catalogue.frames_by_id([sha_of(name)])
    return frame


def stated(field: str, value: str | float | None, *names: object, number: str = "s1") -> Stated:
    return Stated(number, tuple(sha_of(name) for name in names), field, value, "my note", NOW)


def body_id(catalogue: Catalogue, name: object) -> str:
    body = one(catalogue, name).body
    assert body is not None
    return body.id
