"""One test for each published convention of FITS headers that reading relies on; the source stands beside each.

FITS Standard 4.0 (IAU FITS Working Group, 2018), RFC 4047, the registry of FITS conventions, the HEASARC dictionary of
keywords, SBFITSEXT 1.0 and the IRAF and NOAO conventions. What was not seen in print is called "value from memory".
Further checks on real files and against astropy are in test_fits_standard and test_fits_real_files.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from astropy.io.fits.hdu.base import _ValidHDU
from astropy.time import Time

from darklib.facts.frame import FrameFacts, Kind
from darklib.readers.cards import parse
from darklib.readers.fits_pixels import ones_complement_sum
from darklib.readers.open import look, read_facts, sensor_array, sniff

Read = Callable[..., FrameFacts]
ALL_ONES = 0xFFFFFFFF


def whole_file(*cards: str, pixels: np.ndarray | None = None) -> bytes:
    """A file of 16-bit unsigned pixels, its header written card by card as raw 80 bytes."""
    data = np.random.default_rng(3).integers(900, 1100, (24, 32)).astype(np.uint16) if pixels is None else pixels
    height, width = data.shape
    must = (
        "SIMPLE  =                    T", "BITPIX  =                   16", "NAXIS   =                    2",
        f"NAXIS1  = {width:20d}", f"NAXIS2  = {height:20d}", "BSCALE  =                    1",
        "BZERO   =                32768",
    )  # fmt: skip
    header = b"".join(card.encode().ljust(80) for card in (*must, *cards, "END"))
    stored = (data.astype(np.int32) - 32768).astype(">i2").tobytes()
    return header + b" " * (-len(header) % 2880) + stored + b"\0" * (-len(stored) % 2880)


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Return what is read from a file of these cards."""

    def reader(*cards: str) -> FrameFacts:
        path = tmp_path / "a.fits"
        path.write_bytes(whole_file(*cards))
        return read_facts(path)

    return reader


def codes(facts: FrameFacts) -> list[str]:
    return [warning.code for warning in facts.warnings]


def test_cards_of_80_bytes_and_blocks_of_36_cards(tmp_path: Path) -> None:
    # RFC 4047, section 4.1; FITS Standard, sections 3.1 and 4.1.
    whole = whole_file("OBJECT  = 'a'")
    assert 36 * 80 == 2880
    assert len(whole) % 2880 == 0
    path = tmp_path / "a.fits"
    path.write_bytes(whole[:-1])
    padding = look(path)
    assert padding.refusal is None
    assert codes(padding.facts) == ["missing_padding"]  # type: ignore[arg-type]
    path.write_bytes(whole[: 2880 + 24 * 32 * 2 - 2])
    cut = look(path)
    assert cut.refusal is not None
    assert cut.refusal.code == "truncated"
    assert str(2880 + 24 * 32 * 2 - 2) in cut.refusal.text


def test_a_keyword_without_the_value_indicator_is_commentary(read: Read) -> None:
    # Sections 4.1.2.1 and 4.1.2.2: up to 8 of A-Z, 0-9, hyphen, underscore; '= ' in bytes 9 and 10, else no value.
    assert parse(b"EXPTIME   300".ljust(80)) is None
    assert parse(b"COMMENT = 300".ljust(80)) is None
    card = parse(b"A-B_9   = 300".ljust(80))
    assert card is not None
    assert (card.keyword, card.value) == ("A-B_9", 300)
    assert read("EXPTIME   300").exposure_s is None


def test_null_string_empty_string_and_no_value_are_three_things(read: Read) -> None:
    # Section 4.2.1: '' is the null string, '   ' the empty string, nothing at all is undefined. Two quotes are one.
    cards = [parse(f"OBJECT  ={text}".encode().ljust(80)) for text in (" ''", " '   '", " ", " 'O''HARA'")]
    assert all(card is not None for card in cards)
    assert [(card.value, card.quoted) for card in cards if card] == [
        ("", True), ("", True), (None, False), ("O'HARA", True),
    ]  # fmt: skip
    assert read("EXPTIME =").exposure_s is None
    assert read("EXPTIME = ''").exposure_s is None


@pytest.mark.parametrize("text", ["300", "3.0D2", "3.E+02 / s", "                 300", "+300.0"])
def test_numbers_in_fixed_and_free_format(read: Read, text: str) -> None:
    # Sections 4.2.3 and 4.2.4 (value from memory): right-justified in bytes 11 to 30, or anywhere; exponent E or D.
    facts = read(f"EXPTIME = {text}")
    assert (facts.exposure_s, codes(facts)) == (300.0, [])
    odd = read("EXPTIME = 30,5")
    # No number by the standard: read as what is meant, never as 30, and always flagged.
    assert (odd.exposure_s, codes(odd)) == (30.5, ["value_odd"])


