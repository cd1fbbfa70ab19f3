"""Points that stand out of their surroundings: stars, which spread over several pixels, and hot pixels, which don't."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.blocks import MAD_TO_SIGMA, Blocks
from darklib.pixels.star_shapes import (
    BESIDE,
    BESIDE_SIGMA,
    EACH_SHARE,
    PLAIN_SIGMA,
    SOFT_CLIP_SIGMA,
    SOFT_SUM_SIGMA,
    all_round,
    nearly_round,
    shines,
    wholly,
)

PEAK_SIGMA = 3.5
"""A point stands out when its highest pixel lies this many standard deviations above its surroundings."""
HOT_SIGMA = 5.0
"""A hot pixel has nothing beside it that confirms it, so it has to stand out further."""
MOST_POINTS = 25_000
"""Of more pixels than about this that stand out, the brightest are looked at."""
MOST_FOUND = 50_000
"""As many are found at all: of those that are no stars, `hot` looks at more."""
MANY_POINTS = 20_000
MOST_STARS = 3_000
"""As many stars as are looked at closely."""
STRIP = 64
"""Rows for which the background is taken as one."""
SQUARE = 6
MARGIN = 2
"""Pixels along the border that are left out."""

Limits = Callable[[int], NDArray[np.float32]]

_RING = tuple(
    (dy, dx) for dy in range(-7, 8) for dx in range(-7, 8) if max(abs(dy), abs(dx)) in (5, 7) and (dy + 2 * dx) % 3 == 0
)


@dataclass(frozen=True, slots=True)
class Sources:
    """stars, hot: how many, above `threshold_sigma`; by_chance: as `stars`, with the surroundings of another place.
    plain, plain_by_chance: how many of them are plain. soft, soft_by_chance: how many are lit softly all round, faint
    ones included; whole: how many of those are lit so plainly that hot pixels do not feign it.

    star_peaks: heights of the stars' highest pixels above their surroundings, data units, greatest first;
    star_sharpness: the four sides' mean over the peak, median of the stars.
    """

    stars: int
    by_chance: float
    plain: int
    plain_by_chance: float
    soft: int
    soft_by_chance: float
    whole: int
    hot: int
    threshold_sigma: float
    star_peaks: NDArray[np.float64]
    star_sharpness: float


class Background:
    """Level at every pixel of some data, linear between the middles of the blocks, for each channel by itself."""

    def __init__(self, data: NDArray[Any], blocks: Blocks) -> None:
        self.height, self.width = data.shape
        self.rows, self.columns = blocks.channels.shape
        self.colours_of_two = (self.rows, self.columns) == (2, 2) and blocks.noise.size < 4
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
        self._top = data.max()
        self._highest = np.float32((float(self._top) - float(blocks.level.min())) / float(blocks.noise.min()))

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
        value = self._data.take(y * self.width + x)
        out: NDArray[np.float32] = value - level
        out /= self._noise[row, x % self.columns]
        # Saturated pixels are equally high, whatever their background: a saturated star has one peak, not many.
        out[value >= self._top] = self._highest
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


@dataclass(frozen=True, slots=True)
class Points:
    """Pixels that stand out of a frame's background. y, x: rows and columns, rising; sigmas: how high they stand;
    threshold_sigma: above what they were looked for.
    """

    blocks: Blocks
    background: Background
    y: NDArray[np.intp]
    x: NDArray[np.intp]
    sigmas: NDArray[np.float32]
    threshold_sigma: float


def points_of(data: NDArray[Any], blocks: Blocks) -> Points:
    """All that stands out of the whole frame. data: two-dimensional, finite."""
    background = Background(data, blocks)
    threshold = _threshold(blocks, data.size, MOST_FOUND)
    y, x = _standing_out(data, background, threshold)
    sigmas = background.sigmas(y, x)
    if sigmas.size > 2 * MOST_FOUND:
        # The blocks promised fewer: between them the background is not as smooth as it was taken for.
        threshold = float(np.partition(sigmas, sigmas.size - MOST_FOUND)[sigmas.size - MOST_FOUND])
        high = sigmas > threshold
        y, x, sigmas = y[high], x[high], sigmas[high]
    return Points(blocks, background, y, x, sigmas, threshold)


def sources_of(data: NDArray[Any], points: Points) -> Sources:
    """Stars and hot pixels of the whole frame. data: as `points` were found in."""
    background = points.background
    threshold = max(points.threshold_sigma, _threshold(points.blocks, data.size, MOST_POINTS))
    y, x, peak = points.y, points.x, points.sigmas
    if threshold > points.threshold_sigma:
        high = peak > threshold
        y, x, peak = y[high], x[high], peak[high]
    # A peak is higher than its neighbours; of equal ones in a saturated star the last counts.
    beside: list[NDArray[np.float32]] = []
    for dy, dx in BESIDE:
        value = background.sigmas(y + dy, x + dx)
        top = peak >= value if (dy, dx) < (0, 0) else peak > value
        y, x, peak = y[top], x[top], peak[top]
        beside = [*(one[top] for one in beside), value[top]]
    around = np.stack([*beside, *_same_colour(background, y, x)])
    starlike = shines(around, peak)
    hot = int(np.count_nonzero((peak >= HOT_SIGMA) & ~starlike))
    far = background.columns * max(1, 8 // background.columns)
    # Of few points chance makes a number that varies much: they are set down more often.
    shifts = (-far, far) if y.size > MANY_POINTS else (-2 * far, -far, far, 2 * far)
    elsewhere = [_displaced(background, y, x, peak, by) for by in shifts]
    soft_elsewhere = [_soft(background, *there) for there in elsewhere]
    controls = [_close(background, *_starlike(*there)) for there in elsewhere]
    soft, whole = _soft(background, y, x, peak, around)
    y, x, peak, around = y[starlike], x[starlike], peak[starlike], around[:, starlike]
    found = _close(background, y, x, peak, around)
    return Sources(
        stars=found.heights.size,
        by_chance=sum(control.heights.size for control in controls) / len(shifts),
        plain=found.plain,
        plain_by_chance=sum(control.plain for control in controls) / len(shifts),
        soft=soft,
        soft_by_chance=sum(count for count, _ in soft_elsewhere) / len(shifts),
        whole=whole,
        hot=hot,
        threshold_sigma=threshold,
        star_peaks=np.sort(found.heights)[::-1],
        star_sharpness=found.sharpness,
    )


@dataclass(frozen=True, slots=True)
class _Close:
    heights: NDArray[np.float64]
    plain: int = 0
    sharpness: float = 0.0


_Peaks = tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float32], NDArray[np.float32]]
"""Rows, columns, heights, and the surroundings as `shines` takes them."""


def _displaced(
    background: Background, y: NDArray[np.intp], x: NDArray[np.intp], peak: NDArray[np.float32], by: int
) -> _Peaks:
    """The same peaks set down some columns further on: what passes for a star there does so by chance."""
    inside = (x + by >= MARGIN) & (x + by < background.width - MARGIN)
    y, x, peak = y[inside], x[inside] + by, peak[inside]
    # Few places have two lit sides, or light on all of them: only those are looked at all around.
    hopeful = _lit_sides(background, y, x, peak)
    y, x, peak = y[hopeful], x[hopeful], peak[hopeful]
    around = np.stack([*(background.sigmas(y + dy, x + dx) for dy, dx in BESIDE), *_same_colour(background, y, x)])
    return y, x, peak, around


def _starlike(
    y: NDArray[np.intp], x: NDArray[np.intp], peak: NDArray[np.float32], around: NDArray[np.float32]
) -> _Peaks:
    """Of displaced peaks those that pass for stars."""
    like = shines(around, peak) & (around[: len(BESIDE)] < peak).all(axis=0)
    return y[like], x[like], peak[like], around[:, like]


def _soft(
    background: Background,
    y: NDArray[np.intp],
    x: NDArray[np.intp],
    peak: NDArray[np.float32],
    around: NDArray[np.float32],
) -> tuple[int, int]:
    """How many of the peaks are lit softly all round, also against level and noise close by; and how many wholly."""
    lit = all_round(around, peak)
    y, x, peak, around = y[lit], x[lit], peak[lit], around[:, lit]
    if y.size > MOST_STARS:
        chosen = np.argpartition(peak, -MOST_STARS)[-MOST_STARS:]
        y, x, peak, around = y[chosen], x[chosen], peak[chosen], around[:, chosen]
    if y.size == 0:
        return 0, 0
    middle, spread = _near(background, y, x)
    peak = (peak - middle) / spread
    around = (around - middle) / spread
    real = all_round(around, peak) & (peak >= PEAK_SIGMA)
    squares = (y // SQUARE) * (background.width // SQUARE + 1) + x // SQUARE
    return int(np.unique(squares[real]).size), int(np.unique(squares[real & wholly(around, peak)]).size)


def _near(
    background: Background, y: NDArray[np.intp], x: NDArray[np.intp]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Level and noise close by, in standard deviations about the background; the noise is at least one."""
    dy, dx = np.array(_RING).T[:, :, np.newaxis]
    near = background.sigmas(np.clip(y + dy, 0, background.height - 1), np.clip(x + dx, 0, background.width - 1))
    middle = np.median(near, axis=0)
    return middle, np.maximum(MAD_TO_SIGMA * np.median(np.abs(near - middle), axis=0), 1.0)


