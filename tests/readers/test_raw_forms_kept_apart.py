"""What keeps raw files from serving as calibration frames, and facts that makers store in blocks of their own."""

from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from raw_building import (
    ASCII,
    EXIF,
    LONG,
    RATIONAL,
    SHORT,
    SRATIONAL,
    box,
    cr3,
    directory,
    mosaic,
    names,
    picture_tags,
    tiff,
)

from darklib.facts.frame import FrameFacts
from darklib.facts.resolve import body_of, readout_of
from darklib.readers import raw_rows
from darklib.readers.open import read_facts
from darklib.readers.raw_form import PACKING_WORDS, form_of
from darklib.readers.units_written import NotKnown, NotUnderstood

WIDTH, HEIGHT = 64, 48
DATA = mosaic(WIDTH, HEIGHT).tobytes()


def read(folder: Path, data: bytes) -> FrameFacts:
    path = folder / "IMG_0001"
    path.write_bytes(data)
    return read_facts(path)


def codes(facts: FrameFacts) -> list[str]:
    return [warning.code for warning in facts.warnings]


def tag(*values: int) -> SimpleNamespace:
    return SimpleNamespace(values=list(values))


def test_eight_bits_packed_with_loss(tmp_path: Path) -> None:
    # One maker's compression 32767: eight bits a pixel are packed with loss; as metadata libraries publish it.
    lossy = read(tmp_path, tiff(names("SONY"), EXIF, picture_tags(WIDTH, HEIGHT, 32767, 8), DATA[: WIDTH * HEIGHT]))
    assert (lossy.compression, codes(lossy)) == ("lossy", ["lossy"])
    plain = read(tmp_path, tiff(names("SONY"), EXIF, picture_tags(WIDTH, HEIGHT), DATA))
    assert (plain.compression, codes(plain)) == ("none", [])


@pytest.mark.parametrize(("number", "compression"), [(4, "lossless"), (7, "lossy"), (3, None)])
def test_the_quality_another_maker_writes(tmp_path: Path, number: int, compression: str | None) -> None:
    whole = cr3([68, *[0] * 30], picture=DATA)
    settings = tiff(
        [(1, SHORT, (110, 2, 0, number, 0, 4)), (4, SHORT, (68, *[0] * 30)), (0x4018, LONG, (60, *[0] * 9))]
    )
    old = tiff([(4, SHORT, (68, *[0] * 30)), (0x4018, LONG, (60, 0, 0, 0, 0, 0))])
    assert box(b"CMT3", old) in whole
    at = whole.index(box(b"CMT3", old))
    changed = bytearray(whole[:at] + box(b"CMT3", settings) + whole[at + len(box(b"CMT3", old)) :])
    more = len(settings) - len(old)
    for name in (b"moov", b"uuid"):  # the boxes around it have grown
        place = changed.index(name) - 4
        changed[place : place + 4] = (int.from_bytes(changed[place : place + 4], "big") + more).to_bytes(4, "big")
    facts = read(tmp_path, bytes(changed))
    assert facts.compression == compression
    assert ("lossy" in codes(facts)) == (compression == "lossy")


@pytest.mark.parametrize("word", ["Lossy (type 1)", "Lossy (type 2)", "Small", "14"])
def test_words_for_packing_with_loss(word: str) -> None:
    assert form_of("nef", None, memoryview(b""), word)[1] == "lossy"
    assert set(PACKING_WORDS.values()) == {"none", "lossless", "lossy"}
    assert form_of("nef", None, memoryview(b""), "a word nobody knows")[1] is None


def enciphered(*plain: int) -> SimpleNamespace:
    return tag(*(pow(byte, 3, 249) if byte < 249 else byte for byte in plain))


@pytest.mark.parametrize(("block", "degrees"), [((0, 0, 0, 0, 40, 31), 31.0), ((9, 9, 9, 9, 99, 246), -10.0)])
def test_a_temperature_in_an_enciphered_block(block: tuple[int, ...], degrees: float) -> None:
    told = raw_rows.enciphered_degrees(enciphered(*block), "sensor_temperature_c")
    assert (told.value, told.unit, told.warning) == (degrees, "degC", "value_odd")


@pytest.mark.parametrize("block", [(0, 0, 0, 0, 0, 0), (0, 0, 0, 0, 255, 31), (0, 0, 0, 0, 100, 31), ()])
def test_a_block_that_holds_no_temperature_is_not_zero_degrees(block: tuple[int, ...]) -> None:
    # The parser gives zeros for what lies behind the end of a file that was cut short.
    with pytest.raises(NotKnown, match="block"):
        raw_rows.enciphered_degrees(enciphered(*block), "sensor_temperature_c")


def test_an_impossible_temperature_is_refused() -> None:
    with pytest.raises(NotUnderstood, match="no possible temperature"):
        raw_rows.enciphered_degrees(enciphered(0, 0, 0, 0, 40, 120), "sensor_temperature_c")


