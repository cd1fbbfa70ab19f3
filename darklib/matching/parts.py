"""Lights whose temperatures drift beyond one set, in parts: each light with the set that serves it best."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from darklib.facts.frame import Frame
from darklib.facts.match import Verdict
from darklib.facts.settings import Settings
from darklib.matching.darks import READING_C, Judged, temperature_is_nothing, temperature_of, verdict_at
from darklib.matching.pricing import Asked, Pricing, asked, worth
from darklib.matching.sets import frames_in
from darklib.matching.target import Target
from darklib.matching.verdicts import worst

COST = {Verdict.GOOD: 0.0, Verdict.USABLE: 1.0, Verdict.POOR: 3.0}
"""What a light costs with a set of that verdict; only the order and the ratio to SWITCH matter."""

SWITCH = 1.5
"""What a change from one set to another costs: two lights must fare better, or a wobbling reading would part lights."""

MOST_SETS = 12

MOST_PRICED = 4
"""So many sets, the cheapest for all lights together, are tried for each light where the sensor is measured."""

MOST_COST = 10.0
"""A light no set serves should not make the others change theirs."""


def split(
    lights: Target, judged: Sequence[Judged], settings: Settings, pricing: Pricing | None = None
) -> list[tuple[Frame, ...]]:
    """The lights in parts, each part for one of the sets judged, by time of its first light.

    One part where one set is good for every light, or where nothing is gained. Parts follow each other in time where
    that costs little: the cheapest sequence of sets, a change of set having a price, found by dynamic programming.
    """
    known = [one for one in judged if temperature_of(one.candidate.set) is not None]
    if not lights.temperatures_c:
        return [lights.frames]
    if pricing is not None:
        known = _worth_trying([one for one in known if one.worth is not None], lights)
    if len(known) < 2 or len(lights.frames) < 2 or temperature_is_nothing("dark", lights):
        return [lights.frames]
    prices = Prices(lights, settings, pricing)
    costs = [[_cost(frame, one, settings, prices) for one in known] for frame in lights.frames]
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


def _worth_trying(known: Sequence[Judged], lights: Target) -> list[Judged]:
    """The cheapest sets for all lights together, and the nearest in temperature to the coldest and warmest of them: a
    price for each light and set takes time.
    """
    tried = list(known[:MOST_PRICED])
    for end_c in (min(lights.temperatures_c), max(lights.temperatures_c)):
        near = sorted(known, key=lambda one: abs((temperature_of(one.candidate.set) or 0.0) - end_c))
        tried += [one for one in near[:2] if one not in tried]
    return tried


def _cost(frame: Frame, one: Judged, settings: Settings, prices: "Prices") -> float:
    value_c = frame.temperature_c if frame.temperature_c is not None else frame.set_temperature_c
    own_c = temperature_of(one.candidate.set)
    if value_c is None or own_c is None:
        # A light of unknown temperature goes with its neighbours.
        return 0.0
    off_c = own_c - value_c
    unknown = 0.25 if one.candidate.unknown else 0.0
    if prices.pricing is not None:
        return prices.of(value_c, own_c, one) + unknown
    return COST[worst(one.cap, verdict_at(off_c, settings))] + unknown + 0.01 * min(abs(off_c) / READING_C, 50.0)


class Prices:
    """What lights of one temperature cost with a set, in the unit of COST: 1 is where a set stops being good.

    With the number of lights of the whole batch, so that costs of lights can be compared before it is parted. Each
    temperature, as fine as it is read, and set is priced once.
    """

    def __init__(self, lights: Target, settings: Settings, pricing: Pricing | None) -> None:
        self.pricing = pricing
        self._lights = lights
        self._settings = settings
        self._asking: dict[float, Asked | None] = {}
        self._costs: dict[tuple[float, int], float] = {}

    def of(self, light_c: float, own_c: float, one: Judged) -> float:
        """The cost of a light of that temperature with a set of that temperature."""
        light_c = round(light_c / READING_C) * READING_C
        key = (light_c, id(one))
        if key not in self._costs:
            self._costs[key] = self._cost(light_c, own_c, one)
        return self._costs[key]

    def _cost(self, light_c: float, own_c: float, one: Judged) -> float:
        if light_c not in self._asking:
            at = replace(self._lights, temperatures_c=(light_c,))
            self._asking[light_c] = asked(self.pricing, at, self._settings)
        asking = self._asking[light_c]
        candidate = one.candidate
        count = frames_in(candidate.set) or self._settings.counts.darks_least
        found = None
        if asking is not None:
            found = worth(
                asking, candidate.set, own_c, count, self._settings, scale=candidate.scale, biases=candidate.biases
            )
        if found is None or self.pricing is None:
            return COST[Verdict.POOR]
        limits = self._settings.prices
        good = limits.good_fixed_percent if self.pricing.fixed else limits.good_dithered_percent
        cost = 100.0 * found.avoidable / max(good, 1e-6)
        hot = found.price.hot_left_per_megapixel / max(limits.good_hot_pixels_per_megapixel, 1e-6)
        level = 100.0 * found.flat_residual / max(limits.good_flat_residual_percent, 1e-6)
        return min(max(cost, hot, level, 0.0), MOST_COST)


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
