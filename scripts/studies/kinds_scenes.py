"""Series of frames under random circumstances, for the study of the kinds, with the truth about what they show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from darklib.facts.frame import FrameFacts, Kind
from darklib.scenario.sky import add_star
from scripts.studies.kinds_sensors import Plane, Sensor, log_between, sensor

FRAMES = 10
START = datetime(2026, 2, 3, 19, tzinfo=UTC)
STAR_SEEN, SKY_SEEN = 5.0, 3.0
"""Standard deviations of a pixel: a light without a star or a sky above these shows nothing."""

SORTS: dict[str, tuple[Kind | None, str, float]] = {
    "narrowband": (Kind.LIGHT, "narrow band, dark sky, under 30 stars", 0.151),
    "warm_dark": (Kind.DARK, "warm dark, glow, over 1 % hot pixels", 0.151),
    "undersampled": (Kind.LIGHT, "short focus, stars under 1.5 px", 0.151),
    "dark_flat": (Kind.DARK, "dark flat, 0.5 to 10 s", 0.151),
    "cap_on": (None, "light with the cap on", 0.18),
    "light": (Kind.LIGHT, "", 0.05),
    "nebula": (Kind.LIGHT, "", 0.02),
    "dew_or_cloud": (Kind.LIGHT, "", 0.02),
    "panel_flat": (Kind.FLAT, "", 0.045),
    "twilight_flat": (Kind.FLAT, "", 0.04),
    "leak": (None, "", 0.022),
    "bias": (Kind.BIAS, "", 0.01),
    "dark": (Kind.DARK, "", 0.009),
}
"""Sort: what it is in truth, the corner it fills, its share of the corpus. Of some series with the cap on it comes
off on the way."""


@dataclass(frozen=True)
class Shown:
    """One frame and the truth: star_sigma: the highest star, sky_sigma: the sky, in standard deviations of a pixel."""

    sort: str
    series: int
    facts: FrameFacts
    data: NDArray[np.uint16]
    family: str
    star_sigma: float
    sky_sigma: float
    capped: bool

    @property
    def empty(self) -> bool:
        """A light or a leak that shows neither star nor sky: nobody can tell it from a dark."""
        return self.star_sigma < STAR_SEEN and self.sky_sigma < SKY_SEEN


@dataclass
class Circumstance:
    """What one series is shot under; electrons a pixel and frame."""

    exposure_s: float
    dark: float
    hot: float
    glow: float
    sky: float = 0.0
    stars: int = 0
    faintest: float = 0.0
    slope: float = 1.0
    fwhm: float = 2.0
    gradient: float = 0.0
    nebula: float = 0.0
    leak: float = 0.0
    sky_step: float = 0.0
    dew: bool = False
    warming: float = 0.0


def series_of(number: int, seed: int, share: float) -> Iterator[Shown]:
    """The frames of one series of the corpus. share: a number from 0 to 1, evenly spread over the series; its sort."""
    rng = np.random.default_rng([seed, number])
    sort = _sort_at(share)
    warm = sort == "warm_dark" or (sort in ("cap_on", "narrowband", "leak") and rng.random() < 0.35)
    camera = sensor(rng, many_hot=warm or rng.random() < 0.05, strong_glow=sort == "warm_dark")
    scene = _circumstance(sort, camera, rng, warm)
    field = _field(rng, camera, scene)
    ahead = int(rng.integers(3, 9)) if sort == "cap_on" and camera.family == "raw" else FRAMES
    taken, levels = START, np.exp(np.cumsum(rng.normal(0, scene.sky_step, FRAMES)) if scene.sky_step else np.zeros(10))
    aimed = sort in ("narrowband", "undersampled", "light", "nebula", "dew_or_cloud", "cap_on")
    offset = np.cumsum(rng.normal(0, camera.drift, FRAMES))
    for frame in range(FRAMES):
        capped = sort == "cap_on" and frame < ahead
        now = replace(scene, sky=scene.sky * levels[frame], dark=scene.dark * (1 + scene.warming) ** frame)
        data, star_sigma, sky_sigma = _exposed(camera, now, field, frame, float(offset[frame]), rng, lit=not capped)
        facts = _facts(camera, scene, number, taken, named="Dumb Bell" if aimed and camera.family != "raw" else None)
        yield Shown(sort, number, facts, data, camera.family, star_sigma, sky_sigma, capped)
        taken += timedelta(seconds=scene.exposure_s + float(rng.uniform(0.5, 8.0)))


def _sort_at(share: float) -> str:
    for sort, (_, _, part) in SORTS.items():
        share -= part
        if share < 0:
            return sort
    return sort


def _circumstance(sort: str, camera: Sensor, rng: np.random.Generator, warm: bool) -> Circumstance:
    noise = camera.read_noise
    exposure = {
        "bias": log_between(rng, 1 / 8000, 1 / 1000),
        "dark_flat": log_between(rng, 0.5, 10.0),
        "panel_flat": log_between(rng, 0.001, 20.0),
        "twilight_flat": log_between(rng, 0.02, 25.0),
        "undersampled": log_between(rng, 5.0, 300.0),
    }.get(sort) or log_between(rng, 20.0, 1200.0)
    short = sort in ("bias", "dark_flat", "panel_flat", "twilight_flat")
    dark = noise**2 * (log_between(rng, 0.6, 40.0) if warm else log_between(rng, 1e-3, 0.5))
    if short:
        dark = noise**2 * log_between(rng, 1e-5, 0.1)
    floor = float(np.sqrt(noise**2 + dark + (camera.e_per_dn * camera.step) ** 2 / 12))
    uneven = float(np.median(np.abs(camera.dark - 1))) * 1.4826 * dark
    plain = float(np.hypot(floor, uneven))
    hot = plain * (log_between(rng, 6.0, 30.0) if warm else log_between(rng, 0.03 if short else 0.5, 6.0))
    glow = plain * (log_between(rng, 4.0, 300.0) if warm else log_between(rng, 0.02 if short else 0.2, 20.0))
    if sort == "bias":
        hot, glow, dark = 0.02 * hot, 0.02 * glow, 0.0
    warming = float(rng.uniform(0, 0.02)) if camera.family == "raw" else float(rng.normal(0, 0.001))
    scene = Circumstance(exposure, dark, hot, glow, warming=warming)
    if sort in ("panel_flat", "twilight_flat"):
        scene.sky = camera.room * rng.uniform(0.1, 0.85)
        scene.gradient = rng.uniform(0, 0.04)
        scene.sky_step = 0.002
        if sort == "twilight_flat":
            scene.sky = camera.room * rng.uniform(0.1, 0.75)
            scene.sky_step = log_between(rng, 0.01, 0.12)
            scene.stars, scene.faintest = int(rng.integers(0, 60)), 1.0
            scene.slope, scene.fwhm = rng.uniform(1.0, 1.5), rng.uniform(1.2, 5.0)
    elif sort == "leak":
        scene.leak = plain * log_between(rng, 4.0, 300.0)
    elif sort not in ("bias", "dark", "warm_dark", "dark_flat"):
        _sky_over(scene, sort, camera, plain, rng)
    return scene


def _sky_over(scene: Circumstance, sort: str, camera: Sensor, plain: float, rng: np.random.Generator) -> None:
    scene.sky = min(plain * log_between(rng, 0.3, 80.0), 0.5 * camera.room)
    scene.gradient = rng.uniform(0, 0.2)
    scene.sky_step = log_between(rng, 0.001, 0.02)
    scene.slope, scene.fwhm = rng.uniform(0.6, 1.3), log_between(rng, 1.8, 7.0)
    seen = log_between(rng, 8, 600)
    if sort == "narrowband" or (sort == "cap_on" and rng.random() < 0.5):
        scene.sky, seen = plain * log_between(rng, 0.03, 3.0), log_between(rng, 1, 29)
    elif sort == "undersampled":
        scene.fwhm, seen = rng.uniform(0.8, 1.5), log_between(rng, 25, 500)
    elif sort == "nebula":
        scene.nebula = rng.uniform(0.3, 4.0)
    elif sort == "dew_or_cloud":
        scene.sky = min(plain * log_between(rng, 3.0, 80.0), 0.5 * camera.room)
        scene.dew = bool(rng.random() < 0.6)
        scene.sky_step = 0.01 if scene.dew else log_between(rng, 0.02, 0.3)
        seen = log_between(rng, 10, 200) if scene.dew else log_between(rng, 0.1, 5)
    # The count of stars goes on below what can be seen, as it does in the sky.
    scene.faintest = 1.0
    scene.stars = min(int(rng.poisson(seen * STAR_SEEN**scene.slope)), 1500)


def _field(rng: np.random.Generator, camera: Sensor, scene: Circumstance) -> dict[str, Any]:
    """What does not change during a series: stars, nebula, colours, the place of a leak."""
    peaks = scene.faintest * rng.random(scene.stars) ** (-1.0 / scene.slope)
    colours = {"R": rng.uniform(0.3, 0.9), "G": 1.0, "B": rng.uniform(0.3, 0.9), "L": 1.0}
    if rng.random() < 0.2:
        # a narrow-band filter before a colour sensor
        colours = {"R": 1.0, "G": rng.uniform(0.05, 0.5), "B": rng.uniform(0.02, 0.4), "L": 1.0}
    filters = np.ones((camera.height, camera.width), np.float32)
    if camera.cfa is not None:
        for letter, factor in colours.items():
            filters[camera.letters == ord(letter)] = factor
    y = np.linspace(-1, 1, camera.height, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, camera.width, dtype=np.float32)[None, :]
    clouds = np.zeros((camera.height, camera.width), np.float32)
    if scene.nebula:
        for _ in range(5):
            at, width = rng.uniform(-1.2, 1.2, 2), rng.uniform(0.1, 0.9)
            clouds += rng.random() * np.exp(-0.5 * ((y - at[0]) ** 2 + (x - at[1]) ** 2) / width**2).astype(np.float32)
        clouds /= clouds.max()
    turn = rng.uniform(0, 2 * np.pi)
    slope = (y * np.sin(turn) + x * np.cos(turn)).astype(np.float32)
    from_side = np.exp(-(1 - slope) / rng.uniform(0.25, 2.5)).astype(np.float32)
    return {
        "places": rng.random((2, scene.stars)),
        "peaks": np.minimum(peaks, 1e4),
        "filters": filters,
        "clouds": clouds,
        "slope": slope,
        "from_side": from_side,
        "dither": float(rng.choice((0.3, 4.0))),
    }


def _exposed(
    camera: Sensor, scene: Circumstance, field: dict[str, Any], frame: int, offset: float, rng: np.random.Generator,
    *, lit: bool,
) -> tuple[NDArray[np.uint16], float, float]:  # fmt: skip
    shape = (camera.height, camera.width)
    unlit = scene.dark * camera.dark + scene.hot * camera.hot + scene.glow * camera.glow
    floor = float(np.sqrt(camera.read_noise**2 + scene.dark + (camera.e_per_dn * camera.step) ** 2 / 12))
    uneven = 1.4826 * float(np.median(np.abs(camera.dark[::3, ::3] - 1))) * scene.dark
    expected, star_sigma, sky_sigma = unlit, 0.0, 0.0
    if lit and (scene.sky or scene.leak):
        sky, stars = _light(camera, scene, field, frame, rng, float(np.sqrt(floor**2 + uneven**2 + scene.sky)))
        sigma = np.sqrt(floor**2 + uneven**2 + sky)
        star_sigma = float((stars / sigma).max()) if scene.stars else 0.0
        brightest = field["filters"] >= field["filters"].max()
        sky_sigma = float(np.median((sky / sigma)[brightest]))
        if scene.leak:
            sky_sigma = float(np.quantile((sky / sigma)[brightest], 0.9))
        expected = unlit + (sky + stars) * camera.response
    electrons = rng.poisson(np.minimum(expected, 1e7)).astype(np.float32)
    _cosmic_rays(electrons, camera, scene.exposure_s, rng)
    if camera.family == "ccd":
        _bleed(electrons, camera.full_well)
    np.minimum(electrons, np.float32(camera.full_well), out=electrons)
    _coupled(electrons, camera.coupling)
    electrons += np.float32(camera.read_noise) * rng.standard_normal(shape, dtype=np.float32)
    electrons += camera.bias
    if camera.banding:
        electrons += np.float32(camera.banding) * rng.standard_normal((shape[0], 1), dtype=np.float32)
    electrons.ravel()[camera.blinking] += camera.read_noise * rng.choice((0.0, -4.0, 4.0), camera.blinking.size)
    if camera.held:
        electrons -= scene.dark
    steps = np.rint(((electrons + offset) / camera.e_per_dn + camera.black_dn) / camera.step)
    np.clip(steps, 0, (1 << camera.bits) - 1, out=steps)
    return (steps * camera.step).astype(np.uint16), star_sigma, sky_sigma


def _light(
    camera: Sensor, scene: Circumstance, field: dict[str, Any], frame: int, rng: np.random.Generator, sigma: float
) -> tuple[Plane, Plane]:
    """Electrons of the sky, and of the stars, at every pixel."""
    filters = field["filters"]
    if scene.leak:
        return scene.leak * field["from_side"] * filters, np.zeros_like(filters)
    sky = scene.sky * (1 + scene.gradient / 2 * field["slope"]) * (1 + scene.nebula * field["clouds"])
    stars = np.zeros((camera.height, camera.width))
    clearness, fwhm = 1.0, scene.fwhm
    if scene.dew:
        clearness, fwhm = 0.75**frame, scene.fwhm * 1.12**frame
    share = _middle_share(scene.fwhm)
    dy, dx = rng.normal(0, field["dither"], 2)
    for (down, across), peak in zip(field["places"].T, field["peaks"], strict=True):
        flux = peak * sigma / share * clearness
        add_star(stars, across * camera.width + dx, down * camera.height + dy, float(flux), fwhm)
    through: Plane = filters * camera.way
    return (sky * through).astype(np.float32), (stars * through).astype(np.float32)


def _middle_share(fwhm: float) -> float:
    """Share of a star's light that falls on the pixel in whose middle it lies."""
    patch = np.zeros((31, 31))
    add_star(patch, 15.0, 15.0, 1.0, fwhm)
    return float(patch.max())


