"""Real frames from the wheels of general-purpose libraries (BSD licences), read where they are installed.

astropy 8.0 io/fits/tests, ccdproc 2.5 tests, astroscrappy 1.3 tests, reproject 0.21 tests.
"""

import importlib.util
import warnings
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from darklib.facts.frame import FrameFacts, Kind
from darklib.readers.dialect_reading import understood
from darklib.readers.open import Look, look, read_facts, sensor_array


def installed(package: str, *parts: str) -> Path:
    spec = importlib.util.find_spec(package)
    assert spec is not None
    assert spec.submodule_search_locations is not None
    path = Path(spec.submodule_search_locations[0]).joinpath(*parts)
    if not path.exists():
        pytest.skip(f"{package} was installed without its test data ({path.name})")
    return path


def ASTROPY(name: str) -> Path:
    return installed("astropy", "io", "fits", "tests", "data", name)


def CCDPROC(name: str) -> Path:
    return installed("ccdproc", "tests", "data", name)


def codes(found: Look | FrameFacts) -> list[str]:
    facts = found.facts if isinstance(found, Look) else found
    assert facts is not None
    return [warning.code for warning in facts.warnings]


def same_pixels(path: Path, unit: int) -> bool:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with fits.open(path, memmap=False) as file:
            theirs = file[unit].data.astype(np.float64)
    return bool(np.array_equal(sensor_array(path).data, theirs.reshape(theirs.shape[-2:])))


def test_the_pair_of_checksums() -> None:
    good, false = look(ASTROPY("checksum.fits")), look(ASTROPY("checksum_false.fits"))
    assert (good.refusal, false.refusal) == (None, None)
    assert codes(good) == []
    assert codes(false) == ["checksum_differs"]
    assert good.facts is not None
    assert good.facts.taken_at is None
    assert same_pixels(ASTROPY("checksum.fits"), 0)


def test_a_date_in_the_old_form_in_a_real_file() -> None:
    # DATE-OBS= '06/01/96' with TIMESYS TT, in the table that follows the image.
    raw = ASTROPY("checksum.fits").read_bytes()
    at = raw.index(b"DATE-OBS= '06/01/96'")
    told = understood(raw[at : at + 80])
    assert told is not None
    assert [(fact.value, fact.note) for fact in told.facts] == [("1996-01-06", "")]


def test_a_real_observatory_frame_with_a_temperature_in_kelvin() -> None:
    path = CCDPROC("a8280271.fits")
    found = look(path)
    facts = found.facts
    assert found.refusal is None
    assert facts is not None
    assert (facts.width, facts.height, facts.exposure_s) == (536, 520, 150.04)
    # CCD-TEMP = 180.2 / CCD Cu block temperature: no unit, and as degrees C impossible.
    assert facts.sensor_temperature_c == pytest.approx(-92.95)
    assert codes(found).count("temperature_taken_as_kelvin") == 1
    # GAIN is 1.9 e-/ADU there, and no setting.
    assert (facts.gain, facts.e_per_dn) == (None, 1.9)
    assert facts.kind is Kind.LIGHT
    assert facts.taken_at is not None
    assert facts.time_origin == "DATE-OBS+UT"
    assert facts.filter == "48"
    assert "value_odd" in codes(found)
    by_name = {fact.name: fact for fact in facts.facts}
    assert (by_name["overscan_section"].value, by_name["picture_section"].value) == ("[4:13,1:520]", "[17:528,1:520]")
    assert by_name["read_noise_e"].value == 5.0
    assert same_pixels(path, 0)
    assert found.pixels is not None
    assert found.pixels.exact
    assert found.pixels.median_dn == float(np.median(sensor_array(path).data))


