"""Frames of random cameras under random skies, for tests of the kinds: independent of the scenario, and spread wider.

One number is one frame: `made(kind, seed)`. Electrons are drawn from Poisson's law; the truth about what could be seen
(the highest star and the sky over the noise) comes along.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from darklib.facts.frame import FrameFacts, Kind, PixelFacts
from darklib.pixels.measure import measure

XTRANS = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG"
SORTS = (
    "bias", "dark", "warm_dark", "dark_flat", "flat", "twilight_flat",
    "light", "narrowband", "undersampled", "short_light", "nebula", "cloudy", "cap_on", "leak",
)  # fmt: skip
TRUTH = {
    "bias": Kind.BIAS, "dark": Kind.DARK, "warm_dark": Kind.DARK, "dark_flat": Kind.DARK, "flat": Kind.FLAT,
    "twilight_flat": Kind.FLAT, "light": Kind.LIGHT, "narrowband": Kind.LIGHT, "undersampled": Kind.LIGHT,
    "short_light": Kind.LIGHT, "nebula": Kind.LIGHT, "cloudy": Kind.LIGHT, "cap_on": Kind.DARK, "leak": None,
}  # fmt: skip


@dataclass
class Sensor:
    height: int
    width: int
    cfa: str | None
    bits: int
    step: int
    e_per_dn: float
    read_noise_e: float
    black_dn: float
    held: bool
    full_well_e: float
    black_known: bool
    dark_rate: np.ndarray
    glow: np.ndarray
    bias_e: np.ndarray
    response: np.ndarray
    optics: np.ndarray
    colours: dict[str, float]
    letters: np.ndarray

    @property
    def white_dn(self) -> int:
        return ((1 << self.bits) - 1) * self.step


@dataclass
class Made:
    facts: FrameFacts
    data: np.ndarray
    sort: str
    truth: Kind | None
    star_sigma: float
    """Height of the highest star over the noise of a pixel."""
    sky_sigma: float
    spread_sigma: float
    """Height of the third brightest pixel round a star's highest one, of the star where it is greatest: what tells a
    star from a hot pixel. None of a star narrower than a pixel, or seen in one colour of a pattern only."""
    notes: dict = field(default_factory=dict)

    @property
    def hopeless(self) -> bool:
        """Nothing of the sky can be seen: neither a star above 5 sigma nor a sky above 3."""
        return self.star_sigma < 5.0 and self.sky_sigma < 3.0

    def pixels(self) -> PixelFacts:
        f = self.facts
        return measure(
            self.data, cfa=f.cfa, cfa_rows=f.cfa_rows, cfa_columns=f.cfa_columns, black_dn=f.black_dn,
            white_dn=f.white_dn, bits=f.bits,
        )  # fmt: skip


def log_between(rng, low, high):
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def sensor(seed: int, *, warm: bool = False, size: tuple[int, int] | None = None) -> Sensor:
    rng = np.random.default_rng([seed, 1])
    height, width = size or (int(rng.integers(130, 330)) * 2, int(rng.integers(160, 400)) * 2)
    cfa = [None, "RGGB", "GBRG", XTRANS][int(rng.choice(4, p=(0.45, 0.25, 0.1, 0.2)))]
    bits = int(rng.choice((12, 14, 16), p=(0.2, 0.5, 0.3)))
    step = int(rng.choice((1, 1 << (16 - bits)), p=(0.75, 0.25)))
    read_noise_e = log_between(rng, 0.9, 12.0)
    e_per_dn = read_noise_e / log_between(rng, 0.7, 12.0) / step
    top = ((1 << bits) - 1) * step
    black_dn = max(8 * read_noise_e / e_per_dn, log_between(rng, 0.002, 0.12) * top)
    black_dn = round(black_dn / step) * step
    full_well = (top - black_dn) * e_per_dn * float(rng.uniform(0.8, 1.5))
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    rate = log_between(rng, 0.03, 1.5) if warm else log_between(rng, 0.0005, 0.1)
    spread = rng.uniform(0.15, 0.6)
    dark = rate * np.exp(spread * rng.standard_normal((height, width)) - spread**2 / 2)
    hot = rng.random((height, width)) < (log_between(rng, 0.008, 0.03) if warm else log_between(rng, 1e-4, 5e-3))
    dark[hot] += rate * 5 * rng.random(int(hot.sum())) ** (-1 / rng.uniform(0.9, 2.0))
    glow = np.zeros((height, width))
    if rng.random() < (0.7 if warm else 0.3):
        strength = rate * log_between(rng, 0.5, 60)
        for _ in range(int(rng.integers(1, 3))):
            gy, gx = rng.choice((-1.0, 1.0)), rng.uniform(-1, 1)
            if rng.random() < 0.5:
                gy, gx = gx, gy
            glow += strength * np.exp(-np.hypot(y - gy, x - gx) / rng.uniform(0.05, 0.5))
    bias_e = read_noise_e * (
        rng.uniform(0, 0.25) * rng.standard_normal((height, 1)) + rng.uniform(0, 0.3) * rng.standard_normal((1, width))
        + rng.uniform(0, 0.8) * (x * rng.uniform(-1, 1) + y * rng.uniform(-1, 1)) / 2
    )  # fmt: skip
    response = 1 + rng.uniform(0.002, 0.015) * rng.standard_normal((height, width))
    drop = float(rng.choice((rng.uniform(0, 0.05), rng.uniform(0.05, 0.3), rng.uniform(0.3, 0.7)), p=(0.15, 0.5, 0.35)))
    cy, cx = rng.normal(0, 0.12, 2)
    radius = ((y - cy) ** 2 * height**2 + (x - cx) ** 2 * width**2) / (height**2 + width**2)
    optics = np.clip(1 - drop * radius ** rng.uniform(0.8, 1.6), 0.02, 1)
    for _ in range(int(rng.integers(0, 8))):
        dy, dx, r = rng.uniform(0, height), rng.uniform(0, width), rng.uniform(5, 40)
        away = np.hypot(np.arange(height)[:, None] - dy, np.arange(width)[None, :] - dx)
        optics = optics * (1 - rng.uniform(0.01, 0.1) * np.clip((r - away) / 4 + 0.5, 0, 1))
    letters = np.array(list(cfa or "L"))
    side = {1: 1, 4: 2, 36: 6}[letters.size]
    tiled = np.tile(letters.reshape(side, side), (height // side + 1, width // side + 1))[:height, :width]
    colours = {"L": 1.0, "G": 1.0, "R": float(rng.uniform(0.35, 0.9)), "B": float(rng.uniform(0.35, 0.9))}
    if rng.random() < 0.15:  # a narrow-band filter before a colour sensor
        colours = {"L": 1.0, "G": 0.12, "R": 1.0, "B": 0.06}
    return Sensor(
        height, width, cfa, bits, step, e_per_dn, read_noise_e, black_dn, bool(rng.random() < 0.5), full_well,
        cfa is not None and rng.random() < 0.8, dark, glow, bias_e, response, optics, colours, tiled,
    )  # fmt: skip


def made(
    sort: str, seed: int, frame: int = 0, *, size: tuple[int, int] | None = None, warm: bool | None = None
) -> Made:
    """One frame. Frames of one seed are of one camera, sky and exposure; `frame` counts them."""
    if warm is None:
        warm = sort in ("warm_dark", "cap_on") or (sort == "narrowband" and seed % 2 == 0)
    camera = sensor(seed, warm=warm, size=size)
    rng = np.random.default_rng([seed, 2])
    noise = np.random.default_rng([seed, 3, frame])
    shape = (camera.height, camera.width)
    exposure = {
        "bias": 10 ** rng.uniform(-4.5, -3.0),
        "dark_flat": rng.uniform(0.5, 10),
        "flat": log_between(rng, 0.001, 40),
        "twilight_flat": log_between(rng, 0.05, 30),
        "short_light": log_between(rng, 5, 30),
    }.get(sort, log_between(rng, 30, 900))
    base = camera.dark_rate * exposure + camera.glow * exposure
    # the noise of an unlit pixel, which the sky is made to measure
    floor = float(np.sqrt(np.median(base) + camera.read_noise_e**2 + (camera.e_per_dn * camera.step) ** 2 / 12))
    light = np.zeros(shape)
    filters = np.ones(shape)
    for letter, share in camera.colours.items():
        filters[camera.letters == letter] = share
    stars_e = np.zeros(shape)
    room = min(camera.full_well_e, (camera.white_dn - camera.black_dn) * camera.e_per_dn)
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    sky = 0.0
    if sort in ("flat", "twilight_flat"):
        level = rng.uniform(0.08, 0.85) if sort == "flat" else rng.uniform(0.12, 0.75)
        light = level * room * (1 + rng.uniform(0, 0.03) * x)
        if sort == "twilight_flat":
            light = light * (1 + rng.uniform(0, 0.06) * y)
            _stars(stars_e, noise, rng, int(rng.integers(0, 25)), np.sqrt(level * room), 1.5, rng.uniform(1.2, 4), 1.3)
        sky = level * room
    elif sort in ("light", "narrowband", "undersampled", "short_light", "nebula", "cloudy"):
        if sort == "narrowband":
            sky = floor * log_between(rng, 0.02, 3.0)
            count = int(rng.integers(1, 30))
        elif sort == "cloudy":
            sky = floor * log_between(rng, 4.0, 100)
            count = 0
        elif sort == "short_light":
            sky = floor * log_between(rng, 0.05, 5)
            count = int(log_between(rng, 5, 300))
        else:
            sky = floor * log_between(rng, 0.1, 60)
            count = int(log_between(rng, 10, 800))
        sky = min(sky, 0.6 * room)
        light = sky * (1 + rng.uniform(0, 0.15) * (x * rng.uniform(-1, 1) + y * rng.uniform(-1, 1)))
        if sort == "nebula":
            for _ in range(5):
                ny, nx = rng.uniform(-1, 1, 2)
                cloud = np.exp(-0.5 * ((y - ny) ** 2 + (x - nx) ** 2) / rng.uniform(0.05, 0.6) ** 2)
                light = light + sky * rng.uniform(0.2, 3) * cloud
        fwhm = rng.uniform(0.9, 1.5) if sort == "undersampled" else rng.uniform(1.6, 6.0)
        _stars(stars_e, noise, rng, count, np.sqrt(floor**2 + sky), 2.0, fwhm, rng.uniform(0.6, 1.2))
    elif sort == "leak":
        gy, gx = rng.choice((-1.0, 1.0)), rng.uniform(-1, 1)
        light = floor * log_between(rng, 5, 200) * np.exp(-np.hypot(y - gy, x - gx) / rng.uniform(0.3, 2.0))
        sky = float(np.median(light))
    through = camera.optics if sort != "leak" else 1.0
    light_e = (light + stars_e) * filters * camera.response * through
    electrons = noise.poisson(np.minimum(base + light_e, 1e7)).astype(float)
    for _ in range(int(noise.poisson(exposure * shape[0] * shape[1] * 1.6e-7 / 60 * 1.5))):
        _cosmic(electrons, noise)
    electrons = np.minimum(electrons, camera.full_well_e)
    electrons += camera.bias_e + camera.read_noise_e * noise.standard_normal(shape)
    if camera.held:
        electrons -= np.median(base)
    dn = np.clip(np.rint((electrons / camera.e_per_dn + camera.black_dn) / camera.step), 0, (1 << camera.bits) - 1)
    # what one frame shows: the dark current's own unevenness hides a faint star as any noise does
    uneven = 1.4826 * float(np.median(np.abs(base - np.median(base))))
    sigma = np.sqrt(floor**2 + uneven**2 + sky * through)
    facts = FrameFacts(
        format="fits" if not camera.black_known else "dng",
        exposure_s=float(exposure),
        width=shape[1],
        height=shape[0],
        cfa=camera.cfa,
        cfa_rows=None if camera.cfa is None else int(len(camera.cfa) ** 0.5),
        cfa_columns=None if camera.cfa is None else int(len(camera.cfa) ** 0.5),
        bits=camera.bits if camera.black_known else None,
        black_dn=round(camera.black_dn) if camera.black_known else None,
        white_dn=camera.white_dn if camera.black_known else None,
        model=f"Camera {seed}",
    )
    seen = stars_e * filters * through / sigma
    star_sigma = float(seen.max())
    sky_sigma = float(np.median(light * filters * through / sigma))
    return Made((facts), (dn * camera.step).astype(np.uint16), sort, TRUTH[sort], star_sigma, sky_sigma, _spread(seen))


def undeclared(frame: Made) -> Made:
    """The same frame from a program that tells neither pattern nor levels."""
    return replace(
        frame,
        facts=replace(
            frame.facts,
            format="fits",
            cfa=None,
            cfa_rows=None,
            cfa_columns=None,
            black_dn=None,
            white_dn=None,
            bits=None,
        ),
    )


def _stars(plane, noise, rng, count, sigma, faintest, fwhm, slope):
    # places and brightness belong to the sky, so from rng; a frame's own dither from noise
    height, width = plane.shape
    places = rng.random((2, count)) * [[height], [width]]
    peaks = np.minimum(faintest * sigma * rng.random(count) ** (-1 / slope), 4e5)
    shift = noise.normal(0, 4, 2)
    s = fwhm / 2.3548
    reach = int(np.ceil(5 * s)) + 2
    fine = (np.arange(5) - 2) / 5
    for (py, px), peak in zip(places.T, peaks, strict=True):
        cy, cx = py + shift[0], px + shift[1]
        top, left = int(cy) - reach, int(cx) - reach
        ys, xs = np.arange(top, top + 2 * reach + 1), np.arange(left, left + 2 * reach + 1)
        gy = np.exp(-0.5 * ((ys[:, None] + fine - cy) / s) ** 2).mean(axis=1)
        gx = np.exp(-0.5 * ((xs[:, None] + fine - cx) / s) ** 2).mean(axis=1)
        ky, kx = (ys >= 0) & (ys < height), (xs >= 0) & (xs < width)
        if ky.any() and kx.any():
            plane[np.ix_(ys[ky], xs[kx])] += peak * np.outer(gy[ky], gx[kx])


def _spread(seen):
    ys, xs = np.nonzero(seen[1:-1, 1:-1] > 5.0)
    if ys.size == 0:
        return 0.0
    around = [(dy, dx) for dy in (0, 1, 2) for dx in (0, 1, 2) if (dy, dx) != (1, 1)]
    beside = np.sort(np.stack([seen[ys + dy, xs + dx] for dy, dx in around]), axis=0)
    return float(np.minimum(beside[-3], seen[ys + 1, xs + 1]).max())


def _cosmic(electrons, noise):
    height, width = electrons.shape
    y, x, angle, length = (
        noise.uniform(0, height),
        noise.uniform(0, width),
        noise.uniform(0, 6.28),
        noise.exponential(3),
    )
    for step in np.arange(0, length + 0.5, 0.5):
        iy, ix = int(y + step * np.sin(angle)), int(x + step * np.cos(angle))
        if 0 <= iy < height and 0 <= ix < width:
            electrons[iy, ix] += noise.gamma(2.0, 150.0)
            if noise.random() < 0.3 and iy + 1 < height:
                electrons[iy + 1, ix] += noise.gamma(2.0, 60.0)
