"""One set of darks against frames without dark current: level, spread, tail, hot pixels, all in DN of one exposure.

Every variance has the frames' own noise taken off and comes with its error. The figures are of the sensor's pixels in a
sample; shapes are those of the sample, (rows, width).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from darklib.facts.sensor import Value
from darklib.sensor.pile import Floats, Frames, Pile, core_variance

HOT_SIGMA = 6.0
"""A hot pixel stands so many standard deviations of the combined dark above its neighbours of the same colour."""

GRID = (8, 12)
"""Places over the sample, down and across, at which its level is looked at."""

FULL_SHARE = 0.9
"""Of the highest number: a full pixel is full in every frame, but for its noise."""

LEAST_GRID_PIXELS = 40

PLACES_ALIKE = 1.25
"""Places in one line share the noise of its rows, so they disagree by less than they err (own simulation)."""

TAIL_SHARE = 0.999

READ_NOISE_STEADY = 0.002
"""The variance of reading is the same in darks and biases to this share, at best (common practice, no single
source).
"""

UNSTABLE_TIMES = 9.0
"""A pixel is unstable when its variance over the frames is so many times what its level explains."""

LEAST_FOR_UNSTABLE = 5

HOT_SPREADS = 5.0
"""And it lies so many standard deviations out in the lognormal of the ordinary pixels."""

MOST_HOT = 20_000


@dataclass(frozen=True, slots=True, eq=False)
class DarkSet:
    """What one set of darks shows, DN of an exposure of `exposure_s` seconds, the reference's exposure taken off.

    level_dn: median pixel above the reference; shared_dn: the part of its error that is the reference's. spread_dn:
    robust standard deviation over pixels. noise_dn: what the frames' own noise makes of one pixel of the combined
    dark. excess_dn2: temporal variance of an ordinary pixel of one frame above the reference's, None where either is
    a single frame; reference_dn2: that of the reference. tail_dn: what one pixel in a thousand exceeds, above the
    median. by_colour_dn: level of each colour. map_dn: of each pixel. grid_dn: level at places over the frame, and
    grid_error_dn. hot: where hot pixels are (index into the raveled map) and hot_dn how far they stand out. unstable:
    how many pixels change from frame to frame beyond their noise, None for fewer than five frames. full_dn: level
    from which on pixels may be full.
    """

    name: str
    exposure_s: float
    temperature_c: float | None
    night: str | None
    frames: int
    level_dn: Value
    shared_dn: float
    spread_dn: Value
    noise_dn: float
    excess_dn2: Value | None
    reference_dn2: float | None
    tail_dn: float
    by_colour_dn: tuple[Value, ...]
    map_dn: Floats
    grid_dn: NDArray[np.float64]
    grid_error_dn: float
    hot: NDArray[np.intp]
    hot_dn: Floats
    unstable: int | None
    clipped: bool
    full_dn: float = float("inf")

    @property
    def pixels(self) -> int:
        return int(self.map_dn.size)


def dark_set(
    name: str,
    dark: Pile,
    reference: Pile,
    *,
    exposure_s: float,
    temperature_c: float | None,
    night: str | None,
    rows_of_band: int,
    e_per_dn: float | None = None,
    frames: Frames = (),
) -> DarkSet:
    """Measures a set of darks. reference: biases, or darks of a much shorter exposure; exposure_s: the difference of
    the two exposures.
    """
    difference = dark.mean_dn - reference.mean_dn
    dark_noise, zero_noise = core_variance(dark), core_variance(reference)
    excess, of_reference = None, None
    noise2 = 0.0
    if dark_noise is not None and zero_noise is not None:
        noise2 = dark_noise[0] / dark.count + zero_noise[0] / reference.count
    elif dark_noise is not None:
        noise2 = dark_noise[0] / dark.count + dark_noise[0]
    elif zero_noise is not None:
        noise2 = zero_noise[0] * (1.0 + 1.0 / reference.count)
    low, median, high = np.quantile(difference, (0.158655, 0.5, 0.841345)).tolist()
    spread, middle = _spread(difference, dark, noise2, median, (high - low) / 2.0)
    unsteady = float(np.hypot(dark.level_error_dn(), reference.level_error_dn()))
    level = Value(middle, float(np.hypot(1.2533 * (high - low) / 2.0 / difference.size**0.5, unsteady)))
    signal_dn = level.value
    if dark_noise is not None and zero_noise is not None and e_per_dn is not None:
        # Where the camera holds its level, the noise tells how much there is.
        signal_dn = max(signal_dn, (dark_noise[0] - zero_noise[0]) * e_per_dn)
    ordinary_dn = _ordinary(signal_dn, spread.value)
    rows, columns = dark.mosaic.rows, dark.mosaic.columns
    hot, hot_dn = hot_of(difference, rows, columns, rows_of_band, noise2**0.5, ordinary_dn)
    if dark_noise is not None and zero_noise is not None:
        ordinary = np.ones(difference.size, dtype=bool)
        ordinary[hot] = False
        flat_order = ordinary.reshape(difference.shape)
        ours = core_variance(dark, flat_order) or dark_noise
        theirs = core_variance(reference, flat_order) or zero_noise
        error = float(np.hypot(np.hypot(ours[1], theirs[1]), READ_NOISE_STEADY * theirs[0]))
        excess = Value(ours[0] - theirs[0], error)
        of_reference = theirs[0]
    levels = dark.colour_levels_dn() - reference.colour_levels_dn()
    per_colour = difference.size / max(1, len(levels))
    grid, grid_error = grid_of(difference, rows)
    return DarkSet(
        name=name,
        exposure_s=exposure_s,
        temperature_c=temperature_c,
        night=night,
        frames=dark.count,
        level_dn=level,
        shared_dn=reference.level_error_dn(),
        spread_dn=spread,
        noise_dn=noise2**0.5,
        excess_dn2=excess,
        reference_dn2=of_reference,
        tail_dn=float(np.quantile(difference, TAIL_SHARE)) - median,
        by_colour_dn=tuple(Value(float(one), float(spread.value + noise2**0.5) / per_colour**0.5) for one in levels),
        map_dn=difference,
        grid_dn=grid,
        grid_error_dn=grid_error,
        hot=hot,
        hot_dn=hot_dn,
        unstable=_unstable(dark, frames, e_per_dn),
        clipped=any(one.low_piles for one in dark.levels),
        full_dn=_full(dark, reference),
    )


def _spread(difference: Floats, dark: Pile, noise2: float, median: float, width: float) -> tuple[Value, float]:
    """The sensor's own spread, its error, and the median pixel's level without the pull of the noise.

    A slope over the frame is no spread of pixels: it is taken off in places. Insignificant at 2 sigma is 0, and the
    error then is half of the upper bound.
    """
    parts = _places(difference, dark.mosaic.rows)
    widths2 = []
    for part in parts:
        if part.size < LEAST_GRID_PIXELS:
            continue
        low, high = np.quantile(part, (0.158655, 0.841345)).tolist()
        widths2.append(((high - low) / 2.0) ** 2)
    if not widths2:
        widths2 = [width**2]
    own2 = without_noise(float(np.mean(widths2)), noise2)
    # How the places disagree contains everything that is unlike from place to place; the noise itself is known to
    # sqrt(2 / (n (N - 1))), and no better than one part in 200 (frames differ in their noise).
    scatter2 = float(np.std(widths2, ddof=1)) / len(widths2) ** 0.5 if len(widths2) > 2 else 0.05 * noise2
    scatter2 *= PLACES_ALIKE
    known2 = noise2 * max(0.005, (2.0 / (difference.size * max(1, dark.count - 1))) ** 0.5)
    error2 = float(np.hypot(scatter2, known2))
    if own2 <= 2.0 * error2:
        bound = max(own2, 0.0) + 2.0 * error2
        return Value(0.0, bound**0.5 / 2.0), median
    spread = own2**0.5
    value = Value(spread, error2 / (2.0 * spread))
    return value, median - _pull(median, spread, noise2)


def _full(dark: Pile, reference: Pile) -> float:
    """Level above the reference from which on a pixel may be full: near the highest number, where that is the same in
    all frames. Chance makes no two frames end at one number.
    """
    highest = {one.high_dn for one in dark.levels}
    if len(highest) > 1 or dark.count < 2:
        return float("inf")
    return FULL_SHARE * (highest.pop() - reference.levels[0].mean_dn)


def without_noise(measured2: float, noise2: float) -> float:
    """The sensor's own variance over pixels: that of the combined frame less what the frames' noise makes of it.

    noise2: variance of one frame over the number of frames (EMVA 1288, spatial variance corrected for the stack).
    """
    return measured2 - noise2


def _ordinary(median: float, spread: float) -> float:
    """How far above the median ordinary pixels may be: 5 standard deviations of their lognormal."""
    if spread <= 0.0:
        return 0.0
    if median <= spread:  # no lognormal worth the name
        return 2.0 * HOT_SPREADS * spread
    return median * float(np.expm1(min(HOT_SPREADS * np.arcsinh(spread / median), 5.0)))


def _pull(median: float, spread: float, noise2: float) -> float:
    """How far noise pulls the median of a lognormal towards its mean, by the first skewness term of Cornish and Fisher.

    The third moment stays, the variance grows: median = mean - moment / (6 variance), with and without the noise.
    """
    if median <= 0.0:
        return 0.0
    log_sigma = float(np.arcsinh(spread / median))
    if log_sigma > 1.0:  # no lognormal worth the name; the series does not hold
        return 0.0
    w = float(np.exp(log_sigma**2))
    mean = median * w**0.5
    own2 = mean**2 * (w - 1.0)
    third = mean**3 * (w - 1.0) ** 2 * (w + 2.0)
    return float(third / 6.0 * (1.0 / own2 - 1.0 / (own2 + noise2)))


def _places(difference: Floats, pattern_rows: int) -> list[Floats]:
    rows, columns = GRID
    unit = pattern_rows * 2
    high = max(unit, difference.shape[0] // rows // unit * unit)
    wide = max(unit, difference.shape[1] // columns // unit * unit)
    return [
        difference[top : top + high, left : left + wide]
        for top in range(0, difference.shape[0] - high + 1, high)
        for left in range(0, difference.shape[1] - wide + 1, wide)
    ]


def grid_of(difference: Floats, pattern_rows: int) -> tuple[NDArray[np.float64], float]:
    """Median levels at places over the frame, and the standard error of one."""
    parts = _places(difference, pattern_rows)
    medians = np.array([float(np.median(part)) for part in parts])
    size = min(part.size for part in parts)
    widths = [float(np.subtract(*np.quantile(part, (0.841345, 0.158655)))) / 2.0 for part in parts]
    return medians, 1.2533 * float(np.median(widths)) / size**0.5


def hot_of(
    difference: Floats, rows: int, columns: int, rows_of_band: int, noise_dn: float, ordinary_dn: float = 0.0
) -> tuple[NDArray[np.intp], Floats]:
    """Pixels that stand out of their neighbours of the same colour, the highest first: where, and by how much.

    ordinary_dn: how far ordinary pixels may stand out by themselves, apart from the noise.
    """
    if noise_dn <= 0.0:
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.float32)
    centre = float(np.median(difference[:: max(1, difference.shape[0] // 200)]))
    least = max(HOT_SIGMA * noise_dn, ordinary_dn)
    candidates = np.flatnonzero(difference.ravel() > centre + least)
    if candidates.size == 0:
        return candidates, np.zeros(0, dtype=np.float32)
    if candidates.size > 20 * MOST_HOT:
        order = np.argpartition(difference.ravel()[candidates], -20 * MOST_HOT)
        candidates = candidates[order[-20 * MOST_HOT :]]
    excess = excess_at(difference, candidates, rows, columns, rows_of_band)
    found = excess > least
    candidates, excess = candidates[found], excess[found]
    order = np.argsort(-excess, kind="stable")[:MOST_HOT]
    return candidates[order], excess[order]


def excess_at(difference: Floats, places: NDArray[np.intp], rows: int, columns: int, rows_of_band: int) -> Floats:
    """How far pixels stand above the median of the eight next ones of their colour, within their band. NaN: no
    telling.
    """
    height, width = difference.shape
    y, x = np.divmod(places, width)
    band = y // rows_of_band
    around = []
    for down in (-rows, 0, rows):
        for across in (-columns, 0, columns):
            if down == across == 0:
                continue
            yy, xx = y + down, x + across
            inside = (yy >= 0) & (yy < height) & (xx >= 0) & (xx < width) & (yy // rows_of_band == band)
            value = difference[np.clip(yy, 0, height - 1), np.clip(xx, 0, width - 1)]
            around.append(np.where(inside, value, np.float32(np.nan)))
    stacked = np.sort(np.stack(around), axis=0)  # NaN comes last
    count = np.isfinite(stacked).sum(axis=0)
    lower = np.take_along_axis(stacked, np.maximum((count - 1) // 2, 0)[np.newaxis], axis=0)[0]
    upper = np.take_along_axis(stacked, np.minimum(count // 2, 7)[np.newaxis], axis=0)[0]
    middle = np.where(count > 0, (lower + upper) / 2.0, np.nan)
    found: Floats = (difference[y, x] - middle).astype(np.float32)
    return found


def _unstable(dark: Pile, frames: Frames, e_per_dn: float | None) -> int | None:
    """Pixels whose variance over the frames is far beyond what noise and level make, in more than one frame.

    The frame in which such a pixel lies farthest from its median is left out: a cosmic ray hits one frame only.
    """
    if dark.variance_dn2 is None or len(frames) < LEAST_FOR_UNSTABLE or e_per_dn is None:
        return None
    core = core_variance(dark)
    if core is None:
        return None
    centre = float(np.median(dark.mean_dn[:: max(1, dark.mean_dn.shape[0] // 200)]))
    explained = core[0] + np.maximum(dark.mean_dn - centre, 0.0) / e_per_dn
    places = np.flatnonzero(dark.variance_dn2 > UNSTABLE_TIMES * explained)
    values = np.stack([one.ravel()[places].astype(np.float64) for one in frames])
    values -= np.array([level.mean_dn for level in dark.levels])[:, np.newaxis]
    farthest = np.argmax(np.abs(values - np.median(values, axis=0)), axis=0)
    values[farthest, np.arange(places.size)] = np.nan
    rest = np.nanvar(values, axis=0, ddof=1)
    return int(np.count_nonzero(rest > UNSTABLE_TIMES * explained.ravel()[places]))
