"""What a file is, by its first bytes and its table of contents; its name only says what it wanted to pass for."""

import zlib
from pathlib import PurePath

from darklib.readers.answers import Sniffed
from darklib.readers.structure import (
    COMPRESSION,
    DNG_VERSION,
    MAKE,
    PHOTOMETRIC,
    SUB_DIRECTORIES,
    AtMost,
    Skeleton,
    is_tiff,
    skeleton,
)

FITS_SUFFIXES = frozenset(".fits .fit .fts .fz".split())
RAW_SUFFIXES = frozenset(
    ".cr2 .cr3 .crw .nef .nrw .arw .sr2 .srf .raf .rw2 .rwl .orf .pef .dng .mrw .3fr .iiq .srw .x3f .raw .gpr".split()
)
PICTURE_SUFFIXES = frozenset(
    ".jpg .jpeg .png .heic .heif .tif .tiff .bmp .webp .psd .gif .jxl .avif .xisf .ser".split()
)

FIRST_BYTES: tuple[tuple[int, bytes, str], ...] = (
    (0, b"\xff\xd8\xff", "a JPEG picture"),
    (0, b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (0, b"GIF8", "a GIF picture"),
    (0, b"BM", "a BMP picture"),
    (8, b"WEBP", "a WebP picture"),
    (0, b"8BPS", "a layered picture"),
    (4, b"ftypheic", "a HEIF picture"),
    (4, b"ftypheix", "a HEIF picture"),
    (4, b"ftypmif1", "a HEIF picture"),
    (4, b"ftypavif", "an AVIF picture"),
    (0, b"\0\0\0\x0cJXL ", "a JPEG XL picture"),
    (0, b"\xff\x0a", "a JPEG XL picture"),
)
"""Offset, bytes, words: processed pictures, that can be looked at but not calibrated."""

_MAKERS: tuple[tuple[str, str], ...] = (("NIKON", "nef"), ("SONY", "arw"), ("PENTAX", "pef"), ("RICOH", "pef"))
"""How the Make tag begins in the raw files that have no mark of their own."""

_OWN_COMPRESSION = frozenset((34713, 32767, 65535))
"""Compression numbers that only raw files of these makers use."""


def suffix_of(path: str) -> str:
    """The suffix in small letters; of what is packed where the file is gzipped."""
    name = PurePath(path).name.lower()
    return PurePath(name.removesuffix(".gz").removesuffix(".z")).suffix


def claims_image(path: str) -> bool:
    """Whether the name says that this is an image."""
    return suffix_of(path) in FITS_SUFFIXES | RAW_SUFFIXES | PICTURE_SUFFIXES


def sniffed(read: AtMost, path: str, size: int) -> Sniffed:
    """What a file is. read: bytes at an offset, at most a count; size: of the whole file."""
    head = read(0, 4096)
    if size == 0 or not head:
        return Sniffed(None, claims_image(path), "empty")
    if head[:9] == b"SIMPLE  =":
        return Sniffed("fits", True)
    if head[:2] == b"\x1f\x8b":
        return _gzipped(head, path)
    if head[:2] == b"\x1f\x9d" and claims_image(path):
        return Sniffed(None, True, "unsupported", "packed by an old method (.Z); unpack it first")
    own = _own_mark(head)
    if own:
        return Sniffed(own, True)
    if is_tiff(head):
        return _tiff(skeleton(read, size), path)
    for place, mark, words in FIRST_BYTES:
        if head[place : place + len(mark)] == mark and (mark != b"BM" or suffix_of(path) == ".bmp"):
            return _picture(path, words)
    return _something(head, path)


def _own_mark(head: bytes) -> str | None:
    if head[:4] in (b"IIRO", b"IIRS", b"MMOR"):
        return "orf"
    if head[:4] == b"IIU\0":
        return "rw2"
    if head[:4] == b"II*\0" and head[8:10] == b"CR":
        return "cr2"
    if head[4:12] == b"ftypcrx ":
        return "cr3"
    if head[:15] == b"FUJIFILMCCD-RAW":
        return "raf"
    if head[:4] == b"\0MRM":
        return "mrw"
    return None


def _tiff(found: Skeleton, path: str) -> Sniffed:
    main = found.main
    if main is None:
        return _something(b"\0", path)
    if DNG_VERSION in main.values:
        return Sniffed("dng", True)
    make = main.text(MAKE).upper()
    hidden = SUB_DIRECTORIES in main.values and found.cut
    mosaic = any(one.is_mosaic or one.whole(COMPRESSION) in _OWN_COMPRESSION for one in found.directories)
    for beginning, format_ in _MAKERS:
        if make.startswith(beginning) and (mosaic or hidden):
            return Sniffed(format_, True)
    if mosaic and any(PHOTOMETRIC in one.values for one in found.directories):
        return Sniffed(None, True, "unsupported", "a raw file of a maker that is not read yet")
    return _picture(path, "a processed TIFF picture")


def _picture(path: str, words: str) -> Sniffed:
    suffix = suffix_of(path)
    if suffix in FITS_SUFFIXES | RAW_SUFFIXES:
        return Sniffed(None, True, "not_what_it_says", f"the name ends in {suffix}, but the content is {words}")
    return Sniffed(None, True, "not_calibratable", f"{words}, not sensor data; a raw or FITS file is needed")


def _gzipped(head: bytes, path: str) -> Sniffed:
    try:
        start = zlib.decompressobj(wbits=31).decompress(head, 80)
    except zlib.error:
        return Sniffed(None, claims_image(path), "damaged" if claims_image(path) else None)
    if start[:9] == b"SIMPLE  =":
        return Sniffed("fits", True)
    return _something(start, path)


def _something(head: bytes, path: str) -> Sniffed:
    """Neither a frame nor a picture that is known: nobody's concern, unless the name says otherwise."""
    suffix = suffix_of(path)
    if not claims_image(path):
        return Sniffed(None, False)
    if not head.strip(b"\0"):
        return Sniffed(None, True, "damaged", "there are zeros where the header should be")
    if suffix in FITS_SUFFIXES | {".cr2", ".cr3", ".nef", ".arw", ".raf", ".rw2", ".orf", ".pef", ".dng", ".mrw"}:
        return Sniffed(None, True, "not_what_it_says", f"the name ends in {suffix}, but the content is something else")
    if suffix in RAW_SUFFIXES or suffix in (".xisf", ".ser"):
        return Sniffed(None, True, "unsupported")
    return Sniffed(None, True, "not_what_it_says", f"the name ends in {suffix}, but the content is something else")
