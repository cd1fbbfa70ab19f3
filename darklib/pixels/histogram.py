"""Exact level statistics of 16-bit data from its histogram: one pass over the pixels, then arithmetic on 65536 bins.

Order statistics of 24 million pixels take a sort or a selection, each several times slower than counting.
"""

from dataclasses import dataclass
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.mosaic import Mosaic

BINS = 65536
CHUNK = 1 << 18
"""Pixels counted at a time: `bincount` copies them to eight bytes each, which have to stay in the processor's cache."""

CLIP_SIGMA = 3.0
LEAST_VALUES_FOR_STEP = 6
"""Fewer different values than this may share a divisor by chance."""

Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Levels:
    """Levels in the data's own unit. mean, sd: after clipping at 3 sigma about the median until nothing is cut."""

    count: int
    median: float
    mad: float
    mean: float
    sd: float
    low: float
    high: float


def histograms(data: NDArray[np.uint16], mosaic: Mosaic) -> Counts:
    """How often each value occurs, (colours, 65536), exactly. data: two-dimensional."""
    planes = len(mosaic.colours)
    if planes == 1:
        return _counted(data)[np.newaxis, :]
    out = np.zeros((planes, BINS), dtype=np.int64)
    # Every place of the pattern by itself, some rows at a time: what was read then is still near for the next place.
    block = mosaic.rows * max(1, CHUNK // 2 * mosaic.columns // max(1, data.shape[1]))
    for start in range(0, data.shape[0], block):
        rows = data[start : start + block]
        for (down, across), colour in np.ndenumerate(mosaic.index):
            part = np.bincount(rows[down :: mosaic.rows, across :: mosaic.columns].ravel())
            out[colour, : part.size] += part
    return out


def _counted(data: NDArray[np.uint16]) -> Counts:
    out = np.zeros(BINS, dtype=np.int64)
    flat = data.reshape(-1)
    for start in range(0, flat.size, CHUNK):
        part = np.bincount(flat[start : start + CHUNK])
        out[: part.size] += part
    return out


def levels(counts: Counts) -> Levels:
    """Statistics of a histogram, the same as those of the pixels themselves. Raises ValueError when it is empty."""
    occupied = np.flatnonzero(counts)
    if occupied.size == 0:
        raise ValueError("a histogram without pixels has no levels")
    amounts = counts[occupied]
    median = _median(occupied.astype(np.float64), amounts)
    distances = np.abs(occupied - median)
    order = np.argsort(distances, kind="stable")
    mad = _median(distances[order], amounts[order])
    mean, sd = _clipped(occupied, amounts)
    return Levels(
        count=int(amounts.sum()),
        median=median,
        mad=mad,
        mean=mean,
        sd=sd,
        low=float(occupied[0]),
        high=float(occupied[-1]),
    )


def quantile(counts: Counts, share: float) -> float:
    """The smallest value that at least `share` (0..1) of the pixels do not exceed."""
    total = int(counts.sum())
    if total == 0:
        raise ValueError("a histogram without pixels has no quantiles")
    rank = min(total, max(1, ceil(share * total)))
    return float(np.searchsorted(np.cumsum(counts), rank))


def _median(values: NDArray[np.float64], amounts: Counts) -> float:
    # values ascending; the middle value, or the mean of the two in the middle, as numpy does
    reached = np.cumsum(amounts)
    total = int(reached[-1])
    lower = values[np.searchsorted(reached, (total + 1) // 2)]
    upper = values[np.searchsorted(reached, total // 2 + 1)]
    return float((lower + upper) / 2.0)


def _clipped(occupied: NDArray[np.intp], amounts: Counts) -> tuple[float, float]:
    first, last = 0, len(occupied)
    mean = sd = 0.0
    while True:
        values, weights = occupied[first:last], amounts[first:last]
        total = int(weights.sum())
        median = _median(values.astype(np.float64), weights)
        # About a value within the data the sums stay whole numbers and small: no digits are lost.
        origin = int(median)
        offsets = (values - origin).astype(np.int64)
        sum_1 = int((offsets * weights).sum())
        sum_2 = int((offsets * offsets * weights).sum())
        mean = origin + sum_1 / total
        sd = max(0.0, (sum_2 * total - sum_1 * sum_1) / (total * total)) ** 0.5
        low, high = median - CLIP_SIGMA * sd, median + CLIP_SIGMA * sd
        kept_first = first + int(np.searchsorted(values, ceil(low), side="left"))
        kept_last = first + int(np.searchsorted(values, floor(high), side="right"))
        if (kept_first, kept_last) == (first, last) or kept_first >= kept_last:
            return float(mean), float(sd)
        first, last = kept_first, kept_last


def dn_step(counts: Counts) -> int | None:
    """Greatest common divisor of the distances between the values that occur; None where there are too few to tell.

    12-bit data stored shifted in 16 bits has step 16. The lowest and the highest value are left out where the rest
    stands on a wider grid: clipping at 0 or 65535 puts them beside it.
    """
    occupied = np.flatnonzero(counts)
    if occupied.size < 2:
        return None
    step = int(np.gcd.reduce(np.diff(occupied)))
    if occupied.size > LEAST_VALUES_FOR_STEP + 2:
        for part in (occupied[:-1], occupied[1:], occupied[1:-1]):
            step = max(step, int(np.gcd.reduce(np.diff(part))))
    if step > 1 and occupied.size < LEAST_VALUES_FOR_STEP:
        return None
    return step


def saturated_fraction(counts: Counts, white_dn: float | None) -> float:
    """Share of pixels at or above the white level, or piled up at the highest value, whichever is more.

    A pile is at least ten pixels and four times as many as on the eight values below together that occur: a full well
    ends a distribution so, an ordinary tail does not.
    """
    occupied = np.flatnonzero(counts)
    total = int(counts.sum())
    if total == 0 or occupied.size < 2:
        at_white = 0 if white_dn is None else int(counts[min(BINS, max(0, ceil(white_dn))) :].sum())
        return at_white / total if total else 0.0
    white = int(counts[min(BINS, max(0, ceil(white_dn))) :].sum()) if white_dn is not None and white_dn > 0 else 0
    top = int(counts[occupied[-1]])
    below = int(counts[occupied[max(0, occupied.size - 9) : -1]].sum())
    pile = top if top >= 10 and top >= 4 * below and occupied[-1] > quantile(counts, 0.5) else 0
    return max(white, pile) / total