def test_a_keyword_given_twice_with_different_values_is_flagged(read: Read) -> None:
    # Section 4.1.2.3: the value is then indeterminate.
    facts = read("CCD-TEMP= -10.0", "CCD-TEMP= -5.0")
    assert codes(facts) == ["values_disagree"]
    assert [(one.where, one.raw) for one in facts.ignored] == [("CCD-TEMP", "-5.0")]
    assert codes(read("CCD-TEMP= -10.0", "CCD-TEMP= -10.0")) == []


def test_the_registrys_example_of_a_long_string() -> None:
    # Registry of FITS conventions, CONTINUE; section 4.2.1.2 of 4.0.
    lines = ["OBJECT  = 'This is a long string value &'", "CONTINUE  'extending&   '", "CONTINUE  ' over 3 lines.'"]
    raw = b"".join(line.encode().ljust(80) for line in lines)
    card = parse(raw)
    assert card is not None
    assert card.value == "This is a long string value extending over 3 lines."
    assert fits.Header.fromstring(raw)["OBJECT"] == card.value


def test_hierarch_keywords_end_at_the_equals_sign(read: Read) -> None:
    # ESO HIERARCH convention (Wicenec, Grosboel and Pence 2009, registry of FITS conventions).
    facts = read("HIERARCH ESO DET WIN1 DIT1 = 60.0 / integration", "HIERARCH ESO INS OPTI-3 ID = 'ESO#427 '")
    assert facts.exposure_s == 60.0
    assert [fact.where for fact in facts.facts if fact.name == "exposure_s"] == ["ESO DET WIN1 DIT1"]


@pytest.mark.parametrize(
    ("date", "moment", "flagged"),
    [
        ("2024-01-02T03:04:05.25", datetime(2024, 1, 2, 3, 4, 5, 250000, UTC), False),
        ("2016-12-31T23:59:60.5", datetime(2017, 1, 1, 0, 0, 0, 500000, UTC), False),  # a leap second
        ("2024-01-02T03:04:05Z", datetime(2024, 1, 2, 3, 4, 5, tzinfo=UTC), True),
        ("2024-01-02T03:04", datetime(2024, 1, 2, 3, 4, tzinfo=UTC), True),
        ("2024-02-30T03:04:05", None, True),
    ],
)
def test_dates_as_the_standard_writes_them(read: Read, date: str, moment: datetime | None, flagged: bool) -> None:
    # Sections 4.4.2.1 and 9.1.1 (value from memory): no zone letter; UTC unless TIMESYS says otherwise.
    facts = read(f"DATE-OBS= '{date}'")
    assert facts.taken_at == moment
    assert bool(codes(facts)) is flagged
    if not flagged:
        theirs = Time(date, format="fits", scale="utc").to_datetime(timezone=UTC, leap_second_strict="silent")
        assert abs(theirs - facts.taken_at) <= timedelta(seconds=1)  # type: ignore[operator]


def test_a_date_of_the_old_form_means_the_last_century(read: Read) -> None:
    # Section 4.4.2.1 (value from memory): before 1999 DD/MM/YY, meaning 19YY.
    assert read("DATE-OBS= '06/01/96'", "TIME-OBS= '12:00:00'").taken_at == datetime(1996, 1, 6, 12, tzinfo=UTC)


def test_the_time_of_day_in_a_second_keyword(read: Read) -> None:
    # HEASARC dictionary: TIME-OBS is used only where DATE-OBS carries no time.
    at = datetime(2024, 1, 2, 3, 4, 5, tzinfo=UTC)
    assert read("DATE-OBS= '2024-01-02'", "TIME-OBS= '03:04:05'").taken_at == at
    assert read("DATE-OBS= '2024-01-02T03:04:05'", "TIME-OBS= '09:09:09'").taken_at == at


def test_unsigned_numbers_are_stored_with_an_offset(tmp_path: Path) -> None:
    # Sections 4.4.2.5 and 5.2.5, table 11: physical = BZERO + BSCALE x stored. One printed draft has BZERO -32768.
    values = np.tile(np.array([0, 1, 32767, 32768, 65535], np.uint16), (5, 4))
    path = tmp_path / "a.fits"
    path.write_bytes(whole_file(pixels=values))
    stored = np.frombuffer(path.read_bytes(), ">i2", 5, 2880)
    assert stored.tolist() == [-32768, -32767, -1, 0, 32767]
    assert np.array_equal(sensor_array(path).data, values)
    assert np.array_equal(fits.getdata(path), values)


