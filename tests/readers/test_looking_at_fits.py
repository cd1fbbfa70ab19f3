"""Whole FITS files through `look`: numbers exact, damage recognised, every failure a refusal."""

import gzip
import hashlib
import os
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits as astropy_fits
from fits_writing import BLOCK, UNSIGNED, frame, header, noise, padded, structure, unsigned
from hypothesis import given
from hypothesis import strategies as st

from darklib.readers import contents
from darklib.readers.fits_pixels import ones_complement_sum
from darklib.readers.open import look, sensor_array


def written(folder: Path, data: bytes, name: str = "a.fits") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def code(path: Path) -> str | None:
    found = look(path)
    assert (found.refusal is None) == (found.pixels is not None)
    return found.refusal.code if found.refusal else None


def test_a_good_frame(tmp_path: Path) -> None:
    pixels = noise()
    data = frame("EXPTIME = 300.0", pixels=pixels)
    path = written(tmp_path, data)
    found = look(path)
    assert found.refusal is None
    assert found.sha256 == hashlib.sha256(data).hexdigest()
    assert (found.size, found.path) == (len(data), str(path))
    assert found.modified.timestamp() == pytest.approx(path.stat().st_mtime)
    assert found.facts is not None
    assert found.facts.exposure_s == 300.0
    assert found.pixels is not None
    assert (found.pixels.median_dn, found.pixels.max_dn) == (np.median(pixels), pixels.max())
    assert found.pixels.exact
    array = sensor_array(path)
    assert array.data.dtype == np.uint16
    assert array.data.dtype.isnative
    assert np.array_equal(array.data, pixels)
    assert array.bits == 16


def test_the_memory_used_for_one_file_does_not_leak_into_the_next(tmp_path: Path) -> None:
    large = look(written(tmp_path, frame(pixels=noise(90, 90, 5000.0)), "large.fits"))
    small = look(written(tmp_path, frame(pixels=noise(20, 20, 100.0)), "small.fits"))
    again = look(tmp_path / "large.fits")
    assert small.pixels is not None
    assert small.pixels.median_dn < 200.0
    assert again.pixels == large.pixels
    assert again.sha256 == large.sha256


def test_facts_without_pixels(tmp_path: Path) -> None:
    found = look(written(tmp_path, frame("EXPTIME = 1.0")), want_pixels=False)
    assert (found.pixels, found.refusal) == (None, None)
    assert found.facts is not None


@pytest.mark.parametrize(
    ("bitpix", "values", "dtype", "expected"),
    [
        (8, [0, 5, 255], "u1", np.uint16),
        (16, [0, 5, 32767], ">i2", np.uint16),
        (16, [-5, 5, 100], ">i2", np.int32),
        (32, [0, 5, 65535], ">i4", np.uint16),
        (32, [0, 5, 65536], ">i4", np.int32),
        (64, [0, 5, 7], ">i8", np.uint16),
        (-32, [0.5, 5.25, -1.0], ">f4", np.float32),
        (-64, [0.5, 5.25, 1e6], ">f8", np.float32),
    ],
)
def test_every_number_form(tmp_path: Path, bitpix: int, values: list[float], dtype: str, expected: type) -> None:
    stored = np.resize(np.array(values), (5, 7)).astype(dtype)
    path = written(tmp_path, header(*structure(bitpix, 7, 5)) + padded(stored.tobytes()))
    array = sensor_array(path)
    assert array.data.dtype == expected
    assert np.array_equal(array.data, stored.astype(float))
    found = look(path)
    assert found.pixels is not None
    assert found.pixels.exact == (expected is np.uint16)
    assert found.facts is not None
    assert ("not_exact" in [warning.code for warning in found.facts.warnings]) == (expected is not np.uint16)


