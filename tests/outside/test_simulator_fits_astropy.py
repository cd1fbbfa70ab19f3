"""The FITS files of the scenario against astropy.io.fits, an independent reader and writer of the format."""

import io

import numpy as np
import pytest
from astropy.io import fits
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from darklib.scenario.fits_card import card
from darklib.scenario.fits_file import fits_bytes
from darklib.scenario.fits_shot import fits_shot, header_lines
from darklib.scenario.trio import trio_shots

KEYWORDS = st.from_regex(r"[A-Z][A-Z0-9_-]{0,7}", fullmatch=True).filter(
    lambda word: word not in {"COMMENT", "HISTORY", "CONTINUE", "HIERARCH", "END", "SIMPLE", "XTENSION"}
)
PRINTABLE = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=30)
VALUES = st.one_of(
    st.booleans(),
    st.integers(-(10**15), 10**15),
    # Eight digits: beyond 20 characters astropy cuts digits off, and we do not.
    st.floats(allow_nan=False, allow_infinity=False).map(lambda value: float(f"{value:.8g}")),
    PRINTABLE.map(str.rstrip).filter(bool),
)


@given(KEYWORDS, VALUES, st.from_regex(r"[a-z][a-z ,()]{0,6}[a-z]", fullmatch=True))
def test_a_card_is_the_one_astropy_writes(keyword, value, comment):
    assert card(keyword, value, comment).decode() == fits.Card(keyword, value, comment).image


def test_the_null_string_and_an_undefined_value_are_two_things():
    # FITS Standard 4.0, section 4.2.1.1.
    assert fits.Card.fromstring(card("KEY", "", "null")).value == ""
    assert isinstance(fits.Card.fromstring(card("KEY", None, "undefined")).value, fits.card.Undefined)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_no_digit_of_a_number_is_lost(value):
    assert fits.Card.fromstring(card("KEY", value, "")).value == value


@given(arrays(np.uint16, st.tuples(st.integers(1, 9), st.integers(1, 9))))
def test_pixels_come_back_bit_for_bit(pixels):
    data = fits_bytes(pixels, [("OBJECT", "x", "")])
    with fits.open(io.BytesIO(data)) as file:
        file.verify("exception")
        read = file[0].data
        assert read.dtype == np.uint16
        assert np.array_equal(read, pixels)


def test_unsigned_numbers_are_stored_as_the_standard_says():
    # FITS Standard 4.0, section 5.2.5: 16-bit unsigned numbers are stored less 32768, high byte first.
    data = fits_bytes(np.array([[0, 1, 32767, 32768, 65535]], np.uint16), [])
    assert list(np.frombuffer(data[2880:2890], ">i2")) == [-32768, -32767, -1, 0, 32767]
    assert len(data) == 2 * 2880
    assert set(data[2890:]) == {0}


@pytest.mark.parametrize("index", [0, 1, 2])
def test_a_whole_frame_is_the_file_astropy_writes(index):
    shot = trio_shots()[index]
    ours = fits_shot(shot)
    image = fits.PrimaryHDU(shot.expose())
    # astropy writes the mandatory cards with slightly other comments; the rest is taken over as it is.
    header = fits.Header.fromstring(ours[: ours.index(b"END     ")])
    for keyword, value, comment in header_lines(shot):
        image.header[keyword] = (value, comment)
    for keyword in ("SIMPLE", "BITPIX", "NAXIS", "NAXIS1", "NAXIS2", "EXTEND", "BSCALE", "BZERO"):
        assert image.header[keyword] == header[keyword]
        image.header.comments[keyword] = header.comments[keyword]
    again = io.BytesIO()
    image.writeto(again)
    written = again.getvalue()
    assert sorted(cards(written)) == sorted(cards(ours))
    assert written[len(written) // 2880 * 2880 - 2880 :] == ours[len(ours) // 2880 * 2880 - 2880 :]
    assert fits.getdata(io.BytesIO(ours)).tobytes() == shot.expose().tobytes()


def cards(data):
    header = data[: data.index(b"END     ")]
    return [header[at : at + 80] for at in range(0, len(header), 80)]


def test_the_times_are_ones_astropy_understands():
    from astropy.time import Time

    for shot in trio_shots():
        header = fits.getheader(io.BytesIO(fits_shot(shot)))
        assert Time(header["DATE-OBS"], format="fits", scale="utc").to_datetime() == shot.taken_at.replace(tzinfo=None)
