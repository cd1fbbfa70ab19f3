"""Gain, read noise and full well from flats and biases, by the photon transfer method.

The variance of light is its mean, in electrons; so the slope of variance against mean, both in DN, is DN per electron
(Janesick, Photon Transfer, 2007; EMVA Standard 1288, release 4.0 linear, where the slope is called K). Here the gain is
its inverse, electrons per DN. Differences of two frames hold no fixed pattern; the flats of a pair are scaled to one
level first.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from darklib.facts.sensor import Value
from darklib.pixels.mosaic import Mosaic
from darklib.sensor.pile import Pile, core_variance

TILE = 64
"""Columns of a tile, in each of which the two flats of a pair are scaled to one level: twilight and panels drift."""

CLIP_SIGMA = 4.0
CLIPPED_VARIANCE = 0.99892
"""Variance of a normal distribution after clipping at 4 sigma until nothing is cut (own integral of the density)."""

MOST_PASSES = 4

LEAST_SIGNAL_NOISES = 2.0
"""A flat must stand so many times its bias' noise above the bias, or it says nothing of the gain."""

FIT_UP_TO = 0.7
"""The straight line is fitted up to this share of the saturation level (EMVA 1288, section 6.6)."""

FULL_SHARE = 0.01
"""A flat with this share of its pixels at the highest number is full."""

OFF_LINE = 0.15
"""Where the variance falls short of the line by so much the response has left it (common practice, no single
source).
"""

NOISE_LEAST_STEPS2 = 0.24
"""A variance below this many squared steps is mostly rounding and says nothing of the noise (EMVA 1288, dark noise)."""


@dataclass(frozen=True, slots=True)
class FlatPair:
    """Two flats of one exposure, one colour. signal_dn: mean above the bias; shot_dn2: variance of one of them without
    that of the bias; error_dn2: its standard error; top_share: share of pixels at the highest value, of both.
    """

    colour: str
    signal_dn: float
    shot_dn2: float
    error_dn2: float
    top_share: float = 0.0


@dataclass(frozen=True, slots=True)
class Gain:
    """e_per_dn: electrons per DN, of all colours together and of each; linear_dn: signal up to which variance follows
    the mean, None where no flat is bright enough to tell; saturation_dn: signal at which flats pile up, None likewise;
    pairs: how many pairs are in the fit; scatter: root mean square of their residuals over their errors.
    """

    e_per_dn: Value
    by_colour: dict[str, Value]
    linear_dn: float | None
    saturation_dn: float | None
    pairs: int
    scatter: float


def two_and_two(
    flat_sum_dn: float, bias_sum_dn: float, flat_difference_dn2: float, bias_difference_dn2: float
) -> float:
    """Electrons per DN from two flats and two biases: ((F1+F2) - (B1+B2)) / (var(F1-F2) - var(B1-B2)).

    Janesick's method, as in IRAF's findgain and Howell, Handbook of CCD Astronomy, section 4.3. Raises ValueError where
    the flats vary no more than the biases.
    """
    shot = flat_difference_dn2 - bias_difference_dn2
    if shot <= 0.0:
        raise ValueError("the flats vary no more than the biases")
    return (flat_sum_dn - bias_sum_dn) / shot


def read_noise(
    variance_dn2: float, variance_error_dn2: float, e_per_dn: Value | None, step_dn: float
) -> tuple[Value | None, Value | None]:
    """Read noise in DN and in electrons from the temporal variance of a bias, rounding (step^2 / 12) taken off.

    None where the variance is mostly rounding, and in electrons where the gain is not known.
    """
    if variance_dn2 < NOISE_LEAST_STEPS2 * step_dn**2:
        return None, None
    noise_dn = (variance_dn2 - step_dn**2 / 12.0) ** 0.5
    error_dn = variance_error_dn2 / (2.0 * noise_dn)
    in_dn = Value(noise_dn, error_dn)
    if e_per_dn is None:
        return in_dn, None
    relative = ((error_dn / noise_dn) ** 2 + ((e_per_dn.error or 0.0) / e_per_dn.value) ** 2) ** 0.5
    return in_dn, Value(noise_dn * e_per_dn.value, noise_dn * e_per_dn.value * relative)


