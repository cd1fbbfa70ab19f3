"""Heads of raw files from real cameras: their tags are read, their missing pixels noticed.

The files are public test data of general-purpose metadata libraries; they lie beside the checkout and are skipped where
they do not. The expected values were made out with two independent metadata libraries, or are seen in the file.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import pytest

from darklib.facts.errors import DarklibError
from darklib.readers.guard import Guard
from darklib.readers.open import look, read_facts, sensor_array, sniff


@dataclass(frozen=True)
class Head:
    name: str
    format: str
    make: str
    model: str
    exposure: Fraction
    iso: int
    serial: str | None
    sensor_c: float | None
    own_dark: bool | None
    taken_at: datetime
    focal_mm: float | None
    refused: str


HEADS = (
    Head("head.cr2", "cr2", "Canon", "Canon EOS 350D DIGITAL", Fraction(1, 15), 400, "123456789", None, False,
         datetime(2005, 8, 3, 18, 59, 18), 55.0, "pixels_missing"),
    Head("head.nef", "nef", "NIKON CORPORATION", "NIKON D70", Fraction(1, 20), 200, "12345678", None, False,
         datetime(2004, 6, 9, 16, 2, 35), 18.0, "pixels_missing"),
    Head("head.ARW", "arw", "SONY", "ILCE-7M3", Fraction(1, 400), 6400, None, None, False,
         datetime(2024, 9, 14, 11, 54, 44, tzinfo=UTC), None, "truncated"),
    Head("head.CR3", "cr3", "Canon", "Canon EOS R6", Fraction(1, 4), 100, "093022004357", 38.0, False,
         datetime(2021, 5, 12, 10, 21, 21, 920000, UTC), 200.0, "truncated"),
    Head("head.raf", "raf", "FUJIFILM", "FinePix S5Pro", Fraction(1, 250), 100,
         "FPX20582698 592D313134360702198C0020100A84", None, None,
         datetime(2007, 5, 22, 13, 58, 30), 70.0, "pixels_missing"),
)  # fmt: skip


@pytest.fixture(params=HEADS, ids=lambda head: head.name)
def head(request: pytest.FixtureRequest, shared_data: Path) -> tuple[Head, Path]:
    path = shared_data / request.param.name
    if not path.exists():
        pytest.skip(f"{path} is not there")
    return request.param, path


def test_the_tags_are_read(head: tuple[Head, Path]) -> None:
    expected, path = head
    facts = read_facts(path)
    assert (facts.format, facts.make, facts.model) == (expected.format, expected.make, expected.model)
    assert facts.exposure_s == pytest.approx(float(expected.exposure), rel=1e-6)
    assert (facts.iso, facts.serial) == (expected.iso, expected.serial)
    assert facts.sensor_temperature_c == expected.sensor_c
    assert facts.temperature_origin == ("makernote" if expected.sensor_c is not None else None)
    assert facts.ambient_temperature_c is None
    assert facts.in_camera_subtraction is expected.own_dark
    assert (facts.taken_at, facts.time_origin) == (expected.taken_at, "EXIF DateTimeOriginal")
    assert facts.train.focal_length_mm == expected.focal_mm
    assert facts.kind is None


def test_the_missing_pixels_are_noticed(head: tuple[Head, Path]) -> None:
    expected, path = head
    assert sniff(path).format == expected.format
    found = look(path)
    assert found.refusal is not None
    assert found.refusal.code == expected.refused
    assert found.pixels is None
    assert found.facts == read_facts(path)
    assert len(found.sha256) == 64
    with pytest.raises(DarklibError, match="file|pixels"):
        sensor_array(path)


def test_a_stored_zero_is_no_temperature_of_minus_128(shared_data: Path) -> None:
    facts = read_facts(shared_data / "head.cr2")
    told = {ignored.where: ignored for ignored in facts.ignored}
    assert "stands for 'not known'" in told["MakerNote CameraTemperature"].why
    # A maker's block of the same number, 0x9400, is no ambient temperature.
    assert read_facts(shared_data / "head.ARW").ambient_temperature_c is None


def test_the_time_of_editing_is_not_the_time_of_exposure(shared_data: Path) -> None:
    facts = read_facts(shared_data / "head.nef")
    assert facts.taken_at == datetime(2004, 6, 9, 16, 2, 35)
    assert [ignored.raw for ignored in facts.ignored if ignored.where == "Image DateTime"] == ["2005:08:25 13:09:05"]


def test_cut_and_renamed_heads_through_the_guard(shared_data: Path, tmp_path: Path) -> None:
    paths = []
    for one in HEADS:
        raw = (shared_data / one.name).read_bytes()
        for share in (0.1, 0.5, 0.9):
            path = tmp_path / f"{share}-{one.name}.fits"
            path.write_bytes(raw[: int(len(raw) * share)])
            paths.append(str(path))
    with Guard(2, timeout_s=30) as guard:
        found = list(guard.map(paths))
    assert [one.path for one in found] == paths
    for one in found:
        assert one.refusal is not None
        assert one.refusal.code in ("truncated", "pixels_missing", "damaged", "not_what_it_says", "unsupported")


def test_a_raw_that_was_packed_small_is_told_from_a_lossless_one(shared_data: Path) -> None:
    """The maker's word (quality 7) agrees with what the picture's own header, box CMP1, announces: levels of wavelets,
    which only the coder with loss has (as the decoder's source has it; value from memory).
    """
    path = shared_data / "head.CR3"
    levels = {path.read_bytes()[at + 30] & 15 for at in _places(path.read_bytes(), b"CMP1")}
    facts = read_facts(path)
    assert (levels, facts.compression) == ({3}, "lossy")
    assert [warning.code for warning in facts.warnings] == ["lossy"]


def _places(data: bytes, name: bytes) -> list[int]:
    found, at = [], data.find(name)
    while at >= 0:
        found.append(at)
        at = data.find(name, at + 1)
    return found


def test_no_head_holds_a_temperature_in_an_enciphered_block(shared_data: Path) -> None:
    """The block in which one maker keeps it lies behind the end of this head; the parser gives nothing or zeros."""
    facts = read_facts(shared_data / "head.ARW")
    assert facts.sensor_temperature_c is None
    assert "MakerNote Tag 0x9403" in [ignored.where for ignored in facts.ignored]
