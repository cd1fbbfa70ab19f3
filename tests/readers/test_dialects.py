"""Every row of the table of keyword spellings: the raw card, what it tells, and a malformed neighbour refused."""

import math
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from darklib.readers.cards import parse
from darklib.readers.dialect_reading import understood
from darklib.readers.dialects import BY_KEYWORD, ROWS

DARK, FLAT, BIAS, LIGHT = "dark", "flat", "bias", "light"

# keyword: (value and comment as they stand, value told, unit, a value that must be refused)
NUMBERS: dict[str, tuple[str, object, str, str]] = {
    "EXPTIME": ("300.0 / [s] exposure", 300.0, "s", "NaN"),
    "EXPOSURE": ("250 / [ms] exposure", 0.25, "s", "-3.0"),
    "XPOSURE": ("1.5D+01", 15.0, "s", "T"),
    "EXP_TIME": ("2 / minutes", 120.0, "s", "1e9"),
    "EXPOINUS": ("500000", 0.5, "s", "'long'"),
    "EXP_MS": ("1500", 1.5, "s", "0x1F"),
    "ITIME": ("20.0 / integration time in seconds", 20.0, "s", "300 / [mm]"),
    "ESO DET WIN1 DIT1": ("60.0", 60.0, "s", "(1,2)"),
    "TEXPTIME": ("120.0", 120.0, "s", "-1.5"),
    "DARKTIME": ("98.55", 98.55, "s", "'none of it'"),
    "TELAPSE": ("305.0 / [s]", 305.0, "s", "INF"),
    "LIVETIME": ("299.0", 299.0, "s", "T"),
    "ONTIME": ("300.0", 300.0, "s", "12:30"),
    "GAIN": ("139", 139.0, "", "'high'"),
    "EGAIN": ("0.25 / [e-/ADU]", 0.25, "e/DN", "-0.5"),
    "CCDGAIN": ("4.0", 4.0, "e/DN", "99999"),
    "GAIN_E": ("2.0 / DN/e- [DN/e-]", 0.5, "e/DN", "T"),
    "ESO DET OUT1 CONAD": ("1.2", 1.2, "e/DN", "'1.2 V'"),
    "ISOSPEED": ("1600", 1600, "", "1600.5"),
    "ISO": ("'800'", 800, "", "-100"),
    "RDNOISE": ("5.0 / electrons", 5.0, "e", "NaN"),
    "READNOIS": ("3.5", 3.5, "e", "T"),
    "OFFSET": ("50", 50.0, "DN", "-5"),
    "BLKLEVEL": ("256", 256.0, "DN", "'dark'"),
    "BLACKLVL": ("64", 64.0, "DN", "NaN"),
    "CCDOFFST": ("3", 3.0, "DN", "-7.5"),
    "PEDESTAL": ("-100", -100.0, "DN", "'much'"),
    "SATURATE": ("65535", 65535.0, "DN", "-2"),
    "SATLEVEL": ("58000", 58000.0, "DN", "T"),
    "CCD-TEMP": ("-10.0 / [degC]", -10.0, "degC", "5000"),
    "CCDTEMP": ("-9.9", -9.9, "degC", "NaN"),
    "CCD_TEMP": ("263.15 / [K]", -10.0, "degC", "5000 / [K]"),
    "TEMP_CCD": ("-70.7994", -70.7994, "degC", "T"),
    "DET-TEMP": ("14.0 / [F]", -10.0, "degC", "'cold'"),
    "DETTEMP": ("'-10.5 C'", -10.5, "degC", "'-10.5 V'"),
    "CHIPTEMP": ("-20", -20.0, "degC", "-250"),
    "SENSTEMP": ("25.5 / [degC]", 25.5, "degC", "25.5 / [mm]"),
    "TEMPERAT": ("'-10,5'", -10.5, "degC", "'1.234,5'"),
    "ESO DET CHIP1 TEMP": ("153.15 / [K]", -120.0, "degC", "800.0"),
    "SET-TEMP": ("-10.0", -10.0, "degC", "INF"),
    "SETTEMP": ("-5", -5.0, "degC", "F"),
    "CCD-SET": ("-15.0", -15.0, "degC", "'off course'"),
    "AMB-TEMP": ("8.5", 8.5, "degC", "-201"),
    "AMBTEMP": ("281.65 / [K]", 8.5, "degC", "NaN"),
    "AMBIENT": ("12", 12.0, "degC", "T"),
    "AOCAMBT": ("3.2", 3.2, "degC", "'3.2 Pa'"),
    "OUTTEMP": ("-4", -4.0, "degC", "7e5"),
    "FOCTEMP": ("6.1", 6.1, "degC", "NaN"),
    "FOCUSTEM": ("5.0 / [degC]", 5.0, "degC", "T"),
    "XBINNING": ("2", 2, "", "0"),
    "YBINNING": ("2", 2, "", "1.5"),
    "XBIN": ("1", 1, "", "-1"),
    "YBIN": ("4", 4, "", "T"),
    "CCDXBIN": ("2", 2, "", "NaN"),
    "CCDYBIN": ("3", 3, "", "'many'"),
    "CCDBIN1": ("2.0", 2, "", "2.5"),
    "CCDBIN2": ("2", 2, "", "0"),
    "HBIN": ("'2'", 2, "", "'two'"),
    "VBIN": ("1", 1, "", "0x2"),
    "BINX": ("2", 2, "", "-2"),
    "BINY": ("2", 2, "", "F"),
    "BINAXIS1": ("1", 1, "", "0"),
    "BINAXIS2": ("1", 1, "", "0.5"),
    "SUMCOL": ("2", 2, "", "0"),
    "SUMROW": ("2", 2, "", "NaN"),
    "XORGSUBF": ("128", 128, "px", "-1"),
    "YORGSUBF": ("0", 0, "px", "0.5"),
    "XPIXSZ": ("3.76 / [um]", 3.76, "um", "-3.76"),
    "YPIXSZ": ("7.52", 7.52, "um", "7.52 / [s]"),
    "PIXSIZE1": ("0.015 / [mm]", 15.0, "um", "NaN"),
    "PIXSIZE": ("9", 9.0, "um", "5000"),
    "XPIXELSZ": ("3.8 / microns", 3.8, "um", "T"),
    "FOCALLEN": ("479.9 / [mm]", 479.9, "mm", "-480"),
    "FOCAL": ("2.0 / [m]", 2000.0, "mm", "T"),
    "FOCLEN": ("'480 mm'", 480.0, "mm", "'f/6'"),
    "APTDIA": ("80.0", 80.0, "mm", "80.0 / [s]"),
    "FOCRATIO": ("6.0", 6.0, "", "-6"),
    "FILTPOS": ("3", 3, "", "2.5"),
    "FILTNUM": ("0", 0, "", "'H-alpha'"),
    "FOCUSPOS": ("12345", 12345.0, "", "NaN"),
    "FOCPOS": ("-3.5", -3.5, "", "'near'"),
    "ROTATANG": ("90.5", 90.5, "deg", "400"),
    "ROTATOR": ("-45", -45.0, "deg", "NaN"),
    "ROTANG": ("359.9 / [deg]", 359.9, "deg", "'left'"),
    "OBJCTROT": ("12.5", 12.5, "deg", "T"),
    "POSANGLE": ("270.0", 270.0, "deg", "1000"),
    "CROTA2": ("-0.4", -0.4, "deg", "INF"),
    "SITELAT": ("'-20 15 00'", -20.25, "deg", "'95 00 00'"),
    "LAT-OBS": ("47.5", 47.5, "deg", "-90.5"),
    "OBSGEO-B": ("-30.0 / [deg]", -30.0, "deg", "NaN"),
    "LATITUDE": ("'47 30 00 S'", -47.5, "deg", "'up north'"),
    "SITELONG": ("'20:15:00 W'", -20.25, "deg", "'400 00 00'"),
    "LONG-OBS": ("200.0", -160.0, "deg", "400"),
    "OBSGEO-L": ("-70.0", -70.0, "deg", "T"),
    "LONGITUD": ("20.25 / [deg] west of Greenwich", -20.25, "deg", "NaN"),
    "MJD-OBS": ("60311.5", 60311.5, "d", "'today'"),
    "MJD-BEG": ("60311.25", 60311.25, "d", "T"),
    "MJD-AVG": ("60311.5", 60311.5, "d", "'noon'"),
    "MJD-END": ("60311.5", 60311.5, "d", "F"),
    "JD": ("2460312.0", 2460312.0, "d", "NaN"),
    "XBAYROFF": ("1", 1, "px", "-1"),
    "YBAYROFF": ("0", 0, "px", "T"),
    "BAYOFFX": ("1", 1, "px", "0.5"),
    "BAYOFFY": ("1", 1, "px", "'one'"),
    "NCOMBINE": ("20", 20, "", "0"),
    "SNAPSHOT": ("10", 10, "", "-1"),
    "STACKCNT": ("30", 30, "", "2.5"),
    "NSTACK": ("5", 5, "", "T"),
    "NIMAGES": ("12", 12, "", "NaN"),
}  # fmt: skip

