"""Hot pixels of one frame: where they are and how far they stand above their neighbours of the same colour.

What is kept is some kilobytes a frame, so that no image has to be opened again to compare frames of one sensor: the
dark ratio, the temperature and the identity of a body all come from it (Widenhorn et al. 2007, "Computation of dark
frames in digital imagers", Proc. SPIE 6501).

A hot pixel is one pixel. A star lights the pixels beside it, in other colours or the next of its own, and is left out;
so is a bright column or row, which is no single pixel.
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.blocks import MAD_TO_SIGMA, blocks_of
from darklib.pixels.mosaic import mosaic_of
from darklib.pixels.sources import Points, points_of

EVIDENCE_VERSION = 1
"""Grows whenever what is kept changes its meaning; older evidence is then made anew."""

LEAST_EXPOSURE_S = 1.0
"""Shorter exposures gather next to nothing in hot pixels: biases and most flats are not asked for any."""

LEAST_SIGMA = 6.0
"""How many standard deviations of the noise a hot pixel stands above its neighbours, at least: seven in eight of those
that stand so far up are found, and of brighter ones nearly all."""
FIRST_SIGMA = 4.0
"""What is looked at closely stands so far above the frame's background."""
SECOND_SIGMA = 2.5
"""And, before the rest of its neighbours is looked at, so far above those in its column."""
LEAST_SPREADS = 3.0
"""And so many times the neighbours' own spread: in a nebula or a crowd of stars the noise of the frame says little."""
MOST = 2_000
"""As many pixels as are kept, the brightest; beyond them the limit of what is seen rises."""

MOST_LOOKED_AT = 10_000
"""As many are looked at closely, the brightest: five times what is kept, since stars are among them."""

BESIDE_SHARE, BESIDE_SIGMA = 0.4, 7.0
"""A star's neighbours, without the brightest of the eight, add up to more than this share of the peak: a star of 1.5
pixels full width gives them 1.3, charge that leaks out of a hot pixel under 0.1. In standard deviations: what noise
alone adds up to once in some hundred faint hot pixels."""
LINE_SHARE = 0.5
"""Where both neighbours along a column or row are lit by this share of the peak, the column or row is."""
CROWD = 6
"""More than this many in one column (or row), and five times what chance gives, are a defect of the column."""

_AROUND = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))
_SIDES = (_AROUND[1], _AROUND[3], _AROUND[4], _AROUND[6])
_MAGIC = b"DKHP"
_HEAD = struct.Struct("<4sHBBIII")

Floats = NDArray[np.float32]
Places = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class HotPixels:
    """Hot pixels of one frame of `width` x `height` pixels.

    positions: row * width + column, rising. excess_dn: above the median of the same-coloured neighbours, DN, as many.
    saturated: at the top of the range, the excess is a lower limit. noise_dn: standard deviation of a pixel, and
    floor_dn: every hot pixel above this is in the list, both at each place of the sensor's repeating pattern (rows,
    columns).
    """

    width: int
    height: int
    positions: NDArray[np.uint32]
    excess_dn: Floats
    saturated: NDArray[np.bool_]
    noise_dn: Floats
    floor_dn: Floats

    @property
    def count(self) -> int:
        """How many hot pixels are kept."""
        return int(self.positions.size)

    def at(self, figure: Floats, positions: NDArray[Any]) -> Floats:
        """noise_dn or floor_dn at some positions."""
        row, column = np.divmod(positions.astype(np.int64), self.width)
        out: Floats = figure[row % figure.shape[0], column % figure.shape[1]]
        return out


def hot_pixels(
    data: NDArray[Any],
    *,
    cfa: str | None,
    cfa_rows: int | None,
    cfa_columns: int | None,
    white_dn: float | None = None,
    dn_step: int | None = None,
    points: Points | None = None,
) -> HotPixels | None:
    """The hot pixels of one frame; None for a frame too small to tell its noise (under two blocks of 24 pixels).

    data: two-dimensional, native byte order, any integers or floating-point numbers. cfa: letters row by row,
    cfa_rows x cfa_columns, None for mono. white_dn: the highest number; dn_step: the distance of the numbers. points:
    what stands out of the frame, where that is known from `measure.measured`.
    """
    if data.dtype != np.uint16:
        data = np.nan_to_num(data.astype(np.float32), nan=0.0, posinf=0.0, neginf=0.0)
    if points is None:
        blocks = blocks_of(data, mosaic_of(cfa, cfa_rows, cfa_columns), 12.0**-0.5 * (dn_step or 1))
        if blocks is None:
            return None
        points = points_of(data, blocks)
    noise = points.blocks.noise[points.blocks.channels].astype(np.float32)
    rows, columns = noise.shape
    reach = (_reach(rows), _reach(columns))
    y, x, lowest_sigma = _inside(points, reach, data.shape)
    y, x = _above_and_below(data, noise, reach[0], y, x)
    found = _Found(data, noise, reach, y, x)
    found.keep(found.excess >= np.float32(LEAST_SIGMA) * found.sigma)
    found.keep(~found.line())
    found.keep(~found.starlike(_SIDES))  # most stars go here, for a quarter of the work
    found.keep(~found.starlike(_AROUND))
    found.keep(found.excess >= np.float32(LEAST_SPREADS) * found.spread())
    found.keep(_alone(found.x, data.shape[1]) & _alone(found.y, data.shape[0]))
    # Where the limit was raised to look at fewer, noise has kept some out that stand a little above it.
    floor = max(LEAST_SIGMA, lowest_sigma + 2.0 if lowest_sigma > FIRST_SIGMA else 0.0)
    heights = found.excess / found.sigma
    if heights.size > MOST:
        floor = max(floor, float(np.partition(heights, heights.size - MOST)[heights.size - MOST]))
    found.keep(heights >= floor)
    order = np.argsort(found.y * data.shape[1] + found.x, kind="stable")
    y, x = found.y[order], found.x[order]
    value = data[y, x]
    return HotPixels(
        width=int(data.shape[1]),
        height=int(data.shape[0]),
        positions=(y * data.shape[1] + x).astype(np.uint32),
        excess_dn=found.excess[order],
        saturated=value >= _top(value, white_dn),
        noise_dn=noise,
        floor_dn=np.float32(floor) * noise,
    )


