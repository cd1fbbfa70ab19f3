"""Points that stand out of their surroundings: stars, which spread over several pixels, and hot pixels, which don't."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.blocks import MAD_TO_SIGMA, Blocks

PEAK_SIGMA = 5.0
"""A point stands out when its highest pixel lies this many standard deviations above its surroundings."""
MOST_POINTS = 60_000
"""Of more pixels than about this that stand out, the brightest are looked at."""
MOST_STARS = 3_000
"""As many stars as are looked at closely."""
STRIP = 64
"""Rows for which the background is taken as one."""
MARGIN = 10

Limits = Callable[[int], NDArray[np.float32]]

_SIDES = ((-1, 0), (0, -1), (0, 1), (1, 0))
_CORNERS = ((-1, -1), (-1, 1), (1, -1), (1, 1))
_RING = tuple(
    (dy, dx) for dy in range(-7, 8) for dx in range(-7, 8) if max(abs(dy), abs(dx)) in (5, 7) and (dy + 2 * dx) % 3 == 0
)

SIDES_THAT_SHINE = 3
SIDE_SIGMA = 1.5
SIDES_SIGMA = 4.0
SIDES_SHARE = 0.15
"""A star lights at least three of the four pixels beside its peak, each by 1.5 sigma; the three fainter of the four
together by 4 sigma of their sum and by 15 percent of the peak. A star of one pixel full width at half maximum, right in
the middle of a pixel, gives them 46 percent; charge that leaks from a hot pixel stays under 6."""


@dataclass(frozen=True, slots=True)
class Sources:
    """stars, hot: how many, above `threshold_sigma`; by_chance: as `stars`, with the surroundings of another place.

    star_peaks: heights of the stars' highest pixels above their surroundings, data units, greatest first;
    star_sharpness: the four sides' mean over the peak, median of the stars.
    """

    stars: int
    by_chance: int
    hot: int
    threshold_sigma: float
    star_peaks: NDArray[np.float64]
    star_sharpness: float


class Background:
    """Level at every pixel of some data, linear between the middles of the blocks, for each channel by itself."""

    def __init__(self, data: NDArray[Any], blocks: Blocks) -> None:
        self.height, self.width = data.shape
        self.rows, self.columns = blocks.channels.shape
        self._data = data.reshape(-1)
        self._noise = blocks.noise[blocks.channels].astype(np.float32)
        self._j, self._wy = _weights(blocks.centre_y, self.height)
        i, wx = _weights(blocks.centre_x, self.width)
        self._down = blocks.centre_y.size
        here = np.arange(self.width) % self.columns
        # (rows of the period, blocks down, width): all that is left to do for a pixel is to mix two numbers
        self._lines = np.empty((self.rows, self._down, self.width), dtype=np.float32)
        levels, left, right = blocks.level.astype(np.float32), (1 - wx)[:, np.newaxis], wx[:, np.newaxis]
        for row in range(self.rows):
            channel = blocks.channels[row][here]
            self._lines[row] = (levels[channel, :, i] * left + levels[channel, :, i + 1] * right).T
        self._flat = self._lines.reshape(-1)

    def limits(self, sigmas: float) -> Limits:
        """Levels so many standard deviations up, as a function of the row: (row) -> (width,)."""
        width_of_noise = np.arange(self.width) % self.columns
        lines = self._lines + np.float32(sigmas) * self._noise[:, width_of_noise][:, np.newaxis, :]

        def limit(y: int) -> NDArray[np.float32]:
            j, w = self._j[y], self._wy[y]
            mixed: NDArray[np.float32] = lines[y % self.rows, j] * (1 - w) + lines[y % self.rows, j + 1] * w
            return mixed

        return limit

    def sigmas(self, y: NDArray[np.intp], x: NDArray[np.intp]) -> NDArray[np.float32]:
        """How many standard deviations some pixels stand above the background."""
        row = y % self.rows
        w = self._wy[y]
        place = (row * self._down + self._j[y]) * self.width + x
        level = self._flat.take(place)
        level += w * (self._flat.take(place + self.width) - level)
        out: NDArray[np.float32] = self._data.take(y * self.width + x) - level
        out /= self._noise[row, x % self.columns]
        return out

    def noise_at(self, y: NDArray[np.intp], x: NDArray[np.intp]) -> NDArray[np.float32]:
        """Standard deviation of some pixels."""
        noise: NDArray[np.float32] = self._noise[y % self.rows, x % self.columns]
        return noise


def _weights(centres: NDArray[np.float64], length: int) -> tuple[NDArray[np.intp], NDArray[np.float32]]:
    # Beyond the outermost middles the line goes on straight, but not for ever.
    places = np.arange(length, dtype=np.float64)
    first = np.clip(np.searchsorted(centres, places) - 1, 0, centres.size - 2).astype(np.intp)
    weight = (places - centres[first]) / (centres[first + 1] - centres[first])
    return first, np.clip(weight, -0.6, 1.6).astype(np.float32)


def sources_of(data: NDArray[Any], blocks: Blocks) -> Sources:
    """Stars and hot pixels of the whole frame. data: two-dimensional, finite."""
    background = Background(data, blocks)
    threshold = _threshold(blocks, data.size)
    y, x = _standing_out(data, background, threshold)
    peak = background.sigmas(y, x)
    # A peak is higher than its neighbours; of equal ones in a saturated star the last counts.
    sides: list[NDArray[np.float32]] = []
    for dy, dx in _SIDES:
        side = background.sigmas(y + dy, x + dx)
        top = peak >= side if (dy, dx) < (0, 0) else peak > side
        y, x, peak, side = y[top], x[top], peak[top], side[top]
        sides = [*(one[top] for one in sides), side]
    beside = np.stack(sides)
    starlike = _shines(beside, peak)
    hot = int(np.count_nonzero(~starlike & (_three(beside) < SIDES_SHARE * peak)))
    far = background.columns * max(1, 8 // background.columns)
    away = np.where(x < background.width // 2, x + far, x - far)
    by_chance = int(
        np.count_nonzero(_shines(np.stack([background.sigmas(y + dy, away + dx) for dy, dx in _SIDES]), peak))
    )

    y, x, peak, beside = y[starlike], x[starlike], peak[starlike], beside[:, starlike]
    for dy, dx in _CORNERS:
        corner = background.sigmas(y + dy, x + dx)
        top = peak >= corner if (dy, dx) < (0, 0) else peak > corner
        y, x, peak, beside = y[top], x[top], peak[top], beside[:, top]
    if y.size > MOST_STARS:
        chosen = np.argpartition(peak, -MOST_STARS)[-MOST_STARS:]
        y, x, peak, beside = y[chosen], x[chosen], peak[chosen], beside[:, chosen]
    if y.size == 0:
        return Sources(0, by_chance, hot, threshold, np.zeros(0), 0.0)
    # Close by, the level may differ from the blocks' (a glow, a nebula), and so may the noise.
    dy, dx = np.array(_RING).T[:, :, np.newaxis]
    near = background.sigmas(y + dy, x + dx)
    middle = np.median(near, axis=0)
    spread = np.maximum(MAD_TO_SIGMA * np.median(np.abs(near - middle), axis=0), 1.0)
    peak, beside = (peak - middle) / spread, (beside - middle) / spread
    real = _shines(beside, peak) & (peak >= PEAK_SIGMA)
    peaks = np.sort((peak * spread * background.noise_at(y, x))[real].astype(np.float64))[::-1]
    sharpness = float(np.median(beside[:, real].mean(axis=0) / peak[real])) if real.any() else 0.0
    return Sources(int(real.sum()), by_chance, hot, threshold, peaks, sharpness)


def _three(sides: NDArray[np.float32]) -> NDArray[np.float32]:
    three: NDArray[np.float32] = sides.sum(axis=0) - sides.max(axis=0)
    return three


def _shines(sides: NDArray[np.float32], peak: NDArray[np.float32]) -> NDArray[np.bool_]:
    three = _three(sides)
    enough = np.count_nonzero(sides > SIDE_SIGMA, axis=0) >= SIDES_THAT_SHINE
    found: NDArray[np.bool_] = enough & (three >= SIDES_SIGMA * 3**0.5) & (three >= SIDES_SHARE * peak)
    return found


def _threshold(blocks: Blocks, size: int) -> float:
    """The height above which pixels are looked at: 5 sigma, or what leaves about as many as are looked at."""
    above = blocks.rest()
    high = above[above > PEAK_SIGMA]
    most = max(20, round(MOST_POINTS * above.size / size))
    if high.size <= most:
        return PEAK_SIGMA
    return float(np.partition(high, high.size - most)[high.size - most])


def _standing_out(
    data: NDArray[Any], background: Background, threshold: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the pixels above the threshold, without the frame's border."""
    height, width = data.shape
    limits = background.limits(threshold)
    whole = data.dtype.kind == "u"
    ys, xs = [], []
    for top in range(MARGIN, height - MARGIN, STRIP):
        bottom = min(height - MARGIN, top + STRIP)
        for first in range(top, min(bottom, top + background.rows)):
            middle = first + (bottom - 1 - first) // 2 // background.rows * background.rows
            limit = limits(middle)
            if whole:
                # whole numbers are compared as such, several times faster
                limit = np.clip(limit, 0, 65535).astype(np.uint16)
            found = np.flatnonzero(data[first : bottom : background.rows] > limit)
            if found.size:
                down, across = np.divmod(found, width)
                ys.append(first + down * background.rows)
                xs.append(across)
    if not ys:
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    y, x = np.concatenate(ys), np.concatenate(xs)
    inside = (x >= MARGIN) & (x < width - MARGIN)
    return y[inside], x[inside]
