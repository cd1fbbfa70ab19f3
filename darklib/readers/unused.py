"""Which keywords of a FITS file tell nothing here: for the user who wonders why one had no effect."""

import os
from io import FileIO
from pathlib import Path

from darklib.readers import fits
from darklib.readers.answers import Refused
from darklib.readers.cards import CARD, keyword_of
from darklib.readers.dialects import BY_KEYWORD

STRUCTURE = frozenset(
    ("SIMPLE", "BITPIX", "NAXIS", "EXTEND", "BSCALE", "BZERO", "XTENSION", "PCOUNT", "GCOUNT", "END", "BLANK", "GROUPS",
     "DATASUM", "CHECKSUM", "TFIELDS")
)  # fmt: skip
"""Keywords that say how the data lie (FITS Standard 4.0, section 4.4.1), read elsewhere."""

PARTS_OF_TABLES = ("NAXIS", "TFORM", "TTYPE", "ZVAL", "ZNAME", "ZTILE", "ZNAXIS", "TZERO", "TSCAL", "TUNIT")


def unused_keywords(path: str | Path) -> tuple[str, ...]:
    """Keywords with a value and no row in the table of spellings, in their order; none for what is no FITS file."""
    try:
        with FileIO(os.fspath(path), "rb") as handle:
            if handle.read(9) != b"SIMPLE  =":
                return ()

            def at_most(place: int, count: int) -> bytes:
                handle.seek(place)
                return handle.read(count) or b""

            image, walked = fits.image_unit(at_most, os.fstat(handle.fileno()).st_size)
    except (OSError, Refused):
        return ()
    found: dict[str, None] = {}
    for raw in (image.raw, *((walked[0].raw,) if image.number else ())):
        for at in range(0, len(raw), CARD):
            keyword = keyword_of(raw[at : at + CARD])
            known = keyword in BY_KEYWORD or keyword in STRUCTURE or keyword.startswith(PARTS_OF_TABLES)
            if keyword and not known:
                found[keyword] = None
    return tuple(found)
