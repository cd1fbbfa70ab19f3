"""Raw files written with tifffile (DNG, an open format on TIFF 6.0) and decoded by LibRaw, a decoder that is not ours.

Exif 2.32 and DNG 1.4; what LibRaw does with each tag was seen by running it.
"""

import struct
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import rawpy
import tifffile

from darklib.readers.open import look, read_facts, sensor_array
from darklib.scenario.dng import RawFacts, dng_bytes

SIX = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG"


def pixels(height: int = 48, width: int = 72, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).integers(300, 16000, (height, width)).astype(np.uint16)


def facts(**changes: object) -> RawFacts:
    values = {
        "make": "Pellwick", "model": "Pellwick P4", "serial": "P4-1", "iso": 1600, "exposure": Fraction(300),
        "local_time": "2024:01:02 03:04:05", "cfa": "RGGB", "black_dn": 512, "white_dn": 16383,
    }  # fmt: skip
    return RawFacts(**(values | changes))  # type: ignore[arg-type]


def written(folder: Path, data: np.ndarray, **changes: object) -> Path:
    path = folder / "IMG_0001.DNG"
    path.write_bytes(dng_bytes(data, facts(**changes)))
    return path


@pytest.mark.parametrize("cfa", ["RGGB", "BGGR", "GRBG", "GBRG", SIX])
def test_sensor_data_are_the_decoders_bit_for_bit(tmp_path: Path, cfa: str) -> None:
    data = pixels()
    path = written(tmp_path, data, cfa=cfa)
    with rawpy.imread(str(path)) as raw:
        theirs = raw.raw_image.copy()
        pattern = raw.raw_pattern.copy()
    found = sensor_array(path)
    assert np.array_equal(found.data, theirs)
    assert np.array_equal(found.data, data)
    assert (found.cfa, found.cfa_rows, found.cfa_columns) == (cfa, *pattern.shape)
    assert (found.black_dn, found.white_dn) == (512.0, 16383.0)


def test_a_whole_file_is_taken(tmp_path: Path) -> None:
    path = written(tmp_path, pixels(), ambient_c=-12.3, zone="+02:00")
    found = look(path)
    assert found.refusal is None
    assert found.facts is not None
    told = found.facts
    assert (told.format, told.make, told.model, told.serial) == ("dng", "Pellwick", "Pellwick P4", "P4-1")
    assert (told.exposure_s, told.iso, told.width, told.height, told.bits) == (300.0, 1600, 72, 48, 16)
    # Exif 2.31, 0x9400: of the air about the camera, never the sensor's.
    assert (told.ambient_temperature_c, told.sensor_temperature_c) == (-12.3, None)
    assert told.taken_at is not None
    assert told.taken_at.isoformat() == "2024-01-02T01:04:05+00:00"
    assert (told.compression, told.demosaiced, told.in_camera_subtraction) == ("none", False, None)
    assert found.pixels is not None
    assert found.pixels.exact
    assert found.pixels.median_dn == np.median(pixels())
    assert {plane.colour for plane in found.pixels.planes} >= {"R", "B"}


def test_without_an_offset_the_zone_is_unknown_and_not_utc(tmp_path: Path) -> None:
    told = read_facts(written(tmp_path, pixels()))
    assert told.taken_at is not None
    assert told.taken_at.tzinfo is None


def test_two_bodies_of_one_model_are_two(tmp_path: Path) -> None:
    serials = {read_facts(written(tmp_path, pixels(), serial=serial)).serial for serial in ("P4-1", "P4-2")}
    assert serials == {"P4-1", "P4-2"}


@pytest.mark.parametrize("text", ["300", "1/95", "3/10", "1/8000", "1201"])
def test_exposures_are_exact_fractions(tmp_path: Path, text: str) -> None:
    found = read_facts(written(tmp_path, pixels(), exposure=Fraction(text))).exposure_s
    assert found == pytest.approx(float(Fraction(text)), abs=1e-9)


def patched(path: Path, tag: int, kind: int, value: bytes, new_tag: int | None = None) -> Path:
    """The file with one 12-byte entry of a directory changed."""
    data = bytearray(path.read_bytes())
    at = data.index(struct.pack("<HH", tag, kind))
    data[at : at + 2] = struct.pack("<H", new_tag if new_tag is not None else tag)
    data[at + 8 : at + 12] = value
    path.write_bytes(data)
    return path


