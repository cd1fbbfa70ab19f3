"""Raw files by their structure: recognised, their tags read, and refused where the sensor's data are not whole."""

import signal
import struct
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from raw_building import (
    ASCII,
    BYTE,
    EXIF,
    LONG,
    SHORT,
    cr3,
    mosaic,
    mrw,
    names,
    picture_tags,
    raf,
    tiff,
)

from darklib.readers import exif
from darklib.readers.open import look, read_facts, sniff

WIDTH, HEIGHT = 64, 48
DATA = mosaic(WIDTH, HEIGHT).tobytes()
SHOT_BLOCK = [68, 0, 160, 196, 300, 64, 0, 0, 3, 0, 8, 8, 118, 0]


def nef() -> bytes:
    return tiff(names("NIKON CORPORATION"), EXIF, picture_tags(WIDTH, HEIGHT), DATA)


def arw() -> bytes:
    return tiff(names("SONY"), EXIF, picture_tags(WIDTH, HEIGHT, compression=32767), DATA)


def pef() -> bytes:
    return tiff([*names("PENTAX Corporation"), *picture_tags(WIDTH, HEIGHT)], EXIF, data=DATA, magic=b"MM\0*")


def cr2() -> bytes:
    return tiff(names("Maker"), EXIF, picture_tags(WIDTH, HEIGHT), DATA, gap=b"CR\2\0\0\0\0\0")


def orf() -> bytes:
    return tiff([*names("Maker"), *picture_tags(WIDTH, HEIGHT)], EXIF, data=DATA, magic=b"IIRO")


def rw2() -> bytes:
    tags = [*names("Maker"), (2, SHORT, WIDTH), (3, SHORT, HEIGHT), (0x17, SHORT, 3200)]
    no_iso = [tag for tag in EXIF if tag[0] != 0x8827]
    return tiff(tags, no_iso, data=DATA, magic=b"IIU\0")


FORMS: dict[str, Callable[[], bytes]] = {
    "nef": nef,
    "arw": arw,
    "pef": pef,
    "cr2": cr2,
    "orf": orf,
    "rw2": rw2,
    "cr3": lambda: cr3(SHOT_BLOCK, picture=DATA),
    "raf": lambda: raf(WIDTH, HEIGHT, DATA),
    "mrw": lambda: mrw(WIDTH, HEIGHT, DATA),
}


def written(folder: Path, data: bytes, name: str = "IMG_0001") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("form", FORMS)
def test_a_form_is_recognised_by_content_and_its_tags_are_read(tmp_path: Path, form: str) -> None:
    path = written(tmp_path, FORMS[form]())
    assert sniff(path).format == form
    facts = read_facts(path)
    assert facts.format == form
    assert facts.exposure_s == 300.0
    assert facts.iso == (3200 if form == "rw2" else 1600)
    assert facts.serial == "SN-77"
    assert facts.taken_at == datetime(2024, 1, 2, 3, 4, 5)
    assert facts.model is not None
    assert facts.model.startswith("Model")
    assert (facts.train.telescope, facts.train.focal_length_mm) == ("Harrowfen 85", 85.0)
    assert facts.sensor_temperature_c == (-10.0 if form == "cr3" else None)
    assert facts.temperature_origin == ("makernote" if form == "cr3" else None)
    assert facts.in_camera_subtraction is (False if form == "cr3" else None)
    assert {fact.origin for fact in facts.facts} <= {"exif", "makernote", "structure"}


@pytest.mark.parametrize("form", FORMS)
def test_a_file_cut_short_is_never_taken(tmp_path: Path, form: str) -> None:
    whole = FORMS[form]()
    # RW2 names no usable end of its data, so only its decoder and its pixels can tell; it is cut harder.
    kept = len(whole) - (len(DATA) if form == "rw2" else 100)
    found = look(written(tmp_path, whole[:kept]))
    assert found.refusal is not None
    assert found.refusal.code in ("truncated", "pixels_missing", "unsupported", "damaged")
    if form != "rw2":
        assert found.refusal.code == "truncated"
    assert found.facts is not None
    assert found.facts.exposure_s == 300.0
    assert found.pixels is None


