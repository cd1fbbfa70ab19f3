"""A body in one readout measured, set by set: biases first, then flats, then darks; the model comes out at the end.

Only figures and the combined frames of each set are kept, so that memory does not grow with the number of frames.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from darklib.facts.frame import BodyRef, Readout
from darklib.facts.sensor import DarkCurrent, DarkRates, Dated, LeftOut, SensorModel, Value
from darklib.pixels.mosaic import Mosaic
from darklib.sensor import advice, dark_law
from darklib.sensor.dark_current import TOGETHER_C, currents_of, hot_doubling_of, reference_set
from darklib.sensor.dark_rates import dark_rates
from darklib.sensor.dark_set import DarkSet, dark_set
from darklib.sensor.photon_transfer import FlatPair, Gain, gain_of, pairs_of, read_noise
from darklib.sensor.pile import core_variance, pile_of
from darklib.sensor.troubles import BiasSet, Seen, level_held, troubles_of

VERSION = 1
"""Grows whenever a figure changes its meaning or its value."""

SHORT_S = 1.0
"""A dark this short holds no dark current to speak of and serves as a bias where there is none."""

MOST_HISTOGRAMS = 6
"""Histograms of dark rates are kept for so many temperatures: a price starts from the nearest, because every hot pixel
follows a law of its own.
"""

LONGER_TIMES = 3.0
"""Without biases a dark this many times shorter, of the same temperature, serves as the reference."""


COMPARABLE_TIMES = 4.0
"""Sets whose hot pixels are compared over the years see rates down to within this factor of each other."""


@dataclass(frozen=True, slots=True)
class SetOf:
    """A set's facts. name: its id; ids: of its frames; exposure_s: None where it is not known."""

    name: str
    ids: tuple[str, ...]
    exposure_s: float | None
    temperature_c: float | None
    night: str | None


