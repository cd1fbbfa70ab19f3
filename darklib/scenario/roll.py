"""Frames shot one after the other: the same settings, the clock moving on, the temperature drifting."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from zlib import crc32

import numpy as np

from darklib.facts.frame import Kind
from darklib.facts.night import night_of
from darklib.scenario.camera import Camera
from darklib.scenario.cast import SITE_ZONE
from darklib.scenario.files import ScenarioFile, Truth
from darklib.scenario.fits_shot import fits_shot
from darklib.scenario.optics import Train
from darklib.scenario.raw_shot import raw_shot
from darklib.scenario.shot import Shot
from darklib.scenario.sky import Pointing

WARMER_THAN_AIR_C = 6.0
"""An uncooled sensor at work is some degrees warmer than the air about the camera."""


@dataclass(frozen=True, slots=True)
class Roll:
    """One series of frames.

    first_c and last_c: sensor temperature at its ends (a cooled sensor holds still: equal); first_number: of the file
    names; flip_after: lights after this one are taken on the other side of the pier, the field turned by 180 degrees.
    path: names the files, given their number.
    """

    group: str
    kind: Kind
    camera: Camera
    setting: int
    exposure_s: float
    count: int
    start: datetime
    first_c: float
    last_c: float
    path: Callable[[int], str]
    first_number: int = 1
    train: Train | None = None
    filter: str | None = None
    target: str | None = None
    flip_after: int | None = None
    pause_s: float = 6.0
    nebula_e_per_s: float = 0.0

    def end(self) -> datetime:
        """When the last frame has been read out."""
        return self.start + self.count * timedelta(seconds=self.exposure_s + self.pause_s)

    def shots(self, seed: int) -> tuple[Shot, ...]:
        """Every press of the shutter, in order."""
        rng = np.random.default_rng([seed, crc32(self.group.encode("utf-8"))])
        drift = np.linspace(self.first_c, self.last_c, self.count)
        return tuple(self._shot(index, float(drift[index]), rng, seed) for index in range(self.count))

    def files(self, seed: int) -> tuple[ScenarioFile, ...]:
        """The frames as files: FITS from a mono camera, raw from a colour one."""
        return tuple(
            frame_file(self.path(self.first_number + index), shot, self.group)
            for index, shot in enumerate(self.shots(seed))
        )

    def _shot(self, index: int, temperature_c: float, rng: np.random.Generator, seed: int) -> Shot:
        dx, dy, wobble = rng.normal(0.0, (6.0, 6.0, 0.06))
        cooled = self.camera.cfa is None
        flipped = self.flip_after is not None and index >= self.flip_after
        light = self.kind is Kind.LIGHT
        start = self.start + index * timedelta(seconds=self.exposure_s + self.pause_s)
        return Shot(
            kind=self.kind,
            camera=self.camera,
            setting=self.setting,
            exposure_s=self.exposure_s,
            temperature_c=round(temperature_c + float(wobble), 2),
            taken_at=start,
            seed=seed,
            train=self.train,
            filter=self.filter,
            target=self.target,
            pointing=Pointing(float(dx), float(dy), 180.0 if flipped else 0.0) if light else Pointing(),
            set_temperature_c=self.first_c if cooled else None,
            pier_side=("west" if flipped else "east") if light and cooled else None,
            focuser_position=14_200 + int(rng.integers(-6, 7)) if self.train is not None and cooled else None,
            nebula_e_per_s=self.nebula_e_per_s,
        )


def frame_file(path: str, shot: Shot, group: str) -> ScenarioFile:
    """One shot as a file of the kind its camera writes, with the truth about it."""
    make = partial(fits_shot, shot) if shot.camera.cfa is None else partial(raw_shot, shot, ambient_c=_air(shot))
    truth = Truth(
        kind=shot.kind,
        make=shot.camera.make,
        model=shot.camera.model,
        body_serial=shot.camera.serial,
        exposure_s=shot.exposure_s,
        temperature_c=shot.temperature_c,
        setting=shot.setting,
        filter=shot.filter,
        target=shot.target,
        night=night_of(shot.taken_at, SITE_ZONE),
        taken_at=shot.taken_at,
        angle_deg=None if shot.train is None else shot.train.angle_deg,
        flipped=shot.pointing.turned_deg != 0.0,
        group=group,
    )
    return ScenarioFile(path, make, truth, shot.taken_at + timedelta(seconds=shot.exposure_s + 1), "stored", shot)


def _air(shot: Shot) -> float | None:
    """The raw bodies measure the air only out of doors, where a thermometer in the grip has time to follow."""
    return None if shot.train is None else round(shot.temperature_c - WARMER_THAN_AIR_C)
