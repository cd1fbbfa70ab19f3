"""Ingest of raw files against decoding each of them once on all cores."""

from __future__ import annotations

import sys
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

import numpy as np

from darklib.facts.frame import Kind
from darklib.scenario.dng import RawFacts, dng_bytes
from scripts.benchmarks.camera_files import Pixels, scene
from scripts.benchmarks.packed_dng import packed_dng, packed_tile
from scripts.benchmarks.stopwatch import Plan, Row, median, process, seconds_of, usable_cores
from scripts.benchmarks.taking_in import remove, settle

SHAPE, TILE = (4000, 6000), (2000, 2000)
SMALL_SHAPE, SMALL_TILE = (400, 600), (200, 200)
SERIES = (
    (Kind.LIGHT, "lights", Fraction(120)),
    (Kind.DARK, "darks", Fraction(120)),
    (Kind.FLAT, "flats", Fraction(1, 30)),
)

DECODE = """
import concurrent.futures, multiprocessing, os, sys
import rawpy
def decode(path):
    with rawpy.imread(path) as raw:
        return int(raw.raw_image[0, 0])
if __name__ == "__main__":
    paths = [os.path.join(top, name) for top, _, names in os.walk(sys.argv[1]) for name in names]
    context = multiprocessing.get_context("spawn")
    with concurrent.futures.ProcessPoolExecutor(int(sys.argv[2]), mp_context=context) as pool:
        print(len(list(pool.map(decode, paths))))
"""


def rows(plan: Plan) -> list[Row]:
    """Packed as cameras pack them, which is what the target is about; and not packed at all, where decoding is nothing
    but reading, so that nothing that is kept safe on a disk can come near it.
    """
    return [row(plan, packed=True), row(plan, packed=False)]


def row(plan: Plan, *, packed: bool) -> Row:
    """Whole processes in turns; each ingest goes into a new library."""
    shape, count = (SMALL_SHAPE, 3) if plan.quick else (SHAPE, 24)
    card = plan.scratch / "raws"
    size = raw_card(card, count, shape, packed=packed)
    script = plan.scratch / "decode.py"
    script.write_text(DECODE, encoding="utf-8")
    decode = process(str(script), str(card), str(usable_cores()))
    ours, theirs = [], []
    for number in range(plan.rounds):
        library = plan.scratch / f"raw-library-{number}"
        process("-m", "darklib", "init", str(library))()
        settle()
        ours.append(seconds_of(process("-m", "darklib", "--library", str(library), "--json", "ingest", str(card))))
        stored = sum(1 for path in (library / "frames").rglob("*") if path.suffix.lower() == ".dng")
        if stored != count:
            raise RuntimeError(f"{stored} of {count} raw files were stored")
        remove(library)
        settle()
        theirs.append(seconds_of(decode))
    remove(card)
    ratio = median(ours) / median(theirs)
    form = "lossless JPEG" if packed else "not packed"
    megapixels = shape[0] * shape[1] / 1e6
    return Row(
        f"ingest of {count} DNG of {megapixels:.2g} megapixels, {form}, {size / count / 1e6:.2g} MB each",
        f"{median(ours):.1f} s",
        f"{median(theirs):.1f} s, decoding them once on all cores",
        f"{ratio:.2f} times",
        "within 1.3 times" if packed else "",
        ratio <= 1.3 if packed else None,
        "Raws: the packed ones are what cameras write; the others show what all but the decoding costs (hash, "
        "measurement, a verified copy on the disk). LibRaw decodes, as in darklib; files in the page cache.",
    )


def raw_card(card: Path, count: int, shape: tuple[int, int], *, packed: bool) -> int:
    """Makes the files and returns their bytes; their tiles (or rows) stand in another order in each."""
    print(f"    making {count} raw files", file=sys.stderr, flush=True)
    rng = np.random.default_rng(24)
    tile = TILE if shape == SHAPE else SMALL_TILE
    start = datetime(2026, 9, 12, 22, 15)  # noqa: DTZ001 - a camera's clock knows no zone
    total = 0
    for kind, name, exposure in SERIES:
        pixels = np.minimum(scene(kind, *shape, 1, rng) // 2 + 106, 16383).astype(np.uint16)
        tiles = [packed_tile(one) for one in in_tiles(pixels, tile)] if packed else []
        for number in range(count // len(SERIES)):
            moment = start + number * timedelta(minutes=3)
            facts = RawFacts(
                "Pellwick",
                "Pellwick P4",
                "P4-200117",
                1600,
                exposure,
                f"{moment:%Y:%m:%d %H:%M:%S}",
                "RGGB",
                512,
                16383,
            )
            if packed:
                data = packed_dng(tiles[number % len(tiles) :] + tiles[: number % len(tiles)], shape, tile, facts)
            else:
                data = dng_bytes(np.roll(pixels, 2 * number, axis=0), facts)
            path = card / name / f"IMG_{number:04d}.DNG"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
            total += len(data)
            if number == 0:
                check(path, pixels)
    return total


def in_tiles(pixels: Pixels, tile: tuple[int, int]) -> list[Pixels]:
    """Row by row."""
    height, width = pixels.shape
    return [
        pixels[top : top + tile[0], left : left + tile[1]]
        for top in range(0, height, tile[0])
        for left in range(0, width, tile[1])
    ]


def check(path: Path, pixels: Pixels) -> None:
    """A file that the decoder reads otherwise than it was meant would measure something else."""
    import rawpy

    with rawpy.imread(str(path)) as raw:
        if not np.array_equal(raw.raw_image, pixels):
            raise RuntimeError(f"LibRaw does not give back the pixels of {path.name}")