@pytest.mark.parametrize("form", ["nef", "arw", "pef", "cr2", "orf", "raf", "mrw"])
def test_a_file_emptied_of_its_pixels_is_never_taken(tmp_path: Path, form: str) -> None:
    big = 4000
    tags = picture_tags(big, big, compression=34713)
    empty: dict[str, Callable[[], bytes]] = {
        "nef": lambda: tiff(names("NIKON"), EXIF, tags, b"\0" * 20),
        "arw": lambda: tiff(names("SONY"), EXIF, tags, b"\0" * 20),
        "pef": lambda: tiff([*names("PENTAX"), *tags], EXIF, data=b"\0" * 20, magic=b"MM\0*"),
        "cr2": lambda: tiff(names("Maker"), [*EXIF, (0xA002, LONG, big), (0xA003, LONG, big)], gap=b"CR\2\0\0\0\0\0"),
        "orf": lambda: tiff([*names("Maker"), *tags], EXIF, data=b"\0" * 20, magic=b"IIRO"),
        "raf": lambda: raf(big, big, b"\0" * 20),
        "mrw": lambda: mrw(big, big, b"\0" * 20, bits=0),
    }
    found = look(written(tmp_path, empty[form]()))
    assert found.refusal is not None
    assert found.refusal.code in ("pixels_missing", "truncated")
    assert found.facts is not None
    assert found.facts.iso == 1600


def test_a_cr3_without_its_sensor_data(tmp_path: Path) -> None:
    found = look(written(tmp_path, cr3(SHOT_BLOCK)))
    assert found.refusal is not None
    assert found.refusal.code == "truncated"


@pytest.mark.parametrize(
    ("stored", "degrees"), [(166, 38.0), (118, -10.0), (128, 0.0), (0, None), (1, -127.0), (255, None)]
)
def test_the_temperature_of_the_camera_as_stored(tmp_path: Path, stored: int, degrees: float | None) -> None:
    block = [*SHOT_BLOCK]
    block[12] = stored
    facts = read_facts(written(tmp_path, cr3(block)))
    assert facts.sensor_temperature_c == degrees
    assert any("0x0004" in ignored.where for ignored in facts.ignored) == (degrees is None)


@pytest.mark.parametrize(("word", "meaning"), [(0, False), (1, None), (2, True)])
def test_the_cameras_own_dark_subtraction(tmp_path: Path, word: int, meaning: bool | None) -> None:
    facts = read_facts(written(tmp_path, cr3(SHOT_BLOCK, lighting=(60, 0, 0, 0, word, 0))))
    assert facts.in_camera_subtraction is meaning
    assert ("in_camera_subtraction" in [warning.code for warning in facts.warnings]) == (meaning is True)


def test_a_block_that_is_too_short_is_reported(tmp_path: Path) -> None:
    facts = read_facts(written(tmp_path, cr3(SHOT_BLOCK[:5])))
    assert facts.sensor_temperature_c is None
    assert [warning.code for warning in facts.warnings] == ["value_not_understood"]


def test_a_mosaic_of_a_maker_that_is_not_known(tmp_path: Path) -> None:
    path = written(tmp_path, tiff(names("Invented Cameras"), EXIF, picture_tags(WIDTH, HEIGHT), DATA))
    assert sniff(path).code == "unsupported"


def test_a_picture_of_a_known_maker_without_a_mosaic_is_a_processed_one(tmp_path: Path) -> None:
    rgb = [(256, LONG, 8), (257, LONG, 8), (258, SHORT, (8, 8, 8)), (259, SHORT, 1), (262, SHORT, 2), (277, SHORT, 3)]
    path = written(tmp_path, tiff([*names("NIKON CORPORATION"), *rgb], EXIF, data=b"\1" * 192))
    assert sniff(path).code == "not_calibratable"


def dng(*tags: tuple[int, int, object], picture: list | None = None, data: bytes = DATA) -> bytes:
    main = [*names("Pellwick", "P4"), (50706, BYTE, (1, 4, 0, 0)), *tags]
    return tiff(main, EXIF, picture if picture is not None else picture_tags(WIDTH, HEIGHT), data)


def test_dng_forms_that_cannot_be_calibrated(tmp_path: Path) -> None:
    linear = [(256, LONG, 20), (257, LONG, 20), (258, SHORT, (16,) * 3), (259, SHORT, 1), (262, SHORT, 34892),
              (277, SHORT, 3), (278, LONG, 20)]  # fmt: skip
    floats = [*picture_tags(WIDTH, HEIGHT), (339, SHORT, 3)]
    cases = {
        "demosaiced": dng(picture=linear, data=b"\1" * 2400),
        "lossy": dng(picture=picture_tags(WIDTH, HEIGHT, compression=34892)),
        "unsupported": dng(picture=picture_tags(WIDTH, HEIGHT, compression=52546)),
    }
    for code, data in cases.items():
        found = look(written(tmp_path, data))
        assert found.refusal is not None
        assert found.refusal.code == code
        assert found.facts is not None
        assert found.facts.demosaiced == (code == "demosaiced")
    found = look(written(tmp_path, dng(picture=floats)))
    assert found.refusal is not None
    assert "floating-point" in found.refusal.text


