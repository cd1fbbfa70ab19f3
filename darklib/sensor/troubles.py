"""What real cameras do that simple models do not: each trouble recognised by its own sign, from figures of sets.

Every test asks two things: is the sign beyond what chance makes, and is it large enough to spoil a figure. The limits
are the project's own; scripts/studies/sensor.py measures how often they are right.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from darklib.facts.frame import FrameWarning
from darklib.facts.sensor import Value
from darklib.sensor.dark_set import DarkSet, excess_at, grid_of
from darklib.sensor.pile import Pile

SURE_SIGMA = 5.0

HELD_LEAST_GROWTH = 0.05
"""The noise of a dark must grow by this share of the bias' variance before it says what the level should do."""
HELD_SHARE = 0.35
"""A level that does less than this share of what the noise asks for is held."""

GLOW_NOISES = 0.5
GLOW_EXPOSURES = 1.5
"""Exposures must differ by this factor before a glow can be seen to follow them or not."""

FILTERED_SHARE = 0.3
FILTERED_LEAST = 8
HOT_DOUBLING_C = 6.5

COLOUR_GAIN_SHARE, COLOUR_GAIN_SIGMA = 0.02, 4.0
COLOUR_BLACK_NOISES, COLOUR_LINES_SIGMA = 0.15, 4.0
DRIFT_NOISES = 0.15
DRIFT_LEAST_FRAMES = 6
SAME_TEMPERATURE_C = 1.0

LEAK_TIMES = 1.3
LEAK_HOT_TIMES = 1.15
LEAK_COLOURS_SHARE = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class BiasSet:
    """Biases of one sitting. pile: the frames laid on each other; noise_dn: of one frame."""

    name: str
    temperature_c: float | None
    night: str | None
    pile: Pile
    noise_dn: float


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """All that the troubles are looked for in. rows, columns: of the colour pattern; step_dn: distance of the
    numbers.
    """

    biases: Sequence[BiasSet]
    darks: Sequence[DarkSet]
    gains: Mapping[str, Value]
    e_per_dn: float | None
    colours: tuple[str, ...]
    rows: int
    columns: int
    rows_of_band: int
    step_dn: float


def troubles_of(seen: Seen) -> list[FrameWarning]:
    """The troubles found, each once, in a fixed order."""
    found = [one for test in TESTS if (one := test(seen)) is not None]
    # Light in some darks follows no exposure either; what it does to a corner is no glow.
    leaks = any(one.code == "light_leak" for one in found)
    return [one for one in found if not (leaks and one.code == "glow_not_scaling")]


def level_held(darks: Sequence[DarkSet], e_per_dn: float | None) -> bool | None:
    """Whether the camera holds its black level: noise grows with heat and time, the level does not follow.

    Electrons that bring their noise bring their number: an excess variance X (DN^2) asks for a level of X times the
    gain (electrons per DN). None where the noise does not grow enough to tell, or the gain is not known.
    """
    if e_per_dn is None:
        return None
    asked, done, error2 = 0.0, 0.0, 0.0
    for one in darks:
        if one.excess_dn2 is None or one.reference_dn2 is None:
            continue
        error = one.excess_dn2.error or 0.0
        if one.excess_dn2.value < max(HELD_LEAST_GROWTH * one.reference_dn2, SURE_SIGMA * error):
            continue
        asked += one.excess_dn2.value * e_per_dn
        done += one.level_dn.value
        error2 += (error * e_per_dn) ** 2 + (one.level_dn.error or 0.0) ** 2
    if asked <= 0.0:
        return None
    if asked - done < SURE_SIGMA * error2**0.5:
        return False
    return done < HELD_SHARE * asked


def _held(seen: Seen) -> FrameWarning | None:
    if not level_held(seen.darks, seen.e_per_dn):
        return None
    return FrameWarning(
        "level_held",
        "The camera holds its black level: the level of a dark says nothing of its dark current, which is taken from "
        "the noise instead.",
    )


