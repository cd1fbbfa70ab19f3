"""Large files as cameras and capture programs write them, made quickly, each with content of its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from darklib.facts.frame import Kind
from darklib.scenario.fits_card import card
from scripts.benchmarks.small_fits import header

Pixels = npt.NDArray[np.uint16]
KINDS = (
    (Kind.LIGHT, "Light Frame", 300.0, "lights"),
    (Kind.DARK, "Dark Frame", 300.0, "darks"),
    (Kind.FLAT, "Flat Field", 2.0, "flats"),
)


def scene(kind: Kind, height: int, width: int, step: int, rng: np.random.Generator) -> Pixels:
    """Pixels that take as long to judge as real ones: noise, hot pixels, stars on a light, vignetting on a flat."""
    down = np.linspace(-1.0, 1.0, height, dtype=np.float32)[:, None]
    along = np.linspace(-1.0, 1.0, width, dtype=np.float32)[None, :]
    falling = 1.0 - 0.2 * (down**2 + along**2)
    mean, noise = {Kind.LIGHT: (2200.0, 60.0), Kind.DARK: (812.0, 12.0), Kind.FLAT: (31000.0, 170.0)}[kind]
    plane = rng.standard_normal((height, width), dtype=np.float32) * noise
    plane += mean if kind is Kind.DARK else (mean - 800.0) * falling + 800.0
    hot = rng.integers(0, height * width, height * width // 500)
    plane.reshape(-1)[hot] += 300.0 * (1.0 + rng.pareto(1.3, hot.size)).astype(np.float32)
    if kind is Kind.LIGHT:
        _add_stars(plane, rng)
    levels: Pixels = (np.clip(plane / step, 0, 65535 // step).astype(np.uint16)) * np.uint16(step)
    return levels


def _add_stars(plane: npt.NDArray[np.float32], rng: np.random.Generator) -> None:
    reach = 6
    grid = np.arange(-reach, reach + 1, dtype=np.float32)
    star = np.exp(-(grid[:, None] ** 2 + grid[None, :] ** 2) / (2 * 1.4**2))
    height, width = plane.shape
    for _ in range(height * width // 12_000):
        y, x = int(rng.integers(reach, height - reach)), int(rng.integers(reach, width - reach))
        plane[y - reach : y + reach + 1, x - reach : x + reach + 1] += star * 500.0 * (1.0 + rng.pareto(0.8))


def fits_card_of(folder: Path, files: int, megabytes: float) -> Iterator[Path]:
    """FITS files of 65 cards and 16 bits in folders named after their kinds, each scene rolled on by other rows."""
    height, width = _shape(megabytes)
    rng = np.random.default_rng(30)
    scenes = {kind: scene(kind, height, width, 4, rng) for kind, _, _, _ in KINDS}
    stored = {kind: (pixels.astype(np.int32) - 32768).astype(">i2") for kind, pixels in scenes.items()}
    for number in range(files):
        kind, name, exposure_s, place = KINDS[number % len(KINDS)]
        head = b"".join(
            card(*line)
            for line in (
                ("SIMPLE", True, "conforms to FITS standard"),
                ("BITPIX", 16, "array data type"),
                ("NAXIS", 2, "number of array dimensions"),
                ("NAXIS1", width, ""),
                ("NAXIS2", height, ""),
                ("EXTEND", True, ""),
                ("BSCALE", 1, ""),
                ("BZERO", 32768, ""),
                *header(number, 65, name, exposure_s),
            )
        )
        head += b"END".ljust(80)
        path = folder / place / f"{kind.value}_{number:04d}.fits"
        path.parent.mkdir(parents=True, exist_ok=True)
        data = np.roll(stored[kind], 2 * number, axis=0).tobytes()
        with path.open("wb") as out:
            out.write(head + b" " * (-len(head) % 2880))
            out.write(data)
            out.write(b"\0" * (-len(data) % 2880))
        yield path


def _shape(megabytes: float) -> tuple[int, int]:
    pixels = megabytes * 1e6 / 2
    width = round((pixels * 1.5) ** 0.5) // 2 * 2
    return round(pixels / width) // 2 * 2, width