def _lit_sides(
    background: Background, y: NDArray[np.intp], x: NDArray[np.intp], peak: NDArray[np.float32]
) -> NDArray[np.bool_]:
    """Whether two of the four sides, next or next of the same colour, are lit as a star's are, or all four softly."""
    floor = np.maximum(np.float32(BESIDE_SIGMA), np.float32(EACH_SHARE) * peak)
    found = np.zeros(peak.size, dtype=bool)
    for step in (1, 2) if background.colours_of_two else (1,):
        lit = np.zeros(peak.size, dtype=np.int8)
        total = np.zeros(peak.size, dtype=np.float32)
        for dy, dx in BESIDE[:4]:
            down = np.clip(y + step * dy, 0, background.height - 1)
            side = background.sigmas(down, np.clip(x + step * dx, 0, background.width - 1))
            lit += side >= floor
            total += np.clip(side, -SOFT_CLIP_SIGMA, SOFT_CLIP_SIGMA)
        # The four corners add four times the limit at most.
        found |= (lit >= 2) | (total >= SOFT_SUM_SIGMA - 4 * SOFT_CLIP_SIGMA)
    return found


def _same_colour(background: Background, y: NDArray[np.intp], x: NDArray[np.intp]) -> list[NDArray[np.float32]]:
    """The next pixels of the same colour, for 2 x 2 patterns: behind a narrow-band filter a star shines in one only."""
    if not background.colours_of_two:
        return []
    return [
        background.sigmas(np.clip(y + 2 * dy, 0, background.height - 1), np.clip(x + 2 * dx, 0, background.width - 1))
        for dy, dx in BESIDE
    ]


