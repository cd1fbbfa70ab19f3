"""Whole headers: which card wins, what is flagged, which unit of the file is read."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from fits_writing import card, frame, header, noise, padded, structure

from darklib.facts.errors import DarklibError
from darklib.facts.frame import FrameFacts, Kind
from darklib.readers.open import read_facts


@pytest.fixture
def read(tmp_path: Path):
    def reader(data: bytes) -> FrameFacts:
        path = tmp_path / "a.fits"
        path.write_bytes(data)
        return read_facts(path)

    return reader


def codes(facts: FrameFacts) -> list[str]:
    return [warning.code for warning in facts.warnings]


def test_a_plain_frame(read) -> None:
    facts = read(
        frame(
            "IMAGETYP= 'Dark Frame'",
            "EXPTIME =                300.0",
            "GAIN    =                  100",
            "EGAIN   =                 0.25 / [e-/ADU]",
            "OFFSET  =                   50",
            "CCD-TEMP=                -10.0",
            "SET-TEMP=                -10.0",
            "XBINNING=                    2",
            "YBINNING=                    2",
            "INSTRUME= 'Ostrell CM-16'",
            "DATE-OBS= '2024-01-02T03:04:05.25'",
            "FOCALLEN=                480.0",
            "TELESCOP= 'Harrowfen'",
        )
    )
    assert facts.kind is Kind.DARK
    assert (facts.exposure_s, facts.gain, facts.e_per_dn, facts.offset) == (300.0, 100.0, 0.25, 50.0)
    assert (facts.sensor_temperature_c, facts.set_temperature_c, facts.temperature_origin) == (-10.0, -10.0, "header")
    assert (facts.binning, facts.width, facts.height, facts.bits) == ((2, 2), 32, 24, 16)
    assert (facts.model, facts.train.telescope, facts.train.focal_length_mm) == ("Ostrell CM-16", "Harrowfen", 480.0)
    assert facts.taken_at == datetime(2024, 1, 2, 3, 4, 5, 250000, UTC)
    assert facts.time_origin == "DATE-OBS"
    assert (facts.warnings, facts.ignored) == ((), ())
    assert facts.compression == "none"


def test_an_empty_header_knows_nothing_and_guesses_nothing(read) -> None:
    facts = read(frame())
    assert (facts.kind, facts.exposure_s, facts.gain, facts.sensor_temperature_c, facts.taken_at) == (None,) * 5
    assert facts.binning == (1, 1)


def test_the_row_further_up_wins_and_a_difference_is_flagged(read) -> None:
    facts = read(frame("EXPOSURE=                 60.0", "EXPTIME =                300.0"))
    assert facts.exposure_s == 300.0
    assert codes(facts) == ["exposures_disagree"]
    assert facts.warnings[0].figures == {"least_s": 60.0, "most_s": 300.0}
    agreeing = read(frame("EXPOSURE=                300.5", "EXPTIME =                300.0"))
    assert codes(agreeing) == []
    assert [fact.where for fact in agreeing.facts] == ["EXPOSURE", "EXPTIME"]


def test_temperatures_that_differ_are_flagged(read) -> None:
    assert codes(read(frame("CCD-TEMP= -10.0", "TEMPERAT= -12.0"))) == ["values_disagree"]
    assert codes(read(frame("CCD-TEMP= -10.0", "TEMPERAT= -10.2"))) == []


def test_a_keyword_given_twice(read) -> None:
    # FITS Standard 4.0, section 4.1.2.3: the value is then indeterminate, so it must be flagged.
    facts = read(frame("CCD-TEMP= -10.0", "CCD-TEMP= 20.0"))
    assert facts.sensor_temperature_c == -10.0
    assert codes(facts) == ["values_disagree"]
    assert [ignored.raw for ignored in facts.ignored] == ["20.0"]
    assert codes(read(frame("CCD-TEMP= -10.0", "CCD-TEMP= -10.0"))) == []


def test_one_bad_card_spoils_no_other(read) -> None:
    facts = read(frame("GAIN    = NaN", "OBJECT  = 'no end", "EXPTIME = 300.0", b"OFFSET  = 1\0"))
    assert facts.exposure_s == 300.0
    assert (facts.gain, facts.target, facts.offset) == (None, None, None)
    assert codes(facts) == ["value_not_understood"] * 3


def test_cards_without_the_blank_are_read(read) -> None:
    facts = read(frame("EXPTIME=300.0", "gain    = 100"))
    assert (facts.exposure_s, facts.gain) == (300.0, 100.0)
    assert codes(facts) == ["value_odd", "value_odd"]


def test_a_long_text_goes_on_over_several_cards(read) -> None:
    facts = read(frame("OBJECT  = 'a name &'", "CONTINUE  'of two &'", "CONTINUE  'or three parts' / c", "GAIN    = 5"))
    assert facts.target == "a name of two or three parts"
    assert facts.gain == 5.0


def test_hierarch(read) -> None:
    facts = read(frame("HIERARCH ESO DET WIN1 DIT1 = 60.0 / [s]", "HIERARCH ESO INS OPTI-3 ID = 'no row reads it'"))
    assert facts.exposure_s == 60.0
    assert facts.ignored == ()


def test_the_first_image_is_found_behind_an_empty_primary_unit(read) -> None:
    primary = header(*structure(8), "EXPTIME =                120.0", "TELESCOP= 'Harrowfen'")
    image = header(*structure(16, 8, 6, first="XTENSION= 'IMAGE   '"), "PCOUNT  = 0", "GCOUNT  = 1",
                   "EXPTIME =                 30.0", "FILTER  = 'R'")  # fmt: skip
    data = padded(np.arange(48, dtype=">i2").tobytes())
    facts = read(primary + image + data)
    assert (facts.width, facts.height) == (8, 6)
    assert (facts.exposure_s, facts.filter, facts.train.telescope) == (30.0, "R", "Harrowfen")
    assert codes(facts) == []
    several = read(primary + image + data + image + data)
    assert [ignored.raw for ignored in several.ignored] == ["1 more images"]


def test_a_table_alone_is_no_image(read) -> None:
    with pytest.raises(DarklibError, match="no image in the file") as caught:
        read(header("SIMPLE  = T", "BITPIX  =                    8", "NAXIS   =                    0"))
    assert caught.value.code == "no_image"


SQUARE = ("NAXIS   = 2", "NAXIS1  = 3", "NAXIS2  = 3")


@pytest.mark.parametrize(
    ("cards", "code", "words"),
    [
        (["SIMPLE  = T", "BITPIX  = 'x'", *SQUARE], "damaged", "BITPIX"),
        (["SIMPLE  = T", "BITPIX  = 12", *SQUARE], "damaged", "BITPIX is 12"),
        (["SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 3"], "damaged", "NAXIS2 is missing"),
        (["SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = -3", "NAXIS2  = 3"], "damaged", "-3 pixels"),
        (["SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 9999"], "damaged", "NAXIS is 9999"),
        (["SIMPLE  = F", "BITPIX  = 16", *SQUARE], "unsupported", "does not follow"),
    ],
)  # fmt: skip
def test_headers_that_cannot_be_followed(read, cards: list[str], code: str, words: str) -> None:
    with pytest.raises(DarklibError, match=words) as caught:
        read(header(*cards))
    assert caught.value.code == code


def test_a_header_cut_short_and_one_without_end(read) -> None:
    with pytest.raises(DarklibError, match="ends inside its header"):
        read(header(*structure(16, 4, 4), end=False))
    with pytest.raises(DarklibError, match="does not end within 400 blocks"):
        read(b"".join([card(one) for one in structure(16, 4, 4)]) + card("COMMENT x") * 36 * 401)


def test_a_long_header_is_read_to_its_end(read) -> None:
    facts = read(header(*structure(16, 4, 4), *["COMMENT filler"] * 2000, "EXPTIME = 7.0") + padded(b"\0" * 32))
    assert facts.exposure_s == 7.0


def test_the_word_end_inside_a_text_does_not_end_the_header(read) -> None:
    assert read(frame("COMMENT END     ", "OBJECT  = 'END     '", "END-X   = 5", "EXPTIME = 7.0")).exposure_s == 7.0


def test_colour_pattern_is_shifted_to_the_first_pixel(read) -> None:
    assert read(frame("BAYERPAT= 'RGGB'")).cfa == "RGGB"
    assert read(frame("BAYERPAT= 'RGGB'", "XBAYROFF= 1")).cfa == "GRBG"
    assert read(frame("BAYERPAT= 'RGGB'", "YBAYROFF= 1")).cfa == "GBRG"
    facts = read(frame("BAYERPAT= 'RGGB'", "XBAYROFF= 1", "YBAYROFF= 1", "ROWORDER= 'BOTTOM-UP'"))
    assert (facts.cfa, facts.cfa_rows, facts.cfa_columns, facts.row_order) == ("BGGR", 2, 2, "bottom-up")


def test_two_wheels_make_one_filter(read) -> None:
    assert read(frame("FILTER1 = 'clear'", "FILTER2 = 'Ha'")).filter == "Ha"
    assert read(frame("FILTER1 = 'L'", "FILTER2 = 'ND2'")).filter == "L+ND2"
    assert read(frame("FILTER1 = 'open'", "FILTER2 = 'clear'")).filter == "open"


def test_masters_say_what_they_were_made_of(read) -> None:
    facts = read(frame("IMAGETYP= 'Master Dark'", "NCOMBINE= 20", "COMBTYPE= 'median'", "CALSTAT = 'B'"))
    assert facts.kind is Kind.DARK
    assert facts.combined is not None
    assert (facts.combined.count, facts.combined.method, facts.combined.bias_removed) == (20, "median", True)
    assert codes(facts) == ["combined_frame"]
    unknown = read(frame("IMAGETYP= 'masterdark'")).combined
    assert unknown is not None
    assert (unknown.count, unknown.bias_removed) == (None, None)
    assert read(frame("IMAGETYP= 'Dark Frame'", "NCOMBINE= 1")).combined is None


def test_the_object_tells_the_kind_only_where_nothing_else_does(read) -> None:
    assert read(frame("OBJECT  = 'bias'")).kind is Kind.BIAS
    facts = read(frame("OBJECT  = 'dark'", "IMAGETYP= 'Flat Field'"))
    assert (facts.kind, facts.target) == (Kind.FLAT, None)


def test_small_files_are_read_from_their_headers_alone(tmp_path: Path) -> None:
    path = tmp_path / "cut.fits"
    path.write_bytes(frame("EXPTIME = 5.0", pixels=noise(200, 200))[:5000])
    assert read_facts(path).exposure_s == 5.0


def test_a_missing_file_is_an_error_with_its_path(tmp_path: Path) -> None:
    with pytest.raises(DarklibError, match="No such file") as caught:
        read_facts(tmp_path / "none.fits")
    assert caught.value.path == str(tmp_path / "none.fits")


def test_a_wheels_code_serves_where_no_name_is_given(read) -> None:
    facts = read(frame("FILTPOS = 3"))
    assert (facts.filter, codes(facts)) == ("3", ["value_odd"])
    assert read(frame("FILTPOS = 3", "FILTER  = 'Ha'")).filter == "Ha"
    assert read(frame("FILTPOS = 3", "FILTER1 = 'open'", "FILTER2 = 'L'")).filter == "L"


def test_focal_ratio_gives_what_is_missing(read) -> None:
    assert read(frame("FOCRATIO= 6.0", "APTDIA  = 80.0")).train.focal_length_mm == 480.0
    assert read(frame("FOCRATIO= 6.0", "FOCALLEN= 480.0")).train.aperture_mm == 80.0
    assert not read(frame("FOCRATIO= 6.0")).train.known
    assert read(frame("TELESCOP= 'Tube'", "REDUCER = '0.8x'")).train.reducer == "0.8x"


def test_the_section_of_the_sensor_is_the_sub_frame(read) -> None:
    # NOAO/IRAF convention: counted from 1, unbinned, both ends included.
    facts = read(frame("CCDSEC  = '[101:612,51:562]'", "XBINNING= 2", "YBINNING= 2"))
    assert (facts.origin_x, facts.origin_y) == (50, 25)
    assert (read(frame("CCDSEC  = '[1:32,1:24]'")).origin_x, read(frame()).origin_x) == (0, None)
    # SBFITSEXT: in binned pixels from 0; it goes first.
    assert read(frame("XORGSUBF= 7", "CCDSEC  = '[101:612,51:562]'")).origin_x == 7


def test_what_is_known_of_a_masters_bias(read) -> None:
    def removed(*cards: str) -> bool | None:
        combined = read(frame(*cards)).combined
        assert combined is not None
        removed_: bool | None = combined.bias_removed
        return removed_

    assert removed("IMAGETYP= 'Master Dark'") is None
    assert removed("IMAGETYP= 'Master Dark'", "CALSTAT = 'BM'") is True
    assert removed("IMAGETYP= 'Master Dark'", "CALSTAT = 'M'") is False
    assert removed("IMAGETYP= 'Master Flat'", "ZEROCOR = 'Jan 2 03:04 Zero is Zero'") is True
    assert removed("IMAGETYP= 'Master Bias'", "NCOMBINE= 50") is False  # it is the bias


@pytest.mark.parametrize(
    ("cards", "doubted"),
    [
        (["DATE-OBS= '2024-01-02T03:04:05'", "DATE-END= '2024-01-02T03:09:05'"], False),
        (["DATE-OBS= '2024-01-02T03:04:05'", "DATE-END= '2024-01-02T03:09:09'"], False),  # with its download
        (["DATE-OBS= '2024-01-02T03:09:05'", "DATE-END= '2024-01-02T03:09:05'"], True),  # both are the end
        (["DATE-OBS= '2024-01-02T03:04:05'", "DATE-AVG= '2024-01-02T03:06:35'"], False),
        (["DATE-OBS= '2024-01-02T03:06:35'", "DATE-AVG= '2024-01-02T03:06:35'"], True),  # both are the middle
        (["DATE-OBS= '2024-01-02T03:09:05'", "DATE-AVG= '2024-01-02T03:06:35'"], True),
    ],
)
def test_a_start_that_looks_like_the_end_is_flagged(read, cards: list[str], doubted: bool) -> None:
    # FITS Standard 4.0, sections 4.4.2.1 and 9.5: DATE-OBS is the start unless told otherwise; DATE-AVG and DATE-END.
    facts = read(frame("EXPTIME = 300.0", *cards))
    assert codes(facts) == (["values_disagree"] if doubted else [])


def test_the_middle_and_end_as_julian_dates(read) -> None:
    for said, back_s in (("MJD-AVG = 60311.5", 150.0), ("MJD-END = 60311.5", 300.0)):
        facts = read(frame(said, "EXPTIME = 300.0"))
        assert facts.taken_at == datetime(2024, 1, 2, 12, 0, tzinfo=UTC) - timedelta(seconds=back_s)
        assert facts.time_origin == said[:7]


@pytest.mark.parametrize(
    ("cards", "flagged"),
    [
        (["IMAGETYP= 'Dark Frame'", "OBSTYPE = 'dark'"], False),
        (["IMAGETYP= 'Dark Frame'", "OBSTYPE = 'object'"], True),
        (["FILTER  = 'H alpha'", "FILTNAM = 'Halpha'"], False),
        (["FILTER  = 'Ha'", "FILTNAM = 'OIII'"], True),
        (["FILTER  = 'Ha'", "FILTERID= '4'"], False),
        (["BAYERPAT= 'RGGB'", "CFAPAT  = 'BGGR'"], True),
        (["ROTATANG= 90.0", "ROTATOR = 90.1"], False),
        (["ROTATANG= 90.0", "ROTATOR = 12.0"], True),
        (["SITELONG= -20.0", "LONG-OBS= 20.0"], True),
        (["DATE-OBS= '2024-01-02T12:00:00'", "MJD-OBS = 60311.5"], False),
        (["DATE-OBS= '2024-01-02T14:00:00'", "MJD-OBS = 60311.5"], True),
        (["DATE-OBS= '2024-01-02T14:00:00' / local time", "MJD-OBS = 60311.5"], False),
    ],
)
def test_spellings_that_disagree_are_flagged(read, cards: list[str], flagged: bool) -> None:
    facts = read(frame("EXPTIME = 300.0", *cards))
    assert ("values_disagree" in codes(facts)) is flagged
