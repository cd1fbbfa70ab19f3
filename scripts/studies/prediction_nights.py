"""Invented cameras and nights for the study of prices: frames in, and what their stacks' noise really is.

Nothing here comes from `darklib/scenario`: the study's simulator is its own. Frames are uint16 of shape SHAPE. Dark
rates are lognormal with hot pixels on top, whose rates have a Pareto tail and double by laws of their own, one a pixel;
electrons are Poisson; then read noise, fixed structure, rounding and the converter's end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from darklib.facts.frame import BodyRef, Readout
from darklib.facts.sensor import SensorModel
from darklib.pixels.mosaic import MONO
from darklib.sensor.measuring import Measuring, SetOf

SHAPE = (500, 720)
"""0.36 megapixels."""

BORDER = 10
"""Lights are dithered by up to so many pixels either way, no two to the same place. The sky goes round at the edges, so
that every pixel of the sensor counts alike.
"""

HOTTEST_C, HOTTEST_S = 13.0, 300.0
"""No pixel saturates in a dark of so many seconds at this temperature. A pixel that does is a bad one: no dark shows
what it holds, and none repairs it.
"""

BIAS_DN = 600.0
BITS = 16
Floats = NDArray[np.float32]
Frame = NDArray[np.uint16]


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """One camera. dark_e_s: of each pixel at 0 degrees C; doubling_c: of each pixel."""

    dark_e_s: Floats
    doubling_c: Floats
    bias_e: Floats
    read_noise_e: float
    e_per_dn: float
    held: bool
    rng: np.random.Generator

    def rates(self, temperature_c: float) -> Floats:
        """Dark rate of each pixel, electrons a second."""
        made: Floats = self.dark_e_s * np.exp2(np.float32(temperature_c) / self.doubling_c)
        return made

    def level_e(self, exposure_s: float, temperature_c: float) -> float:
        """What the camera takes off to hold its black level."""
        return float(np.median(self.rates(temperature_c))) * exposure_s if self.held else 0.0

    def frame(self, expected_e: Floats, held_e: float) -> Frame:
        """One frame of so many expected electrons."""
        electrons = self.rng.poisson(expected_e).astype(np.float32)
        electrons += np.float32(self.read_noise_e) * self.rng.standard_normal(SHAPE, dtype=np.float32)
        electrons += self.bias_e
        electrons -= np.float32(held_e)
        dn = np.rint(electrons / np.float32(self.e_per_dn) + np.float32(BIAS_DN))
        made: Frame = np.clip(dn, 0, (1 << BITS) - 1).astype(np.uint16)
        return made

    def dark(self, exposure_s: float, temperature_c: float) -> Frame:
        """One dark; of exposure 0 a bias."""
        return self.frame(self.rates(temperature_c) * np.float32(exposure_s), self.level_e(exposure_s, temperature_c))


def body_of(rng: np.random.Generator) -> Body:
    """One invented camera by chance: hot pixels 0.05 to 3 percent, median dark rate 0.02 to 0.2 e-/s at 0 degrees C."""
    median = float(np.exp(rng.uniform(np.log(0.02), np.log(0.2))))
    spread = rng.uniform(0.2, 0.4)
    dark = (median * np.exp(spread * rng.standard_normal(SHAPE, dtype=np.float32))).astype(np.float32)
    doubling = np.full(SHAPE, rng.uniform(5.5, 7.0), dtype=np.float32)
    hot = rng.random(SHAPE) < np.exp(rng.uniform(np.log(0.0005), np.log(0.03)))
    count = int(hot.sum())
    least = median * np.exp(rng.uniform(np.log(3.0), np.log(10.0)))
    dark[hot] += (least * (1.0 + rng.pareto(rng.uniform(1.2, 1.8), count))).astype(np.float32)
    law = rng.uniform(6.0, 7.5)
    doubling[hot] = law * (1.0 + 0.07 * np.clip(rng.standard_normal(count), -3, 3))
    e_per_dn = rng.uniform(0.5, 2.5)
    top_e = 0.9 * ((1 << BITS) - 1 - BIAS_DN) * e_per_dn
    dark = np.minimum(dark, (top_e / HOTTEST_S / np.exp2(HOTTEST_C / doubling)).astype(np.float32))
    bias = 0.4 * rng.standard_normal((SHAPE[0], 1)) + 0.5 * rng.standard_normal((1, SHAPE[1]))
    return Body(
        dark,
        doubling,
        bias.astype(np.float32),
        rng.uniform(1.5, 8.0),
        e_per_dn,
        bool(rng.random() < 0.3),
        rng,
    )


def read_c(temperature_c: float) -> float:
    """A temperature as a file has it, to a tenth."""
    return round(temperature_c, 1)


def measured(body: Body) -> SensorModel:
    """The body as its own frames show it: 20 biases, 3 pairs of flats, 20 darks of 300 s at three temperatures each."""
    ref = BodyRef("study", "study", "study", "Study", "Study", "1")
    readout = Readout(width=SHAPE[1], height=SHAPE[0], bits=BITS, dn_step=1, white_dn=float((1 << BITS) - 1))
    measuring = Measuring(ref, readout, MONO, SHAPE[0])
    biases = [body.dark(0.0, 0.0) for _ in range(20)]
    measuring.bias(SetOf("biases", (), 0.0, 0.0, None), biases)
    for share in (0.2, 0.4, 0.6):
        level = np.full(SHAPE, share * (1 << BITS) * body.e_per_dn, dtype=np.float32)
        pair = [body.frame(level, 0.0) for _ in range(2)]
        measuring.flat(SetOf(f"flats {share}", (), 1.0, 0.0, None), pair)
    for number, temperature_c in enumerate((-10.0, 1.0, 12.0)):
        true_c = temperature_c + body.rng.uniform(-1.0, 1.0)
        darks = [body.dark(300.0, true_c) for _ in range(20)]
        measuring.dark(SetOf(f"darks {number}", (), 300.0, read_c(true_c), None), darks)
    return measuring.model()


@dataclass(frozen=True, slots=True)
class Night:
    """What was shot: lights and a set of darks, and with what. form: exact, merged, scaled. Temperatures are the true
    ones; a merged set has two.
    """

    form: str
    lights: int
    light_s: float
    light_c: float
    sky_e_s: float
    dark_s: float
    dark_c: tuple[float, ...]
    darks: int
    biases: int
    scale: float


def night_of(rng: np.random.Generator, form: str) -> Night:
    """One night by chance, within the limits the study states."""
    light_s = float(rng.choice([60.0, 120.0, 180.0, 300.0, 600.0]))
    light_c = rng.uniform(-15.0, 15.0)
    off_c = float(rng.choice([0.0, rng.uniform(0.5, 2.0), rng.uniform(2.0, 5.0), rng.uniform(5.0, 8.0)]))
    dark_c = light_c + off_c * float(rng.choice([-1.0, 1.0]))
    if not -15.0 <= dark_c <= 15.0:
        dark_c = 2.0 * light_c - dark_c
    ratio = float(np.exp(rng.uniform(np.log(0.2), np.log(5.0)))) if form == "scaled" else 1.0
    temperatures = (dark_c - 0.4, dark_c + 0.4) if form == "merged" else (dark_c,)
    return Night(
        form,
        int(rng.integers(12, 61)),
        light_s,
        light_c,
        float(np.exp(rng.uniform(np.log(0.05), np.log(6.0)))),
        light_s * ratio,
        temperatures,
        int(rng.integers(4, 16)) * 2,
        20,
        1.0 / ratio,
    )


@dataclass(frozen=True, slots=True)
class Seen:
    """What frames of a night show: the lights' level above a bias, DN; and what its stacks' noise says: q by pointing,
    with and without rejection. truth_hot: pixels left out of the fixed stacks, per megapixel.
    """

    above_bias_dn: float
    q: dict[tuple[str, bool], float]
    truth_hot: float


def shot(body: Body, night: Night) -> Seen:
    """Shoots a night and stacks it, once with the set and once with the camera's true darks."""
    combined, bias_dn = _set_of(body, night)
    held = body.level_e(night.light_s, night.light_c)
    dark_e = body.rates(night.light_c) * np.float32(night.light_s)
    offsets = np.stack(np.divmod(body.rng.permutation((2 * BORDER + 1) ** 2)[: night.lights], 2 * BORDER + 1), axis=1)
    down, across = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]].astype(np.float32)
    sky_e = np.float32(night.sky_e_s * night.light_s)
    wave = 0.05 * np.sin(2 * np.pi * down / SHAPE[0]) - 0.03 * np.cos(2 * np.pi * across / SHAPE[1])
    sky = sky_e * (1.0 + wave).astype(np.float32)
    gain = np.float32(body.e_per_dn)
    lights = np.empty((night.lights, *SHAPE), dtype=np.float32)
    top = np.float32(((1 << BITS) - 1 - BIAS_DN) * body.e_per_dn)
    levels = []
    for number, (y, x) in enumerate(offsets):
        here = np.roll(sky, (-int(y), -int(x)), axis=(0, 1))
        frame = body.frame(dark_e + here, held)
        levels.append(float(np.median(frame)) - bias_dn)
        lights[number] = (frame.astype(np.float32) - np.float32(BIAS_DN)) * gain - here
    # What a perfect dark would take off: the expected dark of each pixel, as the converter would end it.
    true = np.minimum(dark_e - np.float32(held) + body.bias_e, top - sky_e)
    error = combined - true
    error -= np.float32(np.median(error))
    lights -= true
    # Pixels with a residual beyond five sigma of a light are not averaged with the sky on fixed pixels: by the truth.
    sigma = float(np.median(dark_e + sky_e)) + body.read_noise_e**2 + body.e_per_dn**2 / 12.0
    kept = np.abs(_residual(body, night, dark_e, float(sky_e))) <= 5.0 * sigma**0.5
    q: dict[tuple[str, bool], float] = {}
    for rejecting in (False, True):
        stack = _stack(lights, rejecting)
        with_set = stack - error
        q["fixed", rejecting] = _variance(with_set[kept]) / _variance(stack[kept]) - 1.0
    perfect = _aligned(lights, offsets)
    lights -= error
    ours = _aligned(lights, offsets)
    for rejecting in (False, True):
        q["dithered", rejecting] = _variance(_stack(ours, rejecting)) / _variance(_stack(perfect, rejecting)) - 1.0
    return Seen(float(np.mean(levels)), q, 1e6 * float(1.0 - kept.mean()))


