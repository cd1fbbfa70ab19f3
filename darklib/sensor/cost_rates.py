"""The pixels of a sensor by dark rate, ready to be priced at any temperature. Plain Python: `match` starts quickly.

A measured histogram (`facts/sensor.DarkRates`) is thinned to some tens of bins once; a price is then a sum over them.
"""

from bisect import bisect_left
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from math import log

from darklib.facts.sensor import DarkRates

MOST_BINS = 80
"""Bins kept. Against a histogram of a thousand, dithered prices move by up to 0.3 percent of themselves; on fixed
pixels, where a bin falls to one side of the limit of five sigma or the other, by mostly under 3 and up to 10 (measured
over 12 random sensors)."""

BULK_SHARE = 0.98
"""Half of the bins go to this share of the pixels, from the coldest up, half to the few hot ones that cost most."""


@dataclass(frozen=True, slots=True)
class Rates:
    """Pixels by dark rate. rates_e_s: electrons a second at temperature_c, rising; shares: of all pixels, adding to 1.

    Bins from number first_hot on double every hot_doubling_c degrees, those below every doubling_c.
    """

    temperature_c: float
    rates_e_s: tuple[float, ...]
    shares: tuple[float, ...]
    first_hot: int
    doubling_c: float
    hot_doubling_c: float

    def at(self, temperature_c: float) -> list[float]:
        """The rate of each bin at another temperature, electrons per second."""
        off_c = temperature_c - self.temperature_c
        usual, hot = 2.0 ** (off_c / self.doubling_c), 2.0 ** (off_c / self.hot_doubling_c)
        rates, first = self.rates_e_s, self.first_hot
        return [rate * usual for rate in rates[:first]] + [rate * hot for rate in rates[first:]]


@lru_cache(maxsize=64)
def rates_of(measured: DarkRates, doubling_c: float, hot_doubling_c: float) -> Rates:
    """A measured histogram thinned to at most MOST_BINS bins. ValueError where it holds no pixel.

    Neighbouring bins become one at their pixels' mean rate: the sum of rates stays, and the bins are so narrow that the
    sum of squares does as well. Bins of the two laws are never joined.
    """
    filled = [(rate, count) for rate, count in zip(measured.rates_e_s, measured.pixels, strict=True) if count > 0]
    total = sum(count for _, count in filled)
    if total <= 0:
        raise ValueError("a histogram of dark rates without a pixel")
    below = [one for one in filled if one[0] < measured.hot_from_e_s]
    hot = [one for one in filled if one[0] >= measured.hot_from_e_s]
    bulk, tail = _parted(below, BULK_SHARE * total)
    thinned = _thinned(bulk, MOST_BINS // 2, by_count=True)
    usual = thinned + _thinned(tail, MOST_BINS // 8, by_count=False)
    joined = usual + _thinned(hot, MOST_BINS // 2 - MOST_BINS // 8, by_count=False)
    return Rates(
        measured.temperature_c,
        tuple(rate for rate, _ in joined),
        tuple(count / total for _, count in joined),
        len(usual),
        doubling_c,
        hot_doubling_c,
    )


Bins = list[tuple[float, int]]


def _parted(bins: Bins, most: float) -> tuple[Bins, Bins]:
    sums = list(accumulate(count for _, count in bins))
    at = bisect_left(sums, most) + 1
    return bins[:at], bins[at:]


def _thinned(bins: Bins, most: int, *, by_count: bool) -> list[tuple[float, int]]:
    """At most so many bins: of equal pixel counts, or of equal ratios of rate."""
    if len(bins) <= most:
        return list(bins)
    groups: dict[int, list[tuple[float, int]]] = {}
    if by_count:
        total, seen = sum(count for _, count in bins), 0
        for rate, count in bins:
            groups.setdefault(min(most - 1, (seen + count // 2) * most // total), []).append((rate, count))
            seen += count
    else:
        low, high = bins[0][0], bins[-1][0]
        floor = max(low, high * 1e-6, 1e-12)
        ratio = high / floor
        for rate, count in bins:
            place = 0 if rate <= floor or ratio <= 1.0 else log(rate / floor) / log(ratio) * most
            groups.setdefault(min(most - 1, int(place)), []).append((rate, count))
    joined = []
    for members in groups.values():
        count = sum(one[1] for one in members)
        joined.append((sum(one[0] * one[1] for one in members) / count, count))
    return joined
