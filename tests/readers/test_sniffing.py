from pathlib import Path

import numpy as np
import pytest
import tifffile
from fits_writing import frame

from darklib.readers.open import look, sniff

JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + b"\0" * 100
PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 100
HEIF = b"\0\0\0\x18ftypheic" + b"\0" * 100
TEXT = b"Darks of last night, taken in the fridge.\n" * 5


def written(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("a.jpg", JPEG, "not_calibratable"),
        ("a", JPEG, "not_calibratable"),
        ("a.png", PNG, "not_calibratable"),
        ("a.heic", HEIF, "not_calibratable"),
        ("a.bmp", b"BM" + b"\0" * 100, "not_calibratable"),
        ("a.nef", JPEG, "not_what_it_says"),
        ("a.fits", JPEG, "not_what_it_says"),
        ("a.fits", TEXT, "not_what_it_says"),
        ("A.CR2", TEXT, "not_what_it_says"),
        ("a.jpg", TEXT, "not_what_it_says"),
        ("a.fit", b"", "empty"),
        ("a.fits", b"\0" * 5000, "damaged"),
        ("a.fits.gz", TEXT, "not_what_it_says"),
        ("a.fits.gz", b"\x1f\x8b\xff\xff" + b"x" * 50, "damaged"),
        ("a.fits.Z", b"\x1f\x9d\x90" + b"x" * 50, "unsupported"),
        ("a.crw", b"II\x1a\0\0\0HEAPCCDR" + b"\0" * 50, "unsupported"),
    ],
)
def test_images_by_content_or_name_that_cannot_be_taken(tmp_path: Path, name: str, data: bytes, code: str) -> None:
    path = written(tmp_path, name, data)
    found = sniff(path)
    assert (found.format, found.claims_image, found.code) == (None, True, code)
    seen = look(path)
    assert seen.refusal is not None
    assert seen.refusal.code == code
    assert seen.refusal.text
    assert len(seen.sha256) == 64
    assert not seen.not_an_image


@pytest.mark.parametrize("name", ["notes.txt", "a.mp4", "Thumbs.db", "noname", "BMP", "list.csv", "a.gz"])
def test_what_neither_is_nor_claims_to_be_an_image_is_passed_over(tmp_path: Path, name: str) -> None:
    for data in (TEXT, b"", b"BM is not only for bitmaps", b"\x1f\x8b\x08\0\0\0\0\0\0\0"):
        path = written(tmp_path, name, data)
        assert not sniff(path).claims_image
        seen = look(path)
        assert seen.not_an_image
        assert (seen.refusal, seen.facts, seen.sha256) == (None, None, "")


@pytest.mark.parametrize("name", ["a.fits", "a.FIT", "a.txt", "a.jpg", "a", "IMG_0001.CR2"])
def test_a_fits_file_is_one_whatever_its_name(tmp_path: Path, name: str) -> None:
    path = written(tmp_path, name, frame())
    assert sniff(path).format == "fits"
    assert look(path).refusal is None


def test_a_processed_tiff_is_no_raw(tmp_path: Path) -> None:
    # A decoder for raw files opens a plain 16-bit greyscale TIFF as if it were one.
    pixels = np.random.default_rng(1).integers(0, 65535, (40, 50), np.uint16)
    for name, code in (("a.tif", "not_calibratable"), ("a.nef", "not_what_it_says"), ("a", "not_calibratable")):
        path = tmp_path / name
        tifffile.imwrite(path, pixels, photometric="minisblack", extratags=[(271, 2, 0, "NIKON CORPORATION", True)])
        assert sniff(path).code == code
        seen = look(path)
        assert seen.refusal is not None
        assert seen.refusal.code == code
    rgb = tmp_path / "rgb.tif"
    tifffile.imwrite(rgb, np.zeros((20, 20, 3), np.uint16), photometric="rgb")
    assert sniff(rgb).code == "not_calibratable"


def test_a_file_that_cannot_be_opened(tmp_path: Path) -> None:
    assert sniff(tmp_path / "none.fits").code == "unreadable"
    assert sniff(tmp_path).code == "unreadable"


def test_random_bytes_never_raise(tmp_path: Path) -> None:
    generator = np.random.default_rng(3)
    beginnings = (
        b"",
        b"II*\0",
        b"MM\0*",
        b"IIU\0\x08\0\0\0",
        b"FUJIFILMCCD-RAW ",
        b"\0MRM",
        b"\0\0\0\x18ftypcrx ",
        b"IIRO\x08\0\0\0",
    )
    for number in range(64):
        data = beginnings[number % len(beginnings)] + generator.bytes(int(generator.integers(0, 400)))
        path = written(tmp_path, f"a{number % 3}.cr2", data)
        sniff(path)
        seen = look(path)
        assert seen.refusal is not None
