"""What the telescope is pointed at: sky, stars and nebula, an evenly lit panel, or a leak of light past the cap."""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil
from zlib import crc32

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from darklib.scenario.camera import Camera
from darklib.scenario.optics import Train, pixel_places_mm, transmission
from darklib.scenario.pattern import Plane

Rates = tuple[tuple[str, float], ...]
"""A rate for each colour letter; 'L' for mono."""


@dataclass(frozen=True, slots=True)
class Sky:
    """The sky over one target.

    rate_e_per_s: of the sky background in each colour, electrons a second and pixel on the axis;
    gradient: brighter towards one side by this share, corner to corner; star_share: how much of a star's light this
    filter passes; stars: how many on the frame; faintest_e_per_s: total rate of the faintest; flux_slope: number of
    stars brighter than F goes with F^-slope; fwhm_px: seeing, also below two pixels; nebula_e_per_s: at its brightest.
    """

    target: str
    rate_e_per_s: Rates
    gradient: float = 0.06
    star_share: float = 1.0
    stars: int = 140
    faintest_e_per_s: float = 8.0
    flux_slope: float = 0.8
    brightest_e_per_s: float = 30_000.0
    fwhm_px: float = 2.4
    nebula_e_per_s: float = 0.0
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Pointing:
    """Where a light points: dither in pixels, and how the field is turned (180 after a meridian flip)."""

    dx_px: float = 0.0
    dy_px: float = 0.0
    turned_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class StarField:
    """Stars about the frame's middle, places in pixels and rates in electrons a second; and the nebula's knots."""

    x_px: npt.NDArray[np.float64]
    y_px: npt.NDArray[np.float64]
    flux_e_per_s: npt.NDArray[np.float64]
    knots: npt.NDArray[np.float64]


@lru_cache(maxsize=64)
def star_field(
    target: str, stars: int, faintest: float, brightest: float, slope: float, seed: int, side: int
) -> StarField:
    """The same stars every time one target is looked at, over a square wide enough for any dither and turn."""
    rng = np.random.default_rng([seed, crc32(target.encode("utf-8"))])
    places = (rng.random((2, stars)) - 0.5) * side
    flux = np.minimum(faintest * rng.random(stars) ** (-1.0 / slope), brightest)
    knots = np.column_stack(
        [(rng.random((6, 2)) - 0.5) * 0.4 * side, (0.04 + 0.12 * rng.random(6)) * side, rng.random(6)]
    )
    return StarField(places[0], places[1], flux, knots)


def light_from_sky(camera: Camera, train: Train, sky: Sky, filter_: str | None, pointing: Pointing) -> Plane:
    """Electrons a second in each pixel, shape (height, width), for one light."""
    side = ceil(1.2 * np.hypot(camera.width, camera.height))
    count = round(sky.stars * side**2 / (camera.width * camera.height))
    field = star_field(sky.target, count, sky.faintest_e_per_s, sky.brightest_e_per_s, sky.flux_slope, sky.seed, side)
    middle_x, middle_y = (camera.width - 1) / 2, (camera.height - 1) / 2
    angle = np.radians(pointing.turned_deg - train.angle_deg)
    cosine, sine = np.cos(angle), np.sin(angle)

    def placed(
        x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        return (
            middle_x + x * cosine - y * sine + pointing.dx_px,
            middle_y + x * sine + y * cosine + pointing.dy_px,
        )

    objects = np.zeros((camera.height, camera.width))
    for x, y, flux in zip(*placed(field.x_px, field.y_px), field.flux_e_per_s * sky.star_share, strict=True):
        add_star(objects, float(x), float(y), float(flux), sky.fwhm_px)
    if sky.nebula_e_per_s > 0:
        objects += sky.nebula_e_per_s * _nebula(camera, field, *placed(field.knots[:, 0], field.knots[:, 1]))

    x_mm, y_mm = pixel_places_mm(camera)
    slope = 1.0 + sky.gradient * (0.8 * x_mm / x_mm.max() + 0.6 * y_mm / y_mm.max()) / 2.8
    planes = camera.colour_planes()
    rate = np.zeros(planes.shape)
    share = np.zeros(planes.shape)
    rates = dict(sky.rate_e_per_s)
    greatest = max(rates.values())
    for letter, here in rates.items():
        rate[planes == letter] = here
        # Stars are whiter than a night sky: their colours stand half as far apart (as logarithms) as the sky's.
        share[planes == letter] = np.sqrt(here / greatest) if greatest > 0 else 1.0
    result: Plane = (rate * slope + objects * share) * transmission(camera, train, filter_)
    return result


def add_star(plane: Plane, x_px: float, y_px: float, flux: float, fwhm_px: float) -> None:
    """Adds one Gaussian star, integrated over each pixel, so that an undersampled star keeps its light."""
    sigma = fwhm_px / 2.3548200450309493
    reach = ceil(max(4.0, 5.0 * sigma))
    height, width = plane.shape
    left, right = max(0, round(x_px) - reach), min(width, round(x_px) + reach + 1)
    top, bottom = max(0, round(y_px) - reach), min(height, round(y_px) + reach + 1)
    if left >= right or top >= bottom:
        return
    across = np.diff(ndtr((np.arange(left, right + 1) - 0.5 - x_px) / sigma))
    down = np.diff(ndtr((np.arange(top, bottom + 1) - 0.5 - y_px) / sigma))
    plane[top:bottom, left:right] += flux * np.outer(down, across)


def _nebula(camera: Camera, field: StarField, x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> Plane:
    """A few soft clouds, 1 at their brightest."""
    columns, rows = np.arange(camera.width), np.arange(camera.height)
    total = np.zeros((camera.height, camera.width))
    for at_x, at_y, width, weight in zip(x, y, field.knots[:, 2], field.knots[:, 3], strict=True):
        total += weight * np.outer(
            np.exp(-0.5 * ((rows - at_y) / width) ** 2), np.exp(-0.5 * ((columns - at_x) / width) ** 2)
        )
    return total / max(float(total.max()), 1e-9)


def light_from_panel(
    camera: Camera, train: Train, rates: Rates, filter_: str | None, unevenness: float = 0.005
) -> Plane:
    """Electrons a second in each pixel from a lit panel or a dull sky, uneven by this share from side to side."""
    planes = camera.colour_planes()
    rate = np.zeros(planes.shape)
    for letter, here in rates:
        rate[planes == letter] = here
    x_mm, _ = pixel_places_mm(camera)
    slope = 1.0 + unevenness * x_mm / (2.0 * x_mm.max())
    result: Plane = rate * slope * transmission(camera, train, filter_)
    return result


def light_leak(camera: Camera, rate_e_per_s: float) -> Plane:
    """Stray light past a loose cap: strongest along one edge, electrons a second in each pixel."""
    fall = np.exp(-3.0 * np.arange(camera.width) / camera.width)
    result: Plane = np.broadcast_to(rate_e_per_s * fall, (camera.height, camera.width)).copy()
    return result