def _clipped(seen: Seen) -> FrameWarning | None:
    shares = [one.low_share for bias in seen.biases for one in bias.pile.levels if one.low_piles]
    frames = sum(len(bias.pile.levels) for bias in seen.biases)
    if not shares or len(shares) * 2 < frames:
        if not any(one.clipped for one in seen.darks) or seen.biases:
            return None
        shares = [0.0]
    share = 100.0 * float(np.median(shares))
    return FrameWarning(
        "black_clipped",
        "The black is clipped: pixels pile up at the lowest number, so level and noise near black cannot be measured. "
        "A higher offset, where the camera has one, cures it.",
        {"clipped_percent": round(share, 2)} if share else {},
    )


def _glow(seen: Seen) -> FrameWarning | None:
    for first, second in combinations(seen.darks, 2):
        short, long = sorted((first, second), key=lambda one: one.exposure_s)
        if not _same_temperature(short, long) or short.map_dn.shape != long.map_dn.shape:
            continue
        if long.exposure_s < GLOW_EXPOSURES * short.exposure_s:
            continue
        ratio = long.exposure_s / short.exposure_s
        # What follows the exposure goes out in the difference, the pixels' own rates included.
        rest, error = grid_of(long.map_dn - np.float32(ratio) * short.map_dn, seen.rows)
        rest -= np.median(rest)
        place = int(np.argmax(np.abs(rest)))
        a = short.grid_dn - np.median(short.grid_dn)
        b = long.grid_dn - np.median(long.grid_dn)
        noise = (long.reference_dn2 or 0.0) ** 0.5
        if abs(float(rest[place])) > max(2 * SURE_SIGMA * error, GLOW_NOISES * noise):
            return FrameWarning(
                "glow_not_scaling",
                "The amplifier glows by an amount that does not follow the exposure: its darks must have the exposure "
                "of the lights, and must not be scaled.",
                {"glow_short_dn": round(float(a[place]), 2), "glow_long_dn": round(float(b[place]), 2)},
            )
    return None


def _filtered(seen: Seen) -> FrameWarning | None:
    for short, long in _by_exposure(seen.darks):
        heat = 1.0
        if short.temperature_c is not None and long.temperature_c is not None:
            heat = 2.0 ** ((long.temperature_c - short.temperature_c) / HOT_DOUBLING_C)
        elif short.temperature_c is not long.temperature_c:
            continue
        times = long.exposure_s / short.exposure_s * heat
        if times < 1.0 or short.map_dn.shape != long.map_dn.shape:
            continue
        chosen = short.hot_dn * times > 10.0 * long.noise_dn
        places, expected = short.hot[chosen][:2000], short.hot_dn[chosen][:2000] * times
        # What is full in the longer one can grow no further.
        room = long.map_dn.ravel()[places] < long.full_dn
        places, expected = places[room], expected[room]
        if places.size < FILTERED_LEAST:
            continue
        found = excess_at(long.map_dn, places, seen.rows, seen.columns, seen.rows_of_band)
        share = float(np.nanmedian(found / expected))
        if share < FILTERED_SHARE:
            return FrameWarning(
                "hot_pixels_filtered",
                f"The camera filters hot pixels out of exposures of {long.exposure_s:g} s: those of shorter darks are "
                "gone. Stars suffer as well, and hot pixels of such frames measure no temperature.",
                {
                    "exposure_s": long.exposure_s,
                    "hot_pixels_followed": float(places.size),
                    "share_left": round(share, 3),
                },
            )
    return None