def _set_of(body: Body, night: Night) -> tuple[Floats, float]:
    """The set combined by its mean, in electrons above the true bias level; and the level of its biases, DN."""
    per = night.darks // len(night.dark_c)
    frames = [body.dark(night.dark_s, c) for c in night.dark_c for _ in range(per)]
    mean: Floats = np.stack(frames).mean(axis=0, dtype=np.float32)
    biases = [body.dark(0.0, 0.0) for _ in range(night.biases)]
    bias: Floats = np.stack(biases).mean(axis=0, dtype=np.float32)
    if night.form == "scaled":
        mean = bias + np.float32(night.scale) * (mean - bias)
    made: Floats = (mean - np.float32(BIAS_DN)) * np.float32(body.e_per_dn)
    return made, float(np.median(bias))


def _residual(body: Body, night: Night, dark_e: Floats, sky_e: float) -> Floats:
    top = ((1 << BITS) - 1 - BIAS_DN) * body.e_per_dn
    own = np.mean([np.minimum(body.rates(c) * np.float32(night.dark_s), top) for c in night.dark_c], axis=0)
    residual = np.minimum(dark_e, top - sky_e) - np.float32(night.scale) * own
    made: Floats = (residual - np.median(residual)).astype(np.float32)
    return made


def _aligned(lights: Floats, offsets: NDArray[np.int64]) -> Floats:
    """The lights on the sky's own grid: (lights, rows, columns)."""
    made = np.empty_like(lights)
    for number, (y, x) in enumerate(offsets):
        made[number] = np.roll(lights[number], (int(y), int(x)), axis=(0, 1))
    return made


def _stack(lights: Floats, rejecting: bool) -> Floats:
    """Mean of the lights; values beyond 3 sigma of their median, sigma by the median deviation, rejected once."""
    if not rejecting:
        return np.asarray(np.mean(lights, axis=0), dtype=np.float32)
    made = np.empty(lights.shape[1:], dtype=np.float32)
    step = 50
    for row in range(0, lights.shape[1], step):
        part = lights[:, row : row + step]
        middle = _median(part)
        off = np.abs(part - middle)
        kept = off <= np.float32(3.0 * 1.4826) * _median(off)
        made[row : row + step] = np.where(kept, part, np.float32(0)).sum(axis=0) / kept.sum(axis=0)
    return made


def _median(part: Floats) -> Floats:
    ordered = np.sort(part, axis=0)
    count = len(ordered)
    middle: Floats = (ordered[(count - 1) // 2] + ordered[count // 2]) * np.float32(0.5)
    return middle


def _variance(values: Floats) -> float:
    return float(np.var(values, dtype=np.float64))
