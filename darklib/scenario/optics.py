"""The way of the light: a telescope's vignetting and the shadows of dust, as a map of what reaches each pixel."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from darklib.scenario.camera import Camera
from darklib.scenario.pattern import Plane

Layer = Literal["window", "filter", "tube"]


@dataclass(frozen=True, slots=True)
class Telescope:
    """focal_length_mm and aperture_mm as sold; obstruction: diameter of the secondary mirror over the aperture;
    stop_distance_mm and stop_diameter_mm: the narrowest ring before the sensor (a drawtube, a coma corrector);
    stop_offset_mm: where that ring's centre lies beside the axis, as it always does a little.
    """

    name: str
    focal_length_mm: float
    aperture_mm: float
    obstruction: float = 0.0
    stop_distance_mm: float = 60.0
    stop_diameter_mm: float = 40.0
    stop_offset_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def focal_ratio(self) -> float:
        """N, focal length over aperture."""
        return self.focal_length_mm / self.aperture_mm


@dataclass(frozen=True, slots=True)
class Grain:
    """A grain of dust: its size, its distance before the sensor, its place, and the layer it sits on.

    x_mm, y_mm: from the middle of the sensor, or for the layer 'tube' from the axis of the telescope.
    filter: the only filter this grain sits on (layer 'filter').
    """

    size_mm: float
    distance_mm: float
    x_mm: float
    y_mm: float
    layer: Layer = "window"
    filter: str | None = None


@dataclass(frozen=True, slots=True)
class Train:
    """A telescope with a camera on it: dust, and how far the camera is turned in its seat (degrees).

    axis_mm: where the axis the camera turns about meets the sensor, which need not be the sensor's middle.
    """

    telescope: Telescope
    grains: tuple[Grain, ...] = ()
    angle_deg: float = 0.0
    axis_mm: tuple[float, float] = (0.0, 0.0)


def cos4(angle_deg: float) -> float:
    """Natural vignetting: the illumination at a field angle, over that on the axis."""
    return float(np.cos(np.radians(angle_deg)) ** 4)


def shadow_diameter_mm(distance_mm: float, focal_ratio: float) -> float:
    """Diameter of the blur a point at this distance before the sensor makes, d/N (similar triangles)."""
    return distance_mm / focal_ratio


def unvignetted_diameter_mm(telescope: Telescope, field_radius_mm: float) -> float:
    """The least clear diameter at the stop that lets every ray through to a field of this radius.

    d/N + 2 r (1 - d/f) (similar triangles; the beam narrows from the aperture to a point on the sensor).
    """
    d, f = telescope.stop_distance_mm, telescope.focal_length_mm
    return d / telescope.focal_ratio + 2.0 * field_radius_mm * (1.0 - d / f)


@lru_cache(maxsize=64)
def transmission(camera: Camera, train: Train, filter_: str | None) -> Plane:
    """Share of the light on the axis that reaches each pixel, shape (height, width), at most 1."""
    x, y = pixel_places_mm(camera)
    tube_x, tube_y = _turned(train, x, y)
    result = vignetting(train.telescope, tube_x, tube_y)
    for grain in train.grains:
        if grain.layer == "filter" and grain.filter is not None and grain.filter != filter_:
            continue
        across, down = (tube_x, tube_y) if grain.layer == "tube" else (x, y)
        result = result * (1.0 - shadow(train.telescope, grain, across, down))
    result.setflags(write=False)
    return result


def pixel_places_mm(camera: Camera) -> tuple[Plane, Plane]:
    """Where each pixel lies, in mm right of and below the sensor's middle."""
    pitch = camera.pixel_um * 1e-3
    x = (np.arange(camera.width) - (camera.width - 1) / 2) * pitch
    y = (np.arange(camera.height) - (camera.height - 1) / 2) * pitch
    across, down = np.meshgrid(x, y)
    return across, down


def _turned(train: Train, x: Plane, y: Plane) -> tuple[Plane, Plane]:
    """The same places as seen from the telescope, which stays while the camera turns about the axis."""
    angle = np.radians(train.angle_deg)
    u, v = x - train.axis_mm[0], y - train.axis_mm[1]
    return u * np.cos(angle) - v * np.sin(angle), u * np.sin(angle) + v * np.cos(angle)


def vignetting(telescope: Telescope, x_mm: Plane, y_mm: Plane) -> Plane:
    """cos^4 of the field angle, times the share of the beam that the stop lets through."""
    natural = np.cos(np.arctan(np.hypot(x_mm, y_mm) / telescope.focal_length_mm)) ** 4
    lever = 1.0 - telescope.stop_distance_mm / telescope.focal_length_mm
    apart = np.hypot(x_mm * lever - telescope.stop_offset_mm[0], y_mm * lever - telescope.stop_offset_mm[1])
    beam = shadow_diameter_mm(telescope.stop_distance_mm, telescope.focal_ratio) / 2
    stop = telescope.stop_diameter_mm / 2
    outer = _overlap(apart, beam, stop)
    hole = telescope.obstruction * beam
    inner = _overlap(apart, hole, stop) if hole > 0 else np.zeros_like(apart)
    open_area = np.pi * (beam**2 - hole**2)
    through: Plane = natural * (outer - inner) / open_area
    return through


def _overlap(apart: Plane, a: float, b: float) -> Plane:
    """Area shared by two circles of radii a and b with their centres this far apart."""
    d = np.clip(apart, abs(a - b) + 1e-12, a + b - 1e-12)
    first = a**2 * np.arccos(np.clip((d**2 + a**2 - b**2) / (2 * d * a), -1, 1))
    second = b**2 * np.arccos(np.clip((d**2 + b**2 - a**2) / (2 * d * b), -1, 1))
    kite = 0.5 * np.sqrt(np.maximum((-d + a + b) * (d + a - b) * (d - a + b) * (d + a + b), 0.0))
    area = first + second - kite
    area = np.where(apart <= abs(a - b), np.pi * min(a, b) ** 2, area)
    result: Plane = np.where(apart >= a + b, 0.0, area)
    return result


def shadow(telescope: Telescope, grain: Grain, x_mm: Plane, y_mm: Plane) -> Plane:
    """Share of each pixel's light that a grain holds back: a disc d/N wide, a ring where there is an obstruction.

    The grain blocks its own area out of the beam's at that distance, so its depth is (grain/shadow)^2 over the open
    part of the beam; the rim is as soft as the grain is wide.
    """
    outer = shadow_diameter_mm(grain.distance_mm, telescope.focal_ratio)
    inner = telescope.obstruction * outer
    depth = min(1.0, (grain.size_mm / outer) ** 2 / (1.0 - telescope.obstruction**2))
    away = np.hypot(x_mm - grain.x_mm, y_mm - grain.y_mm)
    within = np.clip((outer / 2 - away) / grain.size_mm + 0.5, 0.0, 1.0)
    beyond = np.clip((away - inner / 2) / grain.size_mm + 0.5, 0.0, 1.0) if inner > 0 else 1.0
    result: Plane = depth * within * beyond
    return result
