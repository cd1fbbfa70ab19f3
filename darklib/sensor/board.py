"""Recorded temperatures against those of hot pixels: what a sensor on a board tells, late and beside the truth.

A recorded temperature is on its body's own scale: often whole degrees, off by a constant, and lagging behind a sensor
that warms or cools. Offset and lag are learned from all frames of the body first; what then still disagrees is a
contradiction: a typing error, another body's file, a reading left over from the frame before.
"""

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.blocks import MAD_TO_SIGMA

LEAST_FRAMES = 8
"""Fewer do not tell an offset from a contradiction."""
SIGMAS, LEAST_C = 3.0, 1.5
"""A contradiction lies further off than so many standard errors and so many degrees."""
ROUNDING_C = 12.0**-0.5
"""Standard deviation of a temperature in whole degrees."""
LEAST_RATE_C_MIN = 0.05
"""The lag is fitted where the temperature moved by more than this from frame to frame, degrees a minute."""


def contradicted(
    told_c: NDArray[np.float64],
    inferred_c: NDArray[np.float64],
    error_c: NDArray[np.float64],
    rate_c_min: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Which of a body's frames record a temperature that their hot pixels contradict.

    error_c: of the inferred ones; rate_c_min: how fast the inferred temperature rose at each frame, 0 where unknown.
    None are found among fewer than LEAST_FRAMES.
    """
    off = told_c - inferred_c
    if off.size < LEAST_FRAMES:
        return np.zeros(off.size, dtype=bool)
    lag = 0.0
    offset = float(np.median(off))
    if np.count_nonzero(np.abs(rate_c_min) > LEAST_RATE_C_MIN) >= LEAST_FRAMES:
        for _ in range(5):
            rest = off - offset - lag * rate_c_min
            spread = max(MAD_TO_SIGMA * float(np.median(np.abs(rest))), ROUNDING_C)
            near = np.abs(rest) <= 3.0 * spread
            moving = rate_c_min[near] - rate_c_min[near].mean()
            lag = float(np.sum(moving * off[near]) / max(float(np.sum(moving**2)), 1e-12))
            offset = float(np.median(off[near] - lag * rate_c_min[near]))
    rest = np.abs(off - offset - lag * rate_c_min)
    out: NDArray[np.bool_] = (rest > SIGMAS * np.hypot(error_c, ROUNDING_C)) & (rest > LEAST_C)
    return out