def _cosmic_rays(electrons: Plane, camera: Sensor, exposure_s: float, rng: np.random.Generator) -> None:
    """About one muon a minute and square centimetre; their tracks are longer in a thick sensor."""
    area = camera.height * camera.width * (camera.pixel_um * 1e-4) ** 2
    for _ in range(int(rng.poisson(area * exposure_s / 60.0))):
        y, x, turn = rng.uniform(0, camera.height), rng.uniform(0, camera.width), rng.uniform(0, 2 * np.pi)
        along = np.arange(0, rng.exponential(5.0 if camera.family == "ccd" else 2.0) + 0.5, 0.5)
        rows = np.clip(y + along * np.sin(turn), 0, camera.height - 1).astype(int)
        columns = np.clip(x + along * np.cos(turn), 0, camera.width - 1).astype(int)
        np.add.at(electrons, (rows, columns), rng.gamma(2.0, 120.0, along.size).astype(np.float32))


def _bleed(electrons: Plane, full_well: float) -> None:
    """Charge over the full well runs up and down its column until there is room for it."""
    rows, columns = np.nonzero(electrons > full_well)
    over = np.minimum(electrons[rows, columns], np.float32(20 * full_well)) - full_well
    half = np.minimum((over / full_well / 2).astype(int), 10)
    for step in range(1, int(half.max(initial=0)) + 1):
        far = half >= step
        for down in (rows[far] - step, rows[far] + step):
            inside = (down >= 0) & (down < electrons.shape[0])
            electrons[down[inside], columns[far][inside]] = full_well


