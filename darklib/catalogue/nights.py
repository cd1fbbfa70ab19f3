"""Nights that other frames decide: runs of lights across noon and flats of the morning after, by `facts/night`.

A frame comes in with the night it has by itself. Then the frames near those that came, went or changed are looked at,
and those whose night is another by the rule are named; whoever applies entries works their rows out anew. The rule
depends on the frames alone, so a replay ends with the same nights.
"""

from bisect import bisect_right
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, or_, select

from darklib.catalogue.columns import MOST
from darklib.catalogue.records import records_of
from darklib.catalogue.rows import exposure_us
from darklib.catalogue.tables import FRAMES
from darklib.facts.frame import Frame, Kind
from darklib.facts.night import (
    FLATS_AFTER_S,
    FLATS_BEFORE_S,
    LONGEST_IN_RUN_S,
    PAUSE_S,
    goes_on,
    serves_night_before,
)
from darklib.facts.resolve import night_by_itself, shot_early
from darklib.facts.units import instant_us, moment

AFTER_US = int(FLATS_AFTER_S * 1e6)
BEFORE_US = int(FLATS_BEFORE_S * 1e6)
PAUSE_US = int(PAUSE_S * 1e6)
LONGEST_US = int(LONGEST_IN_RUN_S * 1e6)
TOGETHER = 20
"""Spans of time in one question."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Where something changed: the camera's row (None: unknown) and the moment, microseconds."""

    body: int | None
    at_us: int


@dataclass(slots=True)
class _Row:
    sha256: str
    id: str
    at_us: int
    exposure_us: int | None
    night: str


_ROW = (FRAMES.c.sha256, FRAMES.c.id, FRAMES.c.order_us, FRAMES.c.exposure_us, FRAMES.c.night)


