"""One test for each published rule of camera tags that reading relies on: Exif 2.32 (CIPA DC-008) and DNG 1.4.

Tag numbers were seen in the tables of general-purpose metadata libraries; a rule whose text was not seen is called
"value from memory". LibRaw decodes the same files as a second reader.
"""

import struct
from fractions import Fraction
from pathlib import Path

import exifread
import numpy as np
import pytest
import rawpy

from darklib.facts.resolve import body_of
from darklib.readers import raw_rows
from darklib.readers.open import look, read_facts, sensor_array
from darklib.readers.units_written import NotKnown
from darklib.scenario.dng import RawFacts, dng_bytes


def pixels(seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).integers(300, 16000, (48, 72)).astype(np.uint16)


def written(folder: Path, **changes: object) -> Path:
    facts = {
        "make": "Pellwick", "model": "Pellwick P4", "serial": "P4-1", "iso": 1600, "exposure": Fraction(300),
        "local_time": "2024:01:02 03:04:05", "cfa": "RGGB", "black_dn": 512, "white_dn": 16383,
    }  # fmt: skip
    path = folder / "IMG_0001.DNG"
    path.write_bytes(dng_bytes(pixels(), RawFacts(**(facts | changes))))  # type: ignore[arg-type]
    return path


class Tag:
    """A tag as the parser hands it over: values and a printed form."""

    def __init__(self, *values: object) -> None:
        self.values = list(values)

    def __str__(self) -> str:
        return str(self.values[0]) if len(self.values) == 1 else str(self.values)


@pytest.mark.parametrize("text", ["300", "1/95", "3/10", "1/8000"])
def test_exposure_time_is_a_fraction_of_seconds(tmp_path: Path, text: str) -> None:
    # Exif 2.32, ExposureTime 0x829A, RATIONAL in seconds.
    path = written(tmp_path, exposure=Fraction(text))
    assert read_facts(path).exposure_s == pytest.approx(float(Fraction(text)), abs=1e-9)
    with path.open("rb") as handle:
        theirs = exifread.process_file(handle)["EXIF ExposureTime"].values[0]
    assert Fraction(theirs.num, theirs.den) == Fraction(text)
    # A denominator of nothing is no number, and no exposure of zero seconds.
    with pytest.raises(NotKnown, match="denominator"):
        raw_rows.seconds(Tag(exifread.utils.Ratio(30, 0)), "exposure_s")


@pytest.mark.parametrize(("apex", "seconds"), [(5.0, 1 / 32), (0.0, 1.0), (-5.0, 32.0), (-8.0, 256.0)])
def test_a_shutter_speed_in_apex_units(apex: float, seconds: float) -> None:
    # Exif 2.32, annex C (value from memory): t = 2 to the power of minus Tv; the 30 s of a dial are 32 s.
    told = raw_rows.apex_seconds(Tag(apex), "exposure_s")
    assert (told.value, told.warning) == (pytest.approx(seconds), "value_odd")


def test_iso_beyond_16_bits_by_the_type_that_is_named(tmp_path: Path) -> None:
    # Exif 2.3, annex G, as a metadata library's tests have it: 65535 and type 2 mean the recommended exposure index.
    assert read_facts(written(tmp_path, iso=102400)).iso == 102400
    assert read_facts(written(tmp_path, iso=65535)).iso == 65535
    path = written(tmp_path, iso=102400)
    data = bytearray(path.read_bytes())
    at = data.index(struct.pack("<HH", 0x8830, 3))
    data[at + 8 : at + 12] = struct.pack("<I", 0)
    path.write_bytes(data)
    unnamed = read_facts(path)
    assert (unnamed.iso, [warning.code for warning in unnamed.warnings]) == (65535, ["iso_at_least"])


@pytest.mark.parametrize(
    ("zone", "moment"),
    [("", "2024-01-02T03:04:05"), ("+02:00", "2024-01-02T01:04:05+00:00"), ("-09:30", "2024-01-02T12:34:05+00:00")],
)
def test_the_time_is_local_and_the_offset_may_be_missing(tmp_path: Path, zone: str, moment: str) -> None:
    # Exif 2.32, DateTimeOriginal 0x9003, OffsetTimeOriginal 0x9011 (since 2.31): without it the zone is unknown.
    found = read_facts(written(tmp_path, **({"zone": zone} if zone else {}))).taken_at
    assert found is not None
    assert found.isoformat() == moment
    assert (found.tzinfo is None) == (not zone)


@pytest.mark.parametrize(("digits", "fraction"), [("5", 0.5), ("05", 0.05), ("92", 0.92), ("123456", 0.123456)])
def test_digits_of_a_fraction_of_a_second(digits: str, fraction: float) -> None:
    # Exif 2.32, SubSecTimeOriginal 0x9291 (value from memory): the digits behind the point.
    told = raw_rows.digits(Tag(digits), "stamp_fraction")
    assert float(f"0.{told.value}") == fraction


def test_ambient_temperature_is_the_airs(tmp_path: Path) -> None:
    # Exif 2.31, AmbientTemperature 0x9400: of the air where the camera was held, never the sensor's.
    facts = read_facts(written(tmp_path, ambient_c=-12.3))
    assert (facts.ambient_temperature_c, facts.sensor_temperature_c) == (-12.3, None)
    # An all-ones denominator stands for unknown (value from memory); as a fraction it would be nearly zero degrees.
    path = written(tmp_path, ambient_c=5.0)
    data = bytearray(path.read_bytes())
    at = data.index(struct.pack("<ii", 50, 10))
    data[at : at + 8] = struct.pack("<iI", 50, 0xFFFFFFFF)
    path.write_bytes(data)
    unknown = read_facts(path)
    assert unknown.ambient_temperature_c is None
    assert "EXIF Tag 0x9400" in [ignored.where for ignored in unknown.ignored]


def test_serial_numbers_part_bodies_of_one_model(tmp_path: Path) -> None:
    # Exif 2.3, BodySerialNumber 0xA431 (value from memory).
    one, other = (body_of(read_facts(written(tmp_path, serial=serial))) for serial in ("P4-1", "P4-2"))
    assert one is not None
    assert other is not None
    assert one.model == other.model
    assert one.id != other.id


def test_levels_and_mosaic_as_a_dng_writes_them(tmp_path: Path) -> None:
    # DNG 1.4: BlackLevel 50714, WhiteLevel 50717, CFARepeatPatternDim 33421, CFAPattern 33422 (0 red, 1 green, 2 blue).
    path = written(tmp_path, black_dn=600, white_dn=15000, cfa="GBRG")
    found = look(path)
    assert found.facts is not None
    assert (found.facts.black_dn, found.facts.white_dn, found.facts.cfa) == (600.0, 15000.0, "GBRG")
    with rawpy.imread(str(path)) as raw:
        assert raw.black_level_per_channel == [600] * 4
        assert raw.white_level == 15000
        letters = "".join(raw.color_desc.decode()[number] for number in raw.raw_pattern.ravel())
    assert letters == "GBRG"


def test_the_decoders_numbers_are_the_files(tmp_path: Path) -> None:
    # An uncompressed mosaic after DNG 1.4, decoded by LibRaw bit for bit.
    path = written(tmp_path)
    with rawpy.imread(str(path)) as raw:
        theirs = raw.raw_image.copy()
    assert np.array_equal(theirs, pixels())
    assert np.array_equal(sensor_array(path).data, theirs)
    with path.open("rb") as handle:
        tags = exifread.process_file(handle)
    assert int(tags["EXIF ISOSpeedRatings"].values[0]) == read_facts(path).iso == 1600