def _reach(period: int) -> int:
    """Neighbours are taken from so far away: the same colour, and past the light of a star of usual width."""
    return period * -(-4 // period)


def _inside(points: Points, reach: tuple[int, int], shape: tuple[int, ...]) -> tuple[Places, Places, float]:
    """Those that stand high enough to be looked at and have neighbours of their colour on all sides; and how high."""
    y, x, sigmas = points.y, points.x, points.sigmas
    lowest = max(FIRST_SIGMA, points.threshold_sigma)
    if sigmas.size > MOST_LOOKED_AT:
        # Each star lights some dozen pixels, which must not crowd out the hot ones.
        single = _single(points)
        y, x, sigmas = y[single], x[single], sigmas[single]
    if sigmas.size > MOST_LOOKED_AT:
        lowest = max(lowest, float(np.partition(sigmas, sigmas.size - MOST_LOOKED_AT)[sigmas.size - MOST_LOOKED_AT]))
    inside = sigmas >= lowest
    y, x = y[inside], x[inside]
    inside = (y >= reach[0]) & (y < shape[0] - reach[0]) & (x >= reach[1]) & (x < shape[1] - reach[1])
    return y[inside], x[inside], lowest


def _single(points: Points) -> NDArray[np.bool_]:
    """Whether at most one of the four sides is lit by half as much: as in a pair of hot pixels, never within a star."""
    half = points.sigmas / np.float32(2)
    lit = np.zeros(half.size, dtype=np.int8)
    for dy, dx in _SIDES:
        lit += points.background.sigmas(points.y + dy, points.x + dx) >= half
    out: NDArray[np.bool_] = lit <= 1
    return out


def _above_and_below(data: NDArray[Any], noise: Floats, reach: int, y: Places, x: Places) -> tuple[Places, Places]:
    """Those that stand above their neighbours in the column too: most of what noise and columns make does not."""
    flat, width = data.reshape(-1), data.shape[1]
    place = y * width + x
    beside = np.maximum(flat.take(place - reach * width), flat.take(place + reach * width)).astype(np.float32)
    limit = np.float32(SECOND_SIGMA) * noise[y % noise.shape[0], x % noise.shape[1]]
    high = flat.take(place) - beside >= limit
    return y[high], x[high]


class _Found:
    """Pixels that may be hot, looked at ever more closely; `keep` narrows them down."""

    def __init__(self, data: NDArray[Any], noise: Floats, reach: tuple[int, int], y: Places, x: Places) -> None:
        self._flat, self._width, self._height = data.reshape(-1), data.shape[1], data.shape[0]
        self._noise, self._reach = noise, reach
        self.y, self.x = y, x
        self.sigma = noise[y % noise.shape[0], x % noise.shape[1]]
        down, across = reach
        ring = np.stack([self._value(down * dy, across * dx) for dy, dx in _AROUND])
        self._ring = np.sort(ring, axis=0)
        self._level = (self._ring[3] + self._ring[4]) / np.float32(2)
        self._lines = ring[[1, 6, 3, 4]]
        self.excess: Floats = self._value(0, 0) - self._level

    def keep(self, these: NDArray[np.bool_]) -> None:
        """Only these stay."""
        if these.all():
            return
        self.y, self.x, self.sigma, self.excess = self.y[these], self.x[these], self.sigma[these], self.excess[these]
        self._ring, self._level, self._lines = self._ring[:, these], self._level[these], self._lines[:, these]

    def line(self) -> NDArray[np.bool_]:
        """Whether the pixel lies in a bright column or row."""
        lit = self._lines - self._level >= np.float32(LINE_SHARE) * self.excess
        out: NDArray[np.bool_] = (lit[0] & lit[1]) | (lit[2] & lit[3])
        return out

    def spread(self) -> Floats:
        """How the neighbours scatter, as a standard deviation: robust, of eight."""
        off = np.sort(np.abs(self._ring - self._level), axis=0)
        out: Floats = np.float32(MAD_TO_SIGMA / 2) * (off[3] + off[4])
        return out

    def starlike(self, beside: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
        """Whether the pixels beside it, or the next of its colour, are lit as a star's are."""
        out = self._lit(beside, 1)
        if self._noise.shape == (2, 2):
            # Behind a narrow-band filter a star shines in one colour only.
            out |= self._lit(beside, 2)
        return out

    def _lit(self, beside: Sequence[tuple[int, int]], step: int) -> NDArray[np.bool_]:
        excesses = np.stack([self._beside(step * dy, step * dx) for dy, dx in beside])
        # One of them may be a hot pixel of its own.
        total = excesses.sum(axis=0) - excesses.max(axis=0)
        limit = np.maximum(np.float32(BESIDE_SHARE) * self.excess, np.float32(BESIDE_SIGMA) * self.sigma)
        out: NDArray[np.bool_] = total > limit
        return out

    def _beside(self, dy: int, dx: int) -> Floats:
        """A neighbour's excess over pixels of its own colour further out, away from the peak."""
        down, across = self._reach
        far_y, far_x = self._step(dy, down), self._step(dx, across)
        one, two = self._value(dy + far_y, dx), self._value(dy, dx + far_x)
        # the median of three
        level = np.maximum(np.minimum(one, two), np.minimum(np.maximum(one, two), self._value(dy + far_y, dx + far_x)))
        out: Floats = self._value(dy, dx) - level
        return out

    @staticmethod
    def _step(offset: int, reach: int) -> int:
        return -reach if offset < 0 else reach

    def _value(self, dy: int, dx: int) -> Floats:
        y = np.clip(self.y + dy, 0, self._height - 1) if dy else self.y
        x = np.clip(self.x + dx, 0, self._width - 1) if dx else self.x
        out: Floats = self._flat.take(y * self._width + x).astype(np.float32)
        return out


def _alone(lines: Places, length: int) -> NDArray[np.bool_]:
    """Whether a pixel's column (or row) holds no crowd of others."""
    counts = np.bincount(lines, minlength=1)
    crowded = counts > max(CROWD, 5.0 * lines.size / length)
    out: NDArray[np.bool_] = ~crowded[lines]
    return out


def _top(values: NDArray[Any], white_dn: float | None) -> float:
    """From which number on a pixel is taken for saturated: the white level, or where several pile up at the highest."""
    tops = [np.inf]
    if white_dn:
        tops.append(0.995 * white_dn)
    if values.size:
        highest = values.max()
        if np.count_nonzero(values == highest) >= 3 and highest > 1:
            tops.append(float(highest))
    return min(tops)


def encoded(hot: HotPixels) -> bytes:
    """The evidence as bytes: little-endian numbers with a version before and a CRC-32 behind."""
    rows, columns = hot.noise_dn.shape
    head = _HEAD.pack(_MAGIC, EVIDENCE_VERSION, rows, columns, hot.width, hot.height, hot.count)
    body = b"".join(
        (
            head,
            hot.noise_dn.astype("<f4").tobytes(),
            hot.floor_dn.astype("<f4").tobytes(),
            hot.positions.astype("<u4").tobytes(),
            hot.excess_dn.astype("<f4").tobytes(),
            np.packbits(hot.saturated).tobytes(),
        )
    )
    return body + struct.pack("<I", crc32(body))


def decoded(data: bytes) -> HotPixels:
    """The evidence from bytes. ValueError where they are damaged, cut short or of another version."""
    if len(data) < _HEAD.size + 4:
        raise ValueError("too short to be hot-pixel evidence")
    magic, version, rows, columns, width, height, count = _HEAD.unpack_from(data)
    cells, bits = rows * columns, -(-count // 8)
    if magic != _MAGIC or version != EVIDENCE_VERSION:
        raise ValueError("not hot-pixel evidence of this version")
    if (
        len(data) != _HEAD.size + 8 * cells + 8 * count + bits + 4
        or crc32(data[:-4]) != struct.unpack("<I", data[-4:])[0]
    ):
        raise ValueError("damaged hot-pixel evidence")
    place = _HEAD.size
    noise = np.frombuffer(data, "<f4", cells, place).astype(np.float32).reshape(rows, columns)
    floor = np.frombuffer(data, "<f4", cells, place + 4 * cells).astype(np.float32).reshape(rows, columns)
    place += 8 * cells
    positions = np.frombuffer(data, "<u4", count, place).astype(np.uint32)
    excess = np.frombuffer(data, "<f4", count, place + 4 * count).astype(np.float32)
    saturated = np.unpackbits(np.frombuffer(data, np.uint8, bits, place + 8 * count), count=count).astype(bool)
    return HotPixels(width, height, positions, excess, saturated, noise, floor)
