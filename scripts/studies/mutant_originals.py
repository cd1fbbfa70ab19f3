"""Sound files, a few kilobytes each, from which damaged ones are made: every form that darklib reads and that can be
built here, and the real camera heads where they are beside the checkout.
"""

from __future__ import annotations

import gzip
import io
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import patch

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
BUILDING = ROOT / "tests" / "readers"
HEADS = ("head.cr2", "head.nef", "head.ARW", "head.CR3", "head.raf")


@dataclass(frozen=True, slots=True)
class Original:
    """A sound file. name: what its copies are called by; family: fits, gzip, tiff or boxes, which tells how to damage
    it; real: the head of a real camera's file, the pixels of which are not there.
    """

    name: str
    family: str
    data: bytes
    real: bool = False


def originals(shared: Path | None = ROOT.parent / "shared" / "data") -> tuple[Original, ...]:
    """All of them. shared: the folder of real camera heads; those that are not there are left out."""
    heads = tuple(_heads(shared)) if shared is not None and shared.is_dir() else ()
    return (*_of_fits(), *_of_scenario_raws(), *_of_built_raws(), *heads)


def _of_fits() -> Iterator[Original]:
    from astropy.io import fits

    from darklib.scenario.trio import trio

    dark, flat, light = (file.make() for file in trio())
    yield Original("dark.fits", "fits", dark)
    yield Original("flat.fit", "fits", flat)
    yield Original("light.fits", "fits", light)
    yield Original("talkative.fits", "fits", talkative(checksum=False))
    yield Original("summed.fits", "fits", talkative(checksum=True))
    yield Original("light.fits.gz", "gzip", gzip.compress(light, mtime=0))
    with fits.open(io.BytesIO(talkative(checksum=False))) as file:
        pixels, header = file[0].data, file[0].header
        for method in ("RICE_1", "GZIP_2"):
            packed = io.BytesIO()
            units = [fits.PrimaryHDU(), fits.CompImageHDU(pixels, header, compression_type=method)]
            # Each gzipped tile carries the time of packing, which would make another file every second.
            with patch.object(gzip, "time", SimpleNamespace(time=lambda: 0.0)):
                fits.HDUList(units).writeto(packed)
            yield Original(f"{method}.fits.fz", "fits", packed.getvalue())


def talkative(*, checksum: bool) -> bytes:
    """A frame of a colour camera whose header says things in many ways: long keywords, long texts, binning, units."""
    from astropy.io import fits

    pixels = np.random.default_rng(7).normal(1200, 15, (48, 64)).round().astype(np.uint16)
    unit = fits.PrimaryHDU(pixels)
    for keyword, value, comment in (
        ("IMAGETYP", "Light Frame", ""), ("INSTRUME", "Alder 26c", "camera"), ("SERIALNO", "0042", ""),
        ("EXPTIME", 120.0, "[s] exposure"), ("GAIN", 100, ""), ("OFFSET", 50, ""), ("XBINNING", 2, ""),
        ("YBINNING", 2, ""), ("CCD-TEMP", -10.1, "[degC]"), ("SET-TEMP", -10.0, "[degC]"), ("FILTER", "Ha", ""),
        ("TELESCOP", "Linden 80", ""), ("FOCALLEN", 480.0, "[mm]"), ("APTDIA", 80.0, "[mm]"),
        ("OBJECT", "NGC 7331", ""), ("BAYERPAT", "RGGB", ""), ("XBAYROFF", 0, ""), ("YBAYROFF", 0, ""),
        ("ROWORDER", "TOP-DOWN", ""), ("TIMESYS", "UTC", ""), ("DATE-OBS", "2026-10-03T22:14:05.250", ""),
        ("READOUTM", "Low noise", ""), ("XPIXSZ", 7.52, "[um]"), ("ROTATANG", 33.5, ""), ("FOCUSPOS", 14200, ""),
        ("PIERSIDE", "WEST", ""), ("SITELAT", 48.1, ""), ("SITELONG", 11.5, ""), ("AMB-TEMP", 4.5, "[degC]"),
        ("HIERARCH CAMERA NOTES", "said in a long keyword", ""),
        ("LONGTEXT", "a text that goes on and on " * 6, "")
    ):  # fmt: skip
        unit.header[keyword] = (value, comment)
    unit.header.add_history("taken for nobody")
    if checksum:
        unit.add_checksum(when="2026-10-03T22:14:05")
    out = io.BytesIO()
    unit.writeto(out)
    return out.getvalue()


def _of_scenario_raws() -> Iterator[Original]:
    from darklib.scenario.dng import RawFacts, dng_bytes
    from scripts.benchmarks.packed_dng import packed_dng, packed_tile

    when = "2026:10:03 22:14:05"
    bayer = RawFacts(
        "Harrow", "Field 24", "SN-77", 1600, Fraction(120), when, "RGGB", 256, 15000, zone="+01:00", ambient_c=4.0
    )
    pixels = np.random.default_rng(8).normal(900, 15, (40, 48)).round().astype(np.uint16)
    yield Original("bayer.dng", "tiff", dng_bytes(pixels, bayer))
    six = RawFacts(
        "Harrow", "Field X", "SN-78", 800, Fraction(1, 60), when, "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG", 256, 15000
    )
    yield Original("six_by_six.dng", "tiff", dng_bytes(pixels[:36, :48], six))
    tiles = [packed_tile(pixels[:32, start : start + 16]) for start in (0, 16, 32)]
    yield Original("packed.dng", "tiff", packed_dng(tiles, (32, 48), (32, 16), bayer))


def _of_built_raws() -> Iterator[Original]:
    if str(BUILDING) not in sys.path:
        sys.path.append(str(BUILDING))
    import raw_building as build  # type: ignore[import-not-found]

    width, height = 64, 48
    data = build.mosaic(width, height).tobytes()
    tags = build.picture_tags(width, height)
    plain = [*build.names("Maker"), *tags]
    yield Original("a.nef", "tiff", build.tiff(build.names("NIKON CORPORATION"), build.EXIF, tags, data))
    arw = build.picture_tags(width, height, compression=32767)
    yield Original("a.arw", "tiff", build.tiff(build.names("SONY"), build.EXIF, arw, data))
    pef = build.tiff([*build.names("PENTAX Corporation"), *tags], build.EXIF, data=data, magic=b"MM\0*")
    yield Original("a.pef", "tiff", pef)
    cr2 = build.tiff(build.names("Maker"), build.EXIF, tags, data, gap=b"CR\2\0\0\0\0\0")
    yield Original("a.cr2", "tiff", cr2)
    yield Original("a.orf", "tiff", build.tiff(plain, build.EXIF, data=data, magic=b"IIRO"))
    rw2 = [*build.names("Maker"), (2, build.SHORT, width), (3, build.SHORT, height), (0x17, build.SHORT, 3200)]
    yield Original("a.rw2", "tiff", build.tiff(rw2, build.EXIF, data=data, magic=b"IIU\0"))
    shot = [68, 0, 160, 196, 300, 64, 0, 0, 3, 0, 8, 8, 118, 0]
    yield Original("a.cr3", "boxes", build.cr3(shot, picture=data))
    yield Original("a.raf", "boxes", build.raf(width, height, data))
    yield Original("a.mrw", "boxes", build.mrw(width, height, data))


def _heads(shared: Path) -> Iterator[Original]:
    for name in HEADS:
        path = shared / name
        if path.exists():
            family = "boxes" if name.endswith(("CR3", "raf")) else "tiff"
            yield Original(name, family, path.read_bytes(), real=True)
