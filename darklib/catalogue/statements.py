"""What the user stated of frames: its rows, which of it holds, and what of it can be used."""

import math
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, insert, select

from darklib.catalogue.columns import clean
from darklib.catalogue.rows import chunks
from darklib.catalogue.tables import STATEMENTS
from darklib.facts.frame import STATED_FIELDS, Frame, Kind, Statement, TemperatureFrom
from darklib.facts.units import iso_z

RETIRED = "retired"
"""The field under which retiring (value True) and restoring (False) are kept."""

_NUMBERS = ("temperature_c", "clock_shift_s", "exposure_s")


@dataclass(slots=True)
class Holding:
    """What holds for one frame: statements in order, without undone ones; and whether it is retired."""

    statements: list[Statement] = field(default_factory=list)
    retired: bool = False


def holding(connection: Connection, sha256s: Collection[str]) -> Mapping[str, Holding]:
    """What holds for each of the frames. The order is that of the runs, which is also the order of a replay."""
    found: dict[str, Holding] = defaultdict(Holding)
    for some in chunks(list(sha256s)):
        rows = connection.execute(
            select(STATEMENTS.c.sha256, STATEMENTS.c.field, STATEMENTS.c.value)
            .where(STATEMENTS.c.sha256.in_(some), STATEMENTS.c.undone_by.is_(None))
            .order_by(STATEMENTS.c.sha256, STATEMENTS.c.run, STATEMENTS.c.pk)
        )
        for sha256, name, value in rows:
            if name == RETIRED:
                found[sha256].retired = bool(value)
            elif usable(name, value):
                found[sha256].statements.append(Statement(name, value))
    return found


def usable(name: str, value: Any) -> bool:
    """Whether a statement can be understood. What cannot is kept and has no effect: a replay must not stop at it."""
    if value is None:
        return name in STATED_FIELDS
    try:
        if name == "kind":
            return Kind(str(value)) in Kind
        if name == "taken_at":
            return datetime.fromisoformat(str(value)).year > 1
        if name in _NUMBERS:
            return math.isfinite(float(value))
    except (ValueError, TypeError):
        return False
    return name in STATED_FIELDS


def value_of(frame: Frame, name: str) -> str | float | bool | None:
    """What a frame holds in the field of a statement, as text or number."""
    if name == "train":
        return frame.train.label if frame.train else None
    if name == "body":
        return frame.body.label if frame.body else None
    if name in ("taken_at", "clock_shift_s"):
        return iso_z(frame.taken_at) if frame.taken_at else None
    if name == "kind":
        return frame.kind.value if frame.kind else None
    if name == "temperature_c" and frame.temperature_from is TemperatureFrom.PIXELS:
        return None  # inferred from other frames, which no replay knows
    value: str | float | bool | None = getattr(frame, name, None)
    return value


def add_statements(connection: Connection, rows: Sequence[Mapping[str, Any]]) -> bool:
    """Adds those rows whose statement is not there yet for their frame; whether there were any."""
    fresh = []
    for some in chunks(rows):
        these = STATEMENTS.c.sha256.in_([row["sha256"] for row in some])
        there = connection.execute(select(STATEMENTS.c.sha256, STATEMENTS.c.statement).where(these))
        known = {(sha256, statement) for sha256, statement in there}
        for row in some:
            name = row["sha256"], clean(row["statement"])
            if name not in known:
                known.add(name)
                fresh.append(row)
    if fresh:
        connection.execute(insert(STATEMENTS), fresh)
    return bool(fresh)
