"""How well cameras are measured and their troubles recognised: simulated bodies, healthy ones and one trouble each.

The simulator is this file's own, not the scenario's: electrons are Poisson, then come read noise with rows of its own,
levels that jitter from frame to frame, fixed structure, an offset, rounding and clipping.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from darklib.facts.frame import BodyRef, Readout
from darklib.facts.sensor import SensorModel, Value
from darklib.pixels.mosaic import mosaic_of
from darklib.sensor.measuring import Measuring, SetOf

HEIGHT, WIDTH = 96, 144
ROWS_OF_BAND = 12
BODY = BodyRef("body", "body", "a simulated body", None, None, None)

TROUBLES: dict[str, str] = {
    "level_held": "median of the dark taken off on the chip; dark current adds at least 15 % to a dark's variance",
    "black_clipped": "black 1 to 2 standard deviations above the lowest number",
    "glow_not_scaling": "glow of 3 to 10 read noises in a corner, the same at 40 and 120 s",
    "hot_pixels_filtered": "from 60 s on, pixels 3 sigma above their neighbours of one colour are set to the highest",
    "colours_unequal": "one colour's gain 5 to 10 % off, or its black 0.3 to 1 read noise",
    "bias_drifts": "0.5 to 2 read noises over a series of 20, or over 8 degrees",
    "light_leak": "1 to 4 times the dark current in one set of two, at least a third of the read noise squared",
}


@dataclass
class Camera:
    """One body as drawn, and what it does wrong."""

    rng: np.random.Generator
    cfa: bool
    e_per_dn: float
    read_noise_e: float
    offset_dn: float
    rate_e_s: float
    spread: float
    doubling_c: float
    jitter_e: float
    trouble: str = ""
    severity: float = 0.0
    variant: int = 0
    dark: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    doublings: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    structure: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    response: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    corner: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def frame(
        self,
        exposure_s: float,
        temperature_c: float,
        light_e: float = 0.0,
        leak_e_s: float = 0.0,
        along: float = 0.0,
    ) -> NDArray[np.uint16]:
        """One frame. light_e: of a flat, in its middle; along: how far through its series a frame comes, 0 to 1."""
        rng, shape = self.rng, self.dark.shape
        dark = self.dark * np.exp2(temperature_c / self.doublings) * exposure_s
        expected = dark.copy()
        if self.trouble == "glow_not_scaling" and exposure_s > 1.0:
            expected += self.severity * self.read_noise_e * self.corner
        if leak_e_s:
            colours = np.where(self._planes() == 0, 1.3, np.where(self._planes() == 2, 0.7, 1.0)) if self.cfa else 1.0
            expected += leak_e_s * exposure_s * colours * np.linspace(0.7, 1.3, shape[1])[np.newaxis, :]
        if light_e:
            expected += light_e * self.response * (1.0 - 0.2 * self.corner)
        electrons = rng.poisson(expected).astype(np.float64)
        for _ in range(rng.poisson(0.02 * exposure_s / 40.0)):
            electrons[rng.integers(shape[0]), rng.integers(shape[1])] += rng.gamma(4.0, 300.0)
        electrons += self.read_noise_e * (rng.standard_normal(shape) + 0.05 * rng.standard_normal((shape[0], 1)))
        electrons += self.structure + self.jitter_e * rng.standard_normal()
        if self.trouble == "level_held":
            electrons -= np.median(dark)
        gain, offset = np.full(shape, self.e_per_dn), np.full(shape, self.offset_dn)
        if self.trouble == "colours_unequal":
            odd = self._planes() == (self.variant // 2) % 3
            if self.variant % 2:
                gain[odd] *= 1.0 + 0.05 + 0.05 * self.severity
            else:
                offset[odd] += (0.3 + 0.7 * self.severity) * self.read_noise_e / self.e_per_dn
        if self.trouble == "bias_drifts":
            size = (0.5 + 1.5 * self.severity) * self.read_noise_e / self.e_per_dn
            offset += size * (along if self.variant % 2 else temperature_c / 8.0)
        numbers = electrons / gain + offset
        if self.trouble == "hot_pixels_filtered" and exposure_s >= 60.0:
            numbers = self._filtered(numbers)
        written: NDArray[np.uint16] = np.clip(np.rint(numbers), 0, 16383).astype(np.uint16)
        return written

    def _planes(self) -> NDArray[np.intp]:
        cell = np.array([[0, 1], [1, 2]])
        return np.tile(cell, (HEIGHT // 2, WIDTH // 2))

    def _filtered(self, numbers: NDArray[np.float64]) -> NDArray[np.float64]:
        step = 2 if self.cfa else 1
        padded = np.pad(numbers, step, mode="reflect")
        around = [
            padded[step + dy : step + dy + HEIGHT, step + dx : step + dx + WIDTH]
            for dy in (-step, 0, step)
            for dx in (-step, 0, step)
            if dy or dx
        ]
        highest = np.max(around, axis=0)
        noise = float(np.subtract(*np.quantile(numbers, (0.84, 0.16)))) / 2.0
        return np.where(numbers > highest + 3.0 * noise, highest, numbers)


def drawn(rng: np.random.Generator, trouble: str = "") -> Camera:
    """A body by chance, with the trouble asked for."""
    cfa = bool(rng.random() < 0.5) or trouble == "colours_unequal"
    noise = float(rng.uniform(1.2, 8.0))
    e_per_dn = float(np.exp(rng.uniform(np.log(0.2), np.log(min(2.0, noise / 0.8)))))
    severity = float(rng.random())
    rate = float(np.exp(rng.uniform(np.log(0.02), np.log(2.0))))
    offset = float(rng.uniform(10.0, 60.0)) * noise / e_per_dn + 50.0
    if trouble == "level_held":
        rate = max(rate, 0.15 * noise**2 / 120.0 * float(rng.uniform(1.0, 3.0)))
    if trouble == "black_clipped":
        offset = (1.0 + severity) * noise / e_per_dn
    if trouble == "hot_pixels_filtered":
        rate = min(rate, 0.3)
    camera = Camera(
        rng, cfa, e_per_dn, noise, offset, rate, float(rng.uniform(0.1, 0.4)), float(rng.uniform(5.5, 8.0)),
        0.02 * noise, trouble, 3.0 + 7.0 * severity if trouble == "glow_not_scaling" else severity,
        int(rng.integers(6)),
    )  # fmt: skip
    shape = (HEIGHT, WIDTH)
    camera.dark = rate * np.exp(camera.spread * rng.standard_normal(shape))
    camera.doublings = np.full(shape, camera.doubling_c)
    hot = rng.random(shape) < float(np.exp(rng.uniform(np.log(0.003), np.log(0.02))))
    camera.dark[hot] += max(10.0 * rate, noise / 4.0) * (1.0 + rng.pareto(1.3, int(hot.sum())))
    scatter = np.clip(rng.standard_normal(int(hot.sum())), -3, 3)
    camera.doublings[hot] = float(rng.uniform(6.0, 8.5)) * (1.0 + 0.1 * scatter)
    camera.structure = noise * (0.2 * rng.standard_normal((HEIGHT, 1)) + 0.2 * rng.standard_normal((1, WIDTH)))
    camera.response = 1.0 + 0.01 * rng.standard_normal(shape)
    y, x = np.arange(HEIGHT)[:, None], np.arange(WIDTH)[None, :]
    camera.corner = np.exp(-np.hypot(y, x) / 24.0)
    return camera


def measured(camera: Camera) -> SensorModel:
    """What a usual owner's frames show: biases and darks at 0 and 8 degrees, of 40 and 120 s, flats of three levels."""
    cfa = "RGGB" if camera.cfa else None
    mosaic = mosaic_of(cfa, 2 if cfa else None, 2 if cfa else None)
    readout = Readout(gain=100.0, width=WIDTH, height=HEIGHT, cfa=cfa, dn_step=1)
    made = Measuring(BODY, readout, mosaic, ROWS_OF_BAND)

    def take(
        into: Callable[[SetOf, Any], None],
        name: str,
        count: int,
        exposure_s: float,
        temperature_c: float,
        **more: float,
    ) -> None:
        frames = [
            camera.frame(
                exposure_s, temperature_c, more.get("light_e", 0.0) * (1.0 + 0.03 * number / count),
                more.get("leak_e_s", 0.0), number / max(1, count - 1),
            )
            for number in range(count)
        ]  # fmt: skip
        ids = tuple(f"{name}{number}" for number in range(count))
        into(SetOf(name, ids, exposure_s, temperature_c, "2026-10-03"), frames)

    take(made.bias, "bias-cold", 20, 0.0, 0.0)
    take(made.bias, "bias-warm", 10, 0.0, 8.0)
    top = (16383 - camera.offset_dn) * camera.e_per_dn
    for number, share in enumerate((0.1, 0.3, 0.6)):
        take(made.flat, f"flat{number}", 6, 0.1, 0.0, light_e=share * min(top, 40_000.0))
    leak = 0.0
    if camera.trouble == "light_leak":
        least = camera.read_noise_e**2 / 3.0 / 120.0
        leak = max((1.0 + 3.0 * camera.severity) * camera.rate_e_s, least)
    take(made.dark, "dark-short", 10, 40.0, 0.0)
    take(made.dark, "dark-long", 10, 120.0, 0.0)
    take(made.dark, "dark-again", 10, 120.0, 0.0, leak_e_s=leak)
    take(made.dark, "dark-warm", 10, 120.0, 8.0)
    return made.model()