@dataclass(slots=True)
class Measuring:
    """One body in one readout. mosaic, rows_of_band: of the sample that all frames are given in.

    assumed_gain: of another ISO, in proportion, for where no flats tell.
    """

    body: BodyRef
    readout: Readout
    mosaic: Mosaic
    rows_of_band: int
    assumed_gain: Value | None = None
    _biases: list[BiasSet] = field(default_factory=list)
    _pairs: list[FlatPair] = field(default_factory=list)
    _darks: list[DarkSet] = field(default_factory=list)
    _used: dict[str, list[str]] = field(default_factory=lambda: {"bias": [], "flat": [], "dark": []})
    _left_out: list[LeftOut] = field(default_factory=list)
    _gain: Gain | None = None
    _top_dn: float | None = None

    @property
    def step_dn(self) -> float:
        return float(self.readout.dn_step or 1)

    def bias(self, one: SetOf, frames: Sequence[NDArray[np.uint16]]) -> None:
        """Takes in a set of biases (or of darks too short for dark current)."""
        pile = pile_of(frames, self.mosaic)
        variance = core_variance(pile)
        noise = variance[0] ** 0.5 if variance is not None else pile.levels[0].sd_dn
        self._biases.append(BiasSet(one.name, one.temperature_c, one.night, pile, noise))
        self._used["bias"] += one.ids

    def flat(self, one: SetOf, frames: Sequence[NDArray[np.uint16]]) -> None:
        """Takes in a set of flats. Without biases they say nothing."""
        bias = self._nearest_bias(one.temperature_c, pairs=True)
        if bias is None or len(frames) < 2:
            why = "without biases flats say nothing" if bias is None else "a single flat says nothing of the gain"
            self.leave_out(one.ids, "too_few", why)
            return
        top = self._top_of(frames)
        self._pairs += pairs_of(frames, self.mosaic, self.rows_of_band, bias.pile, top)
        self._used["flat"] += one.ids

    def dark(self, one: SetOf, frames: Sequence[NDArray[np.uint16]]) -> None:
        """Takes in a set of darks, after all biases and flats; the shortest exposures first."""
        if one.exposure_s is None:
            self.leave_out(one.ids, "exposure_unknown", "its exposure is not known")
            return
        bias = self._nearest_bias(one.temperature_c)
        if bias is None:
            if one.exposure_s <= SHORT_S:
                self.bias(one, frames)
            else:
                self.leave_out(one.ids, "too_few", "without biases darks say nothing")
            return
        gain = self.gain
        self._darks.append(
            dark_set(
                one.name,
                pile_of(frames, self.mosaic),
                bias.pile,
                exposure_s=one.exposure_s,
                temperature_c=one.temperature_c,
                night=one.night,
                rows_of_band=self.rows_of_band,
                e_per_dn=gain.value if gain is not None else None,
                frames=frames,
            )
        )
        self._used["dark"] += one.ids

    def leave_out(self, ids: Sequence[str], code: str, why: str) -> None:
        """Notes frames that are not measured."""
        self._left_out += [LeftOut(one, code, why) for one in ids]

    @property
    def gain(self) -> Value | None:
        """Electrons per DN, by the flats taken in so far, else the one assumed."""
        if self._gain is None and self._pairs:
            self._gain = gain_of(self._pairs, self._top_signal())
        return self._gain.e_per_dn if self._gain is not None else self.assumed_gain

    def model(self) -> SensorModel:
        """What all that was taken in shows."""
        gain = self.gain
        found = troubles_of(self._seen(gain))
        codes = tuple(one.code for one in found)
        clipped = "black_clipped" in codes
        held = level_held(self._darks, gain.value if gain else None)
        noise_dn, noise_e = (None, None) if clipped else self._read_noise(gain)
        darks = [] if clipped or gain is None else self._darks
        currents = currents_of(darks, gain, held=held is True)
        # An error of the gain moves all temperatures alike and says nothing against the law.
        apart = currents_of(darks, Value(gain.value) if gain else None, held=held is True)
        law = dark_law.law_of(
            [dark_law.Point(one.temperature_c, one.median_e_s.value, one.median_e_s.error or 0.0) for one in apart]
        )
        base = reference_set(darks)
        rates = None
        hot = None
        if base is not None and gain is not None and base.temperature_c is not None:
            rates = _rates(base, currents, gain)
        if self._darks:
            chosen = base or max(self._darks, key=lambda one: one.frames * one.exposure_s)
            hot = _per_megapixel(int(chosen.hot.size), chosen.pixels)
        by_colour = dict(self._gain.by_colour) if self._gain is not None else {}
        made = SensorModel(
            body=self.body,
            readout=self.readout,
            bias_dn=None if clipped else self._bias_level(),
            read_noise_e=noise_e,
            gain_e_per_dn=gain,
            full_well_e=self._full_well(gain),
            dark_current=currents,
            doubling_c=law.doubling_c if law is not None else None,
            hot_doubling_c=hot_doubling_of(darks, self.mosaic, self.rows_of_band),
            hot_pixels_per_megapixel=hot,
            dark_rates=rates,
            rates_by_temperature=_rates_by_temperature(darks, currents, gain),
            level_held=held,
            troubles=codes,
            frames_used={kind: len(ids) for kind, ids in self._used.items()},
            gain_by_colour=by_colour,
            black_by_colour={} if clipped else self._black(),
            linear_e=self._linear(gain),
            step_dn=self.step_dn,
            law=law,
            unstable_pixels_per_megapixel=self._unsteady(),
            trouble_details=tuple(found),
            history=self._history(noise_dn is not None and not clipped),
            gain_assumed=self._gain is None and gain is not None,
            used_ids=tuple(sorted(one for ids in self._used.values() for one in ids)),
            left_out=tuple(self._left_out),
            read_noise_dn=noise_dn,
        )
        return advice.with_advice(
            made,
            exposures_s=tuple(sorted({one.exposure_s for one in self._darks})),
            unknown=sum(one.frames for one in self._darks if one.temperature_c is None),
        )

    def _seen(self, gain: Value | None) -> Seen:
        return Seen(
            biases=self._biases,
            darks=self._darks,
            gains=self._gain.by_colour if self._gain is not None else {},
            e_per_dn=gain.value if gain is not None else None,
            colours=self.mosaic.colours,
            rows=self.mosaic.rows,
            columns=self.mosaic.columns,
            rows_of_band=self.rows_of_band,
            step_dn=self.step_dn,
        )

    def _nearest_bias(self, temperature_c: float | None, *, pairs: bool = False) -> BiasSet | None:
        """The biases to compare with: nearest in temperature, then most frames. pairs: at least two frames."""
        fit = [one for one in self._biases if not pairs or one.pile.count > 1]
        if not fit:
            return None

        def rank(one: BiasSet) -> tuple[float, int, str]:
            known = temperature_c is not None and one.temperature_c is not None
            apart = round(abs((temperature_c or 0.0) - (one.temperature_c or 0.0)) / 2.0) if known else 1e3
            return apart, -one.pile.count, one.name

        return min(fit, key=rank)

    def _top_of(self, frames: Sequence[NDArray[np.uint16]]) -> float | None:
        """The number at which these flats pile up, if they do."""
        high = float(max(int(one.max()) for one in frames))
        share = max(float(np.mean(one == high)) for one in frames)
        if share < 0.001:
            return None
        self._top_dn = high if self._top_dn is None else min(high, self._top_dn)
        return high

    def _top_signal(self) -> float | None:
        level = self._bias_level()
        return self._top_dn - level.value if self._top_dn is not None and level is not None else None

    def _bias_level(self) -> Value | None:
        if not self._biases:
            return None
        best = max(self._biases, key=lambda one: one.pile.count)
        level = float(best.pile.colour_levels_dn().mean())
        pixels = best.noise_dn / (best.pile.mean_dn.size * best.pile.count) ** 0.5
        return Value(level, float(np.hypot(best.pile.level_error_dn(), pixels)))

    def _black(self) -> dict[str, Value]:
        if not self._biases:
            return {}
        best = max(self._biases, key=lambda one: one.pile.count)
        error = float(np.hypot(best.pile.level_error_dn(), best.noise_dn / best.pile.mean_dn.size**0.5))
        levels = best.pile.colour_levels_dn()
        return {colour: Value(float(level), error) for colour, level in zip(self.mosaic.colours, levels, strict=True)}

    def _read_noise(self, gain: Value | None) -> tuple[Value | None, Value | None]:
        """From all biases; their sittings weighted by what they know."""
        total, weights = 0.0, 0.0
        values = []
        for one in self._biases:
            variance = core_variance(one.pile)
            if variance is not None and variance[1] > 0.0:
                weight = variance[1] ** -2
                total += weight * variance[0]
                weights += weight
                values.append(variance[0])
        if weights <= 0.0:
            return None, None
        error = weights**-0.5
        if len(values) > 1:
            error = max(error, float(np.std(values, ddof=1)) / len(values) ** 0.5)
        return read_noise(total / weights, error, gain, self.step_dn)

    def _full_well(self, gain: Value | None) -> Value | None:
        """Where the response leaves its straight line or the converter ends, whichever comes first."""
        if self._gain is None or gain is None:
            return None
        ends = [one for one in (self._gain.saturation_dn, self._gain.linear_dn) if one is not None]
        if not ends:
            return None
        return Value(min(ends) * gain.value, min(ends) * (gain.error or 0.0))

    def _linear(self, gain: Value | None) -> Value | None:
        if self._gain is None or gain is None or self._gain.linear_dn is None:
            return None
        return Value(self._gain.linear_dn * gain.value, self._gain.linear_dn * (gain.error or 0.0))

    def _unsteady(self) -> Value | None:
        told = [(one.unstable, one.pixels) for one in self._darks if one.unstable is not None]
        if not told:
            return None
        count, pixels = max(told, key=lambda item: item[0] / item[1])
        return _per_megapixel(count, pixels)

    def _history(self, noise: bool) -> tuple[Dated, ...]:
        found = []
        for one in self._biases:
            if one.night is None:
                continue
            level = float(one.pile.colour_levels_dn().mean())
            found.append(Dated(one.night, "bias_dn", Value(level, one.pile.level_error_dn())))
            variance = core_variance(one.pile)
            if variance is not None and noise:
                in_dn, _ = read_noise(*variance, None, self.step_dn)
                if in_dn is not None:
                    found.append(Dated(one.night, "read_noise_dn", in_dn))
        return tuple(sorted(found + hot_history(self._darks), key=lambda one: (one.what, one.night)))


