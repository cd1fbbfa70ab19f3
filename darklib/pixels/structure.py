"""Figures of spatial structure: what tells a flat, a sky, a glow and bare read noise apart.

All are plain numbers by name, in the data's unit (`_dn`), in standard deviations of one pixel (`_sigma`) or counts:

- noise_dn: standard deviation of a pixel about its neighbours of the same colour, in the brightest channel.
- level_dn: mean level of that channel over the frame, without outliers.
- channel_spread_sigma: greatest less least mean level of the channels, over the noise. For a mono sensor the channels
  are the four places of a 2 x 2 pattern: colour filters nobody declared show here.
- channel_low_dn: mean level of the darkest channel.
- fall_least_sigma, fall_mean_sigma: level in the middle less that of the brightest corner, and of the corners' mean:
  light that came through optics falls off towards all four; a glow or a gradient does not.
- glow_sigma, dip_sigma: the brightest of eight places along the border less the middle; the middle less the darkest.
- glow_colour_sigma: how far the channels differ in that step to the brightest place: an amplifier's glow is seen by all
  alike, light that came through the colour filters is not.
- uneven_sigma: root mean square of the block levels about a smooth surface of second order, without what noise does.
- rows_sigma, columns_sigma: standard deviation of whole rows' and columns' levels, without what noise does.
- stars, plain_stars: sources that spread over several pixels as stars do, and those no noise could make;
  stars_by_chance, plain_stars_by_chance: how many look so though they are not, by a control; hot_pixels: points of one
  pixel above 5 sigma; threshold_sigma: height above which points were looked at. See `sources`.
- soft_stars, soft_stars_by_chance: those lit softly all round, faint ones included, which hot pixels hardly ever feign;
  whole_stars: those of them so plain that even crowds of hot pixels do not.
- points_low, points_high: share of the pixels looked at that lie over 5 sigma below, and above, their surroundings:
  a dark that another dark was taken off has as many of the one as of the other.
- star_peak_dn: height of the third brightest star, 0 with fewer than three; star_median_dn: of the median one;
  star_sharpness: its four sides' mean over its peak.
- pixels: how many the counts refer to.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.blocks import Blocks, Plane, blocks_of
from darklib.pixels.mosaic import Mosaic
from darklib.pixels.sources import Points, points_of, sources_of

FAR_SIGMA = 5.0
"""Noise alone puts one pixel in three million further out."""


def structure(data: NDArray[Any], mosaic: Mosaic, least_noise: float) -> tuple[dict[str, float], Points | None]:
    """Figures of spatial structure by name, and the points they rest on; none for a frame too small to have any (under
    two blocks of 24 pixels).

    data: two-dimensional, finite. least_noise: lower limit of the noise, data units.
    """
    blocks = blocks_of(data, mosaic, least_noise)
    if blocks is None:
        return {}, None
    points = points_of(data, blocks)
    means = np.median(blocks.level, axis=(1, 2))
    bright = int(np.argmax(means))
    noise = float(blocks.noise[bright])
    found = sources_of(data, points)
    rest = blocks.rest
    peaks = found.star_peaks
    figures = {
        "noise_dn": noise,
        "level_dn": float(means[bright]),
        "channel_spread_sigma": float(means.max() - means.min()) / noise,
        "channel_low_dn": float(means.min()),
        **_large_scale(blocks.level[bright], noise),
        "glow_colour_sigma": _glow_colour(blocks, bright),
        **_lines(rest),
        **_points(rest),
        "stars": float(found.stars),
        "stars_by_chance": float(found.by_chance),
        "plain_stars": float(found.plain),
        "plain_stars_by_chance": float(found.plain_by_chance),
        "soft_stars": float(found.soft),
        "soft_stars_by_chance": float(found.soft_by_chance),
        "whole_stars": float(found.whole),
        "hot_pixels": float(found.hot),
        "threshold_sigma": found.threshold_sigma,
        "star_peak_dn": float(peaks[2]) if peaks.size > 2 else 0.0,
        "star_median_dn": float(np.median(peaks)) if peaks.size else 0.0,
        "star_sharpness": found.star_sharpness,
        "pixels": float(data.size),
    }
    return figures, points


def _large_scale(level: NDArray[np.float64], noise: float) -> dict[str, float]:
    down, across = level.shape
    y = np.linspace(-1.0, 1.0, down)[:, np.newaxis] * np.ones((1, across))
    x = np.ones((down, 1)) * np.linspace(-1.0, 1.0, across)[np.newaxis, :]
    terms = np.stack([np.ones_like(x), x, y, x * x, y * y, x * y]).reshape(6, -1)
    flat = level.ravel()
    kept = np.ones(flat.size, dtype=bool)
    rest = flat
    for _ in range(4):
        answer, *_ = np.linalg.lstsq(terms[:, kept].T, flat[kept], rcond=None)
        rest = flat - answer @ terms
        limit = 3.0 * float(np.sqrt(np.mean(rest[kept] ** 2)))
        new = np.abs(rest) <= max(limit, 1e-9)
        if (new == kept).all():
            break
        kept = new
    # Differences of neighbouring blocks hold what noise does to a block's mean, but little of any structure.
    alone = np.diff(level, axis=1)
    jitter = float(np.median(np.abs(alone - np.median(alone)))) * 1.4826 / 2**0.5
    uneven = max(0.0, float(np.mean(rest**2)) - jitter**2) ** 0.5

    middle, corners, edges = _places(level)
    return {
        "fall_least_sigma": (middle - max(corners)) / noise,
        "fall_mean_sigma": (middle - sum(corners) / 4.0) / noise,
        "glow_sigma": (max(corners + edges) - middle) / noise,
        "dip_sigma": (middle - min(corners + edges)) / noise,
        "uneven_sigma": uneven / noise,
    }


def _places(level: NDArray[np.float64]) -> tuple[float, list[float], list[float]]:
    """Level in the middle, in the four corners and in the middles of the four edges."""
    low, high = (0.0, 0.2), (0.8, 1.0)
    inner = (0.4, 0.6)
    corners = [_median(level, *rows, *columns) for rows in (low, high) for columns in (low, high)]
    edges = [_median(level, *a, *b) for a, b in ((low, inner), (high, inner), (inner, low), (inner, high))]
    return _median(level, 0.35, 0.65, 0.35, 0.65), corners, edges


def _glow_colour(blocks: Blocks, bright: int) -> float:
    """How far the channels differ in the step from the middle to the brightest place of the border."""
    middle, corners, edges = _places(blocks.level[bright])
    place = int(np.argmax(corners + edges))
    steps = []
    for level in blocks.level:
        middle, corners, edges = _places(level)
        steps.append((corners + edges)[place] - middle)
    return (max(steps) - min(steps)) / float(blocks.noise[bright])


def _median(level: NDArray[np.float64], top: float, bottom: float, left: float, right: float) -> float:
    down, across = level.shape
    rows = slice(int(top * down), max(int(top * down) + 1, round(bottom * down)))
    columns = slice(int(left * across), max(int(left * across) + 1, round(right * across)))
    return float(np.median(level[rows, columns]))


def _lines(rest: Plane) -> dict[str, float]:
    down, across, side, _ = rest.shape
    near = np.clip(rest, -3.0, 3.0)
    along_rows = near.mean(axis=(1, 3))
    along_columns = near.mean(axis=(0, 2))
    return {
        "rows_sigma": max(0.0, float(along_rows.var()) - 1.0 / (across * side)) ** 0.5,
        "columns_sigma": max(0.0, float(along_columns.var()) - 1.0 / (down * side)) ** 0.5,
    }


def _points(rest: Plane) -> dict[str, float]:
    return {
        "points_low": float(np.count_nonzero(rest < -FAR_SIGMA)) / rest.size,
        "points_high": float(np.count_nonzero(rest > FAR_SIGMA)) / rest.size,
    }
