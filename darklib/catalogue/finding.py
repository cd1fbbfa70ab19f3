"""What a user means by an id, a beginning of one, or a path."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection, select

from darklib.catalogue.columns import clean
from darklib.catalogue.tables import FRAMES, SERIES, SOURCES
from darklib.facts.errors import DarklibError

_HEXADECIMAL = re.compile(r"[0-9a-f]{4,64}\Z")
_SERIES = re.compile(r"(\d{4}-\d\d-\d\d|undated)-[a-z]{1,5}\Z")
_MANY = 50


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing a text may mean. what: frame or series; name: its id; by: id, series, path or source."""

    what: str
    name: str
    sha256s: tuple[str, ...]
    by: str


def candidates(connection: Connection, texts: Iterable[str]) -> list[Candidate]:
    """What the spellings of one text (as typed, absolute, relative to the library) may mean; each thing once.

    A stored path outranks a source path: the first is of one file, the second of whatever once stood there.
    """
    spellings = list(dict.fromkeys(clean(text) for text in texts))
    found: dict[tuple[str, str], Candidate] = {}
    for text in spellings:
        for one in (*_by_id(connection, text), *_by_series(connection, text)):
            found.setdefault((one.what, one.name), one)
    for one in _by_path(connection, spellings):
        found.setdefault((one.what, one.name), one)
    return list(found.values())


def find(connection: Connection, texts: Iterable[str]) -> list[str]:
    """The SHA-256s of what a text means: one frame, or all frames of a series; none where it means nothing.

    Raises DarklibError `ambiguous`, naming what it may mean.
    """
    texts = list(texts)
    found = candidates(connection, texts)
    if len(found) > 1:
        names = ", ".join(f"{one.what} {one.name}" for one in found[:5]) + (" and more" if len(found) > 5 else "")
        raise DarklibError("ambiguous", f"{texts[0]!r} may mean {names}.", remedy="Write more of the id you mean.")
    return list(found[0].sha256s) if found else []


def _by_id(connection: Connection, text: str) -> list[Candidate]:
    if not _HEXADECIMAL.match(text.casefold()):
        return []
    start = text.casefold()
    column = FRAMES.c.sha256 if len(start) > 16 else FRAMES.c.id
    # A range, not LIKE: it uses the index, and no letter has a second meaning.
    rows = connection.execute(
        select(FRAMES.c.id, FRAMES.c.sha256).where(column >= start, column < start + "g").order_by(column).limit(_MANY)
    )
    return [Candidate("frame", name, (sha256,), "id") for name, sha256 in rows]


def _by_series(connection: Connection, text: str) -> list[Candidate]:
    if not _SERIES.match(text.casefold()):
        return []
    start = text.casefold()
    rows = connection.execute(
        select(SERIES.c.pk, SERIES.c.id).where(SERIES.c.id >= start, SERIES.c.id < start + "{").order_by(SERIES.c.id)
    ).all()
    made = []
    for pk, name in rows:
        members = select(FRAMES.c.sha256).where(FRAMES.c.series == pk).order_by(FRAMES.c.order_us, FRAMES.c.id)
        made.append(Candidate("series", name, tuple(connection.scalars(members)), "series"))
    return made


def _by_path(connection: Connection, texts: list[str]) -> list[Candidate]:
    rows = connection.execute(select(FRAMES.c.id, FRAMES.c.sha256).where(FRAMES.c.path.in_(texts)).limit(_MANY)).all()
    by = "path"
    if not rows:
        seen = select(SOURCES.c.sha256).where(SOURCES.c.source_path.in_(texts))
        rows = connection.execute(
            select(FRAMES.c.id, FRAMES.c.sha256).where(FRAMES.c.sha256.in_(seen)).limit(_MANY)
        ).all()
        by = "source"
    return [Candidate("frame", name, (sha256,), by) for name, sha256 in rows]
