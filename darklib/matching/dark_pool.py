"""Which sets of darks may serve some lights (or flats): asked for in few questions, the likeliest series first."""

import math
from dataclasses import dataclass

from darklib.facts.frame import Kind
from darklib.facts.match import CalibrationSet, Series, Wanted
from darklib.facts.settings import Settings
from darklib.facts.units import equal_exposures_s
from darklib.matching.darks import READING_C, verdict_at
from darklib.matching.pool import Pool, one_temperature, pool, with_merged
from darklib.matching.stock import Stock
from darklib.matching.target import Target, nights_apart
from darklib.matching.verdicts import RANK, by_count


def dark_pool(stock: Stock, role: str, target: Target, settings: Settings) -> Pool:
    """Sets of darks of the target's exposure, merged ones included; what just misses beside them."""
    if target.exposure_s is None:
        return Pool((), ())
    low_s, high_s = equal_exposures_s(target.exposure_s)
    questions = _questions(target, low_s, high_s, settings)
    found = pool(stock, role, target, questions, rank_of(role, target, settings), settings, most_frames=320)
    candidates = sorted(found.candidates, key=lambda one: _order_of_joining(one.set, target))
    fit = one_temperature(settings.limits.set_span_c)
    return Pool(with_merged(candidates, role, settings, fit), found.misses)


def temperatures_about(target: Target, reach_c: float) -> tuple[float | None, float | None]:
    """The lights' temperatures and so many degrees beyond, in whole degrees, so that alike batches ask alike."""
    if not target.temperatures_c:
        return None, None
    return float(math.floor(min(target.temperatures_c) - reach_c)), float(
        math.ceil(max(target.temperatures_c) + reach_c)
    )


def _questions(target: Target, low_s: float, high_s: float, settings: Settings) -> list[Wanted]:
    body = target.body.id if target.body else None
    reach = settings.limits
    questions = []
    # Near in time matters among equals only, so what is near in temperature is asked for by itself.
    for reach_c in (reach.good_temperature_c, reach.usable_temperature_c):
        low_c, high_c = temperatures_about(target, reach_c)
        questions.append(Wanted(Kind.DARK, body, low_s, high_s, low_c, high_c, near=target.near, limit=100))
    questions.append(Wanted(Kind.DARK, body, low_s, high_s, near=target.near, limit=30))
    # Of any body: what is not chosen, because it came from another one, is worth showing.
    low_c, high_c = temperatures_about(target, reach.usable_temperature_c)
    questions.append(Wanted(Kind.DARK, None, low_s, high_s, low_c, high_c, near=target.near, limit=40))
    return list(dict.fromkeys(questions))


def rank_of(role: str, target: Target, settings: Settings) -> "_RankDarks":
    """Which series of darks are looked at frame by frame first."""
    return _RankDarks(role, target, settings)


@dataclass(frozen=True, slots=True)
class _RankDarks:
    """Series by how near their temperatures come to the lights', then by frames likely to be there, then by age."""

    role: str
    target: Target
    settings: Settings

    def __call__(self, series: Series) -> tuple[float, ...]:
        t = series.temperatures
        days = nights_apart(self.target.night, series.night)
        age = math.inf if days is None else float(days)
        if t.min_c is None or t.max_c is None or not self.target.temperatures_c:
            return (math.inf, 0.0, age, -float(series.count))
        low_c, high_c = min(self.target.temperatures_c), max(self.target.temperatures_c)
        off_c = max(t.min_c - high_c, low_c - t.max_c, 0.0)
        within = min(1.0, 2 * self.settings.limits.good_temperature_c / max(t.max_c - t.min_c, 0.01))
        likely, _ = by_count(self.role, int(series.count * within), self.settings)
        return (float(RANK[verdict_at(off_c, self.settings)]), float(RANK[likely]), round(off_c / READING_C), age)


def _order_of_joining(one: CalibrationSet, target: Target) -> tuple[float, float, str]:
    """Sets join a merged set the nearest in temperature first, then the nearest in time."""
    own_c, lights_c = one.temperatures.median_c, target.median_c
    off_c = math.inf if own_c is None or lights_c is None else round(abs(own_c - lights_c) / READING_C)
    days = nights_apart(target.night, one.last_night)
    return (off_c, math.inf if days is None else days, one.id)
