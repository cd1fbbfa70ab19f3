"""Reading FITS against the published standard and against astropy.io.fits as a second reader.

FITS Standard 4.0 (IAU FITS Working Group, 2018). Points that are read otherwise than astropy does say so.
"""

import warnings
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from astropy.time import Time
from astropy.utils import iers
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.frame import Kind
from darklib.readers.cards import parse
from darklib.readers.fits_pixels import ones_complement_sum
from darklib.readers.fits_time import tai_ahead_s
from darklib.readers.open import look, read_facts, sensor_array


@pytest.fixture(autouse=True)
def _no_network() -> Iterator[None]:
    """astropy's own table of leap seconds is enough; it must not look for a newer one, nor warn that it cannot."""
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            Time("2020-01-01T00:00:00", scale="tt").utc  # noqa: B018 - its first use looks whether the table is old
        yield


def ours(text: str) -> object:
    card = parse(text.encode("latin-1").ljust(80))
    assert card is not None
    return card.value


PRINTABLE = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=60)


FINITE = st.floats(allow_nan=False, allow_infinity=False)


@given(st.one_of(PRINTABLE, st.integers(-(10**15), 10**15), FINITE, st.booleans()))
def test_cards_written_by_astropy_read_the_same(value: str | int | float | bool) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image = str(fits.Card("KEYWORD", value))
        theirs = fits.Card.fromstring(image).value
    card = parse(image.encode())
    assert card is not None
    if isinstance(value, str) and theirs != value.rstrip() and len(image) == 80:
        # Its reader takes a quote and a slash inside a text for the text's end; by section 4.2.1 two quotes are one.
        assert "'/" in value.replace(" ", "")
        theirs = value.rstrip()
    assert card.value == theirs
    assert type(card.value) is type(theirs)


@pytest.mark.parametrize(
    "text",
    [
        # Section 4.2.1: two quotes are one; leading blanks count, trailing ones do not; '' and '   ' and no value
        # differ from a number 0. Sections 4.2.3 and 4.2.4: fixed and free format, exponents E and D.
        "KEYWORD = 'O''HARA'", "KEYWORD = ''", "KEYWORD = '   '", "KEYWORD =", "KEYWORD = '  a '", "KEYWORD = 300",
        "KEYWORD = 3.0D2", "KEYWORD = 3.E+02 / s", "KEYWORD =                  300", "KEYWORD = +3.5", "KEYWORD = 0300",
        "KEYWORD = T", "KEYWORD =                    F / no", "HIERARCH ESO INS OPTI-3 ID = 'ESO#427 '",
    ],
)  # fmt: skip
def test_values_agree_with_astropy(text: str) -> None:
    theirs = fits.Card.fromstring(text.ljust(80)).value
    theirs = None if isinstance(theirs, fits.card.Undefined) else theirs
    assert ours(text) == theirs


def test_hierarch_keyword_as_astropy_names_it() -> None:
    text = "HIERARCH ESO INS OPTI-3 ID = 'ESO#427 '"
    card = parse(text.encode().ljust(80))
    assert card is not None
    assert card.keyword == fits.Card.fromstring(text.ljust(80)).keyword == "ESO INS OPTI-3 ID"


def test_long_strings_written_by_astropy() -> None:
    value = "a long name that does not fit into one card, " * 4 + "it's said"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image = str(fits.Card("OBJECT", value))
    assert len(image) > 80
    card = parse(image.encode())
    assert card is not None
    assert card.value == value


def write(path: Path, data: np.ndarray, **keywords: object) -> Path:
    hdu = fits.PrimaryHDU(data)
    for keyword, value in keywords.items():
        hdu.header[keyword.replace("_", "-")] = value
    hdu.writeto(path)
    return path


@pytest.mark.parametrize("dtype", ["u1", "u2", "i2", "i4", "f4", "f8"])
def test_pixels_written_by_astropy_come_back(tmp_path: Path, dtype: str) -> None:
    data = np.random.default_rng(5).integers(0, 200, (31, 17)).astype(dtype)
    found = sensor_array(write(tmp_path / "a.fits", data)).data
    assert np.array_equal(found, data)
    assert found.dtype.isnative


