"""A cool-down run: a camera without a cooler is put into the cold and shoots without a pause while it cools.

No set-point exists, so every frame is kept and sorted by its own temperature. How the reading falls is learned from
earlier series of darks: Newton's law of cooling, T = E + (S - E) 2^(-t/h), with S where it starts, E where it ends and
h the time in which the rest is halved. One lump of matter and air that stays as cold is common practice, no single
source; what a series shows is fitted, no more.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import median

from darklib.facts.plan import CoolDown, Cooling, DegreeFrames, Gap
from darklib.facts.settings import Settings
from darklib.facts.units import exposures_equal
from darklib.planning.items import can_be_planned, owner

LEAST_READINGS, LEAST_FALL_C = 6, 3.0
"""A series tells how a camera cools where it has so many readings and falls so far."""

LONGEST_PAUSE_S = 1800.0
"""A longer pause within a series: the camera may have been taken out."""

STILL_C = 0.5
"""A reading this near its end keeps still, as whole degrees tell."""

HALVES_MINUTES = tuple(2.0 * 1.05**step for step in range(100))
"""Times of halving that are tried: 2 minutes to four hours, in steps of five percent."""

LEAST_ERROR2 = 1e-9


@dataclass(frozen=True, slots=True)
class Reading:
    """A dark's moment and temperature, degrees C."""

    at: datetime
    temperature_c: float


def cooling_of(series: Iterable[Sequence[Reading]]) -> Cooling | None:
    """How a body cools, the middle of what its series show; None where none shows it."""
    fits = [fit for one in series for run in _unbroken(one) if (fit := _fitted(run)) is not None]
    if not fits:
        return None
    return Cooling(
        start_c=round(median(fit[0] for fit in fits), 1),
        end_c=round(median(fit[1] for fit in fits), 1),
        half_minutes=round(median(fit[2] for fit in fits), 1),
        series=len(fits),
    )


def _unbroken(readings: Sequence[Reading]) -> list[list[Reading]]:
    """Runs without long pauses, in the order of time."""
    ordered = sorted(readings, key=lambda one: (one.at, one.temperature_c))
    runs: list[list[Reading]] = [ordered[:1]] if ordered else []
    for before, after in pairwise(ordered):
        if (after.at - before.at).total_seconds() > LONGEST_PAUSE_S:
            runs.append([])
        runs[-1].append(after)
    return runs


def _fitted(run: Sequence[Reading]) -> tuple[float, float, float] | None:
    """Start, end and time of halving by least squares; None for a run too short, or that does not cool."""
    if len(run) < LEAST_READINGS:
        return None
    third = max(1, len(run) // 3)
    fall_c = median(one.temperature_c for one in run[:third]) - median(one.temperature_c for one in run[-third:])
    minutes = [(one.at - run[0].at).total_seconds() / 60.0 for one in run]
    values = [one.temperature_c for one in run]
    if fall_c < LEAST_FALL_C or minutes[-1] <= 0:
        return None
    best: tuple[float, float, float, float] | None = None
    for half in HALVES_MINUTES:
        shape = [2.0 ** (-t / half) for t in minutes]
        mean_shape, mean_value = sum(shape) / len(shape), sum(values) / len(values)
        spread = sum((x - mean_shape) ** 2 for x in shape)
        if spread < LEAST_ERROR2:
            continue
        slope = sum((x - mean_shape) * (y - mean_value) for x, y in zip(shape, values, strict=True)) / spread
        end = mean_value - slope * mean_shape
        error2 = sum((y - end - slope * x) ** 2 for x, y in zip(shape, values, strict=True))
        if slope > 0 and (best is None or error2 < best[0]):
            best = (error2, end + slope, end, half)
    # A run that ends long before it keeps still does not tell where it would have ended.
    if best is None or best[3] > minutes[-1]:
        return None
    return best[1:]


def temperature_at(cooling: Cooling, minutes: float) -> float:
    """The expected reading so many minutes after the start, degrees C."""
    return float(cooling.end_c + (cooling.start_c - cooling.end_c) * 2.0 ** (-minutes / cooling.half_minutes))


def minutes_until_still(cooling: Cooling) -> float:
    """Until the reading is within half a degree of its end."""
    fall_c = cooling.start_c - cooling.end_c
    return 0.0 if fall_c <= STILL_C else cooling.half_minutes * math.log2(fall_c / STILL_C)


def cool_downs(gaps: Sequence[Gap], coolings: dict[str, Cooling | None], settings: Settings) -> list[CoolDown]:
    """A run for each body without a cooler, readout and exposure of which darks lack, the most hours of light first.

    coolings: by body id. Each run takes one exposure, since frames of several would be too few a degree.
    """
    groups: list[list[Gap]] = []
    for gap in gaps:
        if not can_be_planned(gap) or gap.interval is None or gap.cooled is True or not gap.exposure_s:
            continue
        group = next((one for one in groups if _together(one[0], gap)), None)
        if group is None:
            groups.append([gap])
        else:
            group.append(gap)
    groups.sort(key=lambda group: -sum(gap.lights_seconds for gap in group))
    return [_run(group, coolings.get(owner(group[0].body)), settings) for group in groups]


def _together(a: Gap, b: Gap) -> bool:
    same = owner(a.body) == owner(b.body) and a.readout.key == b.readout.key
    return same and exposures_equal(a.exposure_s or 0.0, b.exposure_s or 0.0)


def _run(group: Sequence[Gap], cooling: Cooling | None, settings: Settings) -> CoolDown:
    first = group[0]
    exposure_s = first.exposure_s or 0.0
    if cooling is None:
        lacking = tuple((gap.id, gap.need - gap.have) for gap in group)
        return CoolDown(first.body, first.readout, exposure_s, None, None, (), (), lacking)
    minutes = minutes_until_still(cooling)
    each = (exposure_s + settings.shooting.download_s) / 60.0
    readings = [temperature_at(cooling, each * (place + 0.5)) for place in range(int(minutes / each))]
    degrees: dict[int, int] = {}
    for value in readings:
        degrees[math.floor(value)] = degrees.get(math.floor(value), 0) + 1
    serves, lacking_after = [], []
    for gap in group:
        assert gap.interval is not None
        inside = sum(gap.interval.low_c <= value <= gap.interval.high_c for value in readings)
        short = gap.need - gap.have - inside
        if inside:
            serves.append(gap.id)
        if short > 0:
            lacking_after.append((gap.id, short))
    frames = tuple(DegreeFrames(float(degree), degrees[degree]) for degree in sorted(degrees, reverse=True))
    return CoolDown(
        first.body, first.readout, exposure_s, cooling, round(minutes, 1), frames, tuple(serves), tuple(lacking_after)
    )