def _rates(one: DarkSet, currents: Sequence[DarkCurrent], gain: Value) -> DarkRates | None:
    if one.temperature_c is None or not currents:
        return None
    own_c = one.temperature_c
    at = min(currents, key=lambda current: abs(current.temperature_c - own_c))
    per = gain.value / one.exposure_s
    return dark_rates(own_c, at.median_e_s.value, one.spread_dn.value * per, one.hot_dn * per, one.pixels)


def _rates_by_temperature(
    darks: Sequence[DarkSet], currents: Sequence[DarkCurrent], gain: Value | None
) -> tuple[DarkRates, ...]:
    """A histogram for each temperature, of the set there that sees the faintest rates; at most MOST_HISTOGRAMS, of the
    temperatures with most frames.
    """
    if gain is None:
        return ()
    found = []
    for current in sorted(currents, key=lambda one: (-one.frames, one.temperature_c))[:MOST_HISTOGRAMS]:
        there = [
            one
            for one in darks
            if one.temperature_c is not None and abs(one.temperature_c - current.temperature_c) <= TOGETHER_C
        ]
        best = reference_set(there)
        rates = _rates(best, currents, gain) if best is not None else None
        if rates is not None:
            found.append(rates)
    return tuple(sorted(found, key=lambda one: one.temperature_c))


