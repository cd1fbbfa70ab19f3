"""What the stock serves already: for exposures, readouts and temperatures of a night to come, how well, best first."""

from collections.abc import Sequence
from dataclasses import dataclass

from darklib.facts.frame import BodyRef, Frame, Readout
from darklib.facts.match import Match, Series, Verdict
from darklib.facts.plan import Served
from darklib.facts.units import exposures_equal
from darklib.matching.verdicts import RANK

ALIKE_C = 1.0
"""Set-points this near are one."""

MOST_PLACES = 60
"""So many settings of a camera are looked at; those most used come first."""


@dataclass(frozen=True, slots=True)
class Setting:
    """Something that may be set tonight. low_c, high_c: the sensor's temperatures; set_point: the cooler holds them."""

    body: BodyRef | None
    readout: Readout
    exposure_s: float
    low_c: float
    high_c: float
    set_point: bool
    used_seconds: float


def settings_of(
    darks: Sequence[Series], lights: Sequence[Series], *, cooled: bool, low_c: float | None, high_c: float | None
) -> list[Setting]:
    """Settings of one body worth a look: what it has darks of or took lights with, those most used first.

    Of a body with a cooler each set-point of its darks and lights, within low_c to high_c where given; of another the
    temperatures expected, and none where those are not known.
    """
    pairs: list[tuple[Readout, float, BodyRef | None]] = []
    for series in (*lights, *darks):
        exposure_s = series.exposure_s
        if not exposure_s:
            continue
        if not any(one[0].key == series.readout.key and exposures_equal(one[1], exposure_s) for one in pairs):
            pairs.append((series.readout, exposure_s, series.body))
    found = []
    for readout, exposure_s, body in pairs:
        used = [
            series
            for series in lights
            if series.readout.key == readout.key and exposures_equal(series.exposure_s or 0.0, exposure_s)
        ]
        if not cooled:
            if low_c is not None and high_c is not None:
                total = sum(series.seconds for series in used)
                found.append(Setting(body, readout, exposure_s, low_c, high_c, set_point=False, used_seconds=total))
            continue
        own = [series for series in darks if series.readout.key == readout.key]
        for point in _set_points([*own, *used]):
            if (low_c is not None and point < low_c - ALIKE_C) or (high_c is not None and point > high_c + ALIKE_C):
                continue
            total = sum(one.seconds for one in used if abs((one.temperatures.median_c or 0.0) - point) <= ALIKE_C)
            found.append(Setting(body, readout, exposure_s, point, point, set_point=True, used_seconds=total))
    found.sort(key=lambda one: (-one.used_seconds, one.exposure_s, one.low_c))
    return found[:MOST_PLACES]


def _set_points(series: Sequence[Series]) -> list[float]:
    points: list[float] = []
    for one in sorted(series, key=lambda one: -one.count):
        value_c = one.temperatures.median_c
        if value_c is not None and not any(abs(point - value_c) <= ALIKE_C for point in points):
            points.append(float(round(value_c)))
    return sorted(points)


def served_of(setting: Setting, matches: Sequence[Match]) -> Served:
    """How well lights of a setting would be served: as well as those of them that fare worst."""
    choices = [one.darks for one in matches]
    verdict = max((one.verdict for one in choices), key=RANK.__getitem__, default=Verdict.MISSING)
    sets = [one.set for one in choices if one.set is not None]
    ages = [one.age_days for one in choices if one.age_days is not None]
    costs = [one.time_cost_percent for one in choices if one.time_cost_percent is not None]
    return Served(
        setting.body,
        setting.readout,
        setting.exposure_s,
        setting.low_c,
        setting.high_c,
        setting.set_point,
        verdict,
        min((one.count for one in sets), default=0) if len(sets) == len(choices) else 0,
        max(ages, default=None),
        max(costs, default=None),
        setting.used_seconds,
    )


def best_first(rows: Sequence[Served]) -> list[Served]:
    """The best verdict first, then the cheapest, then what was used most."""

    def key(one: Served) -> tuple[float, ...]:
        cost = one.time_cost_percent
        return (float(RANK[one.verdict]), 0.0 if cost is None else round(cost), -one.used_seconds, -one.exposure_s)

    return sorted(rows, key=key)


def usual_range(lights: Sequence[Series], month: int) -> tuple[float, float] | None:
    """Temperatures of the lights of that month and its neighbours in any year; of all where there are none."""
    near = {(month + step - 1) % 12 + 1 for step in (-1, 0, 1)}
    of_month = [one for one in lights if one.night is not None and int(one.night[5:7]) in near]
    for some in (of_month, list(lights)):
        values = [
            (one.temperatures.min_c, one.temperatures.max_c)
            for one in some
            if one.temperatures.min_c is not None and one.temperatures.max_c is not None
        ]
        if values:
            return min(low for low, _ in values), max(high for _, high in values)
    return None


def has_set_points(frames: Sequence[Frame]) -> bool:
    """Whether any frame tells of a cooler's set-point."""
    return any(frame.set_temperature_c is not None for frame in frames)