TEXTS: dict[str, tuple[str, object, str]] = {
    "IMAGETYP": ("'Light Frame'", LIGHT, "'Comp'"),
    "IMAGETYPE": ("'MASTERDARK'", DARK, "'whatever'"),
    "FRAMETYP": ("'flat field '", FLAT, "'test'"),
    "FRAMETYPE": ("'DarkFlat'", DARK, "3"),
    "OBSTYPE": ("'zero'", BIAS, "'arc'"),
    "OBS_TYPE": ("'SKYFLAT'", FLAT, "'focus'"),
    "EXPTYPE": ("'object'", LIGHT, "T"),
    "ESO DPR TYPE": ("'FLAT,SKY'", FLAT, "'LAMP,WAVE'"),
    "READOUTM": ("'High gain'", "High gain", "T"),
    "READOUTMODE": ("'1'", "1", "F"),
    "READMODE": ("3", "3", "NaN"),
    "RDMODE": ("'slow  mode'", "slow mode", "'slow"),
    "ESO DET READ CLOCK": ("'2x2,slow'", "2x2,slow", "T"),
    "CCDSEC": ("'[1:2048,1:1024]'", "[1:2048,1:1024]", "'[1:2048]'"),
    "BIASSEC": ("'[4:13,1:520]'", "[4:13,1:520]", "'none there'"),
    "TRIMSEC": ("'[17:528,1:520]'", "[17:528,1:520]", "T"),
    "DATASEC": ("'[1 : 10, 2 : 20]'", "[1:10,2:20]", "5"),
    "FILTER": ("'Ha'", "Ha", "T"),
    "FILTERS": ("'R'", "R", "'R"),
    "FILTNAM": ("'OIII'", "OIII", "F"),
    "FILTERID": ("'L'", "L", "NaN"),
    "FILTER1": ("'clear'", "clear", "T"),
    "FILTER2": ("'B'", "B", "T"),
    "TELESCOP": ("'Harrowfen 90/540'", "Harrowfen 90/540", "T"),
    "APERTURE": ("'f/6'", "f/6", "T"),
    "REDUCER": ("'0.8x'", "0.8x", "T"),
    "FOCUSER": ("'motor'", "motor", "T"),
    "INSTRUME": ("'Ostrell CM-16'", "Ostrell CM-16", "T"),
    "CAMERA": ("'CM-16'", "CM-16", "NaN"),
    "CAMMAKE": ("'Ostrell'", "Ostrell", "T"),
    "SERIALNO": ("'OC-0042'", "OC-0042", "T"),
    "CAMSN": ("42", "42", "T"),
    "CAMID": ("'0a1b2c'", "0a1b2c", "F"),
    "SERNUM": ("'7'", "7", "NaN"),
    "DETSERNO": ("'A-1'", "A-1", "T"),
    "OBJECT": ("'NGC 7331'", "NGC 7331", "T"),
    "TARGNAME": ("'O''HARA'", "O'HARA", "'x' y"),
    "TARGET": ("'M 31'", "M 31", "T"),
    "PIERSIDE": ("'EAST'", "east", "'up'"),
    "BAYERPAT": ("'RGGB'", "RGGB", "'RGB'"),
    "COLORTYP": ("'gbrg'", "GBRG", "'colour'"),
    "CFAPAT": ("'RG,GB'", "RGGB", "'RGXB'"),
    "ROWORDER": ("'TOP-DOWN'", "top-down", "'sideways'"),
    "COMBTYPE": ("'median'", "median", "T"),
    "CALSTAT": ("'BD'", "BD", "'XYZ'"),
    "ZEROCOR": ("'Jan  2 03:04 Zero is Zero.imh'", "Jan 2 03:04 Zero is Zero.imh", "T"),
    "DARKCOR": ("'done'", "done", "T"),
    "FLATCOR": ("'done'", "done", "T"),
    "DATE-OBS": ("'2024-01-02T03:04:05.6'", "2024-01-02T03:04:05.6", "'2024-13-02T03:04:05'"),
    "DATE_OBS": ("'1996-01-06'", "1996-01-06", "'yesterday'"),
    "DATE-BEG": ("'2024-01-02T03:04:05'", "2024-01-02T03:04:05", "'2024-01-02T25:00:00'"),
    "DATE-AVG": ("'2024-01-02T03:04:05'", "2024-01-02T03:04:05", "5"),
    "DATE-END": ("'2024-01-02T03:04:05'", "2024-01-02T03:04:05", "T"),
    "DATE-LOC": ("'2024-01-02T03:04:05'", "2024-01-02T03:04:05", "'2024-02-30'"),
    "TIME-OBS": ("'03:04:05.5'", "03:04:05.500000", "'3 h'"),
    "TIME_OBS": ("'03:04'", "03:04:00", "'03:61:00'"),
    "UTSTART": ("'23:59:59'", "23:59:59", "'24:00:00'"),
    "UT": ("'9:08:07'", "09:08:07", "9.5"),
    "UTC-OBS": ("'01:02:03'", "01:02:03", "T"),
    "TIMESYS": ("'TDB(spacecraft)'", "TT", "'MARS'"),
}  # fmt: skip

