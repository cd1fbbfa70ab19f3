"""Frames of one set laid on each other: mean and temporal variance of every pixel, and the level of every frame.

Frames come as a sample of the sensor's pixels, shape (rows, width); a band of rows follows the other
(`rows_of_band`), so that neighbours are neighbours within a band only.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from darklib.pixels import histogram
from darklib.pixels.mosaic import Mosaic

Frames = Sequence[NDArray[np.uint16]]
Floats = NDArray[np.float32]

PILE_LEAST = 0.001
"""A share of pixels at one end of the values from which on they may be a pile."""

CLIPPED_SIGMA = 2.8
"""The lowest of thousands of numbers lies about four standard deviations below the median, as the upper half tells
them; where nothing lies below this many, the rest was cut off."""


@dataclass(frozen=True, slots=True)
class FrameLevels:
    """Levels of one frame, DN: clipped mean and standard deviation over all pixels, clipped mean of each colour; the
    lowest value, the share of pixels that have it, and whether they pile up there; the same at the top.
    """

    mean_dn: float
    sd_dn: float
    by_colour_dn: tuple[float, ...]
    low_dn: float
    low_share: float
    low_piles: bool
    high_dn: float
    high_share: float
    high_piles: bool


@dataclass(frozen=True, slots=True, eq=False)
class Pile:
    """A set of frames. mean_dn, variance_dn2: of each pixel over the frames, (rows, width); the frames' own differences
    in level are taken off before the variance, which is None for a single frame. levels: a frame each.
    """

    mean_dn: Floats
    variance_dn2: Floats | None
    levels: tuple[FrameLevels, ...]
    mosaic: Mosaic

    @property
    def count(self) -> int:
        return len(self.levels)

    def colour_levels_dn(self) -> NDArray[np.float64]:
        """Mean over the frames of each colour's clipped mean, (colours,)."""
        levels = np.array([one.by_colour_dn for one in self.levels], dtype=np.float64)
        return np.asarray(levels.mean(axis=0), dtype=np.float64)

    def level_error_dn(self) -> float:
        """Standard error of the mean level from how the frames' levels scatter; of one frame, 1 percent of its
        noise.
        """
        levels = np.array([one.mean_dn for one in self.levels])
        if levels.size < 2:
            return 0.01 * self.levels[0].sd_dn
        return float(levels.std(ddof=1) / levels.size**0.5)


def levels_of(data: NDArray[np.uint16], mosaic: Mosaic) -> FrameLevels:
    """Levels of one frame from its histogram, exactly."""
    counts = histogram.histograms(data, mosaic)
    total = counts.sum(axis=0)
    everything = histogram.levels(total)
    colours = [histogram.levels(one).mean if one.any() else everything.mean for one in counts]
    occupied = np.flatnonzero(total)
    pixels = int(total.sum())
    low, high = int(occupied[0]), int(occupied[-1])
    beyond = int(total[occupied[1]]) if occupied.size > 1 else 0
    below = int(total[occupied[-2]]) if occupied.size > 1 else 0
    low_share, high_share = int(total[low]) / pixels, int(total[high]) / pixels
    several = occupied.size > 3
    return FrameLevels(
        mean_dn=everything.mean,
        sd_dn=everything.sd,
        by_colour_dn=tuple(colours),
        low_dn=float(low),
        low_share=low_share,
        # An honest distribution thins out towards its end; one that is cut off ends in a pile.
        low_piles=bool(
            several
            and low_share > PILE_LEAST
            and (total[low] > 1.5 * beyond or _down_sigma(total, low) < CLIPPED_SIGMA)
        ),
        high_dn=float(high),
        high_share=high_share,
        high_piles=bool(several and high_share > PILE_LEAST and total[high] > 4 * below),
    )


def _down_sigma(counts: NDArray[np.int64], low: int) -> float:
    """How many standard deviations below the median the lowest number ends, by the distance of the upper 84 percent."""
    reached = np.concatenate([[0], np.cumsum(counts)]).astype(np.float64)
    edges = np.arange(reached.size) - 0.5
    # Strictly rising places only, so that the interpolation is unique.
    rising = np.concatenate([[True], np.diff(reached) > 0])
    median, high = np.interp(np.array([0.5, 0.841345]) * reached[-1], reached[rising], edges[rising])
    return float((median - (low - 0.5)) / max(high - median, 1e-9))


def pile_of(frames: Frames, mosaic: Mosaic) -> Pile:
    """Lays frames of one shape on each other. At least one."""
    levels = tuple(levels_of(one, mosaic) for one in frames)
    first = frames[0].astype(np.float32)
    base = levels[0].mean_dn
    total = np.zeros_like(first)
    squares = np.zeros_like(first)
    for data, level in zip(frames[1:], levels[1:], strict=True):
        # About the first frame the sums stay small, and single precision is enough.
        offset = data.astype(np.float32)
        offset -= first
        offset -= np.float32(level.mean_dn - base)
        total += offset
        offset *= offset
        squares += offset
    count = len(frames)
    mean = first + total / np.float32(count) + np.float32(np.mean([one.mean_dn - base for one in levels]))
    variance = None
    if count > 1:
        total *= total
        total /= np.float32(count)
        squares -= total
        squares /= np.float32(count - 1)
        variance = np.maximum(squares, np.float32(0))
    return Pile(mean, variance, levels, mosaic)


def core_variance(pile: Pile, chosen: NDArray[np.bool_] | None = None) -> tuple[float, float] | None:
    """Temporal variance of an ordinary pixel, DN^2, and its standard error; None for fewer than two frames.

    The mean over pixels, without those hit by cosmic rays, which blink or are hot: beyond what chance makes of a sample
    variance once in a million (Wilson and Hilferty's approximation of chi squared).
    """
    if pile.variance_dn2 is None:
        return None
    values = pile.variance_dn2[chosen] if chosen is not None else pile.variance_dn2.ravel()
    degrees = pile.count - 1
    if values.size < 16:
        return None
    spread = 2.0 / (9.0 * degrees)
    most = (1.0 - spread + 4.75 * spread**0.5) ** 3
    centre = float(np.median(values[:: max(1, values.size // 200_000)])) / (1.0 - spread) ** 3
    kept = values
    for _ in range(6):
        if centre <= 0.0:
            return None
        again = values[values <= most * centre]
        mean = float(again.mean(dtype=np.float64))
        if again.size == kept.size and abs(mean - centre) <= 1e-6 * centre:
            break
        kept, centre = again, mean
    return centre, centre * (2.0 / (degrees * kept.size)) ** 0.5
