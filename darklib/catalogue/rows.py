"""Rows as the words of the house, and back."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, Table, Text, bindparam, insert, select, type_coerce

from darklib.catalogue.address import PARAMETERS
from darklib.catalogue.columns import MOST, whole
from darklib.catalogue.tables import BODIES, FRAMES, READOUTS, SERIES, TRAINS
from darklib.facts.frame import (
    BodyRef,
    Combined,
    DarkRatio,
    Frame,
    FrameWarning,
    Kind,
    KindFrom,
    Readout,
    TemperatureFrom,
)
from darklib.facts.match import Series, Temperatures
from darklib.facts.plain import from_plain, to_plain
from darklib.facts.train import TrainFacts, TrainRef
from darklib.facts.units import degrees, instant_us, moment, seconds

_KINDS: dict[str | None, Kind | None] = {None: None, **{kind.value: kind for kind in Kind}}
_KINDS_FROM: dict[str | None, KindFrom | None] = {None: None, **{one.value: one for one in KindFrom}}
_TEMPERATURES_FROM: dict[str | None, TemperatureFrom | None] = {
    None: None,
    **{one.value: one for one in TemperatureFrom},
}

READOUT_FIELDS = (
    *("gain", "iso", "offset", "readout_mode", "width", "height"),
    *("origin_x", "origin_y", "cfa", "row_order", "bits", "dn_step"),
)

FRAME_COLUMNS: tuple[Any, ...] = tuple(
    type_coerce(column, Text).label(column.name) if column.name in ("combined", "warnings", "dark_ratio") else column
    for column in FRAMES.c
    if column.name not in ("order_us", "run", "series")
)
"""What a `Frame` is made of. JSON comes as text: most frames share theirs, and one decoding serves them all."""

SELECT_FRAMES = select(*FRAME_COLUMNS, SERIES.c.id.label("series_id")).join(SERIES, FRAMES.c.series == SERIES.c.pk)


LONGEST_S = 1e8
"""Longer exposures (3 years) are no exposures; sums of what is left stay within 64 bits."""


def exposure_us(exposure_s: float | None) -> int | None:
    """Seconds as the catalogue holds them."""
    return whole(round(exposure_s * 1e6)) if exposure_s is not None and abs(exposure_s) < LONGEST_S else None


def order_us(taken_at: datetime | None) -> int:
    """By what frames are put in order of time; those without a time come last."""
    return MOST if taken_at is None else instant_us(taken_at)


def hundredths(value: float | None) -> int | None:
    """Degrees as the catalogue holds them; None for what is no temperature."""
    return round(value * 100) if value is not None and abs(value) < 1e6 else None


def bound(value: float, scale: int) -> int:
    """The end of a range in the catalogue's units; infinite ends lie past everything."""
    return round(min(max(value * scale, -1e18), 1e18))


def frame_values(frame: Frame, *, body: int | None, readout: int, train: int | None, series: int) -> dict[str, Any]:
    """The columns of a frame's row besides `run`, from its `Frame` and the rows it refers to."""
    taken_at = instant_us(frame.taken_at) if frame.taken_at is not None else None
    return {
        "sha256": frame.sha256,
        "id": frame.id,
        "size": frame.size,
        "path": frame.path,
        "in_place": frame.in_place,
        "source_path": frame.source_path,
        "kind": frame.kind,
        "kind_from": frame.kind_from,
        "kind_confidence": frame.kind_confidence,
        "body": body,
        "readout": readout,
        "black_dn": frame.readout.black_dn,
        "white_dn": frame.readout.white_dn,
        "cfa_rows": frame.cfa_rows,
        "cfa_columns": frame.cfa_columns,
        "series": series,
        "exposure_us": exposure_us(frame.exposure_s),
        "temperature_c100": hundredths(frame.temperature_c),
        "temperature_error_c100": hundredths(frame.temperature_error_c),
        "temperature_from": frame.temperature_from,
        "set_temperature_c100": hundredths(frame.set_temperature_c),
        "filter": frame.filter,
        "train": train,
        "target": frame.target,
        "taken_at": taken_at,
        "order_us": order_us(frame.taken_at),
        "time_from": frame.time_from,
        "night": frame.night,
        "combined": to_plain(frame.combined),
        "median_dn": frame.median_dn,
        "mad_dn": frame.mad_dn,
        "saturated_fraction": frame.saturated_fraction,
        "in_camera_subtraction": frame.in_camera_subtraction,
        "rotator_deg": frame.rotator_deg,
        "focuser_position": frame.focuser_position,
        "warnings": to_plain(frame.warnings) or None,
        "retired": frame.retired,
        "dark_ratio": to_plain(frame.dark_ratio),
    }