@pytest.mark.parametrize(("marker", "compression"), [(0xC3, "lossless"), (0xC0, "lossy"), (0xC1, "lossy")])
def test_jpeg_inside_a_dng_is_told_by_its_frame_header(tmp_path: Path, marker: int, compression: str) -> None:
    # ITU-T T.81, table B.1: SOF3 is the lossless process, SOF0 and SOF1 are the lossy ones.
    jpeg = b"\xff\xd8\xff\xc4\x00\x04\x00\x00\xff" + bytes((marker,)) + struct.pack(">HBHHB", 8, 16, 20, 20, 1)
    path = written(tmp_path, dng(picture=picture_tags(WIDTH, HEIGHT, compression=7), data=jpeg + b"\0" * 3000))
    assert read_facts(path).compression == compression
    refusal = look(path).refusal
    assert (refusal is not None and refusal.code == "lossy") == (compression == "lossy")


def test_tables_that_point_at_themselves_end(tmp_path: Path) -> None:
    data = bytearray(nef())
    at_sub = data.index(struct.pack("<HHI", 330, LONG, 1)) + 8
    data[at_sub : at_sub + 4] = struct.pack("<I", 8)
    assert sniff(written(tmp_path, bytes(data))).claims_image


def test_numbers_of_nothing_are_unknown(tmp_path: Path) -> None:
    none = [(0x829A, 5, (30, 0)), (0x8827, SHORT, 0), (0x9003, ASCII, "0000:00:00 00:00:00"), (0xA431, ASCII, "   "),
            (0x920A, 5, (0, 0)), (0x829D, 5, (0, 0))]  # fmt: skip
    facts = read_facts(written(tmp_path, tiff(names("SONY"), none, picture_tags(WIDTH, HEIGHT), DATA)))
    assert (facts.exposure_s, facts.iso, facts.taken_at, facts.serial) == (None,) * 4
    assert not facts.train.known
    assert "EXIF ExposureTime" in [ignored.where for ignored in facts.ignored]


def test_a_focal_length_without_a_lens_that_speaks_is_not_believed(tmp_path: Path) -> None:
    tags = [tag for tag in EXIF if tag[0] not in (0x829D, 0xA434)]
    facts = read_facts(written(tmp_path, tiff(names("SONY"), tags, picture_tags(WIDTH, HEIGHT), DATA)))
    assert facts.train.focal_length_mm is None
    assert any(ignored.why == "no lens that speaks" for ignored in facts.ignored)


def test_month_thirteen_is_no_date(tmp_path: Path) -> None:
    tags = [tag for tag in EXIF if tag[0] != 0x9003] + [(0x9003, ASCII, "2024:13:02 03:04:05")]
    facts = read_facts(written(tmp_path, tiff(names("SONY"), tags, picture_tags(WIDTH, HEIGHT), DATA)))
    assert facts.taken_at is None
    assert [warning.code for warning in facts.warnings] == ["value_not_understood"]


@pytest.mark.parametrize("form", FORMS)
def test_damage_anywhere_never_raises(tmp_path: Path, form: str) -> None:
    whole = FORMS[form]()
    generator = np.random.default_rng(11)
    for _ in range(6):
        data = bytearray(whole)
        for place in generator.integers(0, len(whole) - len(DATA), 12):
            data[place] = int(generator.integers(0, 256))
        found = look(written(tmp_path, bytes(data)), want_pixels=False)
        assert found.not_an_image or found.facts is not None or found.refusal is not None


def test_a_second_zone_makes_the_moment_known(tmp_path: Path) -> None:
    tags = [*EXIF, (0x9011, ASCII, "+02:00"), (0x9291, ASCII, "05")]
    facts = read_facts(written(tmp_path, tiff(names("SONY"), tags, picture_tags(WIDTH, HEIGHT), DATA)))
    assert facts.taken_at == datetime(2024, 1, 2, 1, 4, 5, 50000, UTC)


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no alarm on this system; the guard kills instead")
def test_a_note_without_end_costs_only_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import exifread

    real = exifread.process_file

    def endless(handle: object, details: bool = True, **how: object) -> dict[str, object]:
        while details:
            pass
        return real(handle, details=details, **how)

    monkeypatch.setattr(exifread, "process_file", endless)
    monkeypatch.setattr(exif, "NOTES_SECONDS", 0.3)
    assert read_facts(written(tmp_path, nef())).exposure_s == 300.0


def test_a_parser_that_reads_without_end_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import exifread

    real = exifread.process_file

    def endless(handle: exif.Window, details: bool = True, **how: object) -> dict[str, object]:
        while details:
            handle.seek(0)
            handle.read(2)
        return real(handle, details=details, **how)

    monkeypatch.setattr(exifread, "process_file", endless)
    monkeypatch.setattr(exif, "NOTES_SECONDS", 60.0)
    monkeypatch.setattr(exif, "MOST_READS", 2000)
    assert read_facts(written(tmp_path, nef())).exposure_s == 300.0
