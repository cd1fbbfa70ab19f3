"""How far from some lights' temperature darks may be shot and still be good: by price, else within simple limits."""

from collections.abc import Callable
from dataclasses import replace

from darklib.facts.frame import Kind
from darklib.facts.match import CalibrationSet, Match, Temperatures, Verdict
from darklib.facts.settings import Settings
from darklib.matching.pricing import NO_MODELS, Models, Pricing, asked, pricing_of, worth
from darklib.matching.target import Target, lights_of

Reach = Callable[[float], tuple[float, float]]
"""From the temperature of a light to the coldest and the warmest dark that is good for it, degrees C."""

ReachOf = Callable[[Match], Reach]
"""The reach for the lights of one match."""

FARTHEST_C = 12.0
"""No dark is proposed further from its lights: what a law says there nobody has measured."""

FINE_C = 0.1


def by_limits(settings: Settings) -> ReachOf:
    """The same number of degrees to both sides: the verdict until the sensor is measured."""
    far_c = settings.limits.good_temperature_c

    def around(light_c: float) -> tuple[float, float]:
        return light_c - far_c, light_c + far_c

    return lambda one: around


def by_price(settings: Settings, models: Models = NO_MODELS) -> ReachOf:
    """Where the verdict by price stops being good, each side by itself, for darks of the lights' exposure and of the
    number aimed at. By simple limits where the sensor is not measured, or where even darks of the lights' own
    temperature are not priced as good.
    """
    plain = by_limits(settings)

    def of_match(one: Match) -> Reach:
        lights = lights_of(one.batch).part(one.lights)
        pricing = pricing_of(lights_of(one.batch), models, one.batch.pointing)
        if pricing is None:
            return plain(one)
        own = pricing
        simple = plain(one)
        known: dict[float, tuple[float, float]] = {}

        def around(light_c: float) -> tuple[float, float]:
            key = round(light_c, 1)
            if key not in known:
                known[key] = _priced(key, lights, own, settings) or simple(key)
            low_c, high_c = known[key]
            return low_c + light_c - key, high_c + light_c - key

        return around

    return of_match


def _priced(light_c: float, lights: Target, pricing: Pricing, settings: Settings) -> tuple[float, float] | None:
    target = replace(lights, temperatures_c=(light_c,))
    one = CalibrationSet(
        "wanted", Kind.DARK, lights.body, lights.readout, lights.exposure_s, None, None,
        Temperatures(None, None, None, 0), None, None, None, (),
    )  # fmt: skip

    asking = asked(pricing, target, settings)
    if asking is None:
        return None
    own = asking

    def good(dark_c: float) -> bool:
        found = worth(own, one, dark_c, settings.counts.darks_good, settings)
        return found is not None and found.verdict is Verdict.GOOD

    if not good(light_c):
        return None
    return light_c - _edge(lambda off_c: good(light_c - off_c)), light_c + _edge(lambda off_c: good(light_c + off_c))


def _edge(good: Callable[[float], bool]) -> float:
    """The last distance that is good, found by halving; in steps outwards first, since far out prices may turn."""
    inside = 0.0
    outside = 1.0
    while outside <= FARTHEST_C and good(outside):
        inside, outside = outside, outside + 1.0
    if outside > FARTHEST_C:
        return FARTHEST_C
    while outside - inside > FINE_C:
        middle = (inside + outside) / 2
        if good(middle):
            inside = middle
        else:
            outside = middle
    return round(inside, 2)
