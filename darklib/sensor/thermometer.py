"""Hot pixels as a thermometer: a frame's dark ratio against known darks, and from it the sensor's temperature.

The dark ratio k is the slope, through the origin, of the excesses of a few hundred hot pixels in a frame against the
same in darks (Widenhorn et al. 2007, "Computation of dark frames in digital imagers", Proc. SPIE 6501). It needs no
temperature. With the darks' temperature T_D and the doubling temperature of hot pixels dT, which is not that of the
median pixel (Widenhorn et al. 2002, Proc. SPIE 4669),

    T = T_D + dT log2(k t_D / t_L).

Everything is laid out on the body's own scale of doublings first, so that darks without a single known temperature are
still in order; one known temperature pins the scale and two measure dT.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from darklib.facts.sensor import Value
from darklib.pixels.blocks import MAD_TO_SIGMA
from darklib.pixels.hot import HotPixels
from darklib.sensor.reference import Reference, lookup

LEAST_PIXELS = 20
"""Usable hot pixels without which nothing is told."""
MARGIN = 1.3
"""Pixels are used whose excess is expected this far above what the frame shows: of those nearly all are seen."""
SCATTER = 0.1
"""Pixels differ in their doubling temperature by about a tenth, so their ratios scatter however bright they are."""
LEAST_FOUND = 0.5
"""Less than this share of what should be seen: the camera filters hot pixels, or the frame is another sensor's."""
ASSUMED_DOUBLING_C = Value(6.5, 1.0)
"""Doubling temperature of hot pixels until a body's own darks tell (common practice: 5 to 8, no single source)."""
LAW_DRIFT = 0.02
"""The doubling temperature itself changes with temperature: the error given to it a doubling away from where it was
measured, as a share. Half of what a diffusion law does (published laws of CCD families, 7.2 degrees at 0 C and 7.7 at
10 C), for hot pixels are only partly ruled by it."""
RATIO_FLOOR = 0.003
"""Relative error of a dark ratio below which nothing is claimed."""


@dataclass(frozen=True, slots=True)
class Ratio:
    """A dark ratio k with its standard error. used: pixels the slope rests on; found: the share of them seen."""

    value: float
    error: float
    used: int
    found: float


def dark_ratio(frame: HotPixels, reference: Reference) -> Ratio | None:
    """The frame's hot-pixel signal over the reference's; None: can't tell.

    Pixels are chosen by what the reference predicts, never by what the frame shows; one that should be seen and is not
    counts as low, a saturated one as high, and a median minds neither.
    """
    hot = reference.hot
    if (frame.width, frame.height) != (hot.width, hot.height) or hot.count < LEAST_PIXELS:
        return None
    places, there = lookup(frame.positions, hot.positions)
    seen = np.zeros(hot.count)
    seen[there] = np.where(frame.saturated[places], np.inf, frame.excess_dn[places])
    ratios = seen / hot.excess_dn
    # In the order of the ratios from here on: every weighted median is then one sum along it.
    order = np.argsort(ratios)
    ratios, expected = ratios[order], hot.excess_dn.astype(np.float64)[order]
    floor = MARGIN * frame.at(frame.floor_dn, hot.positions).astype(np.float64)[order]
    noise = frame.at(frame.noise_dn, hot.positions).astype(np.float64)[order]
    own = reference.error_dn.astype(np.float64)[order]
    shown = (ratios > 0) & np.isfinite(ratios)
    if int(shown.sum()) < LEAST_PIXELS // 2:
        return None
    k = _middle(ratios[shown])
    used, sd, count = shown, expected, 0
    for turn in range(40):
        used = k * expected >= floor
        count = int(used.sum())
        if count < LEAST_PIXELS:
            return None
        sd = _deviations(k, expected[used], noise[used], own[used])
        new = _weighted_median(ratios[used], 1.0 / sd)
        if not np.isfinite(new):
            return None
        # More than half unseen: k was too high, for pixels that noise lifted over the limit came first.
        new = 0.8 * k if new == 0.0 else new if turn < 10 else (new * k) ** 0.5
        done = abs(new - k) <= 1e-4 * k
        k = new
        if done:
            break
    found = float(np.count_nonzero(ratios[used] > 0) / count)
    if found < LEAST_FOUND:
        return None
    scale = MAD_TO_SIGMA * _middle(np.sort(np.abs(ratios[used] - k) / sd))
    # Standard error of a weighted median of Gaussian residuals; few pixels know their scatter badly.
    error = 1.2533 * scale * (1.0 + 3.0 / count) / float(np.sqrt(np.sum(sd**-2.0)))
    return Ratio(k, float(np.hypot(error, RATIO_FLOOR * k)), count, found)


