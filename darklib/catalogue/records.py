"""What is kept of frames, fetched by SHA-256: for look-ups, and while entries are applied."""

from collections.abc import Collection
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, select

from darklib.catalogue.rows import SELECT_FRAMES, Shelf, chunks
from darklib.catalogue.tables import FRAMES, MEASUREMENTS, RECORDS
from darklib.facts.frame import Frame, FrameRecord, PixelFacts
from darklib.facts.plain import from_plain


def frames_of(connection: Connection, values: Collection[str], column: Any = FRAMES.c.sha256) -> list[Frame]:
    """Frames by what stands in a column, in no order."""
    shelf = Shelf(connection)
    found: list[Frame] = []
    for some in chunks(list(values)):
        found += shelf.frames(connection.execute(SELECT_FRAMES.where(column.in_(some))).mappings().all())
    return found


def known_of(connection: Connection, sha256s: Collection[str]) -> set[str]:
    """Which of the contents are frames."""
    found: set[str] = set()
    for some in chunks(list(sha256s)):
        found.update(connection.scalars(select(FRAMES.c.sha256).where(FRAMES.c.sha256.in_(some))))
    return found


def newest_measurements(connection: Connection, sha256s: Collection[str]) -> dict[str, PixelFacts]:
    """The figures of the newest measurement of each frame that has any."""
    newest: dict[str, Any] = {}
    for some in chunks(list(sha256s)):
        rows = connection.execute(
            select(MEASUREMENTS.c.sha256, MEASUREMENTS.c.figures)
            .where(MEASUREMENTS.c.sha256.in_(some))
            .order_by(MEASUREMENTS.c.sha256, MEASUREMENTS.c.version)
        )
        newest.update((sha256, figures) for sha256, figures in rows)
    return {sha256: from_plain(PixelFacts, figures) for sha256, figures in newest.items()}


def records_of(connection: Connection, sha256s: Collection[str]) -> dict[str, FrameRecord]:
    """The records of frames, each with its newest measurement."""
    newest = newest_measurements(connection, sha256s)
    records: dict[str, FrameRecord] = {}
    for some in chunks(list(sha256s)):
        rows = connection.execute(select(RECORDS.c.sha256, RECORDS.c.facts).where(RECORDS.c.sha256.in_(some)))
        for sha256, facts in rows:
            records[sha256] = replace(from_plain(FrameRecord, facts), measured=newest.get(sha256))
    return records
