"""Ingest of FITS files against copying and hashing the same files in one pass."""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
from functools import partial
from pathlib import Path

from scripts.benchmarks.camera_files import fits_card_of
from scripts.benchmarks.stopwatch import Plan, Row, median, process, seconds_of

PIECE = 1 << 20


def row(plan: Plan) -> Row:
    """`darklib ingest` as a whole process into a new library, and a plain copy, in turns; what was written before is on
    the disk when either begins.
    """
    card = plan.scratch / "card"
    need = 2.2 * plan.files * plan.megabytes * 1e6
    free = shutil.disk_usage(plan.scratch).free
    if free < need:
        raise RuntimeError(f"{need / 1e9:.0f} GB are needed in {plan.scratch}; {free / 1e9:.0f} GB are free")
    print(f"    making {plan.files} files of {plan.megabytes:g} MB", file=sys.stderr, flush=True)
    paths = list(fits_card_of(card, plan.files, plan.megabytes))
    size = sum(path.stat().st_size for path in paths)
    ours, theirs = [], []
    for number in range(min(plan.rounds, 2)):
        library = plan.scratch / f"library-{number}"
        process("-m", "darklib", "init", str(library))()
        settle()
        ours.append(seconds_of(process("-m", "darklib", "--library", str(library), "--json", "ingest", str(card))))
        stored = sum(1 for path in (library / "frames").rglob("*.fits"))
        if stored != plan.files:
            raise RuntimeError(f"{stored} of {plan.files} files were stored")
        remove(library)
        target = plan.scratch / f"copy-{number}"
        settle()
        theirs.append(seconds_of(partial(copy_all, paths, target)))
        remove(target)
    remove(card)
    ratio = median(theirs) / median(ours)
    rounds = ", ".join(f"{one:.1f}/{two:.1f} s" for one, two in zip(ours, theirs, strict=True))
    return Row(
        f"ingest of {plan.files} FITS files of {plan.megabytes:g} MB",
        f"{median(ours):.1f} s, {size / 1e6 / median(ours):.0f} MB/s",
        f"{median(theirs):.1f} s, {size / 1e6 / median(theirs):.0f} MB/s, copying and hashing in one pass",
        f"{ratio:.2f} of the rate",
        "at least 0.7 of the rate",
        ratio >= 0.7,
        f"Ingest: {len(ours)} rounds in turns ({rounds}); both read the card from the page cache and wait until each "
        "file is on the disk; ingest also reads every copy again and measures its pixels.",
    )


def copy_all(paths: list[Path], target: Path) -> list[str]:
    """Each file read, written and hashed by the megabyte, and brought to the disk."""
    digests = []
    for path in paths:
        place = target / path.parent.name / path.name
        place.parent.mkdir(parents=True, exist_ok=True)
        digest = hashlib.sha256()
        with path.open("rb", buffering=0) as source, place.open("xb", buffering=0) as out:
            while piece := source.read(PIECE):
                out.write(piece)
                digest.update(piece)
            os.fsync(out.fileno())
        digests.append(digest.hexdigest())
    return digests


def settle() -> None:
    """Waits until what was written so far is on the disk."""
    if hasattr(os, "sync"):
        os.sync()


def remove(folder: Path) -> None:
    """A folder with read-only files in it, which some systems will not remove."""
    for path in folder.rglob("*"):
        path.chmod(0o755 if path.is_dir() else 0o644)
    shutil.rmtree(folder)