def test_unsigned_numbers_of_every_size(tmp_path: Path) -> None:
    # FITS Standard 4.0, section 5.2.5: BZERO 32768 turns -32768..32767 into 0..65535.
    for stored, wanted in (([-32768, -32767, -1, 0, 32767], [0, 1, 32767, 32768, 65535]),):
        data = np.array([stored] * 4, ">i2")
        path = written(tmp_path, header(*structure(16, 5, 4), *UNSIGNED) + padded(data.tobytes()))
        assert sensor_array(path).data.tolist() == [wanted] * 4
    signed = np.array([[0, 128, 255]], "u1")
    path = written(tmp_path, header(*structure(8, 3, 1), "BZERO   = -128") + padded(signed.tobytes()))
    assert sensor_array(path).data.tolist() == [[-128, 0, 127]]
    wide = np.array([[-(2**31), 0, 2**31 - 1]], ">i4")
    path = written(tmp_path, header(*structure(32, 3, 1), "BZERO   = 2147483648.0") + padded(wide.tobytes()))
    assert sensor_array(path).data.tolist() == [[0.0, 2.0**31, 2.0**32]]


def test_scaled_and_blank_numbers(tmp_path: Path) -> None:
    stored = np.array([[1, 2, -99], [4, 5, 6]], ">i2")
    plain = header(*structure(16, 3, 2), "BSCALE  = 0.5", "BZERO   = 10.0") + padded(stored.tobytes())
    assert sensor_array(written(tmp_path, plain)).data.tolist() == [[10.5, 11.0, -39.5], [12.0, 12.5, 13.0]]
    blank = header(*structure(16, 3, 2), "BLANK   = -99") + padded(stored.tobytes())
    found = sensor_array(written(tmp_path, blank)).data
    assert np.isnan(found[0, 2])
    assert found[1].tolist() == [4.0, 5.0, 6.0]
    unused = header(*structure(16, 3, 2), "BLANK   = -1000", *UNSIGNED) + padded(stored.tobytes())
    assert sensor_array(written(tmp_path, unused)).data.dtype == np.uint16
    unreadable = header(*structure(16, 3, 2), "BZERO   = 'x'") + padded(stored.tobytes())
    assert code(written(tmp_path, unreadable)) == "damaged"


def test_cubes(tmp_path: Path) -> None:
    pixels = noise()
    one = header(*structure(16, 32, 24, 1), *UNSIGNED) + padded(unsigned(pixels))
    assert np.array_equal(sensor_array(written(tmp_path, one)).data, pixels)
    three = header(*structure(16, 32, 24, 3), *UNSIGNED) + padded(unsigned(pixels) * 3)
    assert code(written(tmp_path, three)) == "demosaiced"
    many = header(*structure(16, 32, 24, 5), *UNSIGNED) + padded(unsigned(pixels) * 5)
    assert code(written(tmp_path, many)) == "unsupported"


def test_no_image(tmp_path: Path) -> None:
    assert code(written(tmp_path, header(*structure(8)))) == "no_image"
    assert code(written(tmp_path, header(*structure(16, 100)) + padded(b"\0" * 200))) == "no_image"