def test_unsigned_16_bit_against_the_table_of_the_standard(tmp_path: Path) -> None:
    # Section 5.2.5 and table 11: BITPIX 16, BSCALE 1, BZERO 32768.
    wanted = np.array([[0, 1, 32767, 32768, 65535]] * 3, np.uint16)
    path = write(tmp_path / "a.fits", wanted)
    with fits.open(path, do_not_scale_image_data=True) as file:
        assert file[0].header["BZERO"] == 32768
        assert file[0].data[0].tolist() == [-32768, -32767, -1, 0, 32767]
    assert np.array_equal(sensor_array(path).data, wanted)


@pytest.mark.parametrize("kind", ["RICE_1", "GZIP_1", "GZIP_2", "HCOMPRESS_1", "PLIO_1"])
def test_tile_compressed_files(tmp_path: Path, kind: str) -> None:
    # Section 10: the image lies in a table of the first extension, with the keywords.
    data = np.random.default_rng(6).integers(900, 1100, (40, 64)).astype(np.int16)
    image = fits.CompImageHDU(data, compression_type=kind)
    image.header["EXPTIME"] = 300.0
    image.header["IMAGETYP"] = "Dark Frame"
    path = tmp_path / "a.fits.fz"
    fits.HDUList([fits.PrimaryHDU(), image]).writeto(path)
    found = look(path)
    assert found.refusal is None
    assert found.facts is not None
    assert (found.facts.exposure_s, found.facts.kind, found.facts.compression) == (300.0, Kind.DARK, "lossless")
    assert (found.facts.width, found.facts.height) == (64, 40)
    assert np.array_equal(sensor_array(path).data, data)
    assert read_facts(path) == found.facts


def test_a_tile_compressed_unsigned_file_cut_short(tmp_path: Path) -> None:
    data = np.random.default_rng(6).integers(0, 65535, (100, 64)).astype(np.uint16)
    path = tmp_path / "a.fits.fz"
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(data, compression_type="RICE_1")]).writeto(path)
    assert np.array_equal(sensor_array(path).data, data)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) - 5760])
    found = look(path)
    assert found.refusal is not None
    assert found.refusal.code == "truncated"


def test_lossy_tile_compression_is_told(tmp_path: Path) -> None:
    data = np.random.default_rng(6).integers(900, 1100, (40, 64)).astype(np.int16)
    path = tmp_path / "a.fits.fz"
    lossy = fits.CompImageHDU(data, compression_type="HCOMPRESS_1", hcomp_scale=3)
    fits.HDUList([fits.PrimaryHDU(), lossy]).writeto(path)
    assert read_facts(path).compression == "lossy"
    assert [warning.code for warning in read_facts(path).warnings] == ["lossy"]


def test_the_sum_of_the_data_against_astropy(tmp_path: Path) -> None:
    # Section 4.4.2.7; Seaman, Pence and Rots, "FITS Checksum Proposal" (arXiv:1201.1345).
    data = np.random.default_rng(7).integers(0, 65535, (33, 21)).astype(np.uint16)
    path = tmp_path / "a.fits"
    fits.PrimaryHDU(data).writeto(path, checksum=True)
    with fits.open(path) as file:
        said = int(file[0].header["DATASUM"])
    assert ones_complement_sum(path.read_bytes()[2880:]) == said
    assert look(path).facts is not None
    assert look(path).facts.warnings == ()  # type: ignore[union-attr]
    flipped = bytearray(path.read_bytes())
    flipped[3000] ^= 1
    path.write_bytes(flipped)
    assert [warning.code for warning in look(path).facts.warnings] == ["checksum_differs"]  # type: ignore[union-attr]


def test_the_sum_is_blind_to_words_that_changed_places() -> None:
    # arXiv:1201.1345: the sum does not notice a changed order of 32-bit words, so it proves no origin.
    words = np.random.default_rng(8).integers(0, 2**32, 720, dtype=np.uint32).astype(">u4")
    assert ones_complement_sum(words.tobytes()) == ones_complement_sum(words[::-1].tobytes())