def pairs_of(
    frames: Sequence[NDArray[np.uint16]], mosaic: Mosaic, rows_of_band: int, bias: Pile, top_dn: float | None
) -> list[FlatPair]:
    """Each two flats that follow each other as a pair, colour by colour. bias: what zero light looks like."""
    variance = core_variance(bias)
    if variance is None:
        return []
    zero = bias.colour_levels_dn()
    found = []
    for first, second in zip(frames[0::2], frames[1::2], strict=False):
        for number, colour in enumerate(mosaic.colours):
            pair = _pair(first, second, mosaic, number, rows_of_band, float(zero[number]), variance[0], top_dn)
            if pair is not None:
                signal, shot, error, top = pair
                found.append(FlatPair(colour, signal, shot, error, top))
    return found


def _pair(
    first: NDArray[np.uint16],
    second: NDArray[np.uint16],
    mosaic: Mosaic,
    number: int,
    rows_of_band: int,
    zero_dn: float,
    bias_dn2: float,
    top_dn: float | None,
) -> tuple[float, float, float, float] | None:
    signals, shots, weights, tops = [], [], [], []
    for row, column in zip(*np.nonzero(mosaic.index == number), strict=True):
        a = _tiles(first, mosaic, int(row), int(column), rows_of_band)
        b = _tiles(second, mosaic, int(row), int(column), rows_of_band)
        if a is None or b is None:
            return None
        if top_dn is not None:
            tops.append(float(np.mean(np.concatenate([a, b]) >= top_dn)))
        a -= np.float32(zero_dn)
        b -= np.float32(zero_dn)
        mean_a, mean_b = a.mean(axis=1), b.mean(axis=1)
        good = (mean_a > LEAST_SIGNAL_NOISES * bias_dn2**0.5) & (mean_b > LEAST_SIGNAL_NOISES * bias_dn2**0.5)
        if not good.any():
            continue
        a, b = a[good], b[good]
        counts, mean_a, ratio, difference, keep = _scaled(a, b)
        # Expected of the difference: (1 + r^2) of the bias' variance and, of light, S_a (1 + r) / gain. One degree of
        # freedom a tile went into its ratio.
        squares = np.where(keep, difference, 0.0).astype(np.float64) ** 2
        variance = squares.sum(axis=1) / (counts - 1.0) / CLIPPED_VARIANCE
        shots.append((variance - (1.0 + ratio**2) * bias_dn2) / (1.0 + ratio))
        signals.append(mean_a)
        weights.append(counts)
    if not shots:
        return None
    count = np.concatenate(weights).astype(np.float64)
    signal = float(np.average(np.concatenate(signals), weights=count))
    per_tile = np.concatenate(shots)
    shot = float(np.average(per_tile, weights=count))
    # At equal levels a pair's variance is known to sqrt(2 / n) of all of it, read noise included.
    error = (max(shot, 0.0) + bias_dn2) * (2.0 / count.sum()) ** 0.5
    return signal, shot, float(error), float(np.mean(tops)) if tops else 0.0