def _coupled(electrons: Plane, share: float) -> None:
    """Each pixel shows a little of its four neighbours' signals (capacitive coupling)."""
    signal = np.float32(share) * electrons
    electrons *= np.float32(1 - 4 * share)
    electrons[1:] += signal[:-1]
    electrons[:-1] += signal[1:]
    electrons[:, 1:] += signal[:, :-1]
    electrons[:, :-1] += signal[:, 1:]


def _facts(camera: Sensor, scene: Circumstance, number: int, taken: datetime, named: str | None) -> FrameFacts:
    side = None if camera.cfa is None else round(len(camera.cfa) ** 0.5)
    return FrameFacts(
        format="dng" if camera.family == "raw" else "fits",
        model=f"Camera {number}",
        exposure_s=scene.exposure_s,
        width=camera.width,
        height=camera.height,
        cfa=camera.cfa,
        cfa_rows=side,
        cfa_columns=side,
        iso=800 if camera.family == "raw" else None,
        gain=None if camera.family == "raw" else 100.0,
        bits=camera.bits if camera.black_told else None,
        black_dn=camera.black_dn if camera.black_told else None,
        white_dn=float(camera.top_dn) if camera.black_told else None,
        e_per_dn=camera.e_per_dn if camera.e_per_dn_told else None,
        pixel_size_um=round(camera.pixel_um, 2) if camera.pixel_told else None,
        taken_at=taken,
        target=named,
    )
