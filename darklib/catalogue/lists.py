"""Series, bodies, trains and runs: all that matching and overviews ask. Answered from series rows, which stay few."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, case, func, or_, select

from darklib.catalogue.columns import clean
from darklib.catalogue.rows import SELECT_FRAMES, Shelf, body_ref, bound, chunks, one_of, train_facts_of
from darklib.catalogue.tables import (
    BODIES,
    BODY_CHANGES,
    COPIES_CHECKED,
    FRAMES,
    RUNS,
    SERIES,
    SET_ASIDE,
    TRAIN_CHANGES,
    TRAINS,
)
from darklib.facts.frame import BodyRef, Frame, Kind
from darklib.facts.match import BodyChange, Series, TrainChange, Wanted
from darklib.facts.train import TrainFacts, TrainRef
from darklib.facts.units import instant_us, moment

NO_ROW = -1
CHANGES = ("remapped", "cleaned", "firmware", "modified")


@dataclass(frozen=True, slots=True)
class BodyRow:
    """A body with its frames that are not retired, what changed it, and the ids of bodies joined into it."""

    ref: BodyRef
    frames: int
    first_at: datetime | None
    last_at: datetime | None
    changes: tuple[BodyChange, ...]
    joined: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TrainRow:
    """A train by its first description, the nights on which lights or flats came through it, and what changed it."""

    ref: TrainRef
    facts: TrainFacts
    nights: tuple[str, ...]
    changes: tuple[TrainChange, ...]


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run that changed the library. ended_at None: it was interrupted, or still goes on."""

    run: str
    command: str | None
    arguments: tuple[str, ...]
    started_at: datetime | None
    ended_at: datetime | None
    version: str | None
    host: str | None
    counts: dict[str, int]


@dataclass(frozen=True, slots=True)
class CopyRow:
    """A second copy that lacked nothing when it was checked, and how many stored frames there were then."""

    copy: str
    frames: int
    at: datetime


def series(
    connection: Connection,
    kind: Kind | None = None,
    night_low: str | None = None,
    night_high: str | None = None,
    target: str | None = None,
    ids: Collection[str] | None = None,
) -> list[Series]:
    """Series by their first frame's time, then id. Those of none but retired frames only where asked for by id."""
    conditions: list[ColumnElement[bool]] = [SERIES.c.count > 0] if ids is None else [one_of(SERIES.c.id, list(ids))]
    if kind is not None:
        conditions.append(SERIES.c.kind == kind)
    if night_low is not None:
        conditions.append(SERIES.c.night >= night_low)
    if night_high is not None:
        conditions.append(SERIES.c.night <= night_high)
    if target is not None:
        conditions.append(SERIES.c.target_key == clean(target).casefold())
    return _in_order(_fetched(connection, conditions))


def wanted(connection: Connection, ask: Wanted, made: dict[int, Series] | None = None) -> list[Series]:
    """Series that may serve, nearest in time first (else the newest first), at most `ask.limit`.

    made: series of earlier questions by their row, added to; for as long as nothing is written.

    A series of unknown exposure, temperature, body, train or filter may serve too: matching decides how well.
    """
    column = SERIES.c
    conditions = [column.kind == ask.kind, column.count > 0]
    if ask.body_id is not None:
        conditions.append(or_(column.body == _body_pk(connection, ask.body_id), column.body.is_(None)))
    if ask.exposure_low_s is not None:
        conditions.append(or_(column.exposure_us.is_(None), column.exposure_us >= bound(ask.exposure_low_s, 1_000_000)))
    if ask.exposure_high_s is not None:
        conditions.append(
            or_(column.exposure_us.is_(None), column.exposure_us <= bound(ask.exposure_high_s, 1_000_000))
        )
    if ask.temperature_low_c is not None:
        conditions.append(or_(column.t_unknown > 0, column.t_max >= bound(ask.temperature_low_c, 100)))
    if ask.temperature_high_c is not None:
        conditions.append(or_(column.t_unknown > 0, column.t_min <= bound(ask.temperature_high_c, 100)))
    if ask.train is not None:
        train = select(TRAINS.c.pk).where(TRAINS.c.fingerprint == ask.train).scalar_subquery()
        conditions.append(or_(column.train == train, column.train.is_(None)))
    if ask.filter is not None:
        conditions.append(or_(column.filter == clean(ask.filter), column.filter.is_(None)))
    if ask.near is not None:
        near = instant_us(ask.near)
        away: ColumnElement[int] = case(
            (column.first_at > near, column.first_at - near), (column.last_at < near, near - column.last_at), else_=0
        )
    else:
        away = -column.last_at
    best = select(column.pk).where(*conditions).order_by(column.last_at.is_(None), away, column.id).limit(ask.limit)
    pks = connection.scalars(best).all()
    made = {} if made is None else made
    shelf = Shelf(connection)
    for some in chunks([pk for pk in pks if pk not in made]):
        rows = connection.execute(select(SERIES).where(column.pk.in_(some))).mappings().all()
        made.update(zip((row["pk"] for row in rows), shelf.series(rows), strict=True))
    return [made[pk] for pk in pks]