def _close(
    background: Background,
    y: NDArray[np.intp],
    x: NDArray[np.intp],
    peak: NDArray[np.float32],
    around: NDArray[np.float32],
) -> _Close:
    """What shines still against the level and noise close by: heights of the peaks, data units; sharpness.

    Where there is a glow or a nebula, level and noise close by differ from those between the blocks.
    """
    if y.size > MOST_STARS:
        chosen = np.argpartition(peak, -MOST_STARS)[-MOST_STARS:]
        y, x, peak, around = y[chosen], x[chosen], peak[chosen], around[:, chosen]
    if y.size == 0:
        return _Close(np.zeros(0))
    middle, spread = _near(background, y, x)
    peak, around = (peak - middle) / spread, (around - middle) / spread
    real = shines(around, peak) & (peak >= PEAK_SIGMA)
    # One cosmic ray's track may have several peaks, so what lies in one square counts once.
    squares = (y // SQUARE) * (background.width // SQUARE + 1) + x // SQUARE
    brightest = np.lexsort((-peak * real, squares))
    first = np.ones(y.size, dtype=bool)
    first[brightest[1:]] = squares[brightest[1:]] != squares[brightest[:-1]]
    real &= first
    heights = (peak * spread * background.noise_at(y, x))[real].astype(np.float64)
    sharpness = float(np.median(around[:4, real].mean(axis=0) / peak[real])) if real.any() else 0.0
    plain = real & (shines(around, peak, PLAIN_SIGMA) | nearly_round(around))
    return _Close(heights, int(plain.sum()), sharpness)


def _threshold(blocks: Blocks, size: int, most_points: int) -> float:
    """The height above which pixels are looked at: `PEAK_SIGMA`, or what leaves about as many as are looked at."""
    above = blocks.rest
    high = above[above > PEAK_SIGMA]
    most = max(20, round(most_points * above.size / size))
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
