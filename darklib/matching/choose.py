"""The match: what serves a batch of lights best, part by part."""

from collections.abc import Iterable

from darklib.facts.match import Batch, Choice, Match, Reason, Verdict
from darklib.facts.settings import Settings
from darklib.matching.darks import Judged, dark_pool, ranked
from darklib.matching.pool import Pool
from darklib.matching.rules import sentence
from darklib.matching.stock import Remembered, Stock
from darklib.matching.target import lights_of

MOST_RUNNERS_UP = 3


def match_all(batches: Iterable[Batch], stock: Stock, settings: Settings) -> list[Match]:
    """What serves each of several batches; questions they share are asked once."""
    remembered = Remembered(stock)
    return [one for batch in batches for one in match(batch, remembered, settings)]


def match(batch: Batch, stock: Stock, settings: Settings) -> list[Match]:
    """What serves one batch: one answer, or several where its temperatures drift beyond one set."""
    lights = lights_of(batch)
    found = dark_pool(stock, "dark", lights, settings)
    darks = chosen(ranked("dark", lights, found.candidates, settings), found)
    none = Choice(Verdict.NOT_NEEDED)
    return [Match(batch, 1, 1, batch.frames, darks, none, none, none)]


def chosen(judged: list[Judged], found: Pool) -> Choice:
    """The best of what was judged with what came after it, or that nothing fits."""
    from dataclasses import replace

    if not judged:
        return Choice(
            Verdict.MISSING,
            reasons=(Reason("nothing_fits", sentence("nothing_fits")),),
            near_misses=found.misses,
        )
    runners = tuple(one.choice for one in judged[1 : 1 + MOST_RUNNERS_UP])
    return replace(judged[0].choice, runners_up=runners, near_misses=found.misses)