def _scaled(
    a: NDArray[np.float32], b: NDArray[np.float32]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Two flats' tiles scaled to one level, tile by tile: pixels counted, mean of the first, ratio, difference, and
    which pixels are no cosmic rays. One moves the mean of its tile, and with it the ratio, so found ones are left out
    of both.
    """
    keep = np.ones(a.shape, dtype=bool)
    passes = 0
    while True:
        counts = np.maximum(keep.sum(axis=1), 2).astype(np.float64)
        mean_a = np.where(keep, a, 0.0).sum(axis=1) / counts
        ratio = mean_a * counts / np.where(keep, b, 0.0).sum(axis=1)
        difference = a - ratio[:, np.newaxis] * b
        light = np.sqrt(mean_a * (1.0 + ratio))
        again = _kept((difference / light[:, np.newaxis]).astype(np.float32))
        passes += 1
        if passes == MOST_PASSES or (again == keep).all():
            return counts, mean_a, ratio, difference, keep
        keep = again


def _kept(scaled: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Which pixels are no cosmic rays: clipped at 4 sigma about zero until nothing is cut."""
    sample = np.abs(scaled.ravel()[:: max(1, scaled.size // 100_000)])
    sd = float(np.median(sample)) / 0.67449
    keep = np.abs(scaled) <= CLIP_SIGMA * sd
    for _ in range(8):
        sd = float(np.sqrt(np.mean(scaled[keep].astype(np.float64) ** 2)))
        again = np.abs(scaled) <= CLIP_SIGMA * sd
        if again.sum() == keep.sum():
            break
        keep = again
    return keep


def _tiles(
    data: NDArray[np.uint16], mosaic: Mosaic, row: int, column: int, rows_of_band: int
) -> NDArray[np.float32] | None:
    """One place of the colour pattern in tiles of a band by 64 columns, (tiles, pixels)."""
    plane = data[row :: mosaic.rows, column :: mosaic.columns]
    high = rows_of_band // mosaic.rows
    wide = max(8, TILE // mosaic.columns)
    down, across = plane.shape[0] // high if high else 0, plane.shape[1] // wide
    if down < 1 or across < 1:
        return None
    cut = plane[: down * high, : across * wide].reshape(down, high, across, wide)
    return cut.transpose(0, 2, 1, 3).reshape(down * across, high * wide).astype(np.float32)


def gain_of(pairs: Iterable[FlatPair], top_signal_dn: float | None = None) -> Gain | None:
    """Gain from many pairs: a line through the origin of variance against mean, for each colour and for all.

    Weighted by what each pair knows; pairs above 70 percent of saturation are left out (EMVA 1288). The error is that
    of the weights, widened where the pairs scatter more than they should. None where no pair has any shot noise.
    top_signal_dn: signal of the highest number the converter writes, where known.
    """
    usable = [one for one in pairs if one.signal_dn > 0.0 and one.error_dn2 > 0.0]
    if not usable:
        return None
    saturation = _saturation(usable, top_signal_dn)
    linear, over = _linear(usable, saturation)
    limit = min(x for x in (saturation, over, float("inf")) if x is not None)
    fitted = [one for one in usable if one.signal_dn <= FIT_UP_TO * limit] or [
        one for one in usable if one.signal_dn < limit and one.top_share < 0.001
    ]
    by_colour = {}
    for colour in dict.fromkeys(one.colour for one in fitted):
        line = _line([one for one in fitted if one.colour == colour])
        if line is not None:
            by_colour[colour] = line[0]
    line = _line(fitted)
    if line is None or not by_colour:
        return None
    # Where colours differ, their mean is told, and it is no better known than they agree.
    values = np.array([one.value for one in by_colour.values()])
    whole, scatter = line
    if len(by_colour) > 1:
        errors = np.array([one.error or 0.0 for one in by_colour.values()])
        own = float(np.sqrt(np.sum(errors**2))) / len(values)
        whole = Value(float(values.mean()), max(own, float(values.std(ddof=1)) / len(values) ** 0.5))
    return Gain(whole, by_colour, linear, saturation, len(fitted), scatter)


def _line(pairs: Sequence[FlatPair]) -> tuple[Value, float] | None:
    signal = np.array([one.signal_dn for one in pairs])
    shot = np.array([one.shot_dn2 for one in pairs])
    error = np.array([one.error_dn2 for one in pairs])
    if signal.size == 0:
        return None
    weight = 1.0 / error**2
    slope = float((weight * signal * shot).sum() / (weight * signal**2).sum())
    if slope <= 0.0:
        return None
    own = float((weight * signal**2).sum()) ** -0.5
    scatter = 0.0
    if signal.size > 1:
        scatter = float(np.sqrt((weight * (shot - slope * signal) ** 2).sum() / (signal.size - 1)))
    own *= max(1.0, scatter)
    if own >= slope / 3.0:
        return None
    return Value(1.0 / slope, own / slope**2), scatter


def _saturation(pairs: Sequence[FlatPair], top_signal_dn: float | None) -> float | None:
    full = [one.signal_dn for one in pairs if one.top_share >= FULL_SHARE]
    if not full:
        return None
    return top_signal_dn if top_signal_dn is not None else min(full)


def _linear(pairs: Sequence[FlatPair], saturation: float | None) -> tuple[float | None, float | None]:
    """The highest signal on the line where brighter ones have left it, and the lowest that has; None, None
    elsewhere.
    """
    ordered = sorted(pairs, key=lambda one: one.signal_dn)
    brightest = ordered[-1].signal_dn if saturation is None else saturation
    low = [one for one in ordered if one.signal_dn <= 0.5 * brightest] or ordered[:1]
    weights = np.array([1.0 / one.error_dn2**2 for one in low])
    slopes = np.array([one.shot_dn2 / one.signal_dn for one in low])
    signals = np.array([one.signal_dn for one in low])
    slope = float(np.average(slopes, weights=weights * signals**2))
    off = [
        one
        for one in ordered
        if one.signal_dn > low[-1].signal_dn
        and one.top_share < FULL_SHARE  # a full converter is no bend
        and one.shot_dn2 + 4 * one.error_dn2 < (1.0 - OFF_LINE) * slope * one.signal_dn
    ]
    if not off:
        return None, None
    first = off[0].signal_dn
    on = [one.signal_dn for one in ordered if one.signal_dn < first]
    return (on[-1] if on else None), first
