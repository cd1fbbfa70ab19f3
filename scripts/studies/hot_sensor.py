"""An independent simulation of sensors with hot pixels, for the studies of thermometer, identity and ageing.

It shares nothing with darklib's own scenario: rates with a Pareto tail, a doubling temperature drawn for every hot
pixel about the body's mean (scatter 10 percent) that is not the median pixel's, Poisson, read noise, rounding, an end
of the range, a sky with a gradient, stars of various widths, and a black level that may be held on the chip.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.hot import HotPixels, hot_pixels

HEIGHT, WIDTH = 320, 480
OFFSET_DN = 512
Array = NDArray[np.float64]


@dataclass(frozen=True)
class HotSensor:
    """One body. place: row * WIDTH + column of its hot pixels; rate_e_s: at 0 degrees C; doubling_c: of each."""

    place: NDArray[np.int64]
    rate_e_s: Array
    doubling_c: Array
    mean_doubling_c: float
    median_e_s: float
    median_doubling_c: float
    read_e: float
    gain_e_per_dn: float
    white_dn: int
    level_held: bool
    cfa: str | None

    def rates(self, temperature_c: float) -> Array:
        return self.rate_e_s * np.exp2(temperature_c / self.doubling_c)

    def array(
        self,
        rng: np.random.Generator,
        exposure_s: float,
        temperature_c: float,
        sky_e: float = 0.0,
        stars: int = 0,
        star_width: float = 2.5,
    ) -> NDArray[np.uint16]:
        """One frame; sky_e: electrons of sky a pixel in the whole exposure; star_width: full width at half, pixels."""
        dark = self.median_e_s * 2.0 ** (temperature_c / self.median_doubling_c) * exposure_s
        light = np.full((HEIGHT, WIDTH), dark)
        if sky_e:
            y, x = np.mgrid[-0.5 : 0.5 : HEIGHT * 1j, -0.5 : 0.5 : WIDTH * 1j]
            tilt = rng.uniform(-0.3, 0.3, 2)
            light += sky_e * (1.0 + tilt[0] * y + tilt[1] * x)
        if stars:
            _add_stars(light, rng, stars, star_width, 20.0 * (sky_e + self.read_e**2) ** 0.5)
        light.reshape(-1)[self.place] += self.rates(temperature_c) * exposure_s
        electrons = np.minimum(rng.poisson(light), 60_000) + self.read_e * rng.standard_normal(light.shape)
        if self.level_held:
            electrons -= dark
        return np.clip(np.rint(electrons / self.gain_e_per_dn + OFFSET_DN), 0, self.white_dn).astype(np.uint16)

    def evidence(self, frame: NDArray[np.uint16]) -> HotPixels:
        """What darklib keeps of a frame."""
        side = 2 if self.cfa else None
        found = hot_pixels(frame, cfa=self.cfa, cfa_rows=side, cfa_columns=side, white_dn=self.white_dn, dn_step=1)
        assert found is not None
        return found

    def aged(self, rng: np.random.Generator, share: float) -> "HotSensor":
        """The same body years later: a share of its hot pixels healed, as many new ones elsewhere."""
        gone = rng.permutation(self.place.size)[: round(share * self.place.size)]
        free = np.setdiff1d(np.arange(HEIGHT * WIDTH), self.place)
        place = self.place.copy()
        place[gone] = rng.choice(free, gone.size, replace=False)
        return replace(self, place=place)


def drawn(rng: np.random.Generator, hot: int | None = None, twin_of: HotSensor | None = None) -> HotSensor:
    """A body drawn at random: 30 to 3,000 hot pixels where not said; of the same model as another one where given."""
    count = hot if hot is not None else round(10 ** rng.uniform(np.log10(30), np.log10(3000)))
    place = rng.choice(HEIGHT * WIDTH, count, replace=False)
    mean = float(rng.uniform(6.0, 8.5))
    doubling = mean * (1.0 + 0.1 * np.clip(rng.standard_normal(count), -3, 3))
    rate = rng.uniform(0.5, 2.0) * (1.0 + rng.pareto(1.3, count))
    if twin_of is not None:
        return replace(twin_of, place=place, rate_e_s=rate, doubling_c=doubling, mean_doubling_c=mean)
    return HotSensor(
        place=place,
        rate_e_s=rate,
        doubling_c=doubling,
        mean_doubling_c=mean,
        median_e_s=float(10 ** rng.uniform(-2.0, -0.5)),
        median_doubling_c=float(rng.uniform(5.0, 6.5)),
        read_e=float(rng.uniform(1.5, 8.0)),
        gain_e_per_dn=float(10 ** rng.uniform(-0.5, 0.4)),
        white_dn=int(rng.choice([16_383, 65_535])),
        level_held=bool(rng.random() < 0.5),
        cfa=str(rng.choice(["RGGB", ""])) or None,
    )


def _add_stars(light: Array, rng: np.random.Generator, count: int, width: float, faintest_e: float) -> None:
    sigma = width / 2.3548
    reach = int(np.ceil(5 * sigma))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    total = faintest_e * (1.0 + rng.pareto(1.0, count))
    for flux, cy, cx in zip(
        total, rng.uniform(reach, HEIGHT - reach - 1, count), rng.uniform(reach, WIDTH - reach - 1, count), strict=True
    ):
        row, column = int(cy), int(cx)
        spot = np.exp(-0.5 * ((y - cy + row) ** 2 + (x - cx + column) ** 2) / sigma**2)
        light[row - reach : row + reach + 1, column - reach : column + reach + 1] += flux * spot / spot.sum()