def hot_history(darks: Sequence[DarkSet]) -> list[Dated]:
    """Hot pixels per megapixel by night, all counted above one rate at one temperature, so that a warmer night or a
    longer exposure does not pass for ageing.
    """
    told = [one for one in darks if one.temperature_c is not None and one.night is not None]
    if not told:
        return []
    base = float(np.median([one.temperature_c for one in told if one.temperature_c is not None]))

    def heat(one: DarkSet) -> float:
        at = base if one.temperature_c is None else one.temperature_c
        return float(one.exposure_s * 2.0 ** ((at - base) / 6.5))

    # Short or noisy sets see too little to be compared with the others; the limit is a rate that stands out in all the
    # rest: half again what the least sensitive of them can see.
    best = min(_least_seen(one) / heat(one) for one in told)
    told = [one for one in told if _least_seen(one) / heat(one) <= COMPARABLE_TIMES * best]
    least = 1.5 * max(_least_seen(one) / heat(one) for one in told)
    by_night: dict[str, list[tuple[int, int]]] = {}
    for one in told:
        count = int(np.count_nonzero(one.hot_dn / heat(one) > least))
        by_night.setdefault(one.night or "", []).append((count, one.pixels))
    return [
        Dated(
            night,
            "hot_pixels_per_megapixel",
            _per_megapixel(round(float(np.mean([c for c, _ in counts]))), counts[0][1]),
        )
        for night, counts in by_night.items()
    ]


def _least_seen(one: DarkSet) -> float:
    if one.hot_dn.size:
        return max(float(one.hot_dn[-1]), 6.0 * one.noise_dn)
    return 6.0 * one.noise_dn


def _per_megapixel(count: int, pixels: int) -> Value:
    return Value(count * 1e6 / pixels, max(count, 1) ** 0.5 * 1e6 / pixels)