@pytest.mark.parametrize("scale", ["utc", "tt", "tai"])
@pytest.mark.parametrize(
    "moment",
    ["1985-03-04T05:06:07.250", "1996-01-06T12:00:00", "2016-12-31T22:00:00", "2024-07-01T00:00:30.500"],
)
def test_time_scales_against_astropy(tmp_path: Path, moment: str, scale: str) -> None:
    path = write(tmp_path / "a.fits", np.ones((4, 4), np.int16), DATE_OBS=moment, TIMESYS=scale.upper())
    theirs = Time(moment, scale=scale, format="isot").utc.to_datetime(timezone=UTC)
    found = read_facts(path).taken_at
    assert found is not None
    assert abs(found - theirs) < timedelta(microseconds=10)


@pytest.mark.parametrize(("scale", "within_s"), [("tdb", 0.002), ("tcg", 2.0), ("ut1", 0.9)])
def test_scales_that_are_taken_for_others_are_near_them(tmp_path: Path, scale: str, within_s: float) -> None:
    # Section 9.2.1: TDB is within 2 ms of TT, UT1 within 0.9 s of UTC; TCG runs ahead of TT by 0.7 parts in 10^9.
    moment = "2012-07-05T12:00:00"
    path = write(tmp_path / "a.fits", np.ones((4, 4), np.int16), DATE_OBS=moment, TIMESYS=scale.upper())
    theirs = Time(moment, scale=scale, format="isot").utc.to_datetime(timezone=UTC)
    found = read_facts(path).taken_at
    assert found is not None
    assert abs((found - theirs).total_seconds()) < within_s


def test_gps_time_against_astropy(tmp_path: Path) -> None:
    # IS-GPS-200: GPS time began with UTC on 6 January 1980 and has had no leap second since.
    path = write(tmp_path / "a.fits", np.ones((4, 4), np.int16), DATE_OBS="2024-01-02T03:04:23", TIMESYS="GPS")
    since = datetime(2024, 1, 2, 3, 4, 23) - datetime(1980, 1, 6)
    theirs = Time(since.total_seconds(), format="gps").utc.to_datetime(timezone=UTC)
    assert read_facts(path).taken_at == theirs == datetime(2024, 1, 2, 3, 4, 5, tzinfo=UTC)


def test_leap_seconds_against_astropy() -> None:
    # IERS Bulletin C, as astropy's built-in table has it.
    for year in range(1973, 2026):
        for month in (2, 8):
            at = Time(f"{year}-{month:02d}-01T00:00:00", scale="utc")
            theirs = round((Time(at.tai.isot, scale="utc") - at).sec)
            assert tai_ahead_s(datetime(year, month, 1, tzinfo=UTC).date()) == theirs


def test_dates_astropy_refuses_and_we_read(tmp_path: Path) -> None:
    # Section 4.4.2.1: before 1999 DD/MM/YY meant 19YY. A zone letter is against the standard, but common.
    old = write(tmp_path / "old.fits", np.ones((4, 4), np.int16), DATE_OBS="06/01/96", TIME_OBS="01:02:03")
    assert read_facts(old).taken_at == datetime(1996, 1, 6, 1, 2, 3, tzinfo=UTC)
    zoned = write(tmp_path / "zoned.fits", np.ones((4, 4), np.int16), DATE_OBS="2024-01-02T03:04:05Z")
    assert read_facts(zoned).taken_at == datetime(2024, 1, 2, 3, 4, 5, tzinfo=UTC)


def test_a_modified_julian_date_against_astropy(tmp_path: Path) -> None:
    path = write(tmp_path / "a.fits", np.ones((4, 4), np.int16), MJD_OBS=60311.127835648)
    theirs = Time(60311.127835648, format="mjd", scale="utc").to_datetime(timezone=UTC)
    found = read_facts(path).taken_at
    assert found is not None
    assert abs(found - theirs) < timedelta(milliseconds=1)


def test_sizes_are_those_of_the_standard(tmp_path: Path) -> None:
    # Section 3.1 and RFC 4047, section 4.1: blocks of 2880 bytes.
    path = write(tmp_path / "a.fits", np.random.default_rng(1).integers(0, 99, (60, 50)).astype(np.int16))
    whole = path.read_bytes()
    assert len(whole) % 2880 == 0
    assert look(path).refusal is None
    path.write_bytes(whole[:-2880])
    found = look(path)
    assert found.refusal is not None
    assert found.refusal.code == "truncated"
