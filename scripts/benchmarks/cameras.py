"""Measuring a camera from its frames against a plain read of the same files by the same reader."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from darklib.scenario.fits_card import card
from scripts.benchmarks.stopwatch import Plan, Row, in_turns, median, process

KINDS = (("Bias Frame", 0.0, 800.0, 10.0), ("Flat Field", 2.0, 21_000.0, 140.0), ("Dark Frame", 120.0, 830.0, 12.0))
TARGET = 2.0
MOST_MB = 1500.0


def row(plan: Plan) -> Row:
    """Frames of 24 megapixels, biases, flats and darks in equal parts, catalogued where they lie."""
    from darklib.jobs.ingest import ingest
    from darklib.jobs.library import init, open_library
    from darklib.jobs.sensor import FINDING, sensor
    from darklib.readers.open import sensor_array

    shape = (240, 360) if plan.quick else (4000, 6000)
    count = plan.files if plan.quick else max(12, plan.files // 4)
    folder, library = plan.scratch / "camera", plan.scratch / "camera-library"
    paths = list(_files(folder, count, *shape))
    init(str(library), timezone="Etc/UTC")
    with open_library(library) as opened:
        ingest(opened, [str(folder)], in_place=True)

        def measured() -> None:
            opened.catalogue.drop_findings(FINDING)
            found = sensor(opened).sensors
            assert sum(found[0].frames_used.values()) == count

        def read() -> None:
            for path in paths:
                sensor_array(path)

        read()
        mine, reference = in_turns(measured, read, plan.rounds)
    memory = _peak_mb(plan.scratch, library)
    for path in paths:
        path.unlink()
    ratio = median(mine) / median(reference)
    return Row(
        f"measuring a camera from {count} frames of {shape[0] * shape[1] / 1e6:.2g} megapixels",
        f"{median(mine):.1f} s",
        f"{median(reference):.1f} s, reading the same files one after the other",
        f"{ratio:.2f} times",
        f"{TARGET:g} times, below {MOST_MB:.0f} MB",
        None if plan.quick else ratio <= TARGET and (memory is None or memory <= MOST_MB),
        "" if memory is None else f"Most memory: {memory:.0f} MB, reading processes included.",
    )


def _files(folder: Path, count: int, height: int, width: int) -> Iterator[Path]:
    folder.mkdir()
    rng = np.random.default_rng(24)
    base = rng.standard_normal((height, width), dtype=np.float32)
    for number in range(count):
        kind, exposure_s, level, noise = KINDS[number * len(KINDS) // count]
        data = np.roll(base, 6007 * (37 * number + 11)) * noise + level
        stored = (np.rint(data).astype(np.int32) - 32768).astype(">i2")
        head = b"".join(
            card(*line)
            for line in (
                ("SIMPLE", True, ""), ("BITPIX", 16, ""), ("NAXIS", 2, ""), ("NAXIS1", width, ""),
                ("NAXIS2", height, ""),
                ("BZERO", 32768, ""), ("BSCALE", 1, ""), ("IMAGETYP", kind, ""), ("EXPTIME", exposure_s, ""),
                ("CCD-TEMP", -10.0, ""), ("INSTRUME", "Benchmark 24", ""), ("GAIN", 100, ""), ("FILTER", "L", ""),
                ("DATE-OBS", f"2026-10-03T21:{number // 60:02d}:{number % 60:02d}", ""),
            )
        )  # fmt: skip
        head += b"END".ljust(80)
        body = stored.tobytes()
        path = folder / f"frame-{number:04d}.fits"
        path.write_bytes(head.ljust(-(-len(head) // 2880) * 2880) + body + b"\0" * (-len(body) % 2880))
        yield path


MEMORY = """
import resource, sys
from pathlib import Path
from darklib.jobs.library import open_library
from darklib.jobs.sensor import FINDING, READERS, sensor
if __name__ == "__main__":
    with open_library(Path(sys.argv[1])) as opened:
        opened.catalogue.drop_findings(FINDING)
        sensor(opened)
    own, child = (resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print((own + READERS * child) / (2**20 if sys.platform == "darwin" else 2**10))
"""


def _peak_mb(scratch: Path, library: Path) -> float | None:
    """Most memory of a process that measures, its reading processes included; None where the system does not tell."""
    if sys.platform == "win32":
        return None
    program = scratch / "memory_of_measuring.py"
    program.write_text(MEMORY, encoding="utf-8")
    return float(process(str(program), str(library))().stdout)
