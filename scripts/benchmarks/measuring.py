"""Measuring a frame's pixels against reading its file, both once, in one process: a FITS file and a raw file."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from darklib.facts.frame import Kind
from darklib.scenario.dng import RawFacts
from scripts.benchmarks.camera_files import scene
from scripts.benchmarks.packed_dng import packed_dng, packed_tile
from scripts.benchmarks.raw_files import SMALL_TILE, TILE, in_tiles
from scripts.benchmarks.stopwatch import Plan, Row, in_turns, median, milliseconds

TARGET = 1.5
"""Measuring costs less than so many times reading."""


def rows(plan: Plan) -> list[Row]:
    """A frame with stars and hot pixels as a camera's raw file and as a FITS file."""
    shape = (400, 600) if plan.quick else (4000, 6000)
    pixels = np.minimum(scene(Kind.LIGHT, *shape, 1, np.random.default_rng(24)), 16383).astype(np.uint16)
    plain = plan.scratch / "pixels.fits"
    _write_fits(plain, pixels)
    raw = plan.scratch / "pixels.dng"
    tile = SMALL_TILE if plan.quick else TILE
    facts = RawFacts(
        "Pellwick", "Pellwick P4", "P4-200117", 1600, Fraction(120), "2026:01:05 21:00:00", "RGGB", 512, 16383
    )  # fmt: skip
    raw.write_bytes(packed_dng([packed_tile(one) for one in in_tiles(pixels, tile)], shape, tile, facts))
    try:
        return [_row(plan, pixels, path, form) for path, form in ((raw, "raw file, packed"), (plain, "FITS file"))]
    finally:
        plain.unlink()
        raw.unlink()


def _row(plan: Plan, pixels: NDArray[np.uint16], path: Path, form: str) -> Row:
    from darklib.pixels.measure import measure
    from darklib.readers.open import sensor_array

    def ours() -> None:
        measure(pixels, cfa="RGGB", cfa_rows=2, cfa_columns=2, black_dn=512.0, white_dn=16383.0, bits=14)

    def reading() -> None:
        _hashed(path)
        sensor_array(path)

    _warm(ours, reading)
    mine, reference = in_turns(ours, reading, max(3, plan.rounds))
    hashing, _ = in_turns(lambda: _hashed(path), lambda: None, max(3, plan.rounds))
    ratio = median(mine) / median(reference)
    megapixels = pixels.size / 1e6
    return Row(
        f"measuring a colour frame of {megapixels:.2g} megapixels",
        milliseconds(median(mine)),
        f"{milliseconds(median(reference))}, hashing and reading its {form}",
        f"{ratio:.2f} times",
        f"under {TARGET} times",
        None if plan.quick else ratio < TARGET,
        f"Measuring: one core, fastest {milliseconds(min(mine))}. Of reading, {milliseconds(median(hashing))} are for "
        f"the file's bytes and their hash alone; the rest makes the sensor's numbers of them.",
    )


def _hashed(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb", buffering=0) as handle:
        while piece := handle.read(1 << 20):
            digest.update(piece)
    return digest.hexdigest()


def _warm(*works: Callable[[], None]) -> None:
    for work in works:
        work()


def _write_fits(path: Path, pixels: NDArray[np.uint16]) -> None:
    from astropy.io import fits

    header = fits.Header()
    header["DATE-OBS"] = datetime(2026, 1, 5, 21, tzinfo=UTC).strftime("%Y-%m-%dT%H:%M:%S")
    header["EXPTIME"] = 120.0
    fits.PrimaryHDU(pixels, header).writeto(path, overwrite=True)