PAIRS = {"CCDSUM": ("'2 2'", (2, 2), "'2 by 2'"), "BINNING": ("'1x2'", (1, 2), "'0x0'")}


def raw_card(keyword: str, rest: str) -> bytes:
    name = f"{keyword:<8}" if len(keyword) <= 8 and " " not in keyword else f"HIERARCH {keyword} "
    text = f"{name}= {rest}"
    assert len(text) <= 80
    return text.encode().ljust(80)


def examples() -> Iterator[tuple[str, str, object, str, str]]:
    for keyword, (rest, value, unit, bad) in NUMBERS.items():
        yield keyword, rest, value, unit, bad
    for keyword, (rest, value, bad) in TEXTS.items():
        yield keyword, rest, value, "", bad


@pytest.mark.parametrize(("keyword", "rest", "value", "unit", "bad"), list(examples()))
def test_a_row_tells_its_value_its_unit_and_where_it_is_from(
    keyword: str, rest: str, value: object, unit: str, bad: str
) -> None:
    found = understood(raw_card(keyword, rest))
    assert found is not None
    fact = found.facts[0]
    assert fact.name == BY_KEYWORD[keyword][1].field
    assert fact.value == pytest.approx(value) if isinstance(value, float) else fact.value == value
    assert type(fact.value) is type(value)
    assert fact.unit == unit
    assert (fact.origin, fact.where) == ("header", keyword)
    assert fact.raw.strip("' ") in " ".join(rest.replace("''", "'").split()) or fact.raw in rest


