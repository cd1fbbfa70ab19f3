"""How the pixels of a sensor are spread over dark rates: a histogram without the noise of the frames it comes from.

The bulk is a lognormal with the measured median and spread, which has the noise taken off; pixels that stand out of
their neighbours beyond all noise are counted as they are. Between the two nothing can honestly be told from noise.
"""

from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from darklib.facts.sensor import DarkRates

CORE_BINS = 24
TAIL_BINS = 40
CORE_SIGMA = 5.0
WIDEST = 1.0
"""Natural logarithm per standard deviation. No sensor's ordinary pixels are spread so widely; a spread that asks for
more stands beside a median too small to be known."""


def dark_rates(
    temperature_c: float,
    median_e_s: float,
    spread_e_s: float,
    hot_excess_e_s: NDArray[np.floating],
    pixels: int,
) -> DarkRates:
    """The histogram of `pixels` pixels. hot_excess_e_s: how far each hot pixel stands above the median.

    Bins of the bulk are equally wide in log rate; where the spread is 0 all of it is one bin at the median. The hot
    bins are equally wide in log rate as well, each with the mean of its pixels.
    """
    bulk = pixels - int(hot_excess_e_s.size)
    rates: list[float] = []
    counts: list[int] = []
    if median_e_s <= 0.0 or spread_e_s <= 0.0:
        rates.append(max(median_e_s, 0.0))
        counts.append(bulk)
    else:
        log_sigma = min(float(np.arcsinh(min(spread_e_s / median_e_s, 100.0))), WIDEST)
        edges = np.linspace(-CORE_SIGMA, CORE_SIGMA, CORE_BINS + 1)
        below = np.array([NormalDist().cdf(float(edge)) for edge in edges])
        shares = np.diff(below) / (below[-1] - below[0])
        reached = np.rint(np.cumsum(shares) * bulk).astype(np.int64)
        middles = (edges[:-1] + edges[1:]) / 2.0
        for middle, count in zip(middles, np.diff(reached, prepend=0), strict=True):
            if count > 0:
                rates.append(float(median_e_s * np.exp(log_sigma * middle)))
                counts.append(int(count))
    hot = np.sort(max(median_e_s, 0.0) + hot_excess_e_s.astype(np.float64))
    hot_from = float(hot[0]) if hot.size else max(rates, default=0.0) * (1.0 + 1e-9) + 1e-12
    if hot.size:
        lowest = rates[-1] * (1.0 + 1e-9) + 1e-12 if rates else 0.0
        hot = np.maximum(hot, lowest)
        hot_from = float(hot[0])
        edges = np.geomspace(hot[0], max(hot[-1], hot[0] * 1.0001), TAIL_BINS + 1)
        places = np.clip(np.searchsorted(edges, hot, side="right") - 1, 0, TAIL_BINS - 1)
        for place in np.unique(places):
            chosen = hot[places == place]
            rates.append(max(float(chosen.mean()), hot_from))
            counts.append(int(chosen.size))
    return DarkRates(temperature_c, tuple(rates), tuple(counts), hot_from)