def test_iso_beyond_16_bits(tmp_path: Path) -> None:
    # Exif 2.3, annex G: 65535 in the short tag and the number in the long tag that SensitivityType names.
    path = written(tmp_path, pixels(), iso=102400)
    assert read_facts(path).iso == 102400
    # The same with a type that names nothing: at least 65535.
    unnamed = read_facts(patched(path, 0x8830, 3, struct.pack("<I", 0)))
    assert unnamed.iso == 65535
    assert [warning.code for warning in unnamed.warnings] == ["iso_at_least"]
    assert read_facts(written(tmp_path, pixels(), iso=65000)).iso == 65000


def test_a_denominator_of_nothing_is_rejected(tmp_path: Path) -> None:
    path = written(tmp_path, pixels(), exposure=Fraction(30), ambient_c=5.0)
    data = bytearray(path.read_bytes())
    at = data.index(struct.pack("<II", 30, 1))
    data[at : at + 8] = struct.pack("<II", 30, 0)
    at = data.index(struct.pack("<ii", 50, 10))
    data[at : at + 8] = struct.pack("<iI", 50, 0xFFFFFFFF)
    path.write_bytes(data)
    told = read_facts(path)
    assert (told.exposure_s, told.ambient_temperature_c) == (None, None)
    assert [warning.code for warning in told.warnings] == ["sentinel_dropped"]
    assert {"EXIF ExposureTime", "EXIF Tag 0x9400"} <= {ignored.where for ignored in told.ignored}


COLOURS = (1, 0, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1)


def own_dng(path: Path, data: np.ndarray, *extra: tuple, pattern: bytes = bytes((0, 1, 1, 2)), **how: object) -> Path:
    tags = [
        (271, 2, 0, "Pellwick", True), (272, 2, 0, "P4", True), (33421, 3, 2, (2, 2), True),
        (33422, 1, 4, pattern, True), (50706, 1, 4, bytes((1, 4, 0, 0)), True),
        (50707, 1, 4, bytes((1, 1, 0, 0)), True), (50708, 2, 0, "Pellwick P4", True),
        (50714, 4, 1, 256, True), (50717, 4, 1, 15000, True), (50721, 10, 9, COLOURS, True), (50778, 3, 1, 21, True),
        *extra,
    ]  # fmt: skip
    with tifffile.TiffWriter(path) as writer:
        how = {"photometric": 32803, "subfiletype": 0, "metadata": None} | how
        writer.write(data, extratags=tags, **how)  # type: ignore[arg-type]
    return path


def test_masked_borders_are_kept_in_the_array_and_left_out_of_the_figures(tmp_path: Path) -> None:
    data = pixels(60, 80)
    data[:8] = 257 + np.arange(80) % 3  # covered from light
    data[:, :12] = 257 + np.arange(12) % 3
    # DNG 1.4, ActiveArea: top, left, bottom, right.
    path = own_dng(tmp_path / "a.dng", data, (50829, 4, 4, (8, 12, 60, 80), True))
    with rawpy.imread(str(path)) as raw:
        assert np.array_equal(raw.raw_image, data)
        visible = raw.raw_image_visible.copy()
    assert np.array_equal(sensor_array(path).data, data)
    found = look(path)
    assert found.refusal is None
    assert found.facts is not None
    assert found.pixels is not None
    assert (found.facts.width, found.facts.height) == (80, 60)
    assert (found.pixels.width, found.pixels.height) == visible.shape[::-1] == (68, 52)
    assert found.pixels.median_dn == np.median(visible)
    assert {fact.name: fact.value for fact in found.facts.facts}["picture_top_left_height_width"] == "8 12 52 68"


def test_a_black_level_above_white_is_flagged_and_not_believed(tmp_path: Path) -> None:
    """DNG 1.7, BlackLevel and WhiteLevel: linear 0 and 1 lie at them, so that the one is below the other."""
    odd = look(written(tmp_path, pixels(), black_dn=17000)).facts
    assert odd is not None
    assert (odd.black_dn, odd.white_dn) == (None, None)
    assert "header_odd" in {warning.code for warning in odd.warnings}
    sound = look(written(tmp_path, pixels(), black_dn=512)).facts
    assert sound is not None
    assert "header_odd" not in {warning.code for warning in sound.warnings}