@pytest.mark.parametrize(("keyword", "rest", "value", "unit", "bad"), list(examples()))
def test_a_malformed_neighbour_is_refused_with_its_text(
    keyword: str, rest: str, value: object, unit: str, bad: str
) -> None:
    found = understood(raw_card(keyword, bad))
    assert found is not None
    assert not found.facts
    assert found.ignored is not None
    assert found.ignored.where == keyword
    assert found.ignored.raw.strip("' ") in bad
    assert [warning.code for warning in found.warnings] == ["value_not_understood"]
    assert keyword in found.warnings[0].text


@pytest.mark.parametrize("keyword", PAIRS)
def test_both_binnings_in_one_card(keyword: str) -> None:
    rest, pair, bad = PAIRS[keyword]
    found = understood(raw_card(keyword, rest))
    assert found is not None
    assert {fact.name: fact.value for fact in found.facts} == {"binning_x": pair[0], "binning_y": pair[1]}
    refused = understood(raw_card(keyword, bad))
    assert refused is not None
    assert refused.ignored is not None


def test_a_keyword_others_use_for_something_else_is_not_flagged() -> None:
    kind, elsewhere = understood(raw_card("FRAME", "'Dark'")), understood(raw_card("FRAME", "'FK5     '"))
    assert kind is not None
    assert kind.facts[0].value == DARK
    assert elsewhere is not None
    assert (elsewhere.facts, elsewhere.warnings) == ((), ())


def test_every_row_has_its_test() -> None:
    assert {row.keyword for row in ROWS} == NUMBERS.keys() | TEXTS.keys() | PAIRS.keys() | {"FRAME"}
    assert len(ROWS) == len(BY_KEYWORD) >= 60
    assert all(row.source for row in ROWS)


