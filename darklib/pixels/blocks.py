"""A frame seen through square blocks spread evenly over it: level and noise of each colour, block by block.

A few hundred thousand pixels tell what is smooth in a frame to a thousandth of its noise, so no more of them are read.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.mosaic import Mosaic

SIDE = 24
"""Least side of a block, pixels; the next multiple of the mosaic's period is taken."""
MOST_BLOCKS = 24
"""At most so many blocks down and across."""

CLIPPED_SD = 0.984846
"""Standard deviation of a Gaussian after clipping at 3 sigma until nothing is cut, over the true one."""
MAD_TO_SIGMA = 1.482602218505602
"""1 / Phi^-1(3/4): standard deviation of a Gaussian over its median absolute deviation."""

Plane = NDArray[np.float32]


@dataclass(frozen=True)
class Blocks:
    """channels: number of the channel at each place of the period (rows, columns): the mosaic's colours, or for a mono
    sensor the four places of a 2 x 2 pattern, which a colour camera's undeclared pattern shows up in.
    pixels: (down, across, side, side), the values read. centre_y, centre_x: middles of the blocks, pixels.
    level: (channels, down, across), mean without outliers. noise: (channels,), of one pixel about its neighbours of
    the same channel, standard deviation.
    """

    channels: NDArray[np.intp]
    pixels: Plane
    centre_y: NDArray[np.float64]
    centre_x: NDArray[np.float64]
    level: NDArray[np.float64]
    noise: NDArray[np.float64]

    @cached_property
    def rest(self) -> Plane:
        """What is left of the pixels about their block's level, in standard deviations; the shape of `pixels`."""
        side = self.pixels.shape[-1]
        rows, columns = self.channels.shape
        across, down = side // columns, side // rows
        level = np.moveaxis(self.level[self.channels].astype(np.float32), (2, 3), (0, 1))
        noise = np.tile(self.noise[self.channels].astype(np.float32), (down, across))
        out: Plane = (self.pixels - np.tile(level, (1, 1, down, across))) / noise
        return out


def blocks_of(data: NDArray[Any], mosaic: Mosaic, least_noise: float) -> Blocks | None:
    """The blocks of a frame; None for one too small for two by two blocks.

    least_noise: lower limit of the noise (rounding to whole steps hides what is smaller).
    """
    channels = np.arange(4, dtype=np.intp).reshape(2, 2) if len(mosaic.colours) == 1 else mosaic.index
    rows, columns = channels.shape
    side = SIDE if SIDE % rows == 0 and SIDE % columns == 0 else int(np.lcm(rows, columns)) * 2
    if data.shape[0] < 2 * side or data.shape[1] < 2 * side:
        return None
    tops, lefts = _starts(data.shape[0], side, rows), _starts(data.shape[1], side, columns)
    read = np.empty((tops.size, lefts.size, side, side), dtype=np.float32)
    for place, top in enumerate(tops):
        for column, left in enumerate(lefts):
            read[place, column] = data[top : top + side, left : left + side]
    number = int(channels.max()) + 1
    tiled = np.tile(channels, (side // rows, side // columns))
    level = np.empty((number, tops.size, lefts.size), dtype=np.float64)
    noise = np.empty(number, dtype=np.float64)
    flat = read.reshape(tops.size, lefts.size, side * side)
    ahead = (read[..., columns:] - read[..., :-columns]).reshape(tops.size, lefts.size, -1)
    for channel in range(number):
        here = np.flatnonzero(tiled == channel)
        steps = ahead[:, :, np.flatnonzero(tiled[:, :-columns] == channel)]
        noise[channel] = max(_spread(steps) / 2**0.5, least_noise)
        level[channel] = _means(flat[:, :, here], noise[channel])
    centre_y, centre_x = ((starts + (side - 1) / 2).astype(np.float64) for starts in (tops, lefts))
    return Blocks(channels, read, centre_y, centre_x, level, noise)


def _starts(length: int, side: int, period: int) -> NDArray[np.intp]:
    count = min(MOST_BLOCKS, length // side)
    places = np.linspace(0, length - side, count)
    return (places // period * period).astype(np.intp)


def _spread(values: Plane) -> float:
    """Standard deviation without outliers, after clipping at 3 sigma until little is cut."""
    size = np.abs(values.ravel())
    # Starts from what two thirds stay within, so that outliers do not make the first limit.
    middle = float(np.partition(size, int(0.68 * size.size))[int(0.68 * size.size)])
    sigma = middle if middle > 0 else float(np.sqrt(np.mean(np.square(size), dtype=np.float64)))
    for _ in range(8):
        kept = size[size <= 3.0 * sigma]
        if kept.size == 0:
            return 0.0
        new = float(np.sqrt(np.mean(np.square(kept), dtype=np.float64))) / CLIPPED_SD
        if abs(new - sigma) <= 1e-3 * sigma:
            return new
        sigma = new
    return sigma


def _means(values: Plane, noise: float) -> NDArray[np.float64]:
    """Mean of each block without what lies beyond 3 sigma of its median: finer than a median of whole numbers."""
    middle = values.shape[-1] // 2
    median = np.partition(values, middle, axis=-1)[..., middle : middle + 1]
    offset = values - median
    limit = np.float32(3.0 * noise)
    inside = np.abs(offset) <= limit
    total = np.einsum("...i,...i->...", offset, inside.astype(np.float32))
    mean: NDArray[np.float64] = (median[..., 0] + total / np.maximum(inside.sum(axis=-1), 1)).astype(np.float64)
    return mean