def _colours(seen: Seen) -> FrameWarning | None:
    if len(seen.colours) < 2:
        return None
    figures: dict[str, float] = {}
    words = []
    values = list(seen.gains.values())
    if len(values) > 1:
        low, high = min(values, key=lambda one: one.value), max(values, key=lambda one: one.value)
        gap = high.value - low.value
        error = float(np.hypot(low.error or 0.0, high.error or 0.0))
        if gap > max(COLOUR_GAIN_SHARE * low.value, COLOUR_GAIN_SIGMA * error):
            words.append("gain")
            figures["gain_difference_percent"] = round(100.0 * gap / low.value, 2)
    for bias in seen.biases:
        levels = bias.pile.colour_levels_dn()
        pixels = bias.pile.mean_dn.size / len(levels)
        error = SURE_SIGMA * bias.noise_dn * (2.0 / pixels) ** 0.5
        error = max(error, COLOUR_LINES_SIGMA * _lines_error_dn(bias.pile, seen))
        gap = float(levels.max() - levels.min())
        if gap > max(COLOUR_BLACK_NOISES * bias.noise_dn, 0.15 * seen.step_dn, error):
            words.append("black level")
            figures["black_difference_dn"] = round(gap, 2)
            break
    if not words:
        return None
    return FrameWarning(
        "colours_unequal",
        f"The colours differ in {' and '.join(words)}: figures are given per colour, and one number for all of them is "
        "a mean.",
        figures,
    )


def _lines_error_dn(pile: Pile, seen: Seen) -> float:
    """How far two colours of one black level may lie apart because rows and columns have levels of their own, one
    sigma.
    """
    mean = pile.mean_dn[:: seen.rows, :: seen.columns]
    rows, columns = np.median(mean, axis=1), np.median(mean, axis=0)
    return float(np.sqrt(2.0 * (rows.var() / rows.size + columns.var() / columns.size)))


def _drifts(seen: Seen) -> FrameWarning | None:
    for bias in seen.biases:
        levels = np.array([one.mean_dn for one in bias.pile.levels])
        if levels.size >= DRIFT_LEAST_FRAMES:
            change, times = _trend(levels)
            if abs(change) > max(DRIFT_NOISES * bias.noise_dn, 0.3 * seen.step_dn) and times > 2 * SURE_SIGMA:
                return FrameWarning(
                    "bias_drifts",
                    "The level of the biases drifts over a series: darks and biases shot far apart in time do not fit.",
                    {"drift_dn": round(change, 2), "frames": float(levels.size)},
                )
    known = [one for one in seen.biases if one.temperature_c is not None]
    for first, second in combinations(known, 2):
        assert first.temperature_c is not None
        assert second.temperature_c is not None
        if abs(first.temperature_c - second.temperature_c) < 3.0:
            continue
        gap = float(np.mean(second.pile.colour_levels_dn() - first.pile.colour_levels_dn()))
        error = float(np.hypot(first.pile.level_error_dn(), second.pile.level_error_dn()))
        noise = max(first.noise_dn, second.noise_dn)
        if abs(gap) > max(DRIFT_NOISES * noise, 0.5 * seen.step_dn, 2 * SURE_SIGMA * error):
            return FrameWarning(
                "bias_drifts",
                "The level of the biases drifts with temperature: a bias serves darks of its own temperature only.",
                {"drift_dn": round(gap, 2), "degrees_c": round(second.temperature_c - first.temperature_c, 1)},
            )
    return None


