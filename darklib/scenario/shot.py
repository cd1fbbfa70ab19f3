"""One press of the shutter, with everything that decides how the frame comes out; and the frame itself."""

from dataclasses import dataclass
from datetime import datetime
from zlib import crc32

import numpy as np
import numpy.typing as npt

from darklib.facts.frame import Kind
from darklib.scenario.camera import Camera
from darklib.scenario.cast import PANEL_COLOURS, SKY_RATES, STAR_SHARES
from darklib.scenario.optics import Train
from darklib.scenario.pattern import Plane
from darklib.scenario.sky import Pointing, Sky, light_from_panel, light_from_sky, light_leak

FLAT_LEVEL = 0.5
"""Flats are lit so that the brightest colour, on the axis, comes to this share of the range."""
STRAIGHT = Pointing()


@dataclass(frozen=True, slots=True)
class Shot:
    """temperature_c is the sensor's; taken_at the start of the exposure, with its zone; setting is the gain or ISO.

    leak_e_per_s: light past a loose cap. seed: of this frame's noise, together with its instant and its camera.
    """

    kind: Kind
    camera: Camera
    setting: int
    exposure_s: float
    temperature_c: float
    taken_at: datetime
    seed: int
    train: Train | None = None
    filter: str | None = None
    target: str | None = None
    pointing: Pointing = STRAIGHT
    set_temperature_c: float | None = None
    pier_side: str | None = None
    focuser_position: int | None = None
    leak_e_per_s: float = 0.0
    nebula_e_per_s: float = 0.0
    level: float = FLAT_LEVEL

    def expose(self) -> npt.NDArray[np.uint16]:
        """The frame, uint16 of shape (height, width); the same every time."""
        identity = f"{self.camera.serial} {self.taken_at.isoformat()}"
        rng = np.random.default_rng([self.seed, crc32(identity.encode("utf-8"))])
        return self.camera.expose(self.exposure_s, self.temperature_c, self.setting, rng, self._light())

    def _light(self) -> Plane | None:
        if self.kind in (Kind.DARK, Kind.BIAS):
            return light_leak(self.camera, self.leak_e_per_s) if self.leak_e_per_s else None
        if self.train is None:
            raise ValueError("a light or flat needs a train")
        name = self.filter or ""
        if self.kind is Kind.FLAT:
            readout = self.camera.readout(self.setting)
            room_e = (self.camera.white_dn - readout.offset_dn) * readout.gain_e_per_dn
            rate = self.level * min(room_e, self.camera.full_well_e) / self.exposure_s
            letters = set(self.camera.cfa or "L")
            rates = tuple((letter, share * rate) for letter, share in PANEL_COLOURS if letter in letters)
            return light_from_panel(self.camera, self.train, rates, self.filter)
        sky = Sky(
            target=self.target or "nowhere",
            rate_e_per_s=SKY_RATES[name],
            star_share=STAR_SHARES[name],
            nebula_e_per_s=self.nebula_e_per_s,
            seed=self.camera.seed,
        )
        return light_from_sky(self.camera, self.train, sky, self.filter, self.pointing)