@pytest.mark.parametrize(
    ("keyword", "rest", "field", "value", "note", "warning"),
    [
        ("GAIN", "1.9 / e-/ADU [e-/ADU]", "e_per_dn", 1.9, "", ""),
        ("GAIN", "1.9 / Gain in electrons per ADU", "e_per_dn", 1.9, "", ""),
        ("GAIN", "1.4", "e_per_dn", 1.4, "taken as electrons per DN", "value_odd"),
        ("GAIN", "25.5", "gain", 25.5, "", ""),
        ("GAIN", "0", "gain", 0.0, "", ""),
        ("GAIN", "1.5 / [dB]", "gain", 1.5, "", ""),
        ("CCD-TEMP", "180.2 / CCD Cu block temperature", "sensor_temperature_c", -92.95, "taken as kelvin",
         "temperature_taken_as_kelvin"),
        ("CCD-TEMP", "263.15 / [K]", "sensor_temperature_c", -10.0, "given in kelvin", ""),
        ("CCD-TEMP", "-10,5", "sensor_temperature_c", -10.5, "a decimal comma", "value_odd"),
        ("CCD-TEMP", "'-10.5'", "sensor_temperature_c", -10.5, "a number in quotes", "value_odd"),
        ("EXPTIME", "'300,5'", "exposure_s", 300.5, "a number in quotes, a decimal comma", "value_odd"),
        ("EXPTIME", "500 / [ms]", "exposure_s", 0.5, "given in ms", ""),
        ("EXPTIME", "250 / exposure time in milliseconds", "exposure_s", 0.25, "given in ms", ""),
        ("FILTER", "3", "filter", "3", "a number, not a name", "value_odd"),
        ("OBJECT", "'dark'", "kind_by_object", "dark", "", ""),
        ("DATE-OBS", "'06/01/96'", "date_obs", "1996-01-06", "", ""),
        ("DATE-OBS", "2024-01-02T03:04:05", "date_obs", "2024-01-02T03:04:05", "a date without quotes", "value_odd"),
        ("DATE-OBS", "'2024-01-02T03:04:05Z'", "date_obs", "2024-01-02T03:04:05+00:00", "a time with a zone",
         "value_odd"),
        ("DATE-OBS", "'2024-01-02T03:04:05' / end of exposure", "date_end", "2024-01-02T03:04:05", "", ""),
        ("DATE-OBS", "'2024-01-02T03:04:05' / start, not end", "date_obs", "2024-01-02T03:04:05", "", ""),
        ("DATE-OBS", "'2024-01-02T03:04:05' / midpoint", "date_avg", "2024-01-02T03:04:05", "", ""),
        ("FOCRATIO", "'f/5.6'", "focal_ratio", 5.6, "", ""),
        ("FILTER", "'None'", "filter", "None", "", ""),
        ("FOCALLEN", "0.48 / [m]", "focal_length_mm", 480.0, "given in m", ""),
        ("PEDESTAL", "-100 / add to every pixel", "pedestal_dn", -100.0, "", ""),
        ("ROTATANG", "-90.0", "rotator_deg", -90.0, "", ""),
        ("POSANGLE", "270.0", "position_angle_deg", 270.0, "", ""),
        ("SITELONG", "'339:45:00'", "longitude_deg", -20.25, "", ""),
        ("TIMESYS", "'GPS'", "time_scale", "GPS", "", ""),
        ("XPIXSZ", "0.0038 / [mm]", "pixel_size_um", 3.8, "given in mm", ""),
        ("LATITUDE", "'47 30 00'", "latitude_deg", 47.5, "", ""),
        ("LONGITUD", "20.25 / west", "longitude_deg", -20.25, "counted to the west", ""),
    ],
)  # fmt: skip
def test_units_signs_and_odd_writing(
    keyword: str, rest: str, field: str, value: object, note: str, warning: str
) -> None:
    found = understood(raw_card(keyword, rest))
    assert found is not None
    fact = found.facts[0]
    assert fact.name == field
    assert fact.value == pytest.approx(value) if isinstance(value, float) else fact.value == value
    assert fact.note == note
    assert [one.code for one in found.warnings] == ([warning] if warning else [])


@pytest.mark.parametrize(
    ("keyword", "rest"),
    [
        ("CCD-TEMP", "999"), ("CCD-TEMP", "-273.15"), ("CCD-TEMP", "-128.0"), ("CCD-TEMP", "0.0 / [K]"),
        ("SET-TEMP", "-999.0"), ("AMBTEMP", "9999"), ("EXPTIME", "-1.0"), ("GAIN", "-1"), ("OFFSET", "-1"),
        ("EGAIN", "0.0"), ("FOCRATIO", "0.0"), ("FILTPOS", "-1"),
        ("ISOSPEED", "0"), ("FOCALLEN", "0.0"), ("XPIXSZ", "0"), ("JD", "0"),
    ],
)  # fmt: skip
def test_numbers_that_stand_for_not_known_are_unknown_and_flagged(keyword: str, rest: str) -> None:
    found = understood(raw_card(keyword, rest))
    assert found is not None
    assert found.facts == ()
    assert found.ignored is not None
    assert [warning.code for warning in found.warnings] == ["sentinel_dropped"]


