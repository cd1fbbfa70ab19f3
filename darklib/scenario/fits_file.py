"""A FITS file in memory: header and pixels as bytes (FITS Standard 4.0, sections 3 to 5)."""

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from darklib.scenario.fits_card import Value, card

BLOCK = 2880
ZERO_OF_UNSIGNED_16 = 32768
Line = tuple[str, Value, str]


def fits_bytes(pixels: npt.NDArray[np.uint16], lines: Iterable[Line]) -> bytes:
    """A whole file with one image, uint16 of shape (height, width).

    Unsigned numbers are stored as signed ones with BZERO 32768, as the standard prescribes (section 5.2.5).
    lines: keyword, value and comment of every card after the mandatory ones.
    """
    height, width = pixels.shape
    mandatory: list[Line] = [
        ("SIMPLE", True, "conforms to FITS standard"),
        ("BITPIX", 16, "array data type"),
        ("NAXIS", 2, "number of array dimensions"),
        ("NAXIS1", width, ""),
        ("NAXIS2", height, ""),
        ("EXTEND", True, ""),
        ("BSCALE", 1, ""),
        ("BZERO", ZERO_OF_UNSIGNED_16, ""),
    ]
    header = b"".join(card(*line) for line in (*mandatory, *lines)) + b"END".ljust(80)
    stored = (pixels.astype(np.int32) - ZERO_OF_UNSIGNED_16).astype(">i2").tobytes()
    return _filled(header, b" ") + _filled(stored, b"\0")


def _filled(part: bytes, filler: bytes) -> bytes:
    """Padded to whole blocks of 2880 bytes."""
    return part + filler * (-len(part) % BLOCK)
