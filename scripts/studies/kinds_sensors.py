"""Random cameras for the study of the kinds: of any size, sensor, pattern and readout, drawn wide and independently.

Nothing here was read off the limits in `darklib/kinds`, and no limit was set by looking at these ranges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.float32]

SIX_BY_SIX = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG"
PATTERNS = ("RGGB", "GBRG", "BGGR", "GRBG")

SIZES_MP = ((0.3, 0.5), (0.5, 1.5), (2.0, 6.0), (8.0, 24.0))
SIZE_SHARES = (0.9, 0.074, 0.02, 0.006)
"""Mostly small for the sake of time; a few of every hundred large."""


@dataclass(frozen=True)
class Sensor:
    """One camera at one gain. Arrays have shape (height, width); electrons unless the name says otherwise.

    family: raw (a colour body that writes raw files), colour, mono (cooled, FITS), ccd. dark: relative dark rate of
    each pixel, median 1, hot pixels apart in `hot` (excess of the pixels that are hot, in units chosen by the scene).
    glow: amplifier glow, 1 at its brightest. bias: fixed pattern. response: about 1. way: optics, at most 1.
    black_told, e_per_dn_told: whether the file tells them. coupling: share of a pixel's signal that each neighbour
    shows too. banding: rows' own jitter; blinking: which pixels jump.
    """

    family: str
    height: int
    width: int
    cfa: str | None
    bits: int
    step: int
    e_per_dn: float
    read_noise: float
    black_dn: float
    held: bool
    full_well: float
    pixel_um: float
    black_told: bool
    e_per_dn_told: bool
    pixel_told: bool
    dark: Plane
    hot: Plane
    glow: Plane
    bias: Plane
    response: Plane
    way: Plane
    fall_off: float
    coupling: float
    banding: float
    drift: float
    blinking: NDArray[np.intp]
    letters: NDArray[np.uint8]

    @property
    def top_dn(self) -> int:
        """The highest value this camera writes."""
        return ((1 << self.bits) - 1) * self.step

    @property
    def room(self) -> float:
        """Electrons from black to where the pixel or the converter is full."""
        return min(self.full_well, (self.top_dn - self.black_dn) * self.e_per_dn)


def log_between(rng: np.random.Generator, low: float, high: float) -> float:
    """A number whose logarithm is evenly spread."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def sensor(rng: np.random.Generator, *, many_hot: bool, strong_glow: bool) -> Sensor:
    """A camera. many_hot: over one percent of its pixels are hot; strong_glow: its amplifier glows for certain."""
    family = str(rng.choice(("raw", "colour", "mono", "ccd"), p=(0.36, 0.16, 0.3, 0.18)))
    height, width = _size(rng)
    cfa = None
    if family == "raw":
        cfa = SIX_BY_SIX if rng.random() < 0.25 else str(rng.choice(PATTERNS))
    elif family == "colour":
        cfa = str(rng.choice(PATTERNS))
    bits, step = 16, 1
    if family == "raw":
        bits = int(rng.choice((12, 14), p=(0.25, 0.75)))
    elif family != "ccd":
        bits = int(rng.choice((12, 14, 16), p=(0.35, 0.35, 0.3)))
        step = 1 << (16 - bits) if rng.random() < 0.8 else 1
    read_noise = log_between(rng, 4.0, 16.0) if family == "ccd" else log_between(rng, 0.8, 8.0)
    e_per_dn = read_noise / log_between(rng, 0.8, 14.0) / step
    top = ((1 << bits) - 1) * step
    black_dn = round(max(7.0 * read_noise / e_per_dn, log_between(rng, 0.004, 0.1) * top) / step) * step
    shape = (height, width)
    y, x = np.ogrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    y, x = y.astype(np.float32), x.astype(np.float32)
    spread = rng.uniform(0.05, 0.7)
    dark = np.exp(spread * rng.standard_normal(shape, dtype=np.float32))
    full_well = (top - black_dn) * e_per_dn * float(rng.uniform(0.7, 2.0))
    way, fall_off = _way(rng, shape, y, x)
    row_share, column_share, tilt = rng.uniform(0, 0.2), rng.uniform(0, 0.3), rng.uniform(-0.5, 0.5, 2)
    bias = read_noise * (
        row_share * rng.standard_normal((height, 1), dtype=np.float32)
        + column_share * rng.standard_normal((1, width), dtype=np.float32)
        + (y * tilt[0] + x * tilt[1]) / 2
    )
    uneven = log_between(rng, 0.002, 0.02)
    return Sensor(
        family=family,
        height=height,
        width=width,
        cfa=cfa,
        bits=bits,
        step=step,
        e_per_dn=e_per_dn,
        read_noise=read_noise,
        black_dn=float(black_dn),
        held=bool(rng.random() < (0.6 if family == "raw" else 0.15)),
        full_well=full_well,
        pixel_um=float(rng.uniform(5.4, 9.0) if family == "ccd" else rng.uniform(2.4, 6.5)),
        black_told=family == "raw" and bool(rng.random() < 0.9),
        e_per_dn_told=family != "raw" and bool(rng.random() < 0.65),
        pixel_told=family != "raw" and bool(rng.random() < 0.8),
        dark=dark,
        hot=_hot(rng, shape, many_hot, columns=family == "ccd"),
        glow=_glow(rng, y, x) if strong_glow or rng.random() < 0.35 else np.zeros(shape, np.float32),
        bias=bias.astype(np.float32),
        response=1 + np.float32(uneven) * rng.standard_normal(shape, dtype=np.float32),
        way=way,
        fall_off=fall_off,
        coupling=float(rng.uniform(0.0, 0.015)),
        banding=read_noise * (rng.uniform(0, 0.25) if family != "ccd" and rng.random() < 0.5 else 0.0),
        drift=read_noise * log_between(rng, 0.003, 0.15),
        blinking=rng.integers(0, height * width, int(height * width * log_between(rng, 1e-5, 4e-3))),
        letters=_letters(cfa, shape),
    )


