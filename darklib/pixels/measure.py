"""One sensor array -> its `PixelFacts`: exact levels, saturation, value step, spatial structure."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from darklib.facts.frame import PixelFacts, PlaneLevel
from darklib.pixels import histogram
from darklib.pixels.histogram import Levels
from darklib.pixels.mosaic import Mosaic, mosaic_of, plane
from darklib.pixels.sources import Points
from darklib.pixels.structure import structure

MEASUREMENT_VERSION = 2
"""Grows whenever a figure below changes its meaning or its value."""

SAMPLE = 4_000_000
"""Floating-point and 32-bit levels come from at most about this many pixels a colour, evenly spread."""

ROUNDING = 12.0**-0.5
"""Standard deviation of rounding to whole steps, in steps."""


def measure(
    data: NDArray[Any],
    *,
    cfa: str | None,
    cfa_rows: int | None,
    cfa_columns: int | None,
    black_dn: float | None,
    white_dn: float | None,
    bits: int | None,
) -> PixelFacts:
    """All figures of one frame.

    data: two-dimensional, native byte order; 8- or 16-bit integers give exact levels, anything else levels from a
    sample (`exact` False). cfa: letters row by row, cfa_rows x cfa_columns. black_dn, white_dn: as the file tells.
    Values that are not finite are left out. Raises ValueError for an array that is not two-dimensional or holds
    nothing finite.
    """
    facts, _ = measured(
        data, cfa=cfa, cfa_rows=cfa_rows, cfa_columns=cfa_columns, black_dn=black_dn, white_dn=white_dn, bits=bits
    )
    return facts


def measured(
    data: NDArray[Any],
    *,
    cfa: str | None,
    cfa_rows: int | None,
    cfa_columns: int | None,
    black_dn: float | None,
    white_dn: float | None,
    bits: int | None,
) -> tuple[PixelFacts, Points | None]:
    """As `measure`, and what stands out of the frame, for `hot.hot_pixels`; None for a frame too small to tell."""
    if data.ndim != 2 or data.size == 0:
        raise ValueError(f"a frame is a two-dimensional array with pixels, not of shape {data.shape}")
    mosaic = mosaic_of(cfa, cfa_rows, cfa_columns)
    whole, origin = _whole(data)
    if whole is not None:
        counts = histogram.histograms(whole, mosaic)
        total = counts.sum(axis=0)
        everything = _moved(histogram.levels(total), origin)
        by_colour = [_moved(histogram.levels(one), origin) for one in counts if one.any()]
        names = [name for name, one in zip(mosaic.colours, counts, strict=True) if one.any()]
        saturated = histogram.saturated_fraction(total, None if white_dn is None else white_dn - origin)
        step = histogram.dn_step(total)
        figures, points = structure(whole, mosaic, ROUNDING * (step or 1))
    else:
        numbers = data if data.dtype.kind == "f" else data.astype(np.float64)
        everything = _sampled(numbers.reshape(-1))
        names, by_colour = _sampled_planes(numbers, mosaic, everything)
        saturated = float(np.count_nonzero(numbers >= white_dn) / numbers.size) if white_dn is not None else 0.0
        step = None
        finite = np.nan_to_num(numbers, nan=everything.median, posinf=everything.high, neginf=everything.low)
        figures, points = structure(finite.astype(np.float32, copy=False), mosaic, _least_noise(everything))
    facts = PixelFacts(
        version=MEASUREMENT_VERSION,
        width=int(data.shape[1]),
        height=int(data.shape[0]),
        median_dn=everything.median,
        mad_dn=everything.mad,
        mean_dn=everything.mean,
        sd_dn=everything.sd,
        min_dn=everything.low,
        max_dn=everything.high,
        saturated_fraction=saturated,
        dn_step=step,
        zero_rows=constant_rows(data),
        planes=tuple(
            PlaneLevel(name, one.median, one.mad, one.mean, one.sd) for name, one in zip(names, by_colour, strict=True)
        ),
        structure=figures,
        exact=whole is not None,
    )
    return facts, points


def constant_rows(data: NDArray[Any]) -> int:
    """Rows that hold one value throughout: missing or blank ones."""
    width = data.shape[1]
    if width < 2:
        return 0
    # A look at three places leaves few rows to be read whole.
    likely = np.flatnonzero((data[:, 0] == data[:, -1]) & (data[:, 0] == data[:, width // 2]))
    return int(np.count_nonzero((data[likely] == data[likely, :1]).all(axis=1)))


def _whole(data: NDArray[Any]) -> tuple[NDArray[np.uint16] | None, int]:
    """The data as 16-bit unsigned values and what was added to make them so; None for other sorts."""
    if data.dtype == np.uint16:
        # rows cut out of a wider array are laid side by side once, not in every step
        return np.ascontiguousarray(data, dtype=np.uint16), 0
    if data.dtype == np.uint8:
        return data.astype(np.uint16), 0
    if data.dtype in (np.int16, np.int8):
        return (data.astype(np.int32) + 32768).astype(np.uint16), -32768
    return None, 0


def _least_noise(levels: Levels) -> float:
    # what single precision can tell apart at this level
    return max(1e-6 * max(abs(levels.low), abs(levels.high)), 1e-30)


def _moved(levels: Levels, by: int) -> Levels:
    if by == 0:
        return levels
    return Levels(
        levels.count,
        levels.median + by,
        levels.mad,
        levels.mean + by,
        levels.sd,
        levels.low + by,
        levels.high + by,
    )


def _sampled_planes(data: NDArray[Any], mosaic: Mosaic, everything: Levels) -> tuple[list[str], list[Levels]]:
    if len(mosaic.colours) == 1:
        return [""], [everything]
    names, found = [], []
    for colour in mosaic.colours:
        values = plane(data, mosaic, colour)
        if np.isfinite(values).any():
            names.append(colour)
            found.append(_sampled(values))
    return names, found


def _sampled(values: NDArray[Any]) -> Levels:
    finite = values[np.isfinite(values)].astype(np.float64)
    if finite.size == 0:
        raise ValueError("no pixel holds a finite value")
    low, high = float(finite.min()), float(finite.max())
    sample = finite[:: max(1, finite.size // SAMPLE)]
    median = float(np.median(sample))
    mad = float(np.median(np.abs(sample - median)))
    kept = sample
    while True:
        centre, sd = float(np.median(kept)), float(kept.std())
        cut = kept[np.abs(kept - centre) <= histogram.CLIP_SIGMA * sd]
        if cut.size in (0, kept.size):
            return Levels(finite.size, median, mad, float(kept.mean()), sd, low, high)
        kept = cut
