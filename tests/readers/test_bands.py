"""Bands of rows for statistics: spread evenly over the picture, in step with the pattern, refusals as answers."""

from pathlib import Path

import numpy as np
import pytest
import tifffile
from astropy.io import fits
from hypothesis import given
from hypothesis import strategies as st

from darklib.readers.answers import SensorArray
from darklib.readers.bands import ROWS_OF_BAND, bands_of, look_at_bands


@given(st.integers(12, 400), st.integers(16, 60), st.integers(1, 30_000))
def test_bands_lie_within_the_picture_do_not_overlap_and_keep_the_pattern(height: int, width: int, most: int) -> None:
    data = (np.arange(height, dtype=np.uint16)[:, None] * np.ones((1, width), dtype=np.uint16)).astype(np.uint16)
    found = bands_of(SensorArray(data), most)
    assert found.rows_of_band == ROWS_OF_BAND
    assert found.data.size <= max(most, ROWS_OF_BAND * width)
    # The rows are numbered, so the sample says where it is from.
    wanted = [row for top in found.tops for row in range(top, top + ROWS_OF_BAND)]
    assert found.data[:, 0].tolist() == wanted
    assert len(set(wanted)) == len(wanted)
    assert all(top % ROWS_OF_BAND == 0 for top in found.tops)
    middle = (found.tops[0] + found.tops[-1] + ROWS_OF_BAND) / 2
    assert abs(middle - height / 2) <= ROWS_OF_BAND + height / len(found.tops) / 2


def test_a_small_picture_is_taken_whole_but_for_a_last_part_of_a_band() -> None:
    data = np.arange(50 * 20, dtype=np.uint16).reshape(50, 20)
    assert (bands_of(SensorArray(data)).data == data[:48]).all()


def test_a_picture_lower_than_a_band() -> None:
    data = np.arange(5 * 20, dtype=np.uint16).reshape(5, 20)
    found = bands_of(SensorArray(data))
    assert (found.rows_of_band, found.data.shape) == (5, (5, 20))


def test_of_a_fits_file(tmp_path: Path) -> None:
    data = np.random.default_rng(1).integers(0, 65535, (48, 40)).astype(np.uint16)
    path = tmp_path / "one.fits"
    fits.PrimaryHDU(data).writeto(path)
    look = look_at_bands(str(path))
    assert look.refusal is None
    assert look.bands is not None
    assert (look.bands.data == data).all()
    assert look.size == path.stat().st_size


def test_of_a_raw_file_without_its_masked_border_and_with_the_pattern_as_seen_from_there(tmp_path: Path) -> None:
    data = np.random.default_rng(2).integers(600, 9000, (64, 96)).astype(np.uint16)
    path = tmp_path / "one.dng"
    tags = [
        (271, 2, 0, "Pellwick"), (272, 2, 0, "Pellwick P4"), (33421, 3, 2, (2, 2)), (33422, 1, 4, bytes((2, 1, 1, 0))),
        (50706, 1, 4, bytes((1, 4, 0, 0))), (50707, 1, 4, bytes((1, 1, 0, 0))), (50708, 2, 0, "Pellwick P4"),
        (50717, 4, 1, 16383), (50721, 10, 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1)), (50778, 3, 1, 21),
        (50829, 4, 4, (8, 0, 64, 96)),
    ]  # fmt: skip
    with tifffile.TiffWriter(path, byteorder="<") as writer:
        writer.write(
            data, photometric=32803, metadata=None, subfiletype=0, rowsperstrip=64,
            extratags=[(*tag, True) for tag in tags],
        )  # fmt: skip
    look = look_at_bands(str(path))
    assert look.bands is not None, look.refusal
    assert (look.bands.data == data[8:56]).all()
    assert look.bands.height == 56
    assert (look.bands.cfa, look.bands.cfa_rows, look.bands.cfa_columns) == ("BGGR", 2, 2)


@pytest.mark.parametrize("what", ["cut", "float", "missing", "nothing"])
def test_what_cannot_be_sampled_is_refused_and_never_raises(tmp_path: Path, what: str) -> None:
    path = tmp_path / "one.fits"
    if what != "missing":
        kind = np.float32 if what == "float" else np.uint16
        fits.PrimaryHDU(np.arange(48 * 40).reshape(48, 40).astype(kind) + kind(0.5)).writeto(path)
    if what == "cut":
        path.write_bytes(path.read_bytes()[:4000])
    if what == "nothing":
        path.write_bytes(b"")
    look = look_at_bands(str(path))
    assert look.bands is None
    assert look.refusal is not None
    codes = {"cut": "truncated", "float": "unsupported", "missing": "unreadable", "nothing": "empty"}
    assert look.refusal.code == codes[what]