def test_the_worked_example_of_the_checksum() -> None:
    # HEASARC, "Checksum Encoding Example": sum 868229149, complement 3426738146 = 0xCC3FDFE2, written as the 16 letters
    # cHjjc9ghcEghc9gh before they are turned by one byte. The letters less sixteen zeros bring the sum to all ones.
    assert ALL_ONES - 868229149 == 3426738146 == 0xCC3FDFE2
    zeros = ones_complement_sum(b"0" * 16)
    letters = ones_complement_sum(b"cHjjc9ghcEghc9gh")
    assert (868229149 + letters - zeros) % ALL_ONES == 0
    assert (868229149 + ones_complement_sum(b"cHjjc9ghcEghc9gH") - zeros) % ALL_ONES != 0
    assert _ValidHDU._char_encode(fits.PrimaryHDU(), 3426738146) == "hcHjjc9ghcEghc9g"


def test_a_checksum_is_verified_both_ways(tmp_path: Path) -> None:
    # Section 4.4.2.7 and appendix J: with CHECKSUM the whole unit sums up to all ones.
    path = tmp_path / "a.fits"
    fits.PrimaryHDU(np.random.default_rng(5).integers(0, 999, (24, 32)).astype(np.int16)).writeto(path, checksum=True)
    whole = bytearray(path.read_bytes())
    assert ones_complement_sum(bytes(whole)) % ALL_ONES == 0
    assert codes(look(path).facts) == []  # type: ignore[arg-type]
    whole[3001] ^= 4
    path.write_bytes(whole)
    assert codes(look(path).facts) == ["checksum_differs"]  # type: ignore[arg-type]


def test_exchanged_words_pass_every_checksum() -> None:
    # Seaman, Pence and Rots, arXiv:1201.1345: the sum is no proof of origin, and nobody may be told it is.
    words = bytes(range(64))
    assert ones_complement_sum(words) == ones_complement_sum(words[32:] + words[:32])
    from darklib.facts.codes import WARNINGS

    assert not any(word in WARNINGS["checksum_differs"] for word in ("tamper", "genuine", "proof"))


def test_the_image_of_a_compressed_file_lies_in_a_table(tmp_path: Path) -> None:
    # Section 10 (value from memory): the header of the first unit may then be empty.
    data = np.random.default_rng(6).integers(900, 1100, (40, 64)).astype(np.int16)
    image = fits.CompImageHDU(data, compression_type="RICE_1")
    image.header["EXPTIME"] = 300.0
    path = tmp_path / "a.fits.fz"
    fits.HDUList([fits.PrimaryHDU(), image]).writeto(path)
    assert "EXPTIME" not in fits.getheader(path, 0)
    assert (read_facts(path).exposure_s, read_facts(path).compression) == (300.0, "lossless")
    assert np.array_equal(sensor_array(path).data, data)


@pytest.mark.parametrize("name", ["a.fits", "a.fit", "a.fts", "a.FTS", "a"])
def test_suffixes_are_custom_and_no_standard(tmp_path: Path, name: str) -> None:
    # RFC 4047, section 3 (value from memory): the content decides.
    (tmp_path / name).write_bytes(whole_file())
    assert sniff(tmp_path / name).format == "fits"


def test_exptime_and_exposure_are_synonyms_in_seconds(read: Read) -> None:
    # HEASARC dictionary; the standard itself has XPOSURE in seconds (section 9.7).
    assert [read(f"{word:8s}= 300.0").exposure_s for word in ("EXPTIME", "EXPOSURE", "XPOSURE")] == [300.0] * 3
    differ = read("EXPTIME = 300.0", "EXPOSURE= 150.0")
    assert (differ.exposure_s, codes(differ)) == (300.0, ["exposures_disagree"])


def test_dark_live_and_on_time_are_not_the_exposure(read: Read) -> None:
    # HEASARC dictionary; SBFITSEXT: DARKTIME may exceed EXPTIME, LIVETIME and ONTIME do not.
    facts = read("EXPTIME = 90.0", "DARKTIME= 98.55", "LIVETIME= 89.0", "ONTIME  = 90.0")
    assert (facts.exposure_s, codes(facts)) == (90.0, [])
    told = {fact.name: fact.value for fact in facts.facts}
    assert (told["dark_time_s"], told["live_time_s"], told["on_time_s"]) == (98.55, 89.0, 90.0)
    assert read("DARKTIME= 98.55").exposure_s is None