def _deviations(
    k: float, expected: NDArray[np.float64], noise: NDArray[np.float64], error: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Standard deviations of single ratios: the frame's noise, the reference's, and the pixels' own laws."""
    # the level is the median of eight neighbours, which adds to the pixel's own noise
    out: NDArray[np.float64] = np.sqrt(1.2 * noise**2 + (k * error) ** 2 + (SCATTER * k * expected) ** 2) / expected
    return out


def _middle(rising: NDArray[np.float64]) -> float:
    """The median of numbers that rise already: numpy's own takes several times as long for some hundred."""
    return float(rising[(rising.size - 1) // 2] + rising[rising.size // 2]) / 2.0


def _weighted_median(rising: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    total = np.cumsum(weights)
    return float(rising[np.searchsorted(total, 0.5 * total[-1])])


@dataclass(frozen=True, slots=True)
class Place:
    """Where a set of darks lies on its body's scale. doublings: of the rate of hot pixels, DN a second, against the
    body's first set. temperature_c: where known.
    """

    doublings: float
    error: float
    temperature_c: float | None = None
    temperature_error_c: float = 0.0


def doublings(ratio: float, reference_s: float, frame_s: float) -> float:
    """How many times the rate of hot pixels has doubled from the reference to the frame: log2(k t_D / t_L)."""
    return float(np.log2(ratio * reference_s / frame_s))


def laid_out(references: Sequence[Reference]) -> list[Place | None]:
    """The places of sets of one body and readout on one scale of doublings; None for one that can't be told.

    The set with most pixels is at 0. Each other one is measured against it and against its neighbour on the way there,
    and the surer of the two counts: a near set shows more of the same pixels, a chain of them adds up its errors.
    """
    places: list[Place | None] = [None] * len(references)
    if not references:
        return places
    first = max(range(len(references)), key=lambda number: references[number].hot.count)
    if references[first].hot.count < LEAST_PIXELS:
        return places
    places[first] = Place(0.0, 0.0)
    guesses = {number: _step(references[first], one) for number, one in enumerate(references) if number != first}
    for side in (-1.0, 1.0):
        here = [(number, one) for number, one in guesses.items() if one is not None and one[0] * side >= 0]
        before, anchor = first, Place(0.0, 0.0)
        for number, guess in sorted(here, key=lambda one: abs(one[1][0])):
            if places[number] is not None:
                continue
            place = Place(*guess)
            step = _step(references[before], references[number]) if before != first else None
            if step is not None and np.hypot(anchor.error, step[1]) < guess[1]:
                place = Place(anchor.doublings + step[0], float(np.hypot(anchor.error, step[1])))
            places[number], before, anchor = place, number, place
    _reach_further(references, places)
    return places


def _reach_further(references: Sequence[Reference], places: list[Place | None]) -> None:
    """Sets too far from the first to be compared with it: by way of those that have their place."""
    moved = True
    while moved and any(one is None for one in places):
        moved = False
        for number in [number for number, one in enumerate(places) if one is None]:
            known = [(other, one) for other, one in enumerate(places) if one is not None]
            outermost = sorted(known, key=lambda one: one[1].doublings)
            for other, place in (outermost[:1] + outermost[-1:])[: len(known)]:
                step = _step(references[other], references[number])
                if step is not None:
                    error = float(np.hypot(place.error, step[1]))
                    places[number] = Place(place.doublings + step[0], error)
                    moved = True
                    break


def _step(a: Reference, b: Reference) -> tuple[float, float] | None:
    forth, back = dark_ratio(b.hot, a), dark_ratio(a.hot, b)
    answers = []
    if forth is not None:
        answers.append((doublings(forth.value, a.exposure_s, b.exposure_s), relative(forth)))
    if back is not None:
        answers.append((-doublings(back.value, b.exposure_s, a.exposure_s), relative(back)))
    return min(answers, key=lambda one: one[1]) if answers else None


def relative(ratio: Ratio) -> float:
    """Error of a dark ratio in doublings."""
    return float(ratio.error / ratio.value / np.log(2.0))


@dataclass(frozen=True, slots=True)
class Law:
    """How a body's scale of doublings reads in degrees. points: (doublings, temperature, error), rising.

    doubling_c: degrees a doubling takes; assumed: not measured on this body.
    """

    points: tuple[tuple[float, float, float], ...]
    doubling_c: Value
    assumed: bool

    def temperature(
        self, doublings: NDArray[np.float64], error: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Temperatures at some places of the scale and their standard errors, degrees C."""
        x, t, e = (np.array(column) for column in zip(*self.points, strict=True))
        slope, slope_error = self.doubling_c.value, self.doubling_c.error or 0.0
        nearest = np.abs(doublings[:, np.newaxis] - x).argmin(axis=1)
        away = doublings - x[nearest]
        out = t[nearest] + slope * away
        # The law of a step further out is not quite the one measured here.
        law = (slope_error + LAW_DRIFT * slope * np.abs(away)) * away
        variance = e[nearest] ** 2 + (slope * error) ** 2 + law**2
        upper = np.clip(np.searchsorted(x, doublings), 1, max(x.size - 1, 1))
        if x.size > 1:
            inside = (doublings >= x[0]) & (doublings <= x[-1])
            low, high = upper - 1, upper
            width = np.maximum(x[high] - x[low], 1e-9)
            share = (doublings - x[low]) / width
            between = t[low] + share * (t[high] - t[low])
            local = np.abs(t[high] - t[low]) / width
            bend = LAW_DRIFT * local * share * (1.0 - share) * width**2
            inner = ((1 - share) * e[low]) ** 2 + (share * e[high]) ** 2 + (local * error) ** 2 + bend**2
            out, variance = np.where(inside, between, out), np.where(inside, inner, variance)
        return out, np.sqrt(variance)


LEAST_SPAN = 0.4
"""Doublings two known temperatures have to be apart before they measure the law: some three degrees."""


def law_of(places: Sequence[Place]) -> Law | None:
    """The law of one body from its sets of known temperature; None where there is none.

    Sets close together are one point, with the weighted mean of their temperatures. The doubling temperature is fitted
    by weighted least squares over all points, where they span enough and tell it better than it is known beforehand.
    """
    known = sorted((one for one in places if one.temperature_c is not None), key=lambda one: one.doublings)
    if not known:
        return None
    x = np.array([one.doublings for one in known])
    t = np.array([one.temperature_c for one in known], dtype=np.float64)
    # The scale's own error, in degrees, is part of what a point is worth.
    own = np.array([one.temperature_error_c for one in known])
    e = np.hypot(np.maximum(own, 0.03), ASSUMED_DOUBLING_C.value * np.array([one.error for one in known]))
    doubling, assumed = ASSUMED_DOUBLING_C, True
    if x.size > 1 and x[-1] - x[0] >= LEAST_SPAN:
        weight = e**-2.0
        centre = float(np.average(x, weights=weight))
        spread = float(np.sum(weight * (x - centre) ** 2))
        slope = float(np.sum(weight * (x - centre) * t) / spread)
        error = spread**-0.5
        if x.size > 2:
            rest = t - float(np.average(t, weights=weight)) - slope * (x - centre)
            error *= max(1.0, float(np.sqrt(np.sum(weight * rest**2) / (x.size - 2))))
        if error < (ASSUMED_DOUBLING_C.error or 0.0) and 3.0 <= slope <= 14.0:
            doubling, assumed = Value(slope, error), False
    return Law(_points(x, t, e, doubling.value), doubling, assumed)


def _points(
    x: NDArray[np.float64], t: NDArray[np.float64], e: NDArray[np.float64], slope: float
) -> tuple[tuple[float, float, float], ...]:
    points: list[tuple[float, float, float]] = []
    start = 0
    for end in range(1, x.size + 1):
        if end < x.size and x[end] - x[start] < LEAST_SPAN:
            continue
        here, weight = slice(start, end), e[start:end] ** -2.0
        middle = float(np.average(x[here], weights=weight))
        level = float(np.average(t[here] - slope * (x[here] - middle), weights=weight))
        # Rounding and the board's offset do not average out: a point is no better than the best of its sets.
        points.append((middle, level, float(e[here].min())))
        start = end
    return tuple(points)


@dataclass(frozen=True, slots=True)
class Trend:
    """A series whose temperature runs one way. change: doublings from its first frame to its last, error: of that."""

    change: float
    error: float


def trend(at_s: Sequence[float], doublings: Sequence[float], errors: Sequence[float]) -> Trend | None:
    """Whether a series of frames warms up or cools down all along; None where it does neither.

    at_s: times in seconds. A straight line by weighted least squares; the change must pass 4 sigma and a seventh of a
    doubling (a degree), and the line must explain half of the scatter at least. Six frames or more.
    """
    t, x, e = np.array(at_s, dtype=float), np.array(doublings), np.array(errors)
    if t.size < 6 or float(np.ptp(t)) <= 0:
        return None
    weight = np.maximum(e, 1e-3) ** -2.0
    centre = float(np.average(t, weights=weight))
    spread = float(np.sum(weight * (t - centre) ** 2))
    slope = float(np.sum(weight * (t - centre) * x) / spread)
    level = float(np.average(x, weights=weight))
    rest = x - level - slope * (t - centre)
    scatter = max(1.0, float(np.sum(weight * rest**2) / (t.size - 2)) ** 0.5)
    change, error = slope * float(np.ptp(t)), scatter * spread**-0.5 * float(np.ptp(t))
    explained = 1.0 - float(np.sum(weight * rest**2) / max(np.sum(weight * (x - level) ** 2), 1e-12))
    if abs(change) < max(4.0 * error, 1.0 / 7.0) or explained < 0.5:
        return None
    return Trend(change, error)
