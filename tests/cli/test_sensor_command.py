"""`darklib sensor` from the command line: the document, the picture, and what is wrong usage."""

from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import pytest
from published_schemas import one_document

from darklib.cli.main import perform
from darklib.facts.frame import Kind
from darklib.jobs.ingest import ingest
from darklib.jobs.library import init, open_library
from darklib.scenario.camera import Camera, DarkLaw, Readout
from darklib.scenario.roll import Roll

CAMERA = Camera(
    "Ostrell", "Ostrell CM-16", "CM16-0098", 96, 72, (Readout(100, 0.5, 3.0, 800.0, 50),),
    DarkLaw(0.2, 6.0, 0.3, 0.004, 1.0, 1.3), bits=14, dn_step=4, seed=4,
)  # fmt: skip


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("command")
    start = datetime(2026, 10, 3, 20, 0, tzinfo=UTC)
    roll = Roll("bias", Kind.BIAS, CAMERA, 100, 0.0, 4, start, 0.0, 0.0, partial("bias_{0:03d}.fits".format))
    (base / "card").mkdir()
    for file in roll.files(5):
        (base / "card" / file.path).write_bytes(file.make())
    init(str(base / "library"), timezone="Etc/UTC")
    with open_library(base / "library") as opened:
        ingest(opened, [str(base / "card")])
    return base / "library"


def test_the_document_and_the_picture(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "dark.svg"
    assert perform(["--library", str(library), "sensor", "--json", "--picture", str(target)]) == 0
    document = one_document(capsys.readouterr().out)
    (found,) = document["sensors"]
    assert found["frames_used"] == {"bias": 4, "flat": 0, "dark": 0}
    assert found["gain_e_per_dn"] is None
    assert found["read_noise_dn"]["value"] == pytest.approx(6.0, rel=0.1)
    assert found["dark_current"] == []
    assert document["picture"] == str(target)
    assert b"<svg" in target.read_bytes()
    assert perform(["--library", str(library), "sensor", "--picture", str(target)]) == 0  # an equal file is fine
    assert "Read noise" in capsys.readouterr().out


def test_another_file_is_never_overwritten(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "holiday.png"
    target.write_bytes(b"mine")
    assert perform(["--library", str(library), "sensor", "--picture", str(target)]) == 1
    assert "never overwritten" in capsys.readouterr().err
    assert target.read_bytes() == b"mine"


def test_wrong_usage(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert perform(["--library", str(library), "sensor", "--picture", "dark.pdf"]) == 2
    assert ".png or .svg" in capsys.readouterr().err
    assert perform(["--library", str(library), "sensor", "--body", "nobody"]) == 1
    assert "nobody" in capsys.readouterr().err
