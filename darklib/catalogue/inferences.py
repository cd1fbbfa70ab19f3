"""What hot pixels need to know of all darks and lights, and what they say put into the frames' columns."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, select, update

from darklib.catalogue.findings import Inference, store_inferences
from darklib.catalogue.rows import hundredths
from darklib.catalogue.series import SeriesBook
from darklib.catalogue.tables import BODIES, FRAMES, READOUTS, SERIES
from darklib.facts.frame import DarkRatio, Kind, TemperatureFrom
from darklib.facts.plain import from_plain, to_plain
from darklib.facts.units import degrees, moment, seconds

RATIO, IDENTITY, DOUBT = "dark_ratio", "identity", "temperature_doubt"
"""What the inferences from hot pixels are called: the dark ratio with all that belongs to it; whose frame it is, where
that is in doubt; a recorded temperature (told_c) that disagrees with the inferred one (inferred_c)."""

SCALE = "dark_scale"
"""What the findings on the darks of one body and readout are called."""

LEAST_EXPOSURE_US = 1_000_000
"""Hot pixels of shorter exposures say nothing."""


@dataclass(frozen=True, slots=True)
class HotRow:
    """A dark or light as its hot pixels concern others.

    temperature_*: as they stand, told or inferred. plain: neither combined
    of several nor with a dark taken off by the camera.
    """

    sha256: str
    kind: Kind
    body: str
    readout: str
    series: str
    exposure_s: float
    temperature_c: float | None
    temperature_error_c: float | None
    temperature_from: TemperatureFrom | None
    taken_at: datetime | None
    retired: bool
    path: str
    dark_ratio: DarkRatio | None
    plain: bool


@dataclass(frozen=True, slots=True)
class HotOutcome:
    """What a frame's columns are to hold. temperature_c: the inferred one where nothing else tells it, else None and
    the columns of the temperature stay; dark_ratio None: there is none.
    """

    sha256: str
    dark_ratio: DarkRatio | None
    temperature_c: float | None
    temperature_error_c: float | None
    keep_temperature: bool


def hot_rows(connection: Connection, bodies: Collection[str] | None = None) -> list[HotRow]:
    """Every dark and light of a known body and of a second or more, by time. bodies: only of these, by id."""
    query = (
        select(
            FRAMES.c.sha256,
            FRAMES.c.kind,
            BODIES.c.id,
            READOUTS.c.key,
            SERIES.c.id,
            FRAMES.c.exposure_us,
            FRAMES.c.temperature_c100,
            FRAMES.c.temperature_error_c100,
            FRAMES.c.temperature_from,
            FRAMES.c.taken_at,
            FRAMES.c.retired,
            FRAMES.c.path,
            FRAMES.c.dark_ratio,
            FRAMES.c.combined.is_(None) & FRAMES.c.in_camera_subtraction.isnot(True),
        )
        .join(BODIES, FRAMES.c.body == BODIES.c.pk)
        .join(READOUTS, FRAMES.c.readout == READOUTS.c.pk)
        .join(SERIES, FRAMES.c.series == SERIES.c.pk)
        .where(FRAMES.c.kind.in_((Kind.DARK, Kind.LIGHT)), FRAMES.c.exposure_us >= LEAST_EXPOSURE_US)
        .order_by(FRAMES.c.order_us, FRAMES.c.id)
    )
    if bodies is not None:
        query = query.where(BODIES.c.id.in_(list(bodies)))
    return [_row(row) for row in connection.execute(query)]


def put(connection: Connection, outcomes: Iterable[HotOutcome], made: Iterable[Inference]) -> None:
    """Puts what was inferred into the frames' columns and the figures of their series, and keeps the inferences."""
    outcomes = list(outcomes)
    store_inferences(connection, made)
    ratios = [{"sha": one.sha256, "ratio": to_plain(one.dark_ratio)} for one in outcomes]
    if ratios:
        this = update(FRAMES).where(FRAMES.c.sha256 == bindparam("sha"))
        connection.execute(this.values(dark_ratio=bindparam("ratio")), ratios)
        warm = [
            {
                "sha": one.sha256,
                "t": hundredths(one.temperature_c),
                "e": hundredths(one.temperature_error_c) if one.temperature_c is not None else None,
                "f": TemperatureFrom.PIXELS if one.temperature_c is not None else None,
            }
            for one in outcomes
            if not one.keep_temperature
        ]
        if warm:
            values: dict[str, Any] = {
                "temperature_c100": bindparam("t"),
                "temperature_error_c100": bindparam("e"),
                "temperature_from": bindparam("f"),
            }
            # Somebody may have stated a temperature meanwhile.
            free = FRAMES.c.temperature_from.is_(None) | (FRAMES.c.temperature_from == TemperatureFrom.PIXELS)
            connection.execute(this.where(free).values(**values), warm)
            book = SeriesBook(connection)
            shas = [one["sha"] for one in warm]
            for start in range(0, len(shas), 500):
                some = shas[start : start + 500]
                book.touch(connection.scalars(select(FRAMES.c.series).where(FRAMES.c.sha256.in_(some)).distinct()))
            book.finish()


def _row(row: Any) -> HotRow:
    sha256, kind, body, readout, series, exposure_us, temperature, error, known_from, taken_at, *rest = row
    retired, path, ratio, plain = rest
    return HotRow(
        sha256,
        Kind(kind),
        body,
        readout,
        series,
        seconds(exposure_us),
        None if temperature is None else degrees(temperature),
        None if error is None else degrees(error),
        None if known_from is None else TemperatureFrom(known_from),
        None if taken_at is None else moment(taken_at),
        retired,
        path,
        None if ratio is None else from_plain(DarkRatio, ratio),
        bool(plain),
    )
