"""Lights whose temperatures drift beyond one set, in parts: each light with the set that serves it best."""

from collections import Counter
from collections.abc import Sequence

from darklib.facts.frame import Frame
from darklib.facts.match import Verdict
from darklib.facts.settings import Settings
from darklib.matching.darks import READING_C, Judged, temperature_is_nothing, temperature_of, verdict_at
from darklib.matching.target import Target
from darklib.matching.verdicts import worst

COST = {Verdict.GOOD: 0.0, Verdict.USABLE: 1.0, Verdict.POOR: 3.0}
"""What a light costs with a set of that verdict; only the order and the ratio to SWITCH matter."""

SWITCH = 1.5
"""What a change from one set to another costs: two lights must fare better, or a wobbling reading would part lights."""

MOST_SETS = 12


def split(lights: Target, judged: Sequence[Judged], settings: Settings) -> list[tuple[Frame, ...]]:
    """The lights in parts, each part for one of the sets judged, by time of its first light.

    One part where one set is good for every light, or where nothing is gained. Parts follow each other in time where
    that costs little: the cheapest sequence of sets, a change of set having a price, found by dynamic programming.
    """
    known = [one for one in judged if temperature_of(one.candidate.set) is not None]
    if len(known) < 2 or len(lights.frames) < 2 or temperature_is_nothing("dark", lights):
        return [lights.frames]
    costs = [[_cost(frame, one, settings) for one in known] for frame in lights.frames]
    if any(
        one.cap is Verdict.GOOD and max(row[at] for row in costs) < COST[Verdict.USABLE] for at, one in enumerate(known)
    ):
        return [lights.frames]
    # Sets that are best for no light can be left out; min keeps the first of equals, which is the better ranked one.
    best = Counter(min(range(len(known)), key=row.__getitem__) for row in costs)
    useful = sorted({0, *(place for place, _ in best.most_common(MOST_SETS))})
    parts: dict[int, list[Frame]] = {}
    for frame, place in zip(lights.frames, _cheapest([[row[at] for at in useful] for row in costs]), strict=True):
        parts.setdefault(place, []).append(frame)
    return [tuple(part) for part in parts.values()]


def _cost(frame: Frame, one: Judged, settings: Settings) -> float:
    value_c = frame.temperature_c if frame.temperature_c is not None else frame.set_temperature_c
    own_c = temperature_of(one.candidate.set)
    if value_c is None or own_c is None:
        # A light of unknown temperature goes with its neighbours.
        return 0.0
    off_c = own_c - value_c
    unknown = 0.25 if one.candidate.unknown else 0.0
    return COST[worst(one.cap, verdict_at(off_c, settings))] + unknown + 0.01 * min(abs(off_c) / READING_C, 50.0)


def _cheapest(costs: Sequence[Sequence[float]]) -> list[int]:
    """For each row the column to take, so that the sum of costs and SWITCH for each change of column is least."""
    total = list(costs[0])
    came_from: list[list[int]] = []
    for row in costs[1:]:
        cheapest = min(range(len(total)), key=total.__getitem__)
        step = [at if total[at] <= total[cheapest] + SWITCH else cheapest for at in range(len(row))]
        total = [row[at] + total[source] + (SWITCH if source != at else 0.0) for at, source in enumerate(step)]
        came_from.append(step)
    place = min(range(len(total)), key=total.__getitem__)
    path = [place]
    for step in reversed(came_from):
        place = step[place]
        path.append(place)
    return path[::-1]