def test_the_black_level_is_told_and_never_compared(tmp_path: Path) -> None:
    from darklib.facts.resolve import readout_of

    first = look(written(tmp_path, pixels(), black_dn=512)).facts
    second = look(written(tmp_path, pixels(), black_dn=600)).facts
    assert first is not None
    assert second is not None
    assert (first.black_dn, second.black_dn) == (512.0, 600.0)
    assert readout_of(first, None).key == readout_of(second, None).key


def test_orientation_never_turns_sensor_data(tmp_path: Path) -> None:
    data = pixels()
    upright = own_dng(tmp_path / "a.dng", data)
    turned = own_dng(tmp_path / "b.dng", data, (274, 3, 1, 6, True))
    assert np.array_equal(sensor_array(turned).data, sensor_array(upright).data)
    assert sensor_array(turned).cfa == sensor_array(upright).cfa == "RGGB"


def test_forms_that_cannot_be_calibrated(tmp_path: Path) -> None:
    colours = np.random.default_rng(1).integers(0, 9999, (40, 40, 3)).astype(np.uint16)
    linear = own_dng(tmp_path / "linear.dng", colours, photometric=34892)
    found = look(linear)
    assert found.refusal is not None
    assert found.refusal.code == "demosaiced"
    floats = own_dng(tmp_path / "float.dng", pixels().astype(np.float32))
    found = look(floats)
    assert found.refusal is not None
    assert found.refusal.code == "unsupported"
    packed = own_dng(tmp_path / "packed.dng", pixels(), compression="zlib")
    found = look(packed)
    assert found.refusal is not None
    assert found.refusal.code in ("damaged", "unsupported")


def test_a_monochrome_sensor_has_no_mosaic(tmp_path: Path) -> None:
    # DNG 1.4: LinearRaw with one sample. tifffile writes it only as plain grey, so the tag is changed afterwards.
    path = patched(own_dng(tmp_path / "mono.dng", pixels(), photometric="minisblack"), 262, 3, struct.pack("<I", 34892))
    found = look(path)
    assert found.refusal is None
    assert found.facts is not None
    assert (found.facts.cfa, found.facts.demosaiced) == (None, False)
    assert np.array_equal(sensor_array(path).data, pixels())


def test_damage_is_noticed_where_the_decoder_is_silent(tmp_path: Path) -> None:
    # The block of tags stands behind the pixels: without its end the decoder finds nothing amiss.
    path = written(tmp_path, pixels())
    whole = path.read_bytes()
    path.write_bytes(whole[:-20])
    with rawpy.imread(str(path)) as raw:
        assert np.array_equal(raw.raw_image, pixels())
    found = look(path)
    assert found.refusal is not None
    assert found.refusal.code == "truncated"
    # Zeros where the end should be, as an interrupted copy leaves them.
    path = own_dng(tmp_path / "a.dng", pixels())
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2] + bytes(len(whole) - len(whole) // 2))
    with rawpy.imread(str(path)) as raw:
        assert (raw.raw_image[-10:] == 0).all()
    found = look(path)
    assert found.refusal is not None
    assert found.refusal.code == "pixels_missing"
    assert found.facts is not None
    path.write_bytes(whole[:-1])
    found = look(path)
    assert found.refusal is not None
    assert found.refusal.code == "truncated"


def test_many_strips(tmp_path: Path) -> None:
    data = pixels()
    assert np.array_equal(sensor_array(own_dng(tmp_path / "a.dng", data, rowsperstrip=5)).data, data)


def test_the_decoder_is_not_heard(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    from darklib.readers.guard import Guard

    path = tmp_path / "a.nef"
    good = own_dng(tmp_path / "a.dng", pixels())
    raw = bytearray(good.read_bytes())
    path.write_bytes(raw[: len(raw) // 2])
    with Guard(1) as guard:
        (found,) = guard.map([str(path)])
    assert found.refusal is not None
    out, errors = capfd.readouterr()
    assert (out, errors) == ("", "")
