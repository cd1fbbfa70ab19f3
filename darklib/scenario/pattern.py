"""What stays the same from frame to frame: a body's dark rates, hot pixels, bias structure and pixel response."""

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING
from zlib import crc32

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from darklib.scenario.camera import Camera

Plane = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FixedPattern:
    """One body's pixels, each array of shape (height, width).

    dark_e_per_s: dark rate of each pixel at 0 degrees C; doubling_c: the rise that doubles it;
    hot: which pixels are hot; bias_e: the fixed structure of the bias about the offset, in electrons;
    response: sensitivity about 1; glow_e_per_s: amplifier glow at the warm corner.
    """

    dark_e_per_s: Plane
    doubling_c: Plane
    hot: npt.NDArray[np.bool_]
    bias_e: Plane
    response: Plane
    glow_e_per_s: Plane

    def dark_rate(self, temperature_c: float) -> Plane:
        """Dark rate of every pixel in electrons a second: D(T) = D(0) 2^(T / doubling), each pixel with its own law."""
        rate: Plane = self.dark_e_per_s * np.exp2(temperature_c / self.doubling_c)
        return rate


@lru_cache(maxsize=8)
def fixed_pattern(camera: "Camera") -> FixedPattern:
    """The pattern of one body, always the same for the same seed and serial number.

    Ordinary pixels: lognormal dark rates with one doubling temperature. Hot pixels: added on top with a Pareto
    tail and a doubling temperature of their own each, because their activation energies differ from pixel to
    pixel (Widenhorn et al. 2002, Proc. SPIE 4669).
    """
    rng = np.random.default_rng([camera.seed, crc32(camera.serial.encode("ascii"))])
    shape = (camera.height, camera.width)
    law = camera.dark

    dark = law.median_at_zero_e_per_s * np.exp(law.spread * rng.standard_normal(shape))
    doubling = np.full(shape, law.doubling_c)
    hot = rng.random(shape) < law.hot_fraction
    count = int(hot.sum())
    dark[hot] += law.hot_least_at_zero_e_per_s * (1.0 + rng.pareto(law.hot_shape, count))
    scatter = np.clip(rng.standard_normal(count), -3.0, 3.0) * law.hot_doubling_scatter
    doubling[hot] = law.hot_doubling_c * (1.0 + scatter)

    structure = camera.bias
    down = np.linspace(-0.5, 0.5, camera.height)[:, None]
    along = np.linspace(-0.5, 0.5, camera.width)[None, :]
    bias = (
        structure.rows_e * rng.standard_normal((camera.height, 1))
        + structure.columns_e * rng.standard_normal((1, camera.width))
        + structure.gradient_e * (0.8 * down + 0.6 * along)
    )
    response = 1.0 + camera.nonuniformity * rng.standard_normal(shape)
    reach = 0.25 * min(shape)
    rows, columns = np.arange(camera.height)[:, None], np.arange(camera.width)[None, ::-1]
    corner = np.exp(-np.hypot(rows, columns) / reach)
    return FixedPattern(dark, doubling, hot, bias, response, camera.glow_e_per_s * corner)
