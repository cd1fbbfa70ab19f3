"""The least that can be matched: one dark, one flat and one light of one cooled camera."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial

from darklib.facts.frame import Kind
from darklib.scenario.cast import COOLED_GAIN, REFRACTOR, REFRACTOR_DUST, cooled_camera
from darklib.scenario.fits_shot import fits_shot
from darklib.scenario.optics import Train
from darklib.scenario.shot import Shot


@dataclass(frozen=True, slots=True)
class TrioFile:
    """A file name, and how to make its bytes."""

    name: str
    make: Callable[[], bytes]


def trio_shots(seed: int = 20261003, width: int = 96, height: int = 64) -> tuple[Shot, Shot, Shot]:
    """A dark of 300 s at -10 degrees C, a flat and a light of 300 s at -10 degrees C, filter L."""
    camera = cooled_camera(seed, width, height)
    train = Train(REFRACTOR, REFRACTOR_DUST)
    dark = Shot(
        Kind.DARK, camera, COOLED_GAIN, 300.0, -10.0, datetime(2026, 9, 6, 21, 0, tzinfo=UTC), seed,
        set_temperature_c=-10.0,
    )  # fmt: skip
    flat = Shot(
        Kind.FLAT, camera, COOLED_GAIN, 2.0, -10.0, datetime(2026, 9, 13, 7, 30, tzinfo=UTC), seed,
        train, "L", set_temperature_c=-10.0,
    )  # fmt: skip
    light = Shot(
        Kind.LIGHT, camera, COOLED_GAIN, 300.0, -10.0, datetime(2026, 9, 12, 23, 0, tzinfo=UTC), seed,
        train, "L", "NGC 7331", set_temperature_c=-10.0,
    )  # fmt: skip
    return dark, flat, light


def trio(seed: int = 20261003) -> tuple[TrioFile, TrioFile, TrioFile]:
    """The three as files: `dark_300s.fits`, `flat_L.fits`, `NGC7331_L_001.fits`."""
    names = ("dark_300s.fits", "flat_L.fits", "NGC7331_L_001.fits")
    shots = trio_shots(seed)
    first, second, third = (TrioFile(name, partial(fits_shot, shot)) for name, shot in zip(names, shots, strict=True))
    return first, second, third
