"""Series rows, kept up to date while frames come, go and change. Used while entries are applied."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, bindparam, case, delete, func, select, update

from darklib.catalogue.columns import clean
from darklib.catalogue.rows import chunks, exposure_us, inserted
from darklib.catalogue.tables import FRAMES, SERIES
from darklib.facts.frame import Frame, Kind, TemperatureFrom
from darklib.facts.grouping import in_series, series_id, series_key
from darklib.facts.units import seconds


@dataclass(slots=True)
class _Known:
    pk: int
    id: str
    key: str
    exposure_s: float | None
    members: int


class SeriesBook:
    """Finds the series of a frame or makes one, counts who comes and goes, and writes the figures at the end.

    A series that loses its last frame is gone at once, for the next frame that is looked at as well: whether entries
    are applied one by one or all in one transaction makes no difference.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._by_common: dict[str, list[_Known]] = {}
        self._by_pk: dict[int, _Known] = {}
        self._gone: dict[str, _Known] = {}
        self._touched: set[int] = set()

    def join(self, frame: Frame, *, body: int | None, readout: int, train: int | None) -> int:
        """Row number of the series of a frame that is about to be written; it is counted as a member.

        Of several that would do, the one of the nearest exposure.
        """
        common = clean(series_key(frame))
        exposure = exposure_us(frame.exposure_s)
        exposure_s = None if exposure is None else seconds(exposure)
        alike = [one for one in self._of(common) if in_series(exposure_s, one.exposure_s)]
        if alike:
            known = min(alike, key=lambda one: _nearness(exposure_s, one.exposure_s))
        else:
            known = self._make(frame, common, exposure, body=body, readout=readout, train=train)
        known.members += 1
        self._touched.add(known.pk)
        return known.pk

    def leave(self, pk: int) -> None:
        """A frame is no longer a member of the series."""
        known = self._by_pk.get(pk) or self._load(pk)
        known.members -= 1
        self._touched.add(pk)
        if known.members == 0:
            common = known.key.rpartition("\n")[0]
            self._of(common).remove(known)
            self._gone[known.key] = known

    def touch(self, pks: Iterable[int]) -> None:
        """Frames of these series changed in place."""
        self._touched.update(pks)

    def finish(self) -> None:
        """Writes the figures of every series touched and removes those that are gone. Frames must be written before."""
        gone = [known.pk for known in self._gone.values()]
        for some in chunks(gone):
            self._connection.execute(delete(SERIES).where(SERIES.c.pk.in_(some)))
        left = sorted(self._touched.difference(gone))
        figures: list[dict[str, Any]] = []
        for some in chunks(left):
            figures += _figures(self._connection, some)
        if figures:
            names = [name for name in figures[0] if name != "row"]
            change = (
                update(SERIES)
                .where(SERIES.c.pk == bindparam("row"))
                .values({name: bindparam(f"n_{name}") for name in names})
            )
            rows = [{"row": one["row"], **{f"n_{name}": one[name] for name in names}} for one in figures]
            self._connection.execute(change, rows)
        self._touched.clear()
        self._gone.clear()

    def _of(self, common: str) -> list[_Known]:
        found = self._by_common.get(common)
        if found is None:
            rows = self._connection.execute(_SELECT.where(SERIES.c.common_key == common))
            found = [self._by_pk.setdefault(row[0], _known(row)) for row in rows]
            found = [one for one in found if one.key not in self._gone]
            self._by_common[common] = found
        return found

    def _load(self, pk: int) -> _Known:
        known = _known(self._connection.execute(_SELECT.where(SERIES.c.pk == pk)).one())
        common = known.key.rpartition("\n")[0]
        return next(one for one in self._of(common) if one.pk == pk)

    def _make(
        self, frame: Frame, common: str, exposure: int | None, *, body: int | None, readout: int, train: int | None
    ) -> _Known:
        key = f"{common}\n{'' if exposure is None else exposure}"
        known = self._gone.pop(key, None)
        if known is None:
            values = _values(frame, common, key, exposure, body=body, readout=readout, train=train)
            values["id"] = self._free_id(frame, values["exposure_us"])
            pk = inserted(self._connection, SERIES, values)
            known = _Known(pk, values["id"], key, None if exposure is None else seconds(exposure), 0)
            self._by_pk[pk] = known
        self._of(common)
        if known not in self._by_common[common]:
            self._by_common[common].append(known)
        return known

    def _free_id(self, frame: Frame, exposure: int | None) -> str:
        # Five letters tell 3.2 million series of one night apart; undated ones all share a night, so two may meet.
        exposure_s = None if exposure is None else seconds(exposure)
        key, number = series_key(frame), 1
        name = series_id(key, exposure_s, frame.night)
        while self._connection.scalar(select(SERIES.c.pk).where(SERIES.c.id == name)) is not None:
            number += 1
            name = series_id(f"{key}\n{number}", exposure_s, frame.night)
        return name