def readout_values(readout: Readout) -> dict[str, Any]:
    """The columns of a readout's row."""
    values: dict[str, Any] = {name: getattr(readout, name) for name in READOUT_FIELDS}
    return {"key": readout.key, "binning_x": readout.binning[0], "binning_y": readout.binning[1], **values}


class Shelf:
    """Bodies, trains and readouts by row, read once a call, since many frames share a few."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._bodies: dict[int, BodyRef] | None = None
        self._trains: dict[int, TrainRef] | None = None
        self._readouts: dict[int, Readout] = {}
        self._levelled: dict[tuple[int, float | None, float | None], Readout] = {}

    @property
    def bodies(self) -> dict[int, BodyRef]:
        """Every body by row number."""
        if self._bodies is None:
            rows = self._connection.execute(select(BODIES)).mappings()
            self._bodies = {row["pk"]: body_ref(row) for row in rows}
        return self._bodies

    @property
    def trains(self) -> dict[int, TrainRef]:
        """Every train by row number."""
        if self._trains is None:
            rows = self._connection.execute(select(TRAINS.c.pk, TRAINS.c.fingerprint, TRAINS.c.label))
            self._trains = {pk: TrainRef(fingerprint, label) for pk, fingerprint, label in rows}
        return self._trains

    def readouts(self, wanted: Iterable[int]) -> dict[int, Readout]:
        """Readouts by row number: at least those wanted."""
        missing = sorted(set(wanted) - self._readouts.keys())
        for some in chunks(missing):
            rows = self._connection.execute(select(READOUTS).where(READOUTS.c.pk.in_(some))).mappings()
            self._readouts.update({row["pk"]: readout_of_row(row) for row in rows})
        return self._readouts

    def frames(self, rows: Sequence[RowMapping]) -> list[Frame]:
        """Frames from rows of SELECT_FRAMES."""
        readouts = self.readouts({row["readout"] for row in rows})
        bodies, trains, levelled = self.bodies, self.trains, self._levelled
        made = []
        for row in rows:
            place = row["readout"], row["black_dn"], row["white_dn"]
            readout = levelled.get(place)
            if readout is None:
                plain = readouts[place[0]]
                values = {name: getattr(plain, name) for name in READOUT_FIELDS}
                readout = Readout(binning=plain.binning, black_dn=place[1], white_dn=place[2], **values)
                levelled[place] = readout
            made.append(_frame(row, readout, bodies, trains))
        return made

    def series(self, rows: Sequence[RowMapping]) -> list[Series]:
        """Series from rows of the series table."""
        readouts = self.readouts({row["readout"] for row in rows})
        return [_series(row, readouts[row["readout"]], self.bodies, self.trains) for row in rows]


def _frame(row: RowMapping, readout: Readout, bodies: Mapping[int, BodyRef], trains: Mapping[int, TrainRef]) -> Frame:
    return Frame(
        id=row["id"],
        sha256=row["sha256"],
        size=row["size"],
        path=row["path"],
        in_place=row["in_place"],
        source_path=row["source_path"],
        kind=_KINDS[row["kind"]],
        kind_from=_KINDS_FROM[row["kind_from"]],
        kind_confidence=row["kind_confidence"],
        body=_known(bodies, row["body"]),
        readout=readout,
        cfa_rows=row["cfa_rows"],
        cfa_columns=row["cfa_columns"],
        exposure_s=_through(seconds, row["exposure_us"]),
        temperature_c=_through(degrees, row["temperature_c100"]),
        temperature_error_c=_through(degrees, row["temperature_error_c100"]),
        temperature_from=_TEMPERATURES_FROM[row["temperature_from"]],
        set_temperature_c=_through(degrees, row["set_temperature_c100"]),
        filter=row["filter"],
        train=_known(trains, row["train"]),
        target=row["target"],
        taken_at=_through(moment, row["taken_at"]),
        time_from=row["time_from"],
        night=row["night"],
        combined=_combined(row["combined"]),
        row_order=readout.row_order,
        median_dn=row["median_dn"],
        mad_dn=row["mad_dn"],
        saturated_fraction=row["saturated_fraction"],
        in_camera_subtraction=row["in_camera_subtraction"],
        rotator_deg=row["rotator_deg"],
        focuser_position=row["focuser_position"],
        warnings=_warnings(row["warnings"]),
        retired=row["retired"],
        series=row["series_id"],
        dark_ratio=_dark_ratio(row["dark_ratio"]),
    )


def _series(row: RowMapping, readout: Readout, bodies: Mapping[int, BodyRef], trains: Mapping[int, TrainRef]) -> Series:
    return Series(
        id=row["id"],
        kind=_KINDS[row["kind"]],
        body=_known(bodies, row["body"]),
        readout=readout,
        exposure_s=_through(seconds, row["exposure_us"]),
        night=row["night"],
        filter=row["filter"],
        train=_known(trains, row["train"]),
        target=row["target"],
        count=row["count"],
        retired_count=row["retired_count"],
        temperatures=Temperatures(
            _through(degrees, row["t_min"]),
            _through(degrees, row["t_median"]),
            _through(degrees, row["t_max"]),
            row["t_unknown"],
        ),
        first_at=_through(moment, row["first_at"]),
        last_at=_through(moment, row["last_at"]),
        seconds=seconds(row["exposure_sum_us"]),
    )


def body_ref(row: RowMapping) -> BodyRef:
    """A body as frames refer to it."""
    return BodyRef(row["id"], row["key"], row["label"], row["make"], row["model"], row["serial"])


def readout_of_row(row: RowMapping) -> Readout:
    """A readout without its black and white level, which are each frame's own."""
    values = {name: row[name] for name in READOUT_FIELDS}
    return Readout(binning=(row["binning_x"], row["binning_y"]), **values)


