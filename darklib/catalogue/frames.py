"""Frames fetched: single ones with all that is known of them, and long lists page by page."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, select, tuple_

from darklib.catalogue.columns import clean
from darklib.catalogue.records import frames_of, known_of, records_of
from darklib.catalogue.rows import SELECT_FRAMES, Shelf, bound, one_of
from darklib.catalogue.statements import RETIRED
from darklib.catalogue.tables import BODIES, FRAMES, SERIES, SET_ASIDE, SOURCES, STATEMENTS, TRAINS
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Frame, FrameRecord, Kind
from darklib.facts.units import moment


@dataclass(frozen=True, slots=True)
class FrameQuery:
    """Which frames to list. None: any. Ranges include both ends; a frame of unknown value is in no range.

    body: its id, a unique beginning of that, or its label; train: its fingerprint or label; filter and target without
    regard to case. retired None: both sorts. after: id of the last frame of the page before.
    """

    kind: Kind | None = None
    body: str | None = None
    night_low: str | None = None
    night_high: str | None = None
    exposure_low_s: float | None = None
    exposure_high_s: float | None = None
    temperature_low_c: float | None = None
    temperature_high_c: float | None = None
    filter: str | None = None
    train: str | None = None
    target: str | None = None
    retired: bool | None = False
    undecided: bool = False
    series: tuple[str, ...] | None = None
    limit: int | None = None
    after: str | None = None


@dataclass(frozen=True, slots=True)
class Page:
    """Frames by time, then id; those without a time last. next: the id to go on after, None at the end."""

    frames: list[Frame]
    next: str | None


@dataclass(frozen=True, slots=True)
class StatementRow:
    """One thing the user stated of a frame. Field `retired` (True or False) stands for retiring and restoring, which
    have no number to undo them by: `statement` is "".

    old: what was recorded before. undone_by: the run that took it back.
    """

    statement: str
    field: str
    value: Any
    old: Any
    note: str
    at: datetime
    run: str
    undone_by: str | None


@dataclass(frozen=True, slots=True)
class SourceRow:
    """A place where a frame's content was seen, and by which run."""

    path: str
    modified: datetime
    run: str


@dataclass(frozen=True, slots=True)
class SetAsideRow:
    """A file that could not be taken in; kept_path is relative to the library, version the darklib that tried."""

    sha256: str
    source_path: str
    kept_path: str
    code: str
    text: str
    version: str
    run: str


@dataclass(frozen=True, slots=True)
class StoredRow:
    """What verifying needs of a frame."""

    pk: int
    sha256: str
    path: str
    size: int
    in_place: bool


def frames_by_id(connection: Connection, names: Iterable[str]) -> list[Frame]:
    """Frames by SHA-256 or id, in the order given; unknown ones are left out."""
    wanted = list(names)
    short = [name for name in wanted if len(name) == 16]
    found = {frame.id: frame for frame in frames_of(connection, short, FRAMES.c.id)}
    found |= {frame.sha256: frame for frame in frames_of(connection, [name for name in wanted if len(name) != 16])}
    return [found[name] for name in wanted if name in found]


def record(connection: Connection, sha256: str) -> FrameRecord:
    """All that is kept of a frame, with its newest measurement. DarklibError `no_such_frame`."""
    found = records_of(connection, [sha256]).get(sha256)
    if found is None:
        raise DarklibError(
            "no_such_frame", f"The library holds no frame {sha256[:16]}.", remedy="See `darklib frames`."
        )
    return found


def statements(connection: Connection, sha256: str) -> list[StatementRow]:
    """Everything the user stated of a frame, oldest first, undone things included."""
    rows = connection.execute(
        select(STATEMENTS).where(STATEMENTS.c.sha256 == sha256).order_by(STATEMENTS.c.run, STATEMENTS.c.pk)
    ).mappings()
    return [
        StatementRow(
            "" if row["field"] == RETIRED else row["statement"],
            row["field"],
            row["value"],
            row["old"],
            row["note"],
            moment(row["at"]),
            row["run"],
            row["undone_by"],
        )
        for row in rows
    ]


def sources(connection: Connection, sha256: str) -> list[SourceRow]:
    """Every place where a frame's content was seen, in order of being seen."""
    rows = connection.execute(
        select(SOURCES.c.source_path, SOURCES.c.modified, SOURCES.c.run)
        .where(SOURCES.c.sha256 == sha256)
        .order_by(SOURCES.c.run, SOURCES.c.pk)
    )
    return [SourceRow(path, moment(modified), run) for path, modified, run in rows]


def statement_frames(connection: Connection, statement: str) -> list[str]:
    """SHA-256s of the library's frames for which a statement holds, that is, is not undone."""
    this = (STATEMENTS.c.statement == clean(statement)) & STATEMENTS.c.undone_by.is_(None)
    known = select(FRAMES.c.sha256)
    return list(
        connection.scalars(
            select(STATEMENTS.c.sha256).where(this, STATEMENTS.c.sha256.in_(known)).order_by(STATEMENTS.c.pk)
        )
    )


def known_many(connection: Connection, sha256s: Iterable[str]) -> set[str]:
    """Which of the contents are frames of the library."""
    return known_of(connection, set(sha256s))


_ASIDE = select(*(SET_ASIDE.c[name] for name in SetAsideRow.__dataclass_fields__)).where(SET_ASIDE.c.settled.is_(False))


def set_aside_known(connection: Connection, sha256: str) -> SetAsideRow | None:
    """The file of that content, if it is set aside."""
    row = connection.execute(_ASIDE.where(SET_ASIDE.c.sha256 == sha256).limit(1)).first() if sha256 else None
    return SetAsideRow(*row) if row is not None else None


