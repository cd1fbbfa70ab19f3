"""Measuring the library's cameras: what comes out, that it is kept, and when it is made anew.

The truth is the simulated camera's own description.
"""

import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest
from published_schemas import complaints

from darklib.facts.frame import Kind
from darklib.jobs import sensor as job
from darklib.jobs.correct import amend, body_changed, retire
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, init, open_library
from darklib.jobs.sensor import sensor, sensor_models
from darklib.readers import guard
from darklib.scenario.camera import Camera, DarkLaw, Readout
from darklib.scenario.cast import REFRACTOR, REFRACTOR_DUST
from darklib.scenario.optics import Train
from darklib.scenario.roll import Roll
from darklib.show import sensor_document

CAMERA = Camera(
    "Ostrell", "Ostrell CM-16", "CM16-0099", 160, 120, (Readout(100, 0.5, 3.0, 800.0, 50),),
    DarkLaw(0.2, 6.0, 0.3, 0.004, 1.0, 1.3), bits=14, dn_step=4, seed=9,
)  # fmt: skip
TRAIN = Train(REFRACTOR, REFRACTOR_DUST, 0.0, (0.3, -0.2))
ROLLS = (
    ("bias", Kind.BIAS, 0.0, 10, 0.0),
    ("flat", Kind.FLAT, 2.0, 6, 0.0),
    ("dark", Kind.DARK, 120.0, 8, 0.0),
    ("warm", Kind.DARK, 120.0, 8, 9.0),
)


def card(folder: Path) -> Path:
    start = datetime(2026, 10, 3, 20, 0, tzinfo=UTC)
    for name, kind, exposure_s, count, at_c in ROLLS:
        roll = Roll(
            name, kind, CAMERA, 100, exposure_s, count, start, at_c, at_c, partial("{0}/{0}_{1:03d}.fits".format, name),
            train=TRAIN if kind is Kind.FLAT else None, filter="L" if kind is Kind.FLAT else None,
        )  # fmt: skip
        for file in roll.files(5):
            path = folder / file.path
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(file.make())
        start = roll.end() + timedelta(minutes=5)
    return folder


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("measured")
    init(str(base / "library"), timezone="Etc/GMT+1")
    with open_library(base / "library") as opened:
        ingest(opened, [str(card(base / "card"))])
    return base / "library"


@pytest.fixture
def opened(library: Path) -> Iterator[Opened]:
    with open_library(library) as one:
        yield one


def test_a_camera_is_measured_from_its_frames(opened: Opened) -> None:
    (found,) = sensor(opened).sensors
    assert (found.body.label, found.readout.gain) == ("Ostrell CM-16", 100.0)
    assert found.frames_used == {"bias": 10, "flat": 6, "dark": 16}
    assert found.gain_e_per_dn is not None
    assert found.gain_e_per_dn.value == pytest.approx(0.5, rel=0.03)
    assert found.read_noise_e is not None
    assert found.read_noise_e.value == pytest.approx(3.0, rel=0.03)
    assert found.bias_dn is not None
    assert found.bias_dn.value == pytest.approx(800.0, abs=3.0)
    assert [dark.temperature_c for dark in found.dark_current] == pytest.approx([0.0, 9.0], abs=0.1)
    assert found.dark_current[0].median_e_s.value == pytest.approx(0.2, rel=0.05)
    assert found.doubling_c is not None
    assert abs(found.doubling_c.value - 6.0) < 3.0 * (found.doubling_c.error or 0.0)
    assert found.level_held is False
    assert found.troubles == ()
    assert found.dark_rates is not None
    assert found.law is not None
    assert len(found.used_ids) == 32
    assert complaints(sensor_document.sensor(sensor(opened))) == []


def test_advice_to_shoot_flats_comes_with_the_caution_about_the_sun(opened: Opened) -> None:
    found = sensor(opened)
    assert found.sensors[0].full_well_e is None
    assert any("flats" in said for said in found.sensors[0].advice)
    assert "near the Sun" in found.cautions[0]
    # Its darks span nine degrees: nobody is sent to the fridge.
    assert not any("fridge" in caution for caution in found.cautions)


def test_what_is_known_of_cameras_is_there_without_numpy() -> None:
    # `match` asks for it, and has to start quickly.
    code = "import sys, darklib.jobs.sensor; print([one for one in ('numpy', 'astropy') if one in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_nothing_is_read_again_while_the_frames_are_the_same(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    sensor(opened)

    def refuse(self: object) -> None:
        raise AssertionError("a file was to be read")

    monkeypatch.setattr(guard.Guard, "__post_init__", refuse)
    again = sensor(opened)
    assert again.measured == 0
    (model,) = again.sensors
    assert sensor_models(opened) == {(model.body.id, model.readout.key): model}


def test_other_frames_or_facts_make_it_anew(opened: Opened) -> None:
    (before,) = sensor(opened).sensors
    name = before.used_ids[0]
    retire(opened, [name])
    after = sensor(opened)
    assert after.measured == 1
    assert name not in after.sensors[0].used_ids
    warm = [frame for frame in opened.catalogue.frames_by_id(before.used_ids) if (frame.temperature_c or 0.0) > 8.0]
    amend(opened, [frame.id for frame in warm], {"temperature_c": 12.0})
    assert sensor(opened).measured == 1
    assert max(dark.temperature_c for dark in sensor(opened).sensors[0].dark_current) == 12.0


def test_darks_from_before_the_camera_was_remapped_are_left_out(opened: Opened) -> None:
    (before,) = sensor(opened).sensors
    body_changed(opened, before.body.id, what="remapped", at="2026-12-01")
    after = sensor(opened)
    assert after.measured == 1
    assert after.sensors[0].frames_used["dark"] == 0
    assert after.sensors[0].gain_e_per_dn == before.gain_e_per_dn
    assert {one.code for one in after.sensors[0].left_out} == {"body_changed"}


def test_a_file_that_cannot_be_read_is_left_out_and_said(opened: Opened) -> None:
    (before,) = sensor(opened).sensors
    (frame,) = opened.catalogue.frames_by_id([before.used_ids[3]])
    path = Path(opened.absolute(frame.path))
    whole = path.read_bytes()
    opened.seam.make_writable(path)
    try:
        path.write_bytes(whole[: len(whole) // 2])
        opened.catalogue.drop_findings(job.FINDING)
        (found,) = sensor(opened).sensors
    finally:
        path.write_bytes(whole)
        opened.catalogue.drop_findings(job.FINDING)
    (out,) = [one for one in found.left_out if one.id == frame.id]
    assert out.code == "truncated"
    assert frame.id not in found.used_ids


def test_one_camera_alone_and_a_library_without_any(opened: Opened, tmp_path: Path) -> None:
    (one,) = sensor(opened, body="Ostrell CM-16").sensors
    assert one.body.model == CAMERA.model
    init(str(tmp_path / "empty"), timezone="Etc/UTC")
    with open_library(tmp_path / "empty") as empty:
        assert sensor(empty).sensors == ()
        assert sensor_models(empty) == {}
