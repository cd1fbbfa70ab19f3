"""Frame rows: written when a frame comes in, worked out anew when something is said of it."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, RowMapping, bindparam, insert, select, update

from darklib.catalogue.columns import clean
from darklib.catalogue.identities import Identities
from darklib.catalogue.nights import NightBook, Spot
from darklib.catalogue.records import known_of, newest_measurements, records_of
from darklib.catalogue.rows import chunks, exposure_us, frame_values, order_us
from darklib.catalogue.series import SeriesBook
from darklib.catalogue.statements import Holding, add_statements, holding, value_of
from darklib.catalogue.tables import FRAMES, MEASUREMENTS, RECORDS, RUNS
from darklib.facts.entries import Stored
from darklib.facts.frame import BodyRef, Frame, FrameRecord, Kind
from darklib.facts.plain import to_plain
from darklib.facts.resolve import frame_of, train_facts
from darklib.facts.train import TrainRef
from darklib.facts.units import instant_us

TOGETHER = 500
"""Frames written in one statement."""

DECIDES_NIGHTS = ("kind", "body", "order_us", "exposure_us")
"""Columns of a frame on which nights depend, its own and those of frames near it."""


class FrameBook:
    """Frames of one transaction, with the bodies, trains, readouts and series they belong to."""

    def __init__(self, connection: Connection, run: str) -> None:
        self._connection = connection
        self._run = run
        self.identities = Identities(connection)
        self.series = SeriesBook(connection)
        self._nights = NightBook(connection)
        self._spots: list[Spot] = []

    def take(self, waiting: Sequence[Stored]) -> None:
        """Frames come in. One that is known already only brings what was stated of it this time."""
        shas = [entry.record.sha256 for entry in waiting]
        known = known_of(self._connection, set(shas))
        again = len(set(shas)) < len(shas) or any(one.statements and one.record.sha256 in known for one in waiting)
        # A frame that comes again with other statements moves, and a light may move those that follow it into its
        # night; those after it must find them moved.
        singly = again or not self._come_quietly([one for one in waiting if one.record.sha256 not in known])
        for some in [[one] for one in waiting] if singly else [waiting]:
            self._take_some(some, known, watch=singly)
            known.update(one.record.sha256 for one in some)
            self._settle_nights()

    def _come_quietly(self, fresh: Sequence[Stored]) -> bool:
        """Whether no frame's night depends on another here. Where something was said of a frame before it came, it is
        looked at by itself.
        """
        if holding(self._connection, {one.record.sha256 for one in fresh}):
            return False
        frames = (_frame(one.record, Holding(list(one.statements)), body=None, train=None) for one in fresh)
        return self._nights.quiet(frames)

    def _take_some(self, waiting: Sequence[Stored], known: set[str], *, watch: bool) -> None:
        fresh = {one.record.sha256: one.record for one in waiting if one.record.sha256 not in known}
        measured_before = self._measured_before(fresh)
        self._add_measurements(
            [
                {"sha256": record.sha256, "version": record.measured.version, "figures": to_plain(record.measured)}
                for record in fresh.values()
                if record.measured is not None
            ],
            measured_before,
        )
        for entry in waiting:
            self._add_first_statements(entry, entry.record.sha256 in fresh)
        newest = newest_measurements(self._connection, {sha256 for sha256, _ in measured_before})
        held = holding(self._connection, fresh)
        rows = []
        for sha256, record in fresh.items():
            if sha256 in newest:
                record = replace(record, measured=newest[sha256])
            values = self._resolved(record, held.get(sha256) or Holding())
            if watch and values["kind"] in (Kind.LIGHT, Kind.FLAT):
                self._spots.append(Spot(values["body"], values["order_us"]))
            rows.append({**values, "run": self._run})
            if self.identities.relinked:
                rows = self._written(rows, fresh)
                self.follow_bodies()
        self._written(rows, fresh)

    def _written(self, rows: list[dict[str, Any]], records: dict[str, FrameRecord]) -> list[dict[str, Any]]:
        if rows:
            self._connection.execute(insert(FRAMES), rows)
            kept = (records[row["sha256"]] for row in rows)
            facts = [{"sha256": one.sha256, "facts": to_plain(replace(one, measured=None))} for one in kept]
            self._connection.execute(insert(RECORDS), facts)
        return []

    def _add_first_statements(self, entry: Stored, fresh: bool) -> None:
        # What was stated on taking in has no number of its own; it gets one that is the same at every replay.
        if not entry.statements:
            return
        record = entry.record
        at = self._connection.scalar(select(RUNS.c.started_at).where(RUNS.c.id == clean(self._run)))
        plain = _frame(record, Holding(), body=None, train=None) if fresh else None
        rows = [
            {
                "sha256": record.sha256,
                "statement": f"{self._run}/{record.id}/{statement.field}",
                "field": statement.field,
                "value": statement.value,
                "old": value_of(plain, statement.field) if plain else None,
                "note": "",
                "at": instant_us(record.modified) if at is None else at,
                "run": self._run,
            }
            for statement in entry.statements
        ]
        if add_statements(self._connection, rows) and not fresh:
            self.resolve_again([record.sha256])

    def measure(self, rows: Sequence[dict[str, Any]]) -> None:
        """New figures of frames: sha256, version, figures. Those already there stay; the newest version counts."""
        self.resolve_again(self._add_measurements(rows, self._measured_before({row["sha256"] for row in rows})))

    def _measured_before(self, sha256s: Collection[str]) -> set[tuple[str, int]]:
        known: set[tuple[str, int]] = set()
        for some in chunks(list(sha256s)):
            there = select(MEASUREMENTS.c.sha256, MEASUREMENTS.c.version).where(MEASUREMENTS.c.sha256.in_(some))
            known.update((sha256, version) for sha256, version in self._connection.execute(there))
        return known

    def _add_measurements(self, rows: Sequence[dict[str, Any]], known: set[tuple[str, int]]) -> list[str]:
        fresh: dict[tuple[str, int], dict[str, Any]] = {}
        for row in rows:
            if (row["sha256"], row["version"]) not in known:
                fresh.setdefault((row["sha256"], row["version"]), row)
        if fresh:
            self._connection.execute(insert(MEASUREMENTS), list(fresh.values()))
        return list(dict.fromkeys(sha256 for sha256, _ in fresh))

    def _resolved(
        self, record: FrameRecord, held: Holding, before: RowMapping | None = None, night: str | None = None
    ) -> dict[str, Any]:
        """The columns of a frame; it is counted into its series, and out of that of its row `before`. night: by other
        frames, where it is known; else as before where nothing has changed on which a night depends.
        """
        body = self.identities.body(record.read, held.statements)
        train = self.identities.train(train_facts(record.read, held.statements))
        frame = _frame(record, held, body=body[1] if body else None, train=train[1] if train else None, night=night)
        if before is not None and night is None:
            body_row, at_us = (body[0] if body else None), order_us(frame.taken_at)
            now = (frame.kind, body_row, at_us, exposure_us(frame.exposure_s))
            if now == tuple(before[name] for name in DECIDES_NIGHTS):
                frame = replace(frame, night=before["night"])
            else:
                self._spots += [Spot(before["body"], before["order_us"]), Spot(body_row, at_us)]
        refers: dict[str, Any] = {
            "body": body[0] if body else None,
            "readout": self.identities.readout(frame.readout),
            "train": train[0] if train else None,
        }
        series = self.series.join(frame, **refers)
        if before is not None:
            self.series.leave(before["series"])
        return frame_values(frame, series=series, **refers)

    def resolve_again(self, sha256s: Iterable[str]) -> None:
        """Works out the columns of frames anew, in the order given, and moves them between series."""
        waiting = list(dict.fromkeys(sha256s))
        while waiting:
            done = self._resolve_some(waiting[:TOGETHER])
            waiting = waiting[done:]
            self.follow_bodies()
        self._settle_nights()

    def _resolve_some(self, some: Sequence[str]) -> int:
        """How many of them are done: all, or as far as one that brought a body whose frames must follow first."""
        records = records_of(self._connection, some)
        held = holding(self._connection, some)
        now = {row["sha256"]: row for row in self._rows_of(some)}
        rows, done = [], 0
        for sha256 in some:
            done += 1
            if sha256 in records:
                rows.append(self._resolved(records[sha256], held.get(sha256) or Holding(), now[sha256]))
            if self.identities.relinked:
                break
        self._change(rows)
        return done

    def _rows_of(self, some: Sequence[str]) -> Sequence[RowMapping]:
        wanted = (FRAMES.c.sha256, FRAMES.c.series, FRAMES.c.night, *(FRAMES.c[name] for name in DECIDES_NIGHTS))
        return self._connection.execute(select(*wanted).where(FRAMES.c.sha256.in_(some))).mappings().all()

    def _change(self, rows: Sequence[dict[str, Any]]) -> None:
        if rows:
            names = [name for name in rows[0] if name != "sha256"]
            change = update(FRAMES).where(FRAMES.c.sha256 == bindparam("n_sha256"))
            change = change.values({name: bindparam(f"n_{name}") for name in names})
            self._connection.execute(change, [{f"n_{name}": value for name, value in row.items()} for row in rows])

    def _settle_nights(self) -> None:
        """Frames near those that came or changed go into the night they now belong to."""
        spots, self._spots = self._spots, []
        moved = self._nights.others(spots) if spots else []
        for some in chunks(moved):
            shas = [sha256 for sha256, _ in some]
            records, held = records_of(self._connection, shas), holding(self._connection, shas)
            before = {row["sha256"]: row for row in self._rows_of(shas)}
            self._change(
                [self._resolved(records[one], held.get(one) or Holding(), before[one], night) for one, night in some]
            )

    def follow_bodies(self) -> None:
        """Frames of bodies that were joined go where they now belong."""
        moved, self.identities.relinked = self.identities.relinked, set()
        if moved:
            frames = select(FRAMES.c.sha256).where(FRAMES.c.body.in_(moved)).order_by(FRAMES.c.order_us, FRAMES.c.id)
            self.resolve_again(self._connection.scalars(frames).all())


def _frame(
    record: FrameRecord, held: Holding, *, body: BodyRef | None, train: TrainRef | None, night: str | None = None
) -> Frame:
    try:
        return frame_of(record, held.statements, body=body, train=train, retired=held.retired, night=night)
    except OverflowError:
        # A time at either end of the calendar has no night and no UTC; a replay must not stop at it.
        timeless = replace(record, read=replace(record.read, taken_at=None))
        statements = [one for one in held.statements if one.field not in ("taken_at", "clock_shift_s")]
        return frame_of(timeless, statements, body=body, train=train, retired=held.retired)