@pytest.mark.parametrize(
    ("keyword", "rest"),
    [("EXPTIME", ""), ("EXPTIME", "/ no value"), ("CCD-TEMP", "'N/A'"), ("FILTER", "''"), ("OBJECT", "'        '"),
     ("BAYERPAT", "'NONE'"), ("TELESCOP", "'Unknown'"), ("DATE-OBS", "''"), ("OBJECT", "'none'")],
)  # fmt: skip
def test_what_says_nothing_is_unknown_without_a_flag(keyword: str, rest: str) -> None:
    found = understood(raw_card(keyword, rest))
    assert found is not None
    assert (found.facts, found.warnings) == ((), ())
    assert found.ignored is not None


def test_a_bias_of_no_exposure_is_one_of_zero_seconds() -> None:
    found = understood(raw_card("EXPTIME", "0.0"))
    assert found is not None
    assert found.facts[0].value == 0.0


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("Light Frame", LIGHT), ("LIGHT", LIGHT), ("object", LIGHT), ("Dark Frame", DARK), ("dark", DARK),
        ("FLATDARK", DARK), ("Dark Flat", DARK), ("Bias Frame", BIAS), ("Zero", BIAS), ("offset", BIAS),
        ("Flat Field", FLAT), ("FLAT", FLAT), ("Twilight Flat", FLAT), ("dome_flat", FLAT), ("Master Bias", BIAS),
        ("masterFlat", FLAT), ("SUPERBIAS", BIAS), ("Flat Frame", FLAT), ("Dark Exposure", DARK),
    ],
)  # fmt: skip
def test_spellings_of_kinds(words: str, kind: str) -> None:
    found = understood(raw_card("IMAGETYP", f"'{words}'"))
    assert found is not None
    assert found.facts[0].value == kind
    combined = any(fact.name == "combined" for fact in found.facts)
    assert combined == ("master" in words.casefold() or "super" in words.casefold())


@pytest.mark.parametrize("words", ["not dark", "darkness", "flattened", "EXT", "focus", "lightsaber", "dark light"])
def test_words_that_only_resemble_a_kind_are_none(words: str) -> None:
    found = understood(raw_card("IMAGETYP", f"'{words}'"))
    assert found is not None
    assert found.facts == ()


VALUES = st.one_of(
    st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=30),
    st.integers(-(10**6), 10**6).map(str),
    st.floats(-1e5, 1e5).map(lambda number: f"{number:.6g}"),
    st.floats(-400, 400).map(lambda number: f"'{number:.2f}'"),
    st.floats(-400, 400).map(lambda number: f"{number:.2f}".replace(".", ",")),
)
COMMENTS = st.sampled_from(
    ["", " / [s]", " / [K]", " / in ms", " / [degC]", " / e-/ADU", " / west", " / local", " / NaN"]
)


@given(st.sampled_from([row.keyword for row in ROWS]), VALUES, COMMENTS)
@settings(max_examples=400)
def test_whatever_a_card_holds_is_told_or_ignored_and_never_guessed_in_silence(
    keyword: str, value: str, comment: str
) -> None:
    name = f"{keyword:<8}" if len(keyword) <= 8 and " " not in keyword else f"HIERARCH {keyword} "
    raw = f"{name}= {value}{comment}"[:80].encode().ljust(80)
    found, card = understood(raw), parse(raw)
    if found is None:
        return
    assert card is not None
    assert bool(found.facts) != (found.ignored is not None)
    assert not (found.facts and any(one.code == "value_not_understood" for one in found.warnings))
    for fact in found.facts:
        assert fact.raw == card.text
        plain = isinstance(fact.value, float | int) and not isinstance(fact.value, bool)
        if plain and not fact.note and isinstance(card.value, float | int) and fact.unit != "deg":
            # Nothing was noted, so it is the very number that stands there.
            assert fact.value == pytest.approx(card.value, abs=1e-4)
        if isinstance(fact.value, float):
            assert math.isfinite(fact.value)
