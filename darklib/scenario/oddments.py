"""What lies on real cards beside sound frames: notes, previews, files cut short, copies."""

import gzip
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import partial

from darklib.scenario.files import ScenarioFile

# An 8 by 8 pixel grey picture, baseline JPEG (ITU-T T.81): quantisation table, frame, two Huffman tables, one block.
_JPEG = bytes.fromhex(
    "ffd8ffe000104a46494600010100000100010000ffdb004300100b0c0e0c0a100e0d0e1211101318281a181616183123251d"
    "283a333d3c3933383740485c4e404457453738506d51575f626768673e4d71797064785c656763ffc0000b08000800080101"
    "1100ffc4001f0000010501010101010100000000000000000102030405060708090a0bffc400b51000020103030204030505"
    "04040000017d01020300041105122131410613516107227114328191a1082342b1c11552d1f02433627282090a161718191a"
    "25262728292a3435363738393a434445464748494a535455565758595a636465666768696a737475767778797a8384858687"
    "88898a92939495969798999aa2a3a4a5a6a7a8a9aab2b3b4b5b6b7b8b9bac2c3c4c5c6c7c8c9cad2d3d4d5d6d7d8d9dae1e2"
    "e3e4e5e6e7e8e9eaf1f2f3f4f5f6f7f8f9faffda0008010100003f00ccafffd9"
)


def note(path: str, modified: datetime, text: str) -> ScenarioFile:
    """A text file; no image, so it is passed over."""
    return ScenarioFile(path, partial(str.encode, text, "utf-8"), None, modified, "passed_over")


def preview(path: str, modified: datetime) -> ScenarioFile:
    """The small JPEG a camera writes beside a raw file; an image that cannot be calibrated."""
    return ScenarioFile(path, _preview, None, modified, "set_aside")


def empty(path: str, modified: datetime) -> ScenarioFile:
    """A file of no bytes under an image's name."""
    return ScenarioFile(path, bytes, None, modified, "set_aside")


def cut_short(whole: ScenarioFile, path: str, modified: datetime) -> ScenarioFile:
    """A FITS file that ends in the middle of its pixels, as a full disk leaves it."""
    return ScenarioFile(path, partial(_first_half, whole.make), None, modified, "set_aside")


def copied(original: ScenarioFile, path: str, modified: datetime) -> ScenarioFile:
    """The same bytes under another name."""
    return replace(original, path=path, modified=modified, outcome="duplicate")


def compressed(file: ScenarioFile) -> ScenarioFile:
    """The same frame packed with gzip, `.gz` added to its name."""
    return replace(file, path=file.path + ".gz", make=partial(_packed, file.make))


def _preview() -> bytes:
    return _JPEG


def _first_half(make: Callable[[], bytes]) -> bytes:
    whole = make()
    return whole[: len(whole) // 2 + 100]


def _packed(make: Callable[[], bytes]) -> bytes:
    # Without a time in the gzip header the same frame packs to the same bytes.
    return gzip.compress(make(), compresslevel=6, mtime=0)
