"""The invented cameras, telescopes and skies of the scenario. None of them exists."""

from darklib.scenario.camera import BiasStructure, Camera, DarkLaw, Readout
from darklib.scenario.optics import Grain, Telescope
from darklib.scenario.sky import Rates

SITE_ZONE = "Etc/GMT+1"
"""The site lies on an invented island; its clocks are one hour behind UTC all year (the sign is POSIX's)."""
SITE_LATITUDE, SITE_LONGITUDE, SITE_HEIGHT_M = "+47 30 00", "-20 15 00", 85.0

REFRACTOR = Telescope("Harrowfen 90/540", 540.0, 90.0, 0.0, 70.0, 18.0, (0.5, -0.3))
NEWTONIAN = Telescope("Thrannet 150/600", 600.0, 150.0, 0.42, 80.0, 23.5, (-0.4, 0.5))

REFRACTOR_DUST = (
    Grain(0.14, 6.0, -2.9, 1.4, "window"),
    Grain(0.18, 7.0, 3.6, -2.2, "window"),
    Grain(0.55, 24.0, 1.2, 1.9, "filter", "L"),
    Grain(0.50, 24.0, -3.8, -1.5, "filter", "R"),
    Grain(0.60, 24.0, 2.6, -0.4, "filter", "H-alpha"),
    Grain(0.80, 32.0, 3.0, 1.8, "tube"),
)
NEWTONIAN_DUST = (
    Grain(0.10, 2.4, 1.6, -1.1, "window"),
    Grain(0.12, 2.4, -2.2, 0.8, "window"),
    Grain(0.50, 14.0, -0.6, -1.3, "tube"),
)

COOLED_GAIN = 100
FAST_ISO, SLOW_ISO = 1600, 800


def cooled_camera(seed: int, width: int = 480, height: int = 320) -> Camera:
    """A cooled mono camera that writes FITS: 14 bits shifted to 16, so that every value is a multiple of 4."""
    return Camera(
        make="Ostrell",
        model="Ostrell CM-16",
        serial="CM16-0417",
        width=width,
        height=height,
        readouts=(
            Readout(0, 0.80, 3.6, 800.0, 50),
            Readout(COOLED_GAIN, 0.25, 1.7, 800.0, 50),
        ),
        dark=DarkLaw(0.05, 6.0, 0.35, 0.002, 0.5, 1.3),
        bits=14,
        dn_step=4,
        full_well_e=52_000.0,
        bias=BiasStructure(0.3, 0.4, 1.5),
        glow_e_per_s=0.01,
        pixel_um=24.0,
        seed=seed,
    )


def raw_camera(seed: int, serial: str, width: int = 400, height: int = 300) -> Camera:
    """An uncooled one-shot-colour body that writes raw files and holds its black level on the chip."""
    return Camera(
        make="Pellwick",
        model="Pellwick P4",
        serial=serial,
        width=width,
        height=height,
        readouts=(
            Readout(FAST_ISO, 0.25, 2.6, 512.0),
            Readout(SLOW_ISO, 0.50, 3.1, 512.0),
        ),
        dark=DarkLaw(0.10, 6.0, 0.30, 0.005, 0.8, 1.25),
        cfa="RGGB",
        bits=14,
        dn_step=1,
        full_well_e=48_000.0,
        bias=BiasStructure(0.4, 0.6, 1.0),
        level_held_on_chip=True,
        pixel_um=18.0,
        seed=seed,
    )


FIRST_BODY, SECOND_BODY = "P4-200117", "P4-200236"

SKY_RATES: dict[str, Rates] = {
    "L": (("L", 4.0),),
    "R": (("L", 1.4),),
    "G": (("L", 1.3),),
    "B": (("L", 1.1),),
    "H-alpha": (("L", 0.15),),
    "": (("R", 3.2), ("G", 5.5), ("B", 3.8)),
}
"""Brightness of the sky background by filter; '' is a one-shot-colour camera without a filter wheel."""

STAR_SHARES = {"L": 1.0, "R": 0.34, "G": 0.36, "B": 0.30, "H-alpha": 0.04, "": 0.6}
PANEL_COLOURS: Rates = (("R", 0.62), ("G", 1.0), ("B", 0.70), ("L", 1.0))