def _size(rng: np.random.Generator) -> tuple[int, int]:
    low, high = SIZES_MP[int(rng.choice(len(SIZES_MP), p=SIZE_SHARES))]
    pixels = log_between(rng, low, high) * 1e6
    shape = float(rng.choice((1.0, 4 / 3, 3 / 2, 16 / 9)))
    height = int((pixels / shape) ** 0.5) // 6 * 6
    return height, int(height * shape) // 6 * 6


def _hot(rng: np.random.Generator, shape: tuple[int, int], many: bool, columns: bool) -> Plane:
    """Excess of the hot pixels, at least 1; the tail is Pareto's. Of some sensors whole columns are warm."""
    share = log_between(rng, 0.013, 0.05) if many else log_between(rng, 5e-5, 6e-3)
    hot = np.zeros(shape, np.float32)
    places = rng.integers(0, hot.size, round(share * hot.size))
    hot.ravel()[places] = rng.random(places.size) ** (-1.0 / rng.uniform(0.8, 2.0))
    if columns:
        for _ in range(int(rng.integers(0, 4))):
            column, from_row = int(rng.integers(0, shape[1])), int(rng.integers(0, shape[0]))
            hot[from_row:, column] += log_between(rng, 0.1, 3.0)
    return hot


def _glow(rng: np.random.Generator, y: Plane, x: Plane) -> Plane:
    """One to three glows: of a corner, of a place on the border, or along a whole edge."""
    total = np.zeros((y.shape[0], x.shape[1]), np.float32)
    for _ in range(int(rng.integers(1, 4))):
        reach = rng.uniform(0.05, 0.6)
        place = int(rng.integers(0, 3))
        if place == 0:
            away = np.hypot(y - rng.choice((-1.0, 1.0)), x - rng.choice((-1.0, 1.0)))
        elif place == 1:
            away = np.hypot(y - rng.choice((-1.05, 1.05)), x - rng.uniform(-0.8, 0.8))
        else:
            away = np.abs(y - rng.choice((-1.0, 1.0))) + 0 * x
            reach *= 0.5
        total += rng.uniform(0.2, 1.0) * np.exp(-away / reach)
    glow: Plane = (total / total.max()).astype(np.float32)
    return glow


def _way(rng: np.random.Generator, shape: tuple[int, int], y: Plane, x: Plane) -> tuple[Plane, float]:
    """Vignetting, none to strong, and shadows of dust; and how much the corners lose."""
    sort = rng.random()
    drop = 0.0 if sort < 0.12 else rng.uniform(0.0, 0.06) if sort < 0.3 else rng.uniform(0.06, 0.75)
    cy, cx = rng.normal(0, 0.1, 2)
    aspect = shape[0] / shape[1]
    radius = ((y - cy) ** 2 * aspect**2 + (x - cx) ** 2) / (1 + aspect**2)
    way = np.clip(1 - drop * radius ** rng.uniform(0.8, 1.8), 0.03, 1.0)
    for _ in range(int(rng.integers(0, 6))):
        down, across, size = rng.uniform(0, shape[0]), rng.uniform(0, shape[1]), rng.uniform(6, 45)
        away = np.hypot(np.arange(shape[0])[:, None] - down, np.arange(shape[1])[None, :] - across)
        way *= 1 - rng.uniform(0.01, 0.08) * np.clip((size - away) / 5 + 0.5, 0, 1)
    return way.astype(np.float32), float(drop)


def _letters(cfa: str | None, shape: tuple[int, int]) -> NDArray[np.uint8]:
    letters = np.frombuffer((cfa or "L").encode("ascii"), np.uint8)
    side = round(letters.size**0.5)
    return np.tile(letters.reshape(side, side), (shape[0] // side + 1, shape[1] // side + 1))[: shape[0], : shape[1]]
