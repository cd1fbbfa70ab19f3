"""The hot pixels that several darks of one camera agree on: what other frames are compared with."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.blocks import MAD_TO_SIGMA
from darklib.pixels.hot import HotPixels

BLINKING_SHARE, BLINKING_SIGMA = 0.25, 4.0
"""A pixel that scatters from frame to frame by more than this share of itself, and so many times the noise, blinks."""
ENOUGH_TO_BLINK = 4
"""Fewer frames do not tell a pixel that blinks."""
CLOSE_SIGMA = 3.0
"""One frame alone favours pixels that noise lifted over the limit: they have to stand so much further above it, over
the square root of the number of frames."""


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """Hot pixels of a set of darks, combined. hot: median excess of each pixel over the frames; saturated and blinking
    ones are left out. error_dn: standard error of each excess. frames: how many were combined. exposure_s: of each.
    seen: every place, rising, where a quarter of the frames or more show anything, those left out included.
    """

    hot: HotPixels
    error_dn: NDArray[np.float32]
    frames: int
    exposure_s: float
    seen: NDArray[np.uint32]


def combined(frames: Sequence[HotPixels], exposure_s: float) -> Reference | None:
    """Combines darks of one set; None without frames. Frames of another size than the first are left out.

    A pixel is kept where more than half of the frames show it; those that do not show it count as low, so that the
    median is not lifted by the limit of what is seen.
    """
    if not frames:
        return None
    first = frames[0]
    alike = [one for one in frames if (one.width, one.height) == (first.width, first.height)]
    alike = [one for one in alike if one.noise_dn.shape == first.noise_dn.shape]
    count = len(alike)
    every, times = np.unique(np.concatenate([one.positions for one in alike]), return_counts=True)
    positions = every[times * 2 > count]
    excess = np.zeros((count, positions.size), dtype=np.float32)
    saturated = np.zeros(positions.size, dtype=np.int64)
    for row, one in enumerate(alike):
        places, there = lookup(one.positions, positions)
        excess[row, there] = one.excess_dn[places]
        saturated[there] += one.saturated[places]
    middle = np.median(excess, axis=0).astype(np.float32)
    noise = np.median(np.stack([one.noise_dn for one in alike]), axis=0).astype(np.float32)
    floor = np.median(np.stack([one.floor_dn for one in alike]), axis=0).astype(np.float32)
    hot = HotPixels(first.width, first.height, positions, middle, saturated > 0, noise, floor)
    noise_here, floor_here = hot.at(noise, positions), hot.at(floor, positions)
    steady = _steady(excess, middle, noise_here)
    clear = middle >= floor_here + np.float32(CLOSE_SIGMA / count**0.5) * noise_here
    kept = steady & clear & (saturated == 0)
    error = np.float32(1.25 / count**0.5) * noise_here
    return Reference(
        HotPixels(
            first.width, first.height, positions[kept], middle[kept], np.zeros(int(kept.sum()), bool), noise, floor
        ),
        error[kept],
        count,
        exposure_s,
        every[times * 4 >= count].astype(np.uint32),
    )


def lookup(sorted_positions: NDArray[Any], wanted: NDArray[Any]) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Where each of some positions stands in a rising list: (places of those found, which were found)."""
    if sorted_positions.size == 0:
        return np.zeros(0, dtype=np.intp), np.zeros(wanted.size, dtype=bool)
    places = np.minimum(np.searchsorted(sorted_positions, wanted), sorted_positions.size - 1)
    there: NDArray[np.bool_] = sorted_positions[places] == wanted
    return places[there], there


def _steady(excess: NDArray[np.float32], middle: NDArray[np.float32], noise: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Pixels that do not blink. A set that warms up has all its pixels rise together, which is taken out first."""
    count, pixels = excess.shape
    if count < ENOUGH_TO_BLINK or pixels == 0:
        return np.ones(pixels, dtype=bool)
    bright = middle >= np.median(middle)
    common = np.median(excess[:, bright] / middle[bright], axis=1)[:, np.newaxis]
    level = np.where(common > 0, excess / np.where(common > 0, common, 1), excess)
    off = np.abs(level - np.median(level, axis=0))
    # The median of few is blind to a pixel that jumps once: the second largest is not.
    scatter = np.maximum(MAD_TO_SIGMA * np.median(off, axis=0), np.sort(off, axis=0)[-2] / 2.0)
    out: NDArray[np.bool_] = scatter <= np.maximum(BLINKING_SHARE * middle, BLINKING_SIGMA * noise)
    return out