def train_facts_of(value: Any) -> TrainFacts:
    """A train's description from its column."""
    return from_plain(TrainFacts, value)


def _known(things: Mapping[int, Any], pk: int | None) -> Any:
    return None if pk is None else things[pk]


def _through(convert: Callable[[Any], Any], value: Any) -> Any:
    return None if value is None else convert(value)


@lru_cache(maxsize=4096)
def _warnings(text: str | None) -> tuple[FrameWarning, ...]:
    return () if text is None else tuple(from_plain(FrameWarning, one) for one in json.loads(text))


@lru_cache(maxsize=1024)
def _combined(text: str | None) -> Combined | None:
    return None if text is None else from_plain(Combined, json.loads(text))


def _dark_ratio(text: str | None) -> DarkRatio | None:
    return None if text is None else from_plain(DarkRatio, json.loads(text))


def one_of(column: ColumnElement[Any], values: Sequence[Any]) -> ColumnElement[bool]:
    """Whether a column holds one of the values; too many for parameters are written into the statement."""
    if len(values) <= PARAMETERS:
        return column.in_(values)
    return column.in_(bindparam(None, list(values), expanding=True, literal_execute=True, type_=column.type))


def chunks(values: Sequence[Any], size: int = PARAMETERS) -> Iterable[Sequence[Any]]:
    """Values in parts that fit into one statement."""
    return (values[start : start + size] for start in range(0, len(values), size))


def inserted(connection: Connection, table: Table, values: Mapping[str, Any]) -> int:
    """Adds one row; its number."""
    key = connection.execute(insert(table).values(values)).inserted_primary_key
    if key is None:
        raise RuntimeError(f"no row number for {table.name}")
    return int(key[0])
