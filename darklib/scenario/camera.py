"""An invented camera: what it is made of, and how it turns light, heat and time into numbers."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from darklib.scenario.pattern import Plane, fixed_pattern


@dataclass(frozen=True, slots=True)
class Readout:
    """One gain or ISO setting: what the user sets, and what it does.

    setting: the number on the dial; gain_e_per_dn: electrons for one DN *as written*; read_noise_e: standard
    deviation of one reading; offset_dn: level of zero electrons, as written; offset_setting: what the header says.
    """

    setting: int
    gain_e_per_dn: float
    read_noise_e: float
    offset_dn: float
    offset_setting: int | None = None


@dataclass(frozen=True, slots=True)
class DarkLaw:
    """Dark current: median rate at 0 degrees C and its doubling; width of the lognormal; the hot pixels apart."""

    median_at_zero_e_per_s: float
    doubling_c: float = 6.0
    spread: float = 0.3
    hot_fraction: float = 0.002
    hot_least_at_zero_e_per_s: float = 0.5
    hot_shape: float = 1.3
    hot_doubling_c: float = 7.0
    hot_doubling_scatter: float = 0.10


@dataclass(frozen=True, slots=True)
class BiasStructure:
    """Fixed structure of a bias in electrons: scatter of rows, of columns, and a gradient corner to corner."""

    rows_e: float = 0.5
    columns_e: float = 0.7
    gradient_e: float = 2.0


USUAL_STRUCTURE = BiasStructure()


@dataclass(frozen=True, slots=True)
class Camera:
    """One physical camera. Frames have shape (height, width).

    cfa: None for mono, else the repeat pattern row by row ('RGGB', or 36 letters for 6 by 6).
    bits: of the converter; dn_step: the converter's steps are written times this (14 bits shifted to 16: 4).
    level_held_on_chip: the camera subtracts the median dark level itself, so that only noise and hot pixels grow.
    pixel_um: pixel size. cosmic_rays_per_cm2_s: sea level muons, about 1 a minute and square centimetre.
    """

    make: str
    model: str
    serial: str
    width: int
    height: int
    readouts: tuple[Readout, ...]
    dark: DarkLaw
    cfa: str | None = None
    bits: int = 14
    dn_step: int = 1
    full_well_e: float = 50_000.0
    bias: BiasStructure = USUAL_STRUCTURE
    nonuniformity: float = 0.01
    level_held_on_chip: bool = False
    glow_e_per_s: float = 0.0
    pixel_um: float = 20.0
    cosmic_rays_per_cm2_s: float = 1.0 / 60.0
    seed: int = 0

    @property
    def white_dn(self) -> int:
        """The highest number this camera writes."""
        return ((1 << self.bits) - 1) * self.dn_step

    def readout(self, setting: int) -> Readout:
        """The readout of one gain or ISO setting; KeyError where this camera has none."""
        for readout in self.readouts:
            if readout.setting == setting:
                return readout
        raise KeyError(setting)

    def colour_planes(self) -> npt.NDArray[np.str_]:
        """The letter of every pixel's colour, shape (height, width); 'L' everywhere for mono."""
        letters = self.cfa or "L"
        side = {1: 1, 4: 2, 36: 6}[len(letters)]
        cell = np.array(list(letters)).reshape(side, side)
        rows, columns = -(-self.height // side), -(-self.width // side)
        tiled: npt.NDArray[np.str_] = np.tile(cell, (rows, columns))[: self.height, : self.width]
        return tiled

    def expose(
        self,
        exposure_s: float,
        temperature_c: float,
        setting: int,
        rng: np.random.Generator,
        light_e_per_s: Plane | None = None,
    ) -> npt.NDArray[np.uint16]:
        """One frame as the camera writes it, uint16 of shape (height, width).

        light_e_per_s: electrons a second that light brings to each pixel of perfect response; None with the cap on.
        Electrons from light, heat and glow are Poisson, held back by the full well; then come read noise, the
        fixed bias structure, the offset, the converter's rounding and its limits.
        """
        readout = self.readout(setting)
        pattern = fixed_pattern(self)
        dark_e = pattern.dark_rate(temperature_c) * exposure_s
        expected_e = dark_e + pattern.glow_e_per_s * exposure_s
        if light_e_per_s is not None:
            expected_e = expected_e + np.maximum(light_e_per_s, 0.0) * pattern.response * exposure_s
        # Whole millionths (2^-20): exp and power differ in their last bit from one processor to the next, and a frame
        # should come out the same on all of them.
        electrons = rng.poisson(np.rint(expected_e * 2.0**20) * 2.0**-20).astype(np.float64)
        self._add_cosmic_rays(electrons, exposure_s, rng)
        np.minimum(electrons, self.full_well_e, out=electrons)
        electrons += readout.read_noise_e * rng.standard_normal(electrons.shape)
        electrons += pattern.bias_e
        if self.level_held_on_chip:
            electrons -= float(np.median(dark_e))
        steps = np.rint((electrons / readout.gain_e_per_dn + readout.offset_dn) / self.dn_step)
        np.clip(steps, 0, self.white_dn // self.dn_step, out=steps)
        return (steps * self.dn_step).astype(np.uint16)

    def _add_cosmic_rays(self, electrons: Plane, exposure_s: float, rng: np.random.Generator) -> None:
        """Short straight tracks of a few thousand electrons, where muons crossed the silicon."""
        area_cm2 = self.width * self.height * (self.pixel_um * 1e-4) ** 2
        for _ in range(int(rng.poisson(self.cosmic_rays_per_cm2_s * area_cm2 * exposure_s))):
            row, column, angle = rng.random(3) * (self.height, self.width, 2 * np.pi)
            length = 1 + int(rng.exponential(1.5))
            along = np.arange(length)
            rows = (row + along * np.sin(angle)).astype(int) % self.height
            columns = (column + along * np.cos(angle)).astype(int) % self.width
            electrons[rows, columns] += rng.gamma(4.0, 300.0, length)