_SELECT = select(
    SERIES.c.pk, SERIES.c.id, SERIES.c.key, SERIES.c.exposure_us, SERIES.c.count + SERIES.c.retired_count
).order_by(SERIES.c.pk)


def _known(row: Any) -> _Known:
    return _Known(row[0], row[1], row[2], None if row[3] is None else seconds(row[3]), row[4])


def _nearness(a_s: float | None, b_s: float | None) -> tuple[float, float]:
    return (abs((a_s or 0.0) - (b_s or 0.0)), b_s or 0.0)


def _values(
    frame: Frame, common: str, key: str, exposure: int | None, *, body: int | None, readout: int, train: int | None
) -> dict[str, Any]:
    optical = frame.kind not in (Kind.DARK, Kind.BIAS)
    target = frame.target if frame.kind in (Kind.LIGHT, None) else None
    return {
        "key": key,
        "common_key": common,
        "kind": frame.kind,
        "body": body,
        "readout": readout,
        "exposure_us": exposure,
        "night": frame.night,
        "filter": frame.filter if optical else None,
        "train": train if optical else None,
        "target": target,
        "target_key": target.casefold() if target else None,
        "count": 0,
        "retired_count": 0,
        "t_unknown": 0,
        "exposure_sum_us": 0,
        "bytes": 0,
    }


def figures_as_told(connection: Connection) -> dict[int, dict[str, Any]]:
    """By row number, the temperatures of series with frames whose own was inferred, as they are without."""
    inferred = connection.scalars(
        select(FRAMES.c.series).where(FRAMES.c.temperature_from == TemperatureFrom.PIXELS).distinct()
    ).all()
    told = case((FRAMES.c.temperature_from == TemperatureFrom.PIXELS, None), else_=FRAMES.c.temperature_c100)
    names = ("t_min", "t_median", "t_max", "t_unknown")
    found: dict[int, dict[str, Any]] = {}
    for some in chunks(inferred):
        for one in _figures(connection, some, told):
            found[one["row"]] = {name: one[name] for name in names}
    return found


def _figures(connection: Connection, series: Any, temperature: Any = FRAMES.c.temperature_c100) -> list[dict[str, Any]]:
    rows = connection.execute(
        select(
            FRAMES.c.series,
            FRAMES.c.retired,
            temperature,
            func.count(),
            func.min(FRAMES.c.taken_at),
            func.max(FRAMES.c.taken_at),
            func.sum(FRAMES.c.exposure_us),
            func.sum(FRAMES.c.size),
        )
        .where(FRAMES.c.series.in_(series))
        .group_by(FRAMES.c.series, FRAMES.c.retired, temperature)
    )
    grouped: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        grouped[row[0]].append(row)
    return [_figures_of(pk, parts) for pk, parts in grouped.items()]


def _figures_of(pk: int, parts: list[Any]) -> dict[str, Any]:
    live = [part for part in parts if not part[1]]
    known = sorted((part[2], part[3]) for part in live if part[2] is not None)
    return {
        "row": pk,
        "count": sum(part[3] for part in live),
        "retired_count": sum(part[3] for part in parts if part[1]),
        "t_min": known[0][0] if known else None,
        "t_median": _median(known) if known else None,
        "t_max": known[-1][0] if known else None,
        "t_unknown": sum(part[3] for part in live if part[2] is None),
        "first_at": min((part[4] for part in live if part[4] is not None), default=None),
        "last_at": max((part[5] for part in live if part[5] is not None), default=None),
        "exposure_sum_us": sum(int(part[6] or 0) for part in live),
        "bytes": sum(int(part[7]) for part in parts),
    }


def _median(counted: list[tuple[int, int]]) -> float:
    total = sum(count for _, count in counted)

    def at(place: int) -> int:
        for value, count in counted:
            if place < count:
                return value
            place -= count
        raise IndexError(place)

    return (at((total - 1) // 2) + at(total // 2)) / 2
