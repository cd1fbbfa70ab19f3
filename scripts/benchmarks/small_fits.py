"""Metadata of many small FITS files against a loop over the reference library's header reader."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from darklib.scenario.fits_file import Line, fits_bytes
from scripts.benchmarks.stopwatch import Plan, Row, median, milliseconds, process

CARDS = 65
HEIGHT, WIDTH = 50, 60
LOOP = """
import importlib, os, sys, time
module, name, folder = sys.argv[1:]
read = getattr(importlib.import_module(module), name)
paths = sorted(entry.path for entry in os.scandir(folder))
read(paths[0])  # what is loaded with the first file belongs to the start
started = time.perf_counter()
for path in paths:
    read(path)
print(time.perf_counter() - started)
"""
KINDS = ("Light Frame", "Dark Frame", "Flat Field", "Bias Frame")


def row(plan: Plan) -> Row:
    """Both read every file of one folder, in turns, each time in a fresh process, so that nothing is remembered from
    the round before; start and imports are left out. The files are in the system's cache.
    """
    count = 100 if plan.quick else 1000
    folder = plan.scratch / "small"
    small_files(folder, count)
    ours = process("-c", LOOP, "darklib.readers.open", "read_facts", str(folder))
    theirs = process("-c", LOOP, "astropy.io.fits", "getheader", str(folder))
    mine, reference = [], []
    for _ in range(plan.rounds):
        mine.append(float(ours().stdout))
        reference.append(float(theirs().stdout))
    ratio = median(reference) / median(mine)
    return Row(
        f"metadata of {count} FITS files ({CARDS} cards, {WIDTH}x{HEIGHT} px)",
        milliseconds(median(mine)),
        f"{milliseconds(median(reference))}, `astropy.io.fits.getheader` in a loop",
        f"{ratio:.1f} times faster",
        "at least 5 times faster",
        ratio >= 5.0,
        f"Metadata: fastest rounds {milliseconds(min(mine))} and {milliseconds(min(reference))}; fresh processes, "
        "start and imports not counted; files in the page cache.",
    )


def small_files(folder: Path, count: int) -> None:
    """Files with a header as capture programs write it."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(65)
    for number in range(count):
        path = folder / f"frame_{number:04d}.fits"
        pixels = rng.normal(1000.0, 20.0, (HEIGHT, WIDTH)).astype(np.uint16)
        path.write_bytes(fits_bytes(pixels, header(number, cards=CARDS)))


def header(number: int, cards: int, kind: str | None = None, exposure_s: float = 300.0) -> list[Line]:
    """Header lines that bring a file to so many cards, the eight mandatory ones counted and END not."""
    start = datetime(2026, 9, 12, 21, 0, tzinfo=UTC) + timedelta(seconds=number * (exposure_s + 6))
    kind = kind or KINDS[number % len(KINDS)]
    lines: list[Line] = [
        ("IMAGETYP", kind, "type of image"),
        ("EXPTIME", exposure_s, "[s] exposure"),
        ("DATE-OBS", f"{start:%Y-%m-%dT%H:%M:%S}.{number % 1000:03d}", "start of exposure, UTC"),
        ("INSTRUME", "Ostrell CM-16", "camera"),
        ("SERIALNO", "CM16-0417", "serial number"),
        ("GAIN", 100, "gain setting"),
        ("OFFSET", 50, "offset setting"),
        ("EGAIN", 0.25, "[e-/ADU] electrons per number"),
        ("SET-TEMP", -10.0, "[degC] set-point of the cooler"),
        ("CCD-TEMP", -10.0 + (number % 3 - 1) / 10, "[degC] sensor temperature"),
        ("XBINNING", 1, ""),
        ("YBINNING", 1, ""),
        ("XPIXSZ", 3.76, "[um] pixel size after binning"),
        ("YPIXSZ", 3.76, "[um] pixel size after binning"),
        ("XORGSUBF", 0, ""),
        ("YORGSUBF", 0, ""),
        ("READOUTM", "Normal", "readout mode"),
        ("ROWORDER", "TOP-DOWN", ""),
    ]
    if kind[:4] in ("Ligh", "Flat"):
        lines += [
            ("FILTER", "L", "filter"),
            ("TELESCOP", "Harrowfen 90/540", "telescope"),
            ("FOCALLEN", 540.0, "[mm] focal length"),
            ("APTDIA", 90.0, "[mm] aperture"),
            ("FOCUSPOS", 14200 + number % 7, "[step] focuser"),
            ("ROTATANG", 0.0, "[deg] mechanical angle of the rotator"),
        ]
    if kind[:4] == "Ligh":
        lines += [
            ("OBJECT", "NGC 7331", "target"),
            ("OBJCTRA", "22 37 04", "[H M S] right ascension"),
            ("OBJCTDEC", "+34 24 57", "[D M S] declination"),
            ("PIERSIDE", "East", "side of the pier"),
            ("AIRMASS", 1.0 + number % 100 / 250, ""),
        ]
    lines += [
        ("SITELAT", "+47 30 00", "[deg]"),
        ("SITELONG", "-20 15 00", "[deg]"),
        ("SITEELEV", 85.0, "[m]"),
        ("SWCREATE", "an invented capture program", "what wrote this file"),
        ("AMB-TEMP", 8.5, "[degC] air"),
        ("HUMIDITY", 71.0, "[%]"),
        ("PRESSURE", 1013.2, "[hPa]"),
        ("WINDSPD", 2.1, "[km/h]"),
        ("CLOUDCVR", 0.0, "[%]"),
        ("DEWPOINT", 3.5, "[degC]"),
    ]
    spare = cards - 8 - len(lines)
    if spare < 0:
        raise ValueError("the header has more cards than asked for")
    lines += [(f"NOTE{place:03d}", round(place * 1.37, 2), "a number of the mount") for place in range(spare // 2)]
    lines += [("HISTORY", f"step {place} of the evening's plan", "") for place in range(spare - spare // 2)]
    return lines
