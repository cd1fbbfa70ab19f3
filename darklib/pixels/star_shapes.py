"""What the light around a peak looks like: which peaks are stars, and which are hot pixels and what leaks out of them.

`around` has the eight pixels beside each peak in the order of `BESIDE`, and where there are sixteen the next eight of
the same colour as well; all heights are in standard deviations of a pixel.
"""

import numpy as np
from numpy.typing import NDArray

BESIDE_SIGMA = 1.5
WEAKER_TWO_SIGMA = 4.0
BESIDE_SHARE = 0.15
EACH_SHARE = 0.06
"""A star lights three pixels beside its peak: three of the four sides, or two sides and the corner between them when it
lies between pixels. Each of the three by 1.5 sigma and 6 percent of the peak, the weaker two together by 4 sigma of
their sum, all together by 15 percent of the peak. A star of one pixel full width at half maximum, right in the middle
of a pixel, gives each side 15 percent. Charge that leaks out of a hot pixel gives them 1 or 2; a second hot pixel
beside it lights one, a cosmic ray's track two."""
PLAIN_SIGMA = 6.0
"""A star whose three lit pixels stand out by this much each is plain: only a cluster of hot pixels can pass for it."""
ROUND_LEAST, ROUND_EACH_SIGMA, ROUND_SIGMA = 7, 2.0, 8.0
"""So is one with seven of the eight pixels round it lit by 2 sigma, and all eight together by 8 sigma of their sum: hot
pixels do not feign that even where every twentieth is one."""

SOFT_CLIP_SIGMA, SOFT_SUM_SIGMA, SOFT_SHARE = 2.5, 13.0, 0.5
"""A soft star's eight surrounding pixels add up to 13 sigma though none counts for more than 2.5: at least six of them
are lit. Noise does that beside one peak in half a million, hot pixels and tracks of cosmic rays hardly ever, and a star
of 1.6 pixels' width or more from 8 sigma on, of two pixels' from 5. Together they have half as much light as the peak
at least: of what a hot pixel leaks they have a twentieth."""
WHOLE_LEAST, WHOLE_SIGMA, WHOLE_SHARE = 7, 3.0, 0.04
"""A whole star has seven of the eight lit by 3 sigma and 4 percent of the peak each. So many hot
pixels hardly ever lie together, even where every twentieth pixel is one."""

BESIDE = ((-1, 0), (0, -1), (0, 1), (1, 0), (-1, -1), (-1, 1), (1, -1), (1, 1))
_THREES = ((0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3), (0, 1, 4), (0, 2, 5), (3, 1, 6), (3, 2, 7))


def all_round(around: NDArray[np.float32], peak: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Whether peaks are lit softly all round."""
    found = np.zeros(peak.size, dtype=bool)
    for first in range(0, around.shape[0], len(BESIDE)):
        eight = around[first : first + len(BESIDE)]
        enough = np.clip(eight, -SOFT_CLIP_SIGMA, SOFT_CLIP_SIGMA).sum(axis=0) >= SOFT_SUM_SIGMA
        found |= enough & (eight.sum(axis=0) >= SOFT_SHARE * peak)
    return found


def wholly(around: NDArray[np.float32], peak: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Whether peaks have nearly all of the eight pixels round them lit for certain."""
    floor = np.maximum(np.float32(WHOLE_SIGMA), np.float32(WHOLE_SHARE) * peak)
    found = np.zeros(peak.size, dtype=bool)
    for first in range(0, around.shape[0], len(BESIDE)):
        found |= np.count_nonzero(around[first : first + len(BESIDE)] >= floor, axis=0) >= WHOLE_LEAST
    return found


def shines(
    around: NDArray[np.float32], peak: NDArray[np.float32], each_sigma: float = BESIDE_SIGMA
) -> NDArray[np.bool_]:
    """Whether the surroundings of peaks are lit as a star's; around: (8 or 16, peaks) in the order of `BESIDE`, the
    next pixels and where there are sixteen the next of the same colour.
    """
    found = np.zeros(peak.size, dtype=bool)
    if peak.size == 0:
        return found
    for first in range(0, around.shape[0], len(BESIDE)):
        for three in _THREES:
            found |= _lit(around[[first + place for place in three]], peak, each_sigma)
    return found


def nearly_round(around: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Whether a peak is lit nearly all round, as by a faint star of two pixels' width or more."""
    eight = around[: len(BESIDE)]
    many = np.count_nonzero(eight > ROUND_EACH_SIGMA, axis=0) >= ROUND_LEAST
    found: NDArray[np.bool_] = many & (eight.sum(axis=0) >= ROUND_SIGMA * len(BESIDE) ** 0.5)
    return found


def _lit(lit: NDArray[np.float32], peak: NDArray[np.float32], each_sigma: float) -> NDArray[np.bool_]:
    total = lit.sum(axis=0)
    weaker = total - lit.max(axis=0)
    enough = (lit.min(axis=0) > each_sigma) & (weaker >= WEAKER_TWO_SIGMA * 2**0.5)
    shared: NDArray[np.bool_] = enough & (total >= BESIDE_SHARE * peak) & (lit.min(axis=0) >= EACH_SHARE * peak)
    return shared