def set_aside(connection: Connection) -> list[SetAsideRow]:
    """Every file that is set aside, in order of being set aside."""
    return [SetAsideRow(*row) for row in connection.execute(_ASIDE.order_by(SET_ASIDE.c.run, SET_ASIDE.c.pk))]


def everything(connection: Connection, after: int, limit: int) -> list[StoredRow]:
    """The next frames in order of rows."""
    columns = (FRAMES.c.pk, FRAMES.c.sha256, FRAMES.c.path, FRAMES.c.size, FRAMES.c.in_place)
    rows = connection.execute(select(*columns).where(FRAMES.c.pk > after).order_by(FRAMES.c.pk).limit(limit))
    return [StoredRow(*row) for row in rows]


def frames(connection: Connection, query: FrameQuery) -> Page:
    """One page of a list of frames. DarklibError: unknown_body, unknown_train, no_such_frame (for `after`)."""
    statement = SELECT_FRAMES.where(*_conditions(connection, query)).order_by(FRAMES.c.order_us, FRAMES.c.id)
    if query.after is not None:
        place = connection.execute(
            select(FRAMES.c.order_us, FRAMES.c.id).where(FRAMES.c.id == query.after[:16])
        ).first()
        if place is None:
            raise DarklibError(
                "no_such_frame", f"The library holds no frame {query.after}.", remedy="See `darklib frames`."
            )
        statement = statement.where(tuple_(FRAMES.c.order_us, FRAMES.c.id) > tuple_(*place))
    if query.limit is not None:
        statement = statement.limit(query.limit + 1)
    rows = connection.execute(statement).mappings().all()
    more = query.limit is not None and len(rows) > query.limit
    found = Shelf(connection).frames(rows[: query.limit] if more else rows)
    return Page(found, found[-1].id if more and found else None)


def _conditions(connection: Connection, query: FrameQuery) -> Iterator[ColumnElement[bool]]:
    column = FRAMES.c
    if query.kind is not None:
        yield column.kind == query.kind
    if query.undecided:
        yield column.kind.is_(None)
    if query.retired is not None:
        yield column.retired.is_(query.retired)
    if query.body is not None:
        yield column.body == body_row(connection, query.body)
    if query.train is not None:
        yield column.train.in_(train_rows(connection, query.train))
    if query.night_low is not None:
        yield column.night >= query.night_low
    if query.night_high is not None:
        yield column.night <= query.night_high
    for low, high, name, scale in (
        (query.exposure_low_s, query.exposure_high_s, "exposure_us", 1_000_000),
        (query.temperature_low_c, query.temperature_high_c, "temperature_c100", 100),
    ):
        if low is not None:
            yield column[name] >= bound(low, scale)
        if high is not None:
            yield column[name] <= bound(high, scale)
    if query.filter is not None:
        yield column.filter.in_(_spellings(connection, column.filter, query.filter))
    if query.target is not None:
        yield column.series.in_(select(SERIES.c.pk).where(SERIES.c.target_key == clean(query.target).casefold()))
    if query.series is not None:
        yield column.series.in_(select(SERIES.c.pk).where(one_of(SERIES.c.id, query.series)))


def body_row(connection: Connection, text: str) -> Any:
    """The body that a text means: by id, by label, or by a unique beginning of its id; the one it is joined to."""
    rows = connection.execute(select(BODIES.c.pk, BODIES.c.id, BODIES.c.label, BODIES.c.joined_to)).all()
    joined = {row.pk: row.joined_to for row in rows}
    meant = text.strip().casefold()
    for found in (
        {row.pk for row in rows if row.id == text},
        {row.pk for row in rows if row.label.casefold() == meant},
        {row.pk for row in rows if len(meant) >= 4 and row.id.startswith(meant)},
    ):
        for pk in list(found):
            while joined[pk] is not None:
                found.discard(pk)
                pk = joined[pk]
                found.add(pk)
        if len(found) == 1:
            return found.pop()
        if found:
            names = ", ".join(sorted(row.id for row in rows if row.pk in found))
            raise DarklibError(
                "ambiguous", f"{text!r} may mean several bodies: {names}.", remedy="Write one of these ids."
            )
    names = ", ".join(row.id for row in rows if row.joined_to is None) or "none"
    raise DarklibError("unknown_body", f"There is no body {text!r}.", remedy=f"The bodies of this library: {names}.")


def train_rows(connection: Connection, text: str) -> list[int]:
    """The trains that a text means: by fingerprint or its unique beginning, or all of that label."""
    rows = connection.execute(select(TRAINS.c.pk, TRAINS.c.fingerprint, TRAINS.c.label)).all()
    meant = text.strip().casefold()
    for found in (
        [row.pk for row in rows if row.fingerprint == meant],
        [row.pk for row in rows if row.label.casefold() == meant],
        [row.pk for row in rows if len(meant) >= 4 and row.fingerprint.startswith(meant)],
    ):
        if found:
            return found
    names = ", ".join(f"{row.label} ({row.fingerprint})" for row in rows) or "none"
    raise DarklibError("unknown_train", f"There is no train {text!r}.", remedy=f"The trains of this library: {names}.")


def _spellings(connection: Connection, column: Any, text: str) -> list[str]:
    # Databases fold the case of ASCII letters only, so the spellings that occur are compared here.
    meant = clean(text).casefold()
    series_column = SERIES.c[column.name]
    spelt = connection.scalars(select(series_column).where(series_column.is_not(None)).distinct())
    return [one for one in spelt if one.casefold() == meant]