class NightBook:
    """Looks after nights while entries of one transaction are applied."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._own: dict[str, tuple[str, bool]] = {}

    def quiet(self, coming: Iterable[Frame]) -> bool:
        """Whether frames can come in all at once, because no night will be another than the frame's own or that it has.

        Cameras are not told apart here and every doubt is a no, so a yes holds for each beginning of `coming` as well.
        """
        fresh = [
            (instant_us(one.taken_at), min(exposure_us(one.exposure_s) or 0, LONGEST_US), one)
            for one in coming
            if one.kind in (Kind.LIGHT, Kind.FLAT) and one.taken_at is not None and one.night is not None
        ]
        if not fresh:
            return True
        known = list(self._near(sorted(at for at, _, _ in fresh)))
        lights = [(at, at + length, one.night or "") for at, length, one in fresh if one.kind is Kind.LIGHT]
        fresh_lights = sorted(at for at, _, _ in lights)
        lights += [(at, at + length, night) for kind, at, length, night in known if kind == Kind.LIGHT]
        lights.sort()
        end, of_run = -MOST, ""
        for start, until, night in lights:
            if start - end <= PAUSE_US and night != of_run:
                return False
            end, of_run = max(end, until), night
        starts = [start for start, _, _ in lights]

        def doubtful(at: int, night: str) -> bool:
            before = range(bisect_right(starts, at - AFTER_US - 1), bisect_right(starts, at))
            return any(lights[place][2] != night for place in before)

        for at, _, one in fresh:
            if one.kind is Kind.FLAT and doubtful(at, one.night or ""):
                return False
        for kind, at, _, night in known:
            if kind == Kind.FLAT:
                near = range(bisect_right(fresh_lights, at - AFTER_US - 1), bisect_right(fresh_lights, at + BEFORE_US))
                soon = bisect_right(fresh_lights, at + BEFORE_US) > bisect_right(fresh_lights, at)
                lately = bisect_right(starts, at) > bisect_right(starts, at - AFTER_US - 1)
                if near and (doubtful(at, night) or (soon and lately)):
                    return False
        return True

    def _near(self, times: Sequence[int]) -> Iterator[tuple[str, int, int, str]]:
        """Kind, start, exposure and night of every light and flat that may have to do with frames of those times."""
        reach = max(AFTER_US, LONGEST_US + PAUSE_US)
        spans = _spans(times, reach, reach)
        for some in range(0, len(spans), TOGETHER):
            within = or_(*(FRAMES.c.order_us.between(low, high) for low, high in spans[some : some + TOGETHER]))
            asked = select(FRAMES.c.kind, FRAMES.c.order_us, FRAMES.c.exposure_us, FRAMES.c.night)
            rows = self._connection.execute(asked.where(within, FRAMES.c.kind.in_((Kind.LIGHT, Kind.FLAT))))
            for kind, at, length, night in rows:
                if night is not None:
                    yield kind, at, min(length or 0, LONGEST_US), night

    def others(self, spots: Iterable[Spot]) -> list[tuple[str, str]]:
        """Frames near some changes whose night is another by the rule than in their row, in order of time: SHA-256 and
        the night they belong to.
        """
        by_body: dict[int | None, set[int]] = {}
        for spot in spots:
            if spot.at_us < MOST:
                by_body.setdefault(spot.body, set()).add(spot.at_us)
        found: list[tuple[int, str, str, str]] = []
        for body, times in by_body.items():
            found += self._of_body(body, sorted(times))
        return [(sha256, night) for _, _, sha256, night in sorted(found)]

    def _of_body(self, body: int | None, times: list[int]) -> Iterator[tuple[int, str, str, str]]:
        changed: dict[str, _Row] = {}
        touched, walked = set(times), -MOST
        for at in times:
            if at <= walked:
                continue
            for light, night in self._lights_from(body, at, touched, changed):
                walked = light.at_us
                if night == light.night:
                    changed.pop(light.sha256, None)
                else:
                    changed[light.sha256] = _Row(light.sha256, light.id, light.at_us, light.exposure_us, night)
        for row in changed.values():
            yield row.at_us, row.id, row.sha256, row.night
        for flat, night in self._flats_near(body, sorted({*times, *(row.at_us for row in changed.values())}), changed):
            if night != flat.night:
                yield flat.at_us, flat.id, flat.sha256, night

    def _lights_from(
        self, body: int | None, at: int, touched: Collection[int], changed: dict[str, _Row]
    ) -> Iterator[tuple[_Row, str]]:
        """Lights from a moment on as far as changes there may reach, with their nights by the rule."""
        before = self._last_light(body, at - 1)
        of_run = None
        if before is not None:
            of_run = changed[before.sha256].night if before.sha256 in changed else before.night
        for light in self._rows(body, Kind.LIGHT, at):
            joined = before is not None and goes_on(before.at_us, before.exposure_us, light.at_us)
            night = of_run if joined and of_run is not None else self._of_itself(light)[0]
            stands = changed[light.sha256].night if light.sha256 in changed else light.night
            yield light, night
            if night == stands and light.at_us not in touched:
                return
            before, of_run = light, night

    def _flats_near(
        self, body: int | None, times: Sequence[int], changed: dict[str, _Row]
    ) -> Iterator[tuple[_Row, str]]:
        for low, high in _spans(times, BEFORE_US, AFTER_US):
            for flat in self._rows(body, Kind.FLAT, low, high):
                own, early = self._of_itself(flat)
                last = self._last_light(body, flat.at_us) if early else None
                following = next(self._rows(body, Kind.LIGHT, flat.at_us + 1), None) if last else None
                if last and serves_night_before(flat.at_us, last.at_us, following.at_us if following else None):
                    own = changed[last.sha256].night if last.sha256 in changed else last.night
                yield flat, own

    def _last_light(self, body: int | None, until_us: int) -> _Row | None:
        asked = select(*_ROW).where(self._is(body), FRAMES.c.kind == Kind.LIGHT, FRAMES.c.order_us <= until_us)
        row = self._connection.execute(asked.order_by(FRAMES.c.order_us.desc(), FRAMES.c.id.desc()).limit(1)).first()
        return _row(row) if row is not None else None

    def _rows(self, body: int | None, kind: Kind, from_us: int, until_us: int = MOST - 1) -> Iterator[_Row]:
        """In order of time, a few at a time at first: mostly the first one settles it."""
        after: tuple[int, str] | None = None
        count = 4
        while True:
            asked = select(*_ROW).where(self._is(body), FRAMES.c.kind == kind, FRAMES.c.order_us <= until_us)
            if after is None:
                asked = asked.where(FRAMES.c.order_us >= from_us)
            else:
                at, name = after
                later = or_(FRAMES.c.order_us > at, (FRAMES.c.order_us == at) & (FRAMES.c.id > name))
                asked = asked.where(FRAMES.c.order_us >= at, later)
            rows = self._connection.execute(asked.order_by(FRAMES.c.order_us, FRAMES.c.id).limit(count)).all()
            for row in rows:
                yield _row(row)
            if len(rows) < count:
                return
            after, count = (rows[-1][2], rows[-1][1]), min(count * 4, 256)

    @staticmethod
    def _is(body: int | None) -> Any:
        return FRAMES.c.body.is_(None) if body is None else FRAMES.c.body == body

    def _of_itself(self, row: _Row) -> tuple[str, bool]:
        """The night a frame has by itself, and whether it was shot early in the afternoon."""
        known = self._own.get(f"{row.sha256} {row.at_us}")
        if known is None:
            (record,) = records_of(self._connection, [row.sha256]).values()
            at = moment(row.at_us)
            known = night_by_itself(record, at), shot_early(record, at)
            self._own[f"{row.sha256} {row.at_us}"] = known
        return known


def _row(row: Any) -> _Row:
    return _Row(row[0], row[1], row[2], row[3], row[4] or "")


def _spans(times: Iterable[int], before: int, after: int) -> list[tuple[int, int]]:
    """From `before` each of some moments, in order, to `after` it; those that touch are one."""
    spans: list[tuple[int, int]] = []
    for at in times:
        low, high = at - before, at + after
        if spans and low <= spans[-1][1]:
            spans[-1] = spans[-1][0], high
        else:
            spans.append((low, high))
    return spans
