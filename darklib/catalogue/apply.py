"""Journal entries as rows. Applying one again changes nothing, and one by one or all at once gives the same rows.

Whatever the journal holds can be applied: an entry about a frame or body that is not there yet is kept and takes effect
when it comes, since the files of runs that overlapped are replayed one after the other.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import singledispatchmethod
from typing import Any

from sqlalchemy import Connection, bindparam, insert, select, update

from darklib.catalogue.columns import clean
from darklib.catalogue.identities import Identities
from darklib.catalogue.rows import SELECT_FRAMES, Shelf, chunks, frame_values
from darklib.catalogue.series import SeriesBook
from darklib.catalogue.statements import RETIRED, Holding, holding, value_of
from darklib.catalogue.tables import (
    BODY_CHANGES,
    FRAMES,
    MEASUREMENTS,
    RECORDS,
    RUNS,
    SET_ASIDE,
    SOURCES,
    STATEMENTS,
    TRAIN_CHANGES,
)
from darklib.facts import entries as e
from darklib.facts.frame import Frame, FrameRecord, PixelFacts
from darklib.facts.plain import from_plain, to_plain
from darklib.facts.resolve import body_of, frame_of, train_facts
from darklib.facts.units import instant_us

_TOGETHER = 500
"""Frames written in one statement."""


class Applier:
    """Applies entries of one run inside a writing transaction; `finish` writes what was held back."""

    def __init__(self, connection: Connection, run: str) -> None:
        self._connection = connection
        self._run = run
        self._identities = Identities(connection)
        self._series = SeriesBook(connection)
        self._stored: list[e.Stored] = []
        self._measured: list[e.Measured] = []
        self._sources: dict[tuple[str, str], datetime] = {}

    def apply(self, entries: Iterable[e.Entry]) -> None:
        """Applies entries in order."""
        for entry in entries:
            # Frames and figures are written many at a time; whatever else comes needs them written.
            if not isinstance(entry, e.Stored | e.Seen):
                self._write_stored()
            if not isinstance(entry, e.Measured | e.Seen):
                self._write_measured()
            self._one(entry)
            if len(self._stored) >= _TOGETHER:
                self._write_stored()
            if len(self._measured) >= _TOGETHER:
                self._write_measured()

    def finish(self) -> None:
        """Writes all that was held back: frames, figures, sources, and the figures of the series."""
        self._write_stored()
        self._write_measured()
        self._write_sources()
        self._series.finish()

    @singledispatchmethod
    def _one(self, entry: Any) -> None:
        raise TypeError(f"not an entry: {entry!r}")

    @_one.register
    def _run_started(self, entry: e.RunStarted) -> None:
        self._connection.execute(
            update(RUNS)
            .where(RUNS.c.id == clean(self._run))
            .values(
                command=entry.command,
                arguments=list(entry.arguments),
                started_at=instant_us(entry.at),
                version=entry.version,
                host=entry.host,
            )
        )

    @_one.register
    def _run_ended(self, entry: e.RunEnded) -> None:
        values = {"ended_at": instant_us(entry.at), "counts": dict(entry.counts)}
        self._connection.execute(update(RUNS).where(RUNS.c.id == clean(self._run)).values(values))

    # frames come in

    @_one.register
    def _stored_one(self, entry: e.Stored) -> None:
        self._stored.append(entry)

    @_one.register
    def _seen(self, entry: e.Seen) -> None:
        self._sources.setdefault((entry.sha256, entry.source_path), entry.modified)

    def _write_stored(self) -> None:
        waiting, self._stored = self._stored, []
        if not waiting:
            return
        shas = [entry.record.sha256 for entry in waiting]
        known = set(self._connection.scalars(select(FRAMES.c.sha256).where(FRAMES.c.sha256.in_(shas))))
        again = len(set(shas)) < len(shas) or any(one.statements and one.record.sha256 in known for one in waiting)
        for some in [[one] for one in waiting] if again else [waiting]:
            # A frame that comes again with other statements moves; those after it must find it moved.
            self._write_some(some, known)
            known.update(one.record.sha256 for one in some)

    def _write_some(self, waiting: Sequence[e.Stored], known: set[str]) -> None:
        fresh: dict[str, FrameRecord] = {}
        for entry in waiting:
            record = entry.record
            self._sources.setdefault((record.sha256, record.source_path), record.modified)
            if record.sha256 not in known:
                fresh.setdefault(record.sha256, record)
        measured = [
            {"sha256": record.sha256, "version": record.measured.version, "figures": to_plain(record.measured)}
            for record in fresh.values()
            if record.measured is not None
        ]
        self._add_measurements(measured)
        self._add_statements_of(waiting, fresh)
        newest = newest_measurements(self._connection, list(fresh))
        held = holding(self._connection, list(fresh))
        rows = []
        for sha256, record in fresh.items():
            values = self._resolved(replace(record, measured=newest.get(sha256)), held.get(sha256) or Holding())
            rows.append({**values, "run": self._run})
        if rows:
            self._connection.execute(insert(FRAMES), rows)
            facts = [{"sha256": one.sha256, "facts": to_plain(replace(one, measured=None))} for one in fresh.values()]
            self._connection.execute(insert(RECORDS), facts)

    def _add_statements_of(self, waiting: Sequence[e.Stored], fresh: dict[str, FrameRecord]) -> None:
        # What was stated on taking in has no number of its own; it gets one that is the same at every replay.
        rows: list[dict[str, Any]] = []
        at: int | None = None
        for entry in waiting:
            if not entry.statements:
                continue
            record = entry.record
            if at is None:
                at = self._connection.scalar(select(RUNS.c.started_at).where(RUNS.c.id == clean(self._run)))
            plain = frame_of(fresh[record.sha256]) if record.sha256 in fresh else None
            for statement in entry.statements:
                rows.append(
                    {
                        "sha256": record.sha256,
                        "statement": f"{self._run}/{record.id}/{statement.field}",
                        "field": statement.field,
                        "value": statement.value,
                        "old": value_of(plain, statement.field) if plain else None,
                        "note": "",
                        "at": at,
                        "run": self._run,
                    }
                )
        self._add_statements(rows)
        late = {row["sha256"] for row in rows} - fresh.keys()
        if late:
            self._resolve_again(late)

    def _write_sources(self) -> None:
        waiting, self._sources = self._sources, {}
        if not waiting:
            return
        known: set[tuple[str, str]] = set()
        for some in chunks(sorted({sha256 for sha256, _ in waiting})):
            rows = self._connection.execute(
                select(SOURCES.c.sha256, SOURCES.c.source_path).where(SOURCES.c.sha256.in_(some))
            )
            known.update((sha256, path) for sha256, path in rows)
        fresh = [
            {"sha256": sha256, "source_path": path, "modified": instant_us(modified), "run": self._run}
            for (sha256, path), modified in waiting.items()
            if (sha256, clean(path)) not in known
        ]
        if fresh:
            self._connection.execute(insert(SOURCES), fresh)

    # frames are resolved

    def _resolved(self, record: FrameRecord, held: Holding, left: int | None = None) -> dict[str, Any]:
        """The columns of a frame; it is counted into its series, and out of the series `left`."""
        stated = [one.value for one in held.statements if one.field == "body"]
        if stated and stated[-1] is not None:
            body: Any = self._identities.stated_body(str(stated[-1]))
        else:
            body = self._identities.body(body_of(record.read))
        train = self._identities.train(train_facts(record.read, held.statements))
        frame = frame_of(
            record,
            held.statements,
            body=body[1] if body else None,
            train=train[1] if train else None,
            retired=held.retired,
        )
        refers: dict[str, Any] = {
            "body": body[0] if body else None,
            "readout": self._identities.readout(frame.readout),
            "train": train[0] if train else None,
        }
        series, _ = self._series.join(frame, **refers)
        if left is not None:
            self._series.leave(left)
        return frame_values(frame, series=series, **refers)

    def _resolve_again(self, sha256s: Iterable[str]) -> None:
        """Works out the columns of frames anew and moves them between series."""
        for some in chunks(sorted(set(sha256s)), _TOGETHER):
            records = records_of(self._connection, some)
            held = holding(self._connection, some)
            before = dict(
                self._connection.execute(
                    select(FRAMES.c.sha256, FRAMES.c.series).where(FRAMES.c.sha256.in_(some))
                ).all()
            )
            rows = []
            for sha256 in some:
                if sha256 in records:
                    values = self._resolved(records[sha256], held.get(sha256) or Holding(), before[sha256])
                    rows.append({f"n_{name}": value for name, value in values.items()})
            if rows:
                names = [name.removeprefix("n_") for name in rows[0]]
                change = update(FRAMES).where(FRAMES.c.sha256 == bindparam("n_sha256"))
                change = change.values({name: bindparam(f"n_{name}") for name in names if name != "sha256"})
                self._connection.execute(change, rows)
        self._follow_bodies()

    def _follow_bodies(self) -> None:
        moved, self._identities.relinked = self._identities.relinked, set()
        if moved:
            frames = select(FRAMES.c.sha256).where(FRAMES.c.body.in_(moved))
            self._resolve_again(self._connection.scalars(frames).all())

    # what is said of frames

    @_one.register
    def _stated(self, entry: e.Stated) -> None:
        before = {frame.sha256: frame for frame in frames_of(self._connection, entry.sha256s)}
        rows = [
            {
                "sha256": sha256,
                "statement": entry.statement,
                "field": entry.field,
                "value": entry.value,
                "old": value_of(before[sha256], entry.field) if sha256 in before else None,
                "note": entry.note,
                "at": instant_us(entry.at),
                "run": self._run,
            }
            for sha256 in dict.fromkeys(entry.sha256s)
        ]
        if self._add_statements(rows):
            self._resolve_again(entry.sha256s)

    @_one.register
    def _unstated(self, entry: e.Unstated) -> None:
        this = (STATEMENTS.c.statement == clean(entry.statement)) & STATEMENTS.c.undone_by.is_(None)
        concerned = self._connection.scalars(select(STATEMENTS.c.sha256).where(this)).all()
        self._connection.execute(update(STATEMENTS).where(this).values(undone_by=self._run))
        self._resolve_again(concerned)

    @_one.register
    def _retired(self, entry: e.Retired) -> None:
        self._retire(entry.sha256s, True, entry.note, entry.at)

    @_one.register
    def _restored(self, entry: e.Restored) -> None:
        self._retire(entry.sha256s, False, "", entry.at)

    def _retire(self, sha256s: Sequence[str], value: bool, note: str, at: datetime) -> None:
        for some in chunks(list(dict.fromkeys(sha256s))):
            before = dict(
                self._connection.execute(
                    select(FRAMES.c.sha256, FRAMES.c.retired).where(FRAMES.c.sha256.in_(some))
                ).all()
            )
            rows = [
                {
                    "sha256": sha256,
                    "statement": f"{self._run}/{'retired' if value else 'restored'}/{instant_us(at)}",
                    "field": RETIRED,
                    "value": value,
                    "old": before.get(sha256),
                    "note": note,
                    "at": instant_us(at),
                    "run": self._run,
                }
                for sha256 in some
            ]
            if not self._add_statements(rows):
                continue
            held = holding(self._connection, some)
            for state in (True, False):
                these = [sha256 for sha256 in before if held[sha256].retired is state]
                self._connection.execute(update(FRAMES).where(FRAMES.c.sha256.in_(these)).values(retired=state))
            self._series.touch(
                self._connection.scalars(select(FRAMES.c.series).where(FRAMES.c.sha256.in_(some)).distinct())
            )

    def _add_statements(self, rows: Sequence[dict[str, Any]]) -> bool:
        """Adds those that are not there yet; whether there were any."""
        fresh = []
        for some in chunks(rows, _TOGETHER):
            known = {
                (sha256, statement)
                for sha256, statement in self._connection.execute(
                    select(STATEMENTS.c.sha256, STATEMENTS.c.statement).where(
                        STATEMENTS.c.sha256.in_([row["sha256"] for row in some])
                    )
                )
            }
            for row in some:
                if (row["sha256"], clean(row["statement"])) not in known:
                    known.add((row["sha256"], clean(row["statement"])))
                    fresh.append(row)
        if fresh:
            self._connection.execute(insert(STATEMENTS), fresh)
        return bool(fresh)

    @_one.register
    def _measured_one(self, entry: e.Measured) -> None:
        self._measured.append(entry)

    def _write_measured(self) -> None:
        waiting, self._measured = self._measured, []
        rows = [
            {"sha256": entry.sha256, "version": int(entry.figures["version"]), "figures": to_plain(entry.figures)}
            for entry in waiting
        ]
        self._resolve_again(self._add_measurements(rows))

    def _add_measurements(self, rows: Sequence[dict[str, Any]]) -> set[str]:
        fresh: dict[tuple[str, int], dict[str, Any]] = {}
        for some in chunks(rows, _TOGETHER):
            known = {
                (sha256, version)
                for sha256, version in self._connection.execute(
                    select(MEASUREMENTS.c.sha256, MEASUREMENTS.c.version).where(
                        MEASUREMENTS.c.sha256.in_([row["sha256"] for row in some])
                    )
                )
            }
            for row in some:
                if (row["sha256"], row["version"]) not in known:
                    fresh.setdefault((row["sha256"], row["version"]), row)
        if fresh:
            self._connection.execute(insert(MEASUREMENTS), list(fresh.values()))
        return {sha256 for sha256, _ in fresh}

    # bodies and trains

    @_one.register
    def _body_named(self, entry: e.BodyNamed) -> None:
        if self._add_body_change(entry.body_id, "named", entry.label, entry.at):
            self._identities.named(entry.body_id)

    @_one.register
    def _bodies_joined(self, entry: e.BodiesJoined) -> None:
        if self._add_body_change(entry.body_id, "joined", entry.into_id, entry.at):
            self._identities.joined()
            self._follow_bodies()

    @_one.register
    def _body_changed(self, entry: e.BodyChanged) -> None:
        self._add_body_change(entry.body_id, entry.what, entry.note, entry.at)

    def _add_body_change(self, body_id: str, what: str, note: str, at: datetime) -> bool:
        row = {"body_id": body_id, "what": what, "note": note, "at": instant_us(at), "run": self._run}
        return self._add_once(BODY_CHANGES, row)

    @_one.register
    def _train_changed(self, entry: e.TrainChanged) -> None:
        row = {"fingerprint": entry.fingerprint, "note": entry.note, "at": instant_us(entry.at), "run": self._run}
        self._add_once(TRAIN_CHANGES, row)

    def _add_once(self, table: Any, row: dict[str, Any]) -> bool:
        same = [table.c[name] == value for name, value in row.items()]
        if self._connection.execute(select(table.c.pk).where(*same).limit(1)).first() is not None:
            return False
        self._connection.execute(insert(table).values(row))
        return True

    # files set aside

    @_one.register
    def _set_aside(self, entry: e.SetAside) -> None:
        same = set_aside_key(entry.sha256, entry.source_path)
        values = {
            "sha256": entry.sha256,
            "source_path": entry.source_path,
            "kept_path": entry.kept_path,
            "code": entry.code,
            "text": entry.text,
            "version": entry.version,
            "run": self._run,
            "settled": False,
        }
        if self._connection.execute(select(SET_ASIDE.c.pk).where(same).limit(1)).first() is None:
            self._connection.execute(insert(SET_ASIDE).values(values))
        else:
            self._connection.execute(update(SET_ASIDE).where(same).values(values))

    @_one.register
    def _set_aside_settled(self, entry: e.SetAsideSettled) -> None:
        self._connection.execute(update(SET_ASIDE).where(SET_ASIDE.c.sha256 == entry.sha256).values(settled=True))


def set_aside_key(sha256: str, source_path: str) -> Any:
    """Which row is of the same file: by content, or by place where the content could not be read."""
    if sha256:
        return SET_ASIDE.c.sha256 == sha256
    return (SET_ASIDE.c.sha256 == "") & (SET_ASIDE.c.source_path == clean(source_path))


def frames_of(connection: Connection, sha256s: Sequence[str], column: Any = FRAMES.c.sha256) -> list[Frame]:
    """Frames by what stands in a column, in no order."""
    shelf, found = Shelf(connection), []
    for some in chunks(list(sha256s)):
        found += shelf.frames(connection.execute(SELECT_FRAMES.where(column.in_(some))).mappings().all())
    return found


def newest_measurements(connection: Connection, sha256s: Sequence[str]) -> dict[str, PixelFacts]:
    """The figures of the newest measurement of each frame that has any."""
    newest: dict[str, Any] = {}
    for some in chunks(sha256s):
        rows = connection.execute(
            select(MEASUREMENTS.c.sha256, MEASUREMENTS.c.figures)
            .where(MEASUREMENTS.c.sha256.in_(some))
            .order_by(MEASUREMENTS.c.sha256, MEASUREMENTS.c.version)
        )
        newest.update((sha256, figures) for sha256, figures in rows)
    return {sha256: from_plain(PixelFacts, figures) for sha256, figures in newest.items()}


def records_of(connection: Connection, sha256s: Sequence[str]) -> dict[str, FrameRecord]:
    """The records of frames, each with its newest measurement."""
    newest = newest_measurements(connection, sha256s)
    records: dict[str, FrameRecord] = {}
    for some in chunks(sha256s):
        rows = connection.execute(select(RECORDS.c.sha256, RECORDS.c.facts).where(RECORDS.c.sha256.in_(some)))
        for sha256, facts in rows:
            records[sha256] = replace(from_plain(FrameRecord, facts), measured=newest.get(sha256))
    return records
