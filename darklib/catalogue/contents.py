"""All that a catalogue holds, so that two can be compared row by row: the one in use and one replayed from the journal.

Row numbers mean nothing and are left out; a reference counts as what it refers to.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table

from darklib.catalogue import tables
from darklib.catalogue.series import figures_as_told
from darklib.facts.frame import TemperatureFrom

WORDS: dict[str, str] = {
    "frames": "frames",
    "records": "frames as they were read",
    "measurements": "measurements",
    "sources": "places where frames were seen",
    "statements": "corrections",
    "set_aside": "files set aside",
    "bodies": "cameras",
    "body_changes": "names, joins and changes of cameras",
    "trains": "optical trains",
    "train_changes": "changes of optical trains",
    "series": "series",
    "readouts": "ways of reading out",
    "copies_checked": "checks of second copies",
    "runs": "runs",
}
"""What the rows of each table are, for people. `about` says nothing of the library's content; findings and
inferences are derived from it, and no journal has them; nor what inferences put into frames and series.
"""

_REFERENCES = {
    "body": (tables.BODIES, "id"),
    "joined_to": (tables.BODIES, "id"),
    "readout": (tables.READOUTS, "key"),
    "series": (tables.SERIES, "id"),
    "train": (tables.TRAINS, "fingerprint"),
}
# How far a journal file is applied says nothing of what is recorded; a train's label is made from its description.
_LEFT_OUT = frozenset({"pk", "journal_offset"})
_LEFT_OUT_OF = {"trains": frozenset({"label"}), "frames": frozenset({"dark_ratio"})}
_INFERRED = ("temperature_c100", "temperature_error_c100", "temperature_from")
_NAMED_BY = ("sha256", "id", "body_id", "fingerprint", "key")
Rows = Counter[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Difference:
    """table: a key of WORDS. lacking and surplus: names of things with rows that only the other, only this one has."""

    table: str
    lacking: tuple[str, ...]
    surplus: tuple[str, ...]


def contents(connection: Connection) -> dict[str, Rows]:
    """For each table, how often each row is there: under what it is about and a digest of all it holds."""
    named = {
        column: {pk: name for pk, name in connection.exec_driver_sql(f'SELECT pk, "{key}" FROM {table.name}')}  # noqa: C416
        for column, (table, key) in _REFERENCES.items()
    }
    told = figures_as_told(connection)
    return {name: Counter(_rows(connection, tables.Base.metadata.tables[name], named, told)) for name in WORDS}


def compared(this: Mapping[str, Rows], other: Mapping[str, Rows]) -> list[Difference]:
    """Where two contents differ, in the order of WORDS."""
    found = []
    for table in WORDS:
        lacking, surplus = other[table] - this[table], this[table] - other[table]
        if lacking or surplus:
            found.append(Difference(table, _names(lacking), _names(surplus)))
    return found


def _names(rows: Rows) -> tuple[str, ...]:
    return tuple(sorted({name for name, _ in rows}))


def _rows(
    connection: Connection,
    table: Table,
    named: Mapping[str, Mapping[int, str]],
    told: Mapping[int, Mapping[str, Any]],
) -> Iterator[tuple[str, str]]:
    out = _LEFT_OUT | _LEFT_OUT_OF.get(table.name, frozenset())
    columns = [column.name for column in table.columns if column.name not in out]
    pks = {one: pk for pk, one in named["series"].items()}
    about = next((name for name in _NAMED_BY if name in columns), columns[0])
    quoted = ", ".join(f'"{column}"' for column in columns)
    for row in connection.exec_driver_sql(f"SELECT {quoted} FROM {table.name}"):
        values: dict[str, Any] = dict(zip(columns, row, strict=True))
        if values.get("temperature_from") == TemperatureFrom.PIXELS:
            values.update(dict.fromkeys(_INFERRED))
        if told and table is tables.SERIES:
            values.update(told.get(pks.get(values["id"], 0), {}))
        name = str(values[about])
        for column, value in values.items():
            if column in named and isinstance(value, int):
                values[column] = named[column].get(value, value)
            elif isinstance(value, str) and value[:1] in ("{", "["):
                values[column] = _plain(value)
        text = json.dumps(values, sort_keys=True, separators=(",", ":"))
        yield name, hashlib.blake2b(text.encode(), digest_size=12).hexdigest()


def _plain(value: str) -> Any:
    """JSON read, since the order of its keys means nothing; any other text as it is."""
    try:
        return json.loads(value)
    except ValueError:
        return value
