"""Journal entries as rows. Applying one again changes nothing, and one by one or all at once gives the same rows.

Whatever the journal holds can be applied: what is said of a frame or body that is not there yet is kept and takes
effect when it comes, since the files of runs that overlapped are replayed one after the other.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import singledispatchmethod
from itertools import count
from typing import Any

from sqlalchemy import ColumnElement, Connection, insert, select, update

from darklib.catalogue.columns import clean
from darklib.catalogue.framebook import TOGETHER, FrameBook
from darklib.catalogue.records import frames_of
from darklib.catalogue.rows import chunks
from darklib.catalogue.statements import RETIRED, add_statements, holding, value_of
from darklib.catalogue.tables import (
    BODY_CHANGES,
    COPIES_CHECKED,
    FRAMES,
    RUNS,
    SET_ASIDE,
    SOURCES,
    STATEMENTS,
    TRAIN_CHANGES,
)
from darklib.facts import entries as e
from darklib.facts.plain import to_plain
from darklib.facts.units import instant_us


class Applier:
    """Applies entries of one run inside a writing transaction; `finish` writes what was held back."""

    def __init__(self, connection: Connection, run: str) -> None:
        self._connection = connection
        self._run = run
        self._book = FrameBook(connection, run)
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
            if len(self._stored) >= TOGETHER:
                self._write_stored()
            if len(self._measured) >= TOGETHER:
                self._write_measured()

    def finish(self) -> None:
        """Writes all that was held back: frames, figures, sources, and the figures of the series."""
        self._write_stored()
        self._write_measured()
        self._write_sources()
        self._book.series.finish()

    @singledispatchmethod
    def _one(self, entry: Any) -> None:
        raise TypeError(f"not an entry: {entry!r}")

    # runs

    @_one.register
    def _run_started(self, entry: e.RunStarted) -> None:
        self._set_run(
            command=entry.command,
            arguments=list(entry.arguments),
            started_at=instant_us(entry.at),
            version=entry.version,
            host=entry.host,
        )

    @_one.register
    def _run_ended(self, entry: e.RunEnded) -> None:
        self._set_run(ended_at=instant_us(entry.at), counts=dict(entry.counts))

    def _set_run(self, **values: Any) -> None:
        self._connection.execute(update(RUNS).where(RUNS.c.id == clean(self._run)).values(**values))

    # frames

    @_one.register
    def _stored_one(self, entry: e.Stored) -> None:
        self._stored.append(entry)
        self._sources.setdefault((entry.record.sha256, entry.record.source_path), entry.record.modified)

    @_one.register
    def _seen(self, entry: e.Seen) -> None:
        self._sources.setdefault((entry.sha256, entry.source_path), entry.modified)

    @_one.register
    def _measured_one(self, entry: e.Measured) -> None:
        self._measured.append(entry)

    def _write_stored(self) -> None:
        waiting, self._stored = self._stored, []
        if waiting:
            self._book.take(waiting)

    def _write_measured(self) -> None:
        waiting, self._measured = self._measured, []
        rows = [
            {"sha256": one.sha256, "version": int(one.figures["version"]), "figures": to_plain(one.figures)}
            for one in waiting
        ]
        self._book.measure(rows)

    def _write_sources(self) -> None:
        waiting, self._sources = self._sources, {}
        known: set[tuple[str, str]] = set()
        for some in chunks(sorted({sha256 for sha256, _ in waiting})):
            there = select(SOURCES.c.sha256, SOURCES.c.source_path).where(SOURCES.c.sha256.in_(some))
            known.update((sha256, path) for sha256, path in self._connection.execute(there))
        fresh = [
            {"sha256": sha256, "source_path": path, "modified": instant_us(modified), "run": self._run}
            for (sha256, path), modified in waiting.items()
            if (sha256, clean(path)) not in known
        ]
        if fresh:
            self._connection.execute(insert(SOURCES), fresh)

    # what the user states

    @_one.register
    def _stated(self, entry: e.Stated) -> None:
        before = {frame.sha256: frame for frame in frames_of(self._connection, set(entry.sha256s))}
        olds = {sha256: value_of(frame, entry.field) for sha256, frame in before.items()}
        rows = self._rows(entry.sha256s, self._number_of(entry), entry.field, entry.value, olds, entry.note, entry.at)
        if add_statements(self._connection, rows):
            self._book.resolve_again(entry.sha256s)

    def _number_of(self, entry: e.Stated) -> str:
        """The statement's number, or one made from it where another statement has it already.

        No command gives a number out twice, but a journal put together by hand may hold one twice. Both statements
        count then, and each can be undone by itself.
        """
        columns = STATEMENTS.c.field, STATEMENTS.c.value, STATEMENTS.c.note, STATEMENTS.c.at, STATEMENTS.c.run
        this = (clean(entry.field), entry.value, clean(entry.note), instant_us(entry.at), clean(self._run))
        for again in count(1):
            number = entry.statement if again == 1 else f"{entry.statement}+{again}"
            held = self._connection.execute(select(*columns).where(STATEMENTS.c.statement == clean(number)).limit(1))
            other = held.first()
            if other is None or tuple(other) == this:
                return number
        raise AssertionError("numbers do not end")

    @_one.register
    def _unstated(self, entry: e.Unstated) -> None:
        this = (STATEMENTS.c.statement == clean(entry.statement)) & STATEMENTS.c.undone_by.is_(None)
        found = self._connection.scalars(select(STATEMENTS.c.sha256).where(this).order_by(STATEMENTS.c.pk)).all()
        named = {clean(sha256) for sha256 in entry.sha256s}
        concerned = [sha256 for sha256 in found if not named or sha256 in named]
        for some in chunks(concerned):
            these = this & STATEMENTS.c.sha256.in_(some)
            self._connection.execute(update(STATEMENTS).where(these).values(undone_by=self._run))
        self._book.resolve_again(concerned)

    @_one.register
    def _retired(self, entry: e.Retired) -> None:
        self._retire(entry.sha256s, True, entry.note, entry.at)

    @_one.register
    def _restored(self, entry: e.Restored) -> None:
        self._retire(entry.sha256s, False, "", entry.at)

    def _retire(self, sha256s: Sequence[str], value: bool, note: str, at: datetime) -> None:
        number = f"{self._run}/{'retired' if value else 'restored'}/{instant_us(at)}"
        for some in chunks(list(dict.fromkeys(sha256s))):
            now = select(FRAMES.c.sha256, FRAMES.c.retired).where(FRAMES.c.sha256.in_(some))
            before: dict[str, Any] = {row[0]: row[1] for row in self._connection.execute(now)}
            if not add_statements(self._connection, self._rows(some, number, RETIRED, value, before, note, at)):
                continue
            held = holding(self._connection, some)
            for state in (True, False):
                these = [sha256 for sha256 in before if held[sha256].retired is state]
                self._connection.execute(update(FRAMES).where(FRAMES.c.sha256.in_(these)).values(retired=state))
            series = select(FRAMES.c.series).where(FRAMES.c.sha256.in_(some)).distinct()
            self._book.series.touch(self._connection.scalars(series))

    def _rows(
        self,
        sha256s: Sequence[str],
        number: str,
        field: str,
        value: Any,
        olds: dict[str, Any],
        note: str,
        at: datetime,
    ) -> list[dict[str, Any]]:
        same = {
            "statement": number,
            "field": field,
            "value": value,
            "note": note,
            "at": instant_us(at),
            "run": self._run,
        }
        return [{"sha256": sha256, "old": olds.get(sha256), **same} for sha256 in dict.fromkeys(sha256s)]

    # bodies and trains

    @_one.register
    def _body_named(self, entry: e.BodyNamed) -> None:
        if self._add_body_change(entry.body_id, "named", entry.label, entry.at):
            self._book.identities.named(entry.body_id)

    @_one.register
    def _bodies_joined(self, entry: e.BodiesJoined) -> None:
        if self._add_body_change(entry.body_id, "joined", entry.into_id, entry.at):
            self._book.identities.joined()
            self._book.follow_bodies()

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

    # second copies

    @_one.register
    def _copy_checked(self, entry: e.CopyChecked) -> None:
        same = COPIES_CHECKED.c.copy == clean(entry.copy)
        row = {"copy": entry.copy, "frames": entry.frames, "at": instant_us(entry.at), "run": self._run}
        if self._connection.execute(select(COPIES_CHECKED.c.pk).where(same)).first() is None:
            self._connection.execute(insert(COPIES_CHECKED).values(row))
        else:
            self._connection.execute(update(COPIES_CHECKED).where(same).values(row))

    # files set aside

    @_one.register
    def _set_aside(self, entry: e.SetAside) -> None:
        same = _same_file(entry.sha256, entry.source_path)
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


def _same_file(sha256: str, source_path: str) -> ColumnElement[bool]:
    # By content, or by place where the content could not be read.
    if sha256:
        return SET_ASIDE.c.sha256 == sha256
    return (SET_ASIDE.c.sha256 == "") & (SET_ASIDE.c.source_path == clean(source_path))