def _leak(seen: Seen) -> FrameWarning | None:
    text = (
        "Light got into darks: their level is higher, and the hot pixels are not. Cap the viewfinder and shoot "
        "in the dark; `darklib retire` takes them out."
    )
    for one in seen.darks:
        values = [level.value for level in one.by_colour_dn]
        errors = [level.error or 0.0 for level in one.by_colour_dn]
        if len(values) < 2:
            continue
        gap, error = max(values) - min(values), float(np.hypot(max(errors), max(errors)))
        growth = one.excess_dn2.value / one.reference_dn2 if one.excess_dn2 and one.reference_dn2 else 0.0
        noise = (one.reference_dn2 or one.noise_dn**2) ** 0.5
        if gap > max(LEAK_COLOURS_SHARE * max(values), 2 * SURE_SIGMA * error, 0.1 * noise) and growth > 0.0:
            return FrameWarning("light_leak", text, {"exposure_s": one.exposure_s, "colours_apart_dn": round(gap, 2)})
    for low, high in _by_level(seen.darks):
        signal = _signal(low, seen.e_per_dn), _signal(high, seen.e_per_dn)
        if signal[0] is None or signal[1] is None:
            continue
        gap = signal[1].value - signal[0].value * high.exposure_s / low.exposure_s
        error = float(np.hypot(signal[0].error or 0.0, signal[1].error or 0.0))
        noise = (high.reference_dn2 or high.noise_dn**2) ** 0.5
        if gap <= max((LEAK_TIMES - 1.0) * max(signal[0].value, 0.0), 2 * SURE_SIGMA * error, 0.1 * noise):
            continue
        hot = _hot_ratio(low, high, seen)
        if hot is not None and hot < LEAK_HOT_TIMES:
            return FrameWarning(
                "light_leak",
                text,
                {"exposure_s": high.exposure_s, "level_more_dn": round(gap, 2), "hot_pixels_times": round(hot, 2)},
            )
    return None


def _signal(one: DarkSet, e_per_dn: float | None) -> Value | None:
    """What the electrons of an ordinary pixel amount to, DN: by the noise where the level can be held, else the
    level.
    """
    if one.excess_dn2 is not None and e_per_dn is not None:
        by_noise = Value(one.excess_dn2.value * e_per_dn, (one.excess_dn2.error or 0.0) * e_per_dn)
        if by_noise.value > 3.0 * (by_noise.error or 0.0) or one.level_dn.value <= 0.0:
            return by_noise
    return one.level_dn


def _hot_ratio(low: DarkSet, high: DarkSet, seen: Seen) -> float | None:
    """How many times as far the hot pixels of one set stand out in the other, exposures taken into account."""
    if low.map_dn.shape != high.map_dn.shape or low.hot.size < FILTERED_LEAST:
        return None
    places = low.hot[:1000]
    found = excess_at(high.map_dn, places, seen.rows, seen.columns, seen.rows_of_band)
    return float(np.nanmedian(found / low.hot_dn[:1000])) * low.exposure_s / high.exposure_s


def _by_exposure(darks: Sequence[DarkSet]) -> list[tuple[DarkSet, DarkSet]]:
    pairs = []
    for first, second in combinations(darks, 2):
        short, long = sorted((first, second), key=lambda one: one.exposure_s)
        if long.exposure_s > 1.2 * short.exposure_s:
            pairs.append((short, long))
    return pairs


def _by_level(darks: Sequence[DarkSet]) -> list[tuple[DarkSet, DarkSet]]:
    """Pairs of one temperature and nearly one exposure, each way round."""
    pairs = []
    for first, second in combinations(darks, 2):
        if _same_temperature(first, second) and 0.5 <= first.exposure_s / second.exposure_s <= 2.0:
            pairs += [(first, second), (second, first)]
    return pairs


def _same_temperature(first: DarkSet, second: DarkSet) -> bool:
    if first.temperature_c is None or second.temperature_c is None:
        return False
    return abs(first.temperature_c - second.temperature_c) <= SAME_TEMPERATURE_C


def _trend(levels: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> tuple[float, float]:
    """Change from the first to the last by a straight line, and how many times its standard error that is."""
    x = np.linspace(-0.5, 0.5, levels.size)
    slope = float((x * (levels - levels.mean())).sum() / (x**2).sum())
    rest = levels - levels.mean() - slope * x
    error = float(np.sqrt((rest**2).sum() / (levels.size - 2) / (x**2).sum()))
    return slope, abs(slope) / max(error, 1e-12)


TESTS: tuple[Callable[[Seen], FrameWarning | None], ...] = (
    _held,
    _clipped,
    _glow,
    _filtered,
    _colours,
    _drifts,
    _leak,
)