def test_a_header_after_sbfitsext(read: Read) -> None:
    # SBFITSEXT 1.0: degrees C, pixel size in um after binning, lengths in mm, sub-frame in binned pixels.
    facts = read(
        "CCD-TEMP= -9.8", "SET-TEMP= -10.0", "XBINNING= 2", "YBINNING= 2", "XPIXSZ  = 7.52", "YPIXSZ  = 7.52",
        "EGAIN   = 0.25", "FOCALLEN= 480.0", "APTDIA  = 80.0", "XORGSUBF= 100", "YORGSUBF= 50", "SNAPSHOT= 10",
        "IMAGETYP= 'Dark Frame'", "SBSTDVER= 'SBFITSEXT Version 1.0'",
    )  # fmt: skip
    assert (facts.sensor_temperature_c, facts.set_temperature_c, facts.binning) == (-9.8, -10.0, (2, 2))
    assert (facts.pixel_size_um, facts.e_per_dn, facts.origin_x, facts.origin_y) == (7.52, 0.25, 100, 50)
    assert (facts.train.focal_length_mm, facts.train.aperture_mm) == (480.0, 80.0)
    assert facts.combined is not None
    assert (facts.combined.count, facts.combined.bias_removed) == (10, None)


def test_the_pedestal_is_added_to_every_pixel(read: Read) -> None:
    # SBFITSEXT 1.0: a frame to which 100 was added carries PEDESTAL -100.
    (fact,) = [one for one in read("PEDESTAL= -100").facts if one.name == "pedestal_dn"]
    assert (fact.value, fact.unit) == (-100.0, "DN")
    assert isinstance(fact.value, float)
    assert 100 + fact.value == 0


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("Light Frame", Kind.LIGHT), ("Dark Frame", Kind.DARK), ("Bias Frame", Kind.BIAS), ("Flat Field", Kind.FLAT),
        ("object", Kind.LIGHT), ("FLAT", Kind.FLAT), ("LIGHT", Kind.LIGHT), ("BIAS", Kind.BIAS), ("EXT", None),
    ],
)  # fmt: skip
def test_words_for_kinds(read: Read, words: str, kind: Kind | None) -> None:
    # SBFITSEXT 1.0: the four words; 'object' in an SAAO frame, capitals in ccdproc's tests, 'EXT' in an HST frame.
    facts = read(f"IMAGETYP= '{words}'")
    assert facts.kind is kind
    assert codes(facts) == ([] if kind else ["value_not_understood"])
    assert read(f"IMAGETYP= ' {words.lower()}  '").kind is kind


def test_more_than_a_hundred_degrees_is_kelvin(read: Read) -> None:
    # An SAAO frame (ccdproc's test data): CCD-TEMP = 180.2 / CCD Cu block temperature; evidently kelvin, -92.95 C.
    facts = read("CCD-TEMP= 180.2 / CCD Cu block temperature")
    assert facts.sensor_temperature_c == pytest.approx(180.2 - 273.15)
    assert codes(facts) == ["temperature_taken_as_kelvin"]


def test_gain_of_an_observatory_is_electrons_per_dn(read: Read) -> None:
    # NOAO and ING dictionaries; the same SAAO frame has 1.9 with 'e-/ADU'. CCDSUM is NOAO's binning (from memory).
    facts = read("GAIN    = 1.9 / e-/ADU", "CCDSUM  = '2 2'")
    assert (facts.gain, facts.e_per_dn, facts.binning) == (None, 1.9, (2, 2))
    setting = read("GAIN    = 100", "EGAIN   = 0.25")
    assert (setting.gain, setting.e_per_dn, codes(setting)) == (100.0, 0.25, [])


def test_strings_have_free_content_and_filters_may_be_codes(read: Read) -> None:
    # FITS Standard, table 8 (value from memory): INSTRUME, TELESCOP, OBJECT; the SAAO frame has FILTERS = 48.
    facts = read("FILTERS = 48 / 10*A+B", "OBJECT  = 'NGC 1'", "INSTRUME= 'Any Camera'", "TELESCOP= '40-inch'")
    assert (facts.filter, codes(facts)) == ("48", ["value_odd"])
    assert (facts.target, facts.model, facts.train.telescope) == ("NGC 1", "Any Camera", "40-inch")


def test_sections_count_from_one_with_both_ends(read: Read) -> None:
    # IRAF convention, x first; the SAAO frame has BIASSEC [4:13,1:520] and TRIMSEC [17:528,1:520].
    facts = read("BIASSEC = '[4:13,1:520]'", "TRIMSEC = '[17:528,1:520]'")
    told = {fact.name: str(fact.value) for fact in facts.facts}
    frame = np.arange(520 * 536).reshape(520, 536)
    widths = {}
    for name in ("overscan_section", "picture_section"):
        (x1, x2), (y1, y2) = (map(int, span.split(":")) for span in told[name].strip("[]").split(","))
        widths[name] = frame[y1 - 1 : y2, x1 - 1 : x2].shape
    assert widths == {"overscan_section": (520, 10), "picture_section": (520, 512)}
