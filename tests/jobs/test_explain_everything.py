"""`explain` leaves nothing out: what was told, what the form tells, what was not understood, what tells nothing."""

from fractions import Fraction
from pathlib import Path

import numpy as np

from darklib.jobs.explain import explain
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.scenario.dng import RawFacts, dng_bytes
from darklib.scenario.fits_file import fits_bytes


def header_frame(folder: Path) -> Path:
    pixels = (np.random.default_rng(4).normal(250, 5, (64, 96)).astype(np.uint16)) * 4
    path = folder / "a.fits"
    path.write_bytes(
        fits_bytes(
            pixels,
            [
                ("INSTRUME", "Grey Box", ""), ("IMAGETYP", "Dark Frame", ""), ("EXPTIME", 300.0, ""),
                ("CCD-TEMP", "cold", ""), ("SET-TEMP", -273.15, ""), ("DATE-OBS", "2026-10-03T22:00:00", ""),
                ("CLOUDS", "none", ""), ("MOONPHAS", 0.4, ""),
            ],
        )
    )  # fmt: skip
    return path


def test_a_header_is_explained_whole(opened: Opened, tmp_path: Path) -> None:
    path = header_frame(tmp_path)
    result = explain(opened, str(path))
    told = {fact.name: fact for fact in result.facts}
    assert (told["format"].value, told["width"].value, told["height"].value, told["bits"].value) == ("fits", 96, 64, 16)
    assert (told["dn_step"].value, told["dn_step"].note) == (4, "shifted up by 2 bits")
    assert (told["exposure_s"].origin, told["exposure_s"].where) == ("header", "EXPTIME")
    assert "sensor_temperature_c" not in told
    assert "set_temperature_c" not in told
    ignored = {item.where: (item.raw.strip("' "), item.why) for item in result.ignored}
    assert ignored["CCD-TEMP"] == ("cold", "not a number")
    assert ignored["SET-TEMP"] == ("-273.15", "stands for 'not known'")
    assert ignored[""] == ("CLOUDS, MOONPHAS", "keywords that tell nothing darklib needs")
    assert result.frame is not None
    assert result.frame.temperature_c is None
    warned = " ".join(warning.text for warning in result.frame.warnings)
    assert "CCD-TEMP = 'cold" in warned
    ingest(opened, [str(path)], workers=1)
    stored = explain(opened, str(path))
    assert stored.stored
    assert [fact.name for fact in stored.facts] == [fact.name for fact in result.facts]
    assert stored.ignored == result.ignored


def test_a_raw_is_explained_whole(opened: Opened, tmp_path: Path) -> None:
    facts = RawFacts(
        make="Pellwick", model="Pellwick P4", serial="P4-1", iso=1600, exposure=Fraction(300),
        local_time="2026:10:03 22:00:00", cfa="RGGB", black_dn=512, white_dn=16383, ambient_c=4.0,
    )  # fmt: skip
    pixels = np.random.default_rng(4).normal(1000, 20, (64, 96)).astype(np.uint16)
    path = tmp_path / "IMG_0001.DNG"
    path.write_bytes(dng_bytes(pixels, facts))
    told = {fact.name: fact for fact in explain(opened, str(path)).facts}
    assert (told["format"].value, told["cfa"].value, told["compression"].value) == ("dng", "RGGB", "none")
    assert (told["taken_at"].value, told["taken_at"].note) == (
        "2026-10-03T22:00:00",
        "no zone in the file: read in the library's",
    )
    assert (told["ambient_temperature_c"].value, told["ambient_temperature_c"].where) == (4.0, "EXIF Tag 0x9400")
    assert (told["black_dn"].value, told["white_dn"].value) == (512.0, 16383.0)