def run(seed: int, count: int) -> str:
    """`count` healthy bodies and as many of each trouble: alarms, and whether figures lie within their errors."""
    lines = [
        "# Troubles of cameras",
        "",
        f"Simulated bodies of {WIDTH} x {HEIGHT} pixels with 30 biases, 18 flats and 40 darks each.",
        f"Seed {seed}, {count} bodies of each sort.",
        "",
        "`python3 scripts/figures.py sensor`",
        "",
        "| body | trouble as simulated | recognised | other troubles named |",
        "|---|---|---|---|",
    ]
    bodies = [drawn(np.random.default_rng([seed, 0, k])) for k in range(count)]
    healthy = [(camera, measured(camera)) for camera in bodies]
    alarms = sum(bool(model.troubles) for _, model in healthy)
    named: dict[str, int] = {}
    for _, model in healthy:
        for code in model.troubles:
            named[code] = named.get(code, 0) + 1
    lines.append(f"| healthy | none | | {alarms} of {count} bodies{_told(named)} |")
    for number, (code, words) in enumerate(TROUBLES.items(), start=1):
        found = 0
        others: dict[str, int] = {}
        for k in range(count):
            model = measured(drawn(np.random.default_rng([seed, number, k]), code))
            found += code in model.troubles
            for other in set(model.troubles) - {code}:
                others[other] = others.get(other, 0) + 1
        lines.append(f"| {code} | {words} | {100.0 * found / count:.1f} % | {sum(others.values())}{_told(others)} |")
    lines += ["", "| figure of the healthy bodies | median error | within two stated errors |", "|---|---|---|"]
    for name, pairs in _figures(healthy).items():
        off = [abs(value.value - truth) / truth for value, truth in pairs if truth]
        inside = [abs(value.value - truth) <= 2.0 * (value.error or 0.0) for value, truth in pairs]
        if pairs:
            share = f"{100.0 * sum(inside) / len(inside):.1f} % of {len(inside)}"
            lines.append(f"| {name} | {100.0 * float(np.median(off)):.2f} % | {share} |")
    return "\n".join(lines) + "\n"


