"""Whether a file is whole by its own structure, its pixels untouched: for files that somebody may still be writing."""

import os
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

from darklib.readers import sniff as sniffing
from darklib.readers.answers import Look, Refusal, Refused
from darklib.readers.fits import image_unit
from darklib.readers.open import look
from darklib.readers.structure import AtMost, is_tiff, skeleton

TASK = "darklib.readers.complete:structure_of"
"""For `guard`: what a worker does with a file whose head does not tell all."""

UNFINISHED = frozenset(
    (
        *("empty", "truncated", "damaged", "pixels_missing", "not_what_it_says"),
        *("changed_while_read", "unreadable", "reading_hung", "reading_crashed"),
    )
)
"""Refusals that a file may leave behind when it is written to its end."""


@dataclass(frozen=True, slots=True)
class Head:
    """What the beginning of a file tells. trouble: what it lacks; sure: nothing more needs to be asked.

    data_end: where its data end, in bytes from the start; None where that is not known or the file is no frame.
    """

    is_frame: bool
    sure: bool
    trouble: Refusal | None = None
    data_end: int | None = None


def structure_of(path: str) -> Look:
    """The file's header and skeleton, held against its size; its pixels are not decoded."""
    return look(path, want_pixels=False)


def head_of(path: str | Path) -> Head:
    """What a file's headers say of its size, read by this house's own code, which neither hangs nor crashes.

    OSError where it cannot be read.
    """
    name = os.fspath(path)
    with FileIO(name, "rb") as handle:
        size = os.fstat(handle.fileno()).st_size

        def at_most(place: int, count: int) -> bytes:
            handle.seek(place)
            return handle.read(count) or b""

        found = sniffing.sniffed(at_most, name, size)
        if found.format is None:
            waits = found.claims_image and found.code in UNFINISHED
            return Head(False, True, Refusal(found.code or "damaged", found.text) if waits else None)
        start = at_most(0, 9)
        if start == b"SIMPLE  =":
            return _fits(at_most, size)
        end = skeleton(at_most, size).data_end if is_tiff(start) else 0
    # A strip length may be nonsense (some makers write one beyond 4 GB); the workers know which.
    return Head(True, False, data_end=end if 0 < end <= size else None)


def _fits(at_most: AtMost, size: int) -> Head:
    try:
        image, _ = image_unit(at_most, size)
    except Refused as refused:
        return Head(True, True, refused.refusal if refused.refusal.code in UNFINISHED else None)
    if image.padded_end <= size:
        return Head(True, True, data_end=image.data_end)
    text = f"the file has {size} bytes, but its header announces {image.padded_end}"
    return Head(True, True, Refusal("truncated", text), min(image.data_end, size))