def light_series(connection: Connection, train: str | None, body_id: str | None) -> list[Series]:
    """Series of lights through a train with a body, by time. None: any."""
    conditions = [SERIES.c.kind == Kind.LIGHT, SERIES.c.count > 0]
    if train is not None:
        conditions.append(SERIES.c.train.in_(select(TRAINS.c.pk).where(TRAINS.c.fingerprint == train)))
    if body_id is not None:
        conditions.append(SERIES.c.body == _body_pk(connection, body_id))
    return _in_order(_fetched(connection, conditions))


def series_frames(connection: Connection, ids: Collection[str]) -> dict[str, tuple[Frame, ...]]:
    """Frames of each series that are not retired, by time, then id; those without a time last."""
    found: dict[str, list[Frame]] = {name: [] for name in ids}
    shelf = Shelf(connection)
    for some in chunks(list(found)):
        statement = SELECT_FRAMES.where(SERIES.c.id.in_(some), FRAMES.c.retired.is_(False))
        rows = connection.execute(statement.order_by(FRAMES.c.order_us, FRAMES.c.id)).mappings().all()
        for frame in shelf.frames(rows):
            found[str(frame.series)].append(frame)
    return {name: tuple(frames) for name, frames in found.items()}


def _fetched(connection: Connection, conditions: Sequence[ColumnElement[bool]]) -> list[Series]:
    return Shelf(connection).series(connection.execute(select(SERIES).where(*conditions)).mappings().all())


def _in_order(found: list[Series]) -> list[Series]:
    return sorted(
        found, key=lambda one: (one.first_at is None, one.first_at.timestamp() if one.first_at else 0.0, one.id)
    )


# bodies


def _final_bodies(connection: Connection) -> tuple[list[Any], dict[int, int]]:
    rows = list(connection.execute(select(BODIES).order_by(BODIES.c.pk)).mappings())
    joined = {row["pk"]: row["joined_to"] for row in rows}
    final = {}
    for pk in joined:
        at = pk
        while joined[at] is not None:
            at = joined[at]
        final[pk] = at
    return rows, final


def _body_pk(connection: Connection, body_id: str) -> int:
    rows, final = _final_bodies(connection)
    # Compared with None, a column would be compared with NULL: that is another question.
    return next((final[row["pk"]] for row in rows if row["id"] == body_id), NO_ROW)


def bodies(connection: Connection) -> list[BodyRow]:
    """Every body that is joined to no other, sorted by its first frame, then id; those without frames last."""
    rows, final = _final_bodies(connection)
    columns = (SERIES.c.body, func.sum(SERIES.c.count), func.min(SERIES.c.first_at), func.max(SERIES.c.last_at))
    used = {row[0]: row for row in connection.execute(select(*columns).group_by(SERIES.c.body))}
    made = []
    for row in rows:
        if row["joined_to"] is None:
            _, count, first, last = used.get(row["pk"], (None, 0, None, None))
            joined = tuple(one["id"] for one in rows if final[one["pk"]] == row["pk"] and one["pk"] != row["pk"])
            changes = tuple(body_changes(connection, row["id"]))
            made.append(BodyRow(body_ref(row), int(count), _moment(first), _moment(last), changes, joined))
    return sorted(
        made, key=lambda one: (one.first_at is None, one.first_at.timestamp() if one.first_at else 0.0, one.ref.id)
    )


def body_changes(connection: Connection, body_id: str) -> list[BodyChange]:
    """What changed a body, or one that is the same camera, oldest first; told under the id asked for."""
    rows, final = _final_bodies(connection)
    mine = next((final[row["pk"]] for row in rows if row["id"] == body_id), None)
    names = [row["id"] for row in rows if final[row["pk"]] == mine] if mine is not None else [body_id]
    found = connection.execute(
        select(BODY_CHANGES.c.what, BODY_CHANGES.c.at)
        .where(BODY_CHANGES.c.body_id.in_(names), BODY_CHANGES.c.what.in_(CHANGES))
        .order_by(BODY_CHANGES.c.at, BODY_CHANGES.c.run, BODY_CHANGES.c.pk)
    )
    return [BodyChange(body_id, what, moment(at)) for what, at in found]