def with_apex(value: tuple[int, int]) -> bytes:
    exif = [*EXIF, (0x9201, SRATIONAL, value)]
    return tiff(names("SONY"), exif, picture_tags(WIDTH, HEIGHT), DATA)


@pytest.mark.parametrize(
    ("apex", "flagged"),
    [((-8, 1), False), ((-8229, 1000), False), ((2, 1), True), ((0, 1), False), ((-5, 1), True)],
)
def test_two_exposure_times_that_differ_are_flagged(tmp_path: Path, apex: tuple[int, int], flagged: bool) -> None:
    # Exif 2.32, annex C: seconds are 2 to the power of minus the value; 300 s is -8.23. Bulb exposures carry a 0.
    facts = read(tmp_path, with_apex(apex))
    assert facts.exposure_s == 300.0
    assert codes(facts) == (["exposures_disagree"] if flagged else [])


def test_the_stop_of_a_lens_is_part_of_the_train(tmp_path: Path) -> None:
    wide = read(tmp_path, tiff(names("SONY"), EXIF, picture_tags(WIDTH, HEIGHT), DATA)).train
    assert (wide.telescope, wide.focal_length_mm, wide.stop) == ("Harrowfen 85", 85.0, 2.8)


def test_several_image_sizes_of_one_body(tmp_path: Path) -> None:
    small = np.random.default_rng(2).integers(200, 4000, (24, 32)).astype(np.uint16)
    sizes = [
        read(tmp_path, tiff(names("SONY"), EXIF, picture_tags(width, height), data.tobytes()))
        for width, height, data in ((WIDTH, HEIGHT, mosaic(WIDTH, HEIGHT)), (32, 24, small))
    ]
    assert [(one.width, one.height) for one in sizes] == [(64, 48), (32, 24)]
    bodies = [body_of(one) for one in sizes]
    assert bodies[0] == bodies[1]
    assert readout_of(sizes[0], None).key != readout_of(sizes[1], None).key


def with_exif(*more: tuple, leave_out: tuple[int, ...] = ()) -> bytes:
    exif = [one for one in EXIF if one[0] not in leave_out]
    return tiff(names("SONY"), [*exif, *more], picture_tags(WIDTH, HEIGHT), DATA)


@pytest.mark.parametrize("number", [0x9010, 0x9011, 0x9012])
def test_any_of_the_three_offsets_tells_the_zone(tmp_path: Path, number: int) -> None:
    # Exif 2.31: OffsetTime, OffsetTimeOriginal, OffsetTimeDigitized, all by the camera's one clock.
    facts = read(tmp_path, with_exif((number, ASCII, "+02:00")))
    assert facts.taken_at == datetime(2024, 1, 2, 1, 4, 5, tzinfo=UTC)


@pytest.mark.parametrize("text", ["", "+2", "UTC", "+02:00Z"])
def test_an_offset_that_is_none_leaves_the_zone_unknown(tmp_path: Path, text: str) -> None:
    facts = read(tmp_path, with_exif((0x9011, ASCII, text)))
    assert facts.taken_at == datetime(2024, 1, 2, 3, 4, 5)


def with_site(latitude: tuple[int, ...], north: str, longitude: tuple[int, ...], east: str) -> bytes:
    main = [*names("SONY"), (34853, LONG, 1)]
    place = len(tiff(main, EXIF, picture_tags(WIDTH, HEIGHT), DATA))
    main[-1] = (34853, LONG, place)
    gps = [(1, ASCII, north), (2, RATIONAL, latitude), (3, ASCII, east), (4, RATIONAL, longitude)]
    return tiff(main, EXIF, picture_tags(WIDTH, HEIGHT), DATA) + directory(gps, place)


def test_the_site_of_a_camera_that_knows_it(tmp_path: Path) -> None:
    # Exif 2.32, GPS tags 1 to 4: degrees, minutes and seconds; the side in a tag of its own.
    facts = read(tmp_path, with_site((20, 1, 15, 1, 36, 1), "S", (70, 1, 30, 1, 0, 1), "W"))
    assert (facts.latitude_deg, facts.longitude_deg) == (pytest.approx(-20.26), pytest.approx(-70.5))
    east = read(tmp_path, with_site((20, 1, 15, 1, 36, 1), "N", (70, 1, 30, 1, 0, 1), "E"))
    assert (east.latitude_deg, east.longitude_deg) == (pytest.approx(20.26), pytest.approx(70.5))


def test_a_site_without_a_side_or_with_nothing_in_it_is_unknown(tmp_path: Path) -> None:
    facts = read(tmp_path, with_site((20, 1, 15, 1, 36, 1), "", (0, 0, 0, 0, 0, 0), "E"))
    assert (facts.latitude_deg, facts.longitude_deg) == (None, None)
    assert "GPS GPSLongitude" in [ignored.where for ignored in facts.ignored]