def _told(named: dict[str, int]) -> str:
    return "" if not named else " (" + ", ".join(f"{code} {count}" for code, count in sorted(named.items())) + ")"


def _figures(bodies: list[tuple[Camera, SensorModel]]) -> dict[str, list[tuple[Value, float]]]:
    found: dict[str, list[tuple[Value, float]]] = {
        "gain, e- per DN": [], "read noise, e-": [], "dark current of the median pixel, 0 C": [],
        "dark current of the median pixel, 8 C": [], "spread of dark current, 0 C": [], "doubling": [],
    }  # fmt: skip
    for camera, model in bodies:
        if model.gain_e_per_dn is not None:
            found["gain, e- per DN"].append((model.gain_e_per_dn, camera.e_per_dn))
        if model.read_noise_e is not None:
            # The rows' own noise is noise of a pixel as well.
            found["read noise, e-"].append((model.read_noise_e, camera.read_noise_e * (1.0 + 0.05**2) ** 0.5))
        for dark in model.dark_current:
            rates = camera.dark * np.exp2(dark.temperature_c / camera.doublings)
            at = f"dark current of the median pixel, {dark.temperature_c:.0f} C"
            found[at].append((dark.median_e_s, float(np.median(rates))))
            if dark.temperature_c == 0.0:
                low, high = np.quantile(rates, (0.158655, 0.841345))
                found["spread of dark current, 0 C"].append((dark.spread_e_s, float(high - low) / 2.0))
        if model.doubling_c is not None:
            found["doubling"].append((model.doubling_c, camera.doubling_c))
    return found
