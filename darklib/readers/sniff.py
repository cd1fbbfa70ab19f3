"""What a file is, by its first bytes; its name only says whether it wanted to pass for an image."""

from pathlib import PurePath

from darklib.readers.answers import Sniffed

IMAGE_SUFFIXES = frozenset(
    ".fits .fit .fts .fz .cr2 .cr3 .crw .nef .nrw .arw .sr2 .srf .raf .rw2 .orf .pef .dng .mrw .jpg .jpeg .png .heic .heif "
    ".tif .tiff .3fr .iiq .srw .x3f .xisf .ser .bmp .webp .psd .raw .rwl .gpr".split()
)


def suffix_of(path: str) -> str:
    """The suffix in small letters; of what is packed where the file is gzipped."""
    name = PurePath(path).name.lower()
    return PurePath(name.removesuffix(".gz").removesuffix(".z")).suffix


def sniff_bytes(head: bytes, path: str, size: int) -> Sniffed:
    """By the first bytes, at least 4 kB where there are as many."""
    if size == 0:
        return Sniffed(None, suffix_of(path) in IMAGE_SUFFIXES, "empty")
    if head[:9] == b"SIMPLE  =":
        return Sniffed("fits", True)
    if head[:3] == b"\xff\xd8\xff":
        return Sniffed(None, True, "not_calibratable")
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return Sniffed(None, True, "not_calibratable")
    if suffix_of(path) in IMAGE_SUFFIXES:
        return Sniffed(None, True, "not_what_it_says")
    return Sniffed(None, False)