def test_keywords_in_extensions_only() -> None:
    flat, science = read_facts(CCDPROC("flat-mef.fits")), read_facts(CCDPROC("science-mef.fits"))
    assert (flat.kind, science.kind) == (Kind.FLAT, Kind.LIGHT)
    assert (flat.filter, science.filter, science.exposure_s) == ("B", "B", 30.0)
    assert [ignored.raw for ignored in science.ignored] == ["2 more images"]
    assert same_pixels(CCDPROC("science-mef.fits"), 1)
    assert "not_exact" in codes(look(CCDPROC("science-mef.fits")))
    # Every pixel of the flat is 1.0: made by hand, and no picture.
    refusal = look(CCDPROC("flat-mef.fits")).refusal
    assert refusal is not None
    assert refusal.code == "pixels_missing"


def test_space_telescope_frame_inherits_from_the_primary_unit() -> None:
    path = ASTROPY("o4sp040b0_raw.fits")
    facts = read_facts(path)
    assert (facts.width, facts.height, facts.binning) == (62, 44, (1, 1))
    # 30 s in the image's own unit; 120 s in the primary one are of the whole file.
    assert facts.exposure_s == 30.0
    assert {fact.name: fact.value for fact in facts.facts}["total_exposure_s"] == 120.0
    assert facts.e_per_dn == 4.0
    assert facts.time_origin == "DATE-OBS+TIME-OBS"
    assert same_pixels(path, 1)


def COMPRESSED(name: str) -> Path:
    return installed("astropy", "io", "fits", "hdu", "compressed", "tests", "data", name)


@pytest.mark.parametrize("kind", ["gzip", "hcomp", "plio", "rice"])
def test_tile_compression_gives_the_plain_files_bits(kind: str) -> None:
    plain = sensor_array(COMPRESSED("m13.fits")).data
    found = look(COMPRESSED(f"m13_{kind}.fits"))
    assert found.refusal is None
    assert found.facts is not None
    assert found.facts.compression == "lossless"
    assert np.array_equal(sensor_array(COMPRESSED(f"m13_{kind}.fits")).data, plain)


def test_dark_time_is_not_the_exposure() -> None:
    path = installed("astroscrappy", "tests", "data", "gmos.fits")
    facts = read_facts(path)
    by_name = {fact.name: fact.value for fact in facts.facts}
    assert (facts.exposure_s, by_name["dark_time_s"]) == (90.0, pytest.approx(98.55, abs=0.001))
    assert facts.filter is not None
    assert facts.filter.startswith("GG455")
    assert facts.taken_at == datetime(2019, 8, 8, 0, 42, 27, 400000, UTC)


def test_solar_spacecraft_frame() -> None:
    path = installed("reproject", "tests", "data", "secchi_l0_a.fits")
    facts = read_facts(path)
    assert facts.sensor_temperature_c == pytest.approx(-70.7994)
    assert facts.exposure_s == pytest.approx(16.0074)
    assert facts.temperature_origin == "header"
    assert same_pixels(path, 0)


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("verify.fits", "no_image"),
        ("table.fits", "no_image"),
        ("random_groups.fits", "no_image"),
        ("history_header.fits", "no_image"),
        ("zerowidth.fits", "no_image"),
        ("blank.fits", "pixels_missing"),
        ("fixed-1890.fits", "pixels_missing"),
        ("arange.fits", "unsupported"),
    ],
)
def test_odd_files_are_refused_with_their_reason(name: str, code: str) -> None:
    found = look(ASTROPY(name))
    assert found.refusal is not None
    assert found.refusal.code == code


def test_old_packing_is_refused_and_not_a_crash() -> None:
    found = look(ASTROPY("lzw.fits.Z"))
    assert found.refusal is not None
    assert found.refusal.code == "unsupported"


def test_every_fits_file_in_the_wheels_ends_in_an_answer() -> None:
    folders = [installed("astropy"), installed("ccdproc"), installed("reproject"), installed("astroscrappy")]
    paths = [path for folder in folders for path in sorted(folder.rglob("*.fits*"))]
    assert len(paths) > 40
    for path in paths:
        found = look(path)
        assert found.not_an_image or (found.refusal is None) == (found.pixels is not None), path
        if found.refusal is not None:
            assert found.refusal.code != "damaged", (path, found.refusal)
