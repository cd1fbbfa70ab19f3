"""Which single exposure would have been served best by the darks there are, had all lights been of that exposure."""

from collections.abc import Sequence

from darklib.facts.match import Series
from darklib.facts.plan import Habit
from darklib.facts.settings import Settings
from darklib.facts.units import exposures_equal

Spans = list[tuple[float, float]]


def habit_of(lights: Sequence[Series], darks: Sequence[Series], settings: Settings) -> Habit | None:
    """The body, readout and exposure whose darks serve the most hours of its lights; None where no dark serves any.

    Series stand for their frames: darks of one series and of others within the reach of a good dark are counted
    together, lights of a series are at its median temperature. Lights of unknown temperature are served by none.
    """
    found: list[Habit] = []
    groups: dict[tuple[str, str], list[Series]] = {}
    for series in lights:
        if series.body is not None:
            groups.setdefault((series.body.id, series.readout.key), []).append(series)
    for (body_id, readout_key), members in groups.items():
        own = [one for one in darks if one.body and one.body.id == body_id and one.readout.key == readout_key]
        exposures = sorted({one.exposure_s for one in own if one.exposure_s})
        everything = sum(series.seconds for series in members)
        for exposure_s in exposures:
            of_it = [one for one in own if one.exposure_s and exposures_equal(one.exposure_s, exposure_s)]
            served = sum(
                series.seconds
                for series in members
                if series.temperatures.median_c is not None and _served(series.temperatures.median_c, of_it, settings)
            )
            if served > 0:
                found.append(Habit(members[0].body, members[0].readout, exposure_s, served, everything))
    return max(found, key=lambda one: (one.served_seconds, -one.exposure_s), default=None)


def _served(light_c: float, darks: Sequence[Series], settings: Settings) -> bool:
    """Whether enough darks lie within the reach of a good one. A series that drifts has only a share of its frames."""
    reach_c = settings.limits.good_temperature_c
    count = 0.0
    for one in darks:
        low_c, high_c = one.temperatures.min_c, one.temperatures.max_c
        if low_c is None or high_c is None:
            continue
        common_c = min(high_c, light_c + reach_c) - max(low_c, light_c - reach_c)
        if common_c < -1e-9:
            continue
        count += one.count * (1.0 if high_c - low_c < 1e-9 else max(common_c, 0.0) / (high_c - low_c))
    return count >= settings.counts.darks_least
