"""The raw files of the scenario against LibRaw, the decoder, and ExifRead, a reader of Exif tags."""

import io
from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction

import exifread
import numpy as np
import pytest
import rawpy
from hypothesis import given, settings
from hypothesis import strategies as st

from darklib.facts.frame import Kind
from darklib.scenario.cast import FIRST_BODY, raw_camera
from darklib.scenario.dng import RawFacts, dng_bytes
from darklib.scenario.raw_shot import raw_shot
from darklib.scenario.shot import Shot

SIX_BY_SIX = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG"
FACTS = RawFacts("Make", "Model", "S-1", 1600, Fraction(120), "2026:09:12 21:15:00", "RGGB", 512, 16383)


def noise(height, width, seed=3):
    return np.random.default_rng(seed).integers(0, 16384, (height, width), dtype=np.uint16)


@settings(max_examples=25)
@given(st.integers(22, 70), st.integers(22, 70), st.sampled_from(["RGGB", "BGGR", "GRBG", "GBRG", SIX_BY_SIX]))
def test_libraw_decodes_every_pixel(height, width, cfa):
    height, width = 2 * (height // 2), 2 * (width // 2)
    pixels = noise(height, width)
    with rawpy.imread(io.BytesIO(dng_bytes(pixels, replace(FACTS, cfa=cfa)))) as raw:
        assert np.array_equal(raw.raw_image, pixels)
        side = 2 if len(cfa) == 4 else 6
        names = raw.color_desc.decode()
        assert "".join(names[number] for number in raw.raw_pattern.ravel()) == cfa
        assert raw.raw_pattern.shape == (side, side)
        assert raw.white_level == 16383
        assert raw.black_level_per_channel[:3] == [512, 512, 512]


@pytest.mark.parametrize(
    ("exposure_s", "numerator", "denominator"), [(120.0, 120, 1), (1 / 30, 1, 30), (1 / 4000, 1, 4000), (0.5, 1, 2)]
)
def test_exifread_finds_what_the_camera_noted(exposure_s, numerator, denominator):
    camera = raw_camera(1, FIRST_BODY, 64, 48)
    shot = Shot(Kind.DARK, camera, 800, exposure_s, 12.0, datetime(2026, 9, 12, 22, 15, 7, tzinfo=UTC), 1)
    tags = exifread.process_file(io.BytesIO(raw_shot(shot, ambient_c=-6.5)))
    exposure = tags["EXIF ExposureTime"].values[0]
    assert (exposure.num, exposure.den) == (numerator, denominator)
    assert tags["EXIF ISOSpeedRatings"].values == [800]
    assert str(tags["EXIF DateTimeOriginal"]) == "2026:09:12 21:15:07"
    assert str(tags["EXIF BodySerialNumber"]) == str(tags["Image Tag 0xC62F"]) == FIRST_BODY
    assert (str(tags["Image Make"]), str(tags["Image Model"])) == ("Pellwick", "Pellwick P4")
    # Exif 2.31, AmbientTemperature 0x9400: of the air, in degrees C.
    assert float(tags["EXIF Tag 0x9400"].values[0]) == -6.5
    assert "EXIF OffsetTimeOriginal" not in tags
    assert "Image Software" not in tags


def test_a_zone_is_written_where_the_camera_knows_one():
    tags = exifread.process_file(io.BytesIO(dng_bytes(noise(40, 40), replace(FACTS, zone="-01:00"))))
    assert str(tags["EXIF OffsetTimeOriginal"]) == "-01:00"


def test_a_sensitivity_past_sixteen_bits_follows_the_exif_rule():
    # Exif 2.3, Annex G: 65535 in the short tag, and SensitivityType says which long tag holds the value.
    tags = exifread.process_file(io.BytesIO(dng_bytes(noise(40, 40), replace(FACTS, iso=102_400))))
    assert tags["EXIF ISOSpeedRatings"].values == [65535]
    assert tags["EXIF SensitivityType"].values == [2]
    assert tags["EXIF RecommendedExposureIndex"].values == [102_400]


def test_an_exposed_frame_is_what_libraw_reads():
    camera = raw_camera(1, FIRST_BODY, 80, 60)
    shot = Shot(Kind.DARK, camera, 1600, 120.0, 13.0, datetime(2026, 9, 12, tzinfo=UTC), 1)
    with rawpy.imread(io.BytesIO(raw_shot(shot))) as raw:
        assert np.array_equal(raw.raw_image, shot.expose())