def test_truncation_is_seen_from_the_size(tmp_path: Path) -> None:
    data = frame("EXPTIME = 300.0", pixels=noise(60, 50))
    end = BLOCK + 60 * 50 * 2
    found = look(written(tmp_path, data[: end - 1]))
    assert found.refusal is not None
    assert found.refusal.code == "truncated"
    assert f"{end - 1} bytes" in found.refusal.text
    assert found.facts is not None
    assert found.facts.exposure_s == 300.0
    assert found.sha256 == hashlib.sha256(data[: end - 1]).hexdigest()
    assert code(written(tmp_path, data[: BLOCK // 2])) == "truncated"
    huge = header(*structure(16, 2_000_000_000, 2_000_000_000)) + b"\0" * BLOCK
    assert code(written(tmp_path, huge)) == "truncated"


def test_missing_padding_is_only_a_warning(tmp_path: Path) -> None:
    data = frame(pixels=noise(60, 50))[: BLOCK + 6000]
    found = look(written(tmp_path, data))
    assert found.refusal is None
    assert found.facts is not None
    assert [warning.code for warning in found.facts.warnings] == ["missing_padding"]


def test_rows_of_one_value_mean_that_pixels_are_missing(tmp_path: Path) -> None:
    pixels = noise(100, 60)
    pixels[90:] = 32768  # zeros in the file, as an interrupted copy leaves them
    found = look(written(tmp_path, frame(pixels=pixels)))
    assert found.refusal is not None
    assert (found.refusal.code, found.refusal.text) == ("pixels_missing", "10 of 100 rows are blank")
    assert code(written(tmp_path, frame(pixels=np.zeros((50, 50), np.uint16)))) == "pixels_missing"
    assert code(written(tmp_path, frame(pixels=np.full((50, 50), 1000, np.uint16)))) == "pixels_missing"


def test_a_few_dead_rows_and_a_saturated_frame_are_pictures(tmp_path: Path) -> None:
    pixels = noise(100, 60)
    pixels[3] = pixels[50] = 0
    assert code(written(tmp_path, frame(pixels=pixels))) is None
    bright = noise(100, 60)
    bright[20:90] = 65535
    assert code(written(tmp_path, frame(pixels=bright))) is None
    assert code(written(tmp_path, frame(pixels=np.full((50, 50), 65535, np.uint16)))) is None


def test_a_wrong_sum_is_flagged_and_a_right_one_is_not(tmp_path: Path) -> None:
    data = padded(unsigned(noise()))
    right = ones_complement_sum(data)
    for said, codes in ((right, []), (right - 1, ["checksum_differs"])):
        head = header(*structure(16, 32, 24), *UNSIGNED, f"DATASUM = '{said}'")
        found = look(written(tmp_path, head + data))
        assert found.refusal is None
        assert found.facts is not None
        assert [warning.code for warning in found.facts.warnings] == codes


def test_gzipped(tmp_path: Path) -> None:
    data = frame("EXPTIME = 300.0", pixels=noise(200, 200))
    packed = gzip.compress(data, mtime=0)
    path = written(tmp_path, packed, "a.fits.gz")
    found = look(path)
    assert found.refusal is None
    assert found.sha256 == hashlib.sha256(packed).hexdigest()
    assert np.array_equal(sensor_array(path).data, noise(200, 200))
    assert code(written(tmp_path, packed[: len(packed) // 2], "b.fits.gz")) == "truncated"
    broken = bytearray(packed)
    broken[len(packed) // 2] ^= 0xFF
    assert code(written(tmp_path, bytes(broken), "c.fits.gz")) in ("damaged", "truncated", "pixels_missing", None)
    assert code(written(tmp_path, packed[:12] + b"\xff" * 20, "d.fits.gz")) is not None


def test_a_gzip_file_that_unpacks_to_very_much(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(contents, "LARGEST_UNPACKED", 100_000)
    bomb = gzip.compress(header(*structure(16, 500, 500), *UNSIGNED) + b"\0" * 500_000)
    assert len(bomb) < 3000
    assert code(written(tmp_path, bomb, "a.fits.gz")) == "unsupported"
    trailing = gzip.compress(frame() + b"\0" * 3_000_000)
    assert code(written(tmp_path, trailing, "b.fits.gz")) == "unsupported"
    # What follows the image is unpacked piece by piece and dropped, for the sake of the sum at the end.
    monkeypatch.setattr(contents, "LARGEST_UNPACKED", 4_000_000)
    assert code(written(tmp_path, trailing, "c.fits.gz")) is None


def test_the_sum_at_the_end_of_a_gzip_file_is_compared(tmp_path: Path) -> None:
    """CRC-32 of what is packed (RFC 1952, section 2.3.1)."""
    packed = bytearray(gzip.compress(frame(), 0))
    packed[-4000] ^= 1  # stored, not compressed: one bit of one pixel
    assert code(written(tmp_path, bytes(packed), "a.fits.gz")) == "damaged"
    assert code(written(tmp_path, gzip.compress(frame())[:-3], "b.fits.gz")) == "truncated"


def test_what_follows_the_last_unit_is_told_unless_it_is_zeros(tmp_path: Path) -> None:
    def codes(data: bytes) -> list[str]:
        facts = look(written(tmp_path, data)).facts
        assert facts is not None
        return [one.code for one in facts.warnings]

    assert codes(frame() + b"\0" * 5760) == []
    assert codes(frame() + b"x") == ["bytes_behind"]
    # NAXIS2 lost a digit: the picture has fewer rows, and most of it lies behind the end.
    assert codes(frame(pixels=noise(240, 32)).replace(b"= " + b"240".rjust(20), b"= " + b"24".rjust(20))) == [
        "bytes_behind"
    ]


def test_a_flipped_bit_of_a_header_with_a_sum_is_flagged(tmp_path: Path) -> None:
    """CHECKSUM as astropy writes it (FITS Standard 4.0, section 4.4.2.7 and appendix J)."""
    unit = astropy_fits.PrimaryHDU(noise())
    unit.header["EXPTIME"] = 300.0
    unit.writeto(tmp_path / "a.fits", checksum=True)
    whole = (tmp_path / "a.fits").read_bytes()
    for data, expected in ((whole, []), (whole.replace(b"300.0", b"700.0"), ["checksum_differs"])):
        facts = look(written(tmp_path, data)).facts
        assert facts is not None
        assert [one.code for one in facts.warnings] == expected


@pytest.mark.parametrize("keyword", [b"EXP\x14IME", b"EXPT\xc9ME", b"EXP{IME "])
def test_a_keyword_that_is_none_is_told(tmp_path: Path, keyword: bytes) -> None:
    facts = look(written(tmp_path, frame(keyword.ljust(8) + b"=                300.0"))).facts
    assert facts is not None
    assert (facts.exposure_s, [one.code for one in facts.warnings]) == (None, ["header_odd"])


def test_cards_behind_an_early_end_are_told(tmp_path: Path) -> None:
    facts = look(written(tmp_path, frame("END", "EXPTIME =                300.0"))).facts
    assert facts is not None
    assert (facts.exposure_s, [one.code for one in facts.warnings]) == (None, ["header_odd"])


def test_one_binning_stands_for_both(tmp_path: Path) -> None:
    for one in ("XBINNING=                    2", "YBINNING=                    2"):
        facts = look(written(tmp_path, frame(one))).facts
        assert facts is not None
        assert facts.binning == (2, 2)


def test_a_file_that_grows_while_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path, frame())
    real = contents.hashed

    def growing(handle, size):
        found = real(handle, size)
        with path.open("ab") as more:
            more.write(b"x")
        return found

    monkeypatch.setattr(contents, "hashed", growing)
    assert code(path) == "changed_while_read"


def test_a_file_nobody_may_read(tmp_path: Path) -> None:
    found = look(tmp_path)
    assert found.refusal is not None
    assert found.refusal.code == "unreadable"
    missing = look(tmp_path / "none.fits")
    assert missing.refusal is not None
    assert missing.refusal.code == "unreadable"
    assert missing.sha256 == ""


def test_a_surprise_inside_a_library_is_a_refusal_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def surprise(*_: object) -> None:
        raise IndexError("no such thing")

    monkeypatch.setattr("darklib.readers.fits.facts_of", surprise)
    found = look(written(tmp_path, frame()))
    assert found.refusal is not None
    assert found.refusal.code == "damaged"
    assert "no such thing" in found.refusal.text


def test_the_files_are_not_touched(tmp_path: Path) -> None:
    path = written(tmp_path, frame())
    os.utime(path, ns=(1_600_000_000_000_000_000, 1_600_000_000_000_000_000))
    before = (path.read_bytes(), path.stat().st_mtime_ns, sorted(os.listdir(tmp_path)))
    look(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns, sorted(os.listdir(tmp_path))) == before


@given(st.data())
def test_a_frame_with_bytes_changed_or_cut_never_raises(data: st.DataObject) -> None:
    import tempfile

    raw = bytearray(frame("EXPTIME = 300.0", "CCD-TEMP= -10.0", "DATE-OBS= '2024-01-02T03:04:05'"))
    for _ in range(data.draw(st.integers(0, 20))):
        raw[data.draw(st.integers(0, BLOCK - 1))] = data.draw(st.integers(0, 255))
    raw = raw[: data.draw(st.integers(1, len(raw)))]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.fits"
        path.write_bytes(raw)
        found = look(path)
    assert found.not_an_image or (found.refusal is None) == (found.pixels is not None)