# trains


def trains(connection: Connection) -> list[TrainRow]:
    """Every train with lights or flats, or of which a change is recorded, sorted by its first night, then fingerprint;
    undated ones last.
    """
    nights: dict[int, set[str]] = defaultdict(set)
    for pk, night in connection.execute(
        select(SERIES.c.train, SERIES.c.night).where(SERIES.c.train.is_not(None), SERIES.c.count > 0).distinct()
    ):
        nights[pk].add(night or "")
    made = []
    for row in connection.execute(select(TRAINS).order_by(TRAINS.c.pk)).mappings():
        changes = tuple(train_changes(connection, row["fingerprint"]))
        if row["pk"] in nights or changes:
            ref = TrainRef(row["fingerprint"], row["label"])
            dated = tuple(sorted(nights[row["pk"]] - {""}))
            made.append(TrainRow(ref, train_facts_of(row["facts"]), dated, changes))
    return sorted(made, key=lambda one: (not one.nights, one.nights[:1], one.ref.fingerprint))


def train_changes(connection: Connection, fingerprint: str) -> list[TrainChange]:
    """When a train was taken apart, rotated or cleaned, oldest first."""
    rows = connection.execute(
        select(TRAIN_CHANGES.c.at, TRAIN_CHANGES.c.note)
        .where(TRAIN_CHANGES.c.fingerprint == fingerprint)
        .order_by(TRAIN_CHANGES.c.at, TRAIN_CHANGES.c.run, TRAIN_CHANGES.c.pk)
    )
    return [TrainChange(fingerprint, moment(at), note) for at, note in rows]


# the whole


def last_light_night(connection: Connection) -> str | None:
    """The newest night with lights that are not retired."""
    night = select(func.max(SERIES.c.night)).where(SERIES.c.kind == Kind.LIGHT, SERIES.c.count > 0)
    found: str | None = connection.scalar(night)
    return found


def counts(connection: Connection) -> dict[str, int]:
    """Frames by kind, undecided and retired ones, their bytes, and files set aside. Kinds count what is not retired."""
    columns = (SERIES.c.kind, func.sum(SERIES.c.count), func.sum(SERIES.c.retired_count), func.sum(SERIES.c.bytes))
    found = {"frames": 0, "light": 0, "dark": 0, "bias": 0, "flat": 0, "undecided": 0, "retired": 0, "bytes": 0}
    for kind, live, retired, size in connection.execute(select(*columns).group_by(SERIES.c.kind)):
        found[kind or "undecided"] = int(live)
        found["frames"] += int(live) + int(retired)
        found["retired"] += int(retired)
        found["bytes"] += int(size)
    aside = select(func.count()).select_from(SET_ASIDE).where(SET_ASIDE.c.settled.is_(False))
    found["set_aside"] = int(connection.scalar(aside) or 0)
    return found


def runs(connection: Connection, limit: int) -> list[RunRow]:
    """The newest runs that changed something, newest first."""
    rows = connection.execute(select(RUNS).order_by(RUNS.c.id.desc()).limit(limit)).mappings()
    return [
        RunRow(
            row["id"],
            row["command"],
            tuple(row["arguments"] or ()),
            _moment(row["started_at"]),
            _moment(row["ended_at"]),
            row["version"],
            row["host"],
            row["counts"] or {},
        )
        for row in rows
    ]


def _moment(at_us: int | None) -> datetime | None:
    return None if at_us is None else moment(at_us)


def copies_checked(connection: Connection) -> list[CopyRow]:
    """Second copies that were found whole, the newest check first."""
    rows = connection.execute(
        select(COPIES_CHECKED.c.copy, COPIES_CHECKED.c.frames, COPIES_CHECKED.c.at).order_by(
            COPIES_CHECKED.c.at.desc(), COPIES_CHECKED.c.run.desc(), COPIES_CHECKED.c.pk.desc()
        )
    )
    return [CopyRow(copy, frames, moment(at)) for copy, frames, at in rows]


def frames_in_place(connection: Connection) -> int:
    """How many frames are catalogued where they lie."""
    there = select(func.count()).select_from(FRAMES).where(FRAMES.c.in_place)
    return int(connection.scalar(there) or 0)
