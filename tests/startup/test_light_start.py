"""What a command imports decides how long it takes to answer. Looked at from outside, in a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

# Runs the program as its entry point does and writes down, at the very end, which packages came with it.
WATCHED = """
import atexit, json, sys

def report(path=sys.argv.pop(1)):
    with open(path, "w", encoding="utf-8") as out:
        json.dump(sorted({name.partition(".")[0] for name in sys.modules}), out)

atexit.register(report)
sys.argv[0] = "darklib"
from darklib.cli.main import run
sys.exit(run())
"""

HEAVY = {"numpy", "scipy", "astropy", "sqlalchemy", "alembic", "rawpy", "exifread", "tifffile", "matplotlib"}


@dataclass(frozen=True)
class Ran:
    """What came of one command."""

    status: int
    out: str
    err: str
    packages: set[str]


def darklib(repository: Path, folder: Path, *arguments: str, **more: str) -> Ran:
    """Run one command in a new process, without the project's own editable install in the way."""
    report = folder / "packages.json"
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, str(report), *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(repository), "PYTHONUTF8": "1", **more},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    packages = set(json.loads(report.read_text(encoding="utf-8"))) if report.exists() else set()
    assert "darklib" in packages, done.stderr
    return Ran(done.returncode, done.stdout, done.stderr, packages)


@pytest.mark.parametrize("flag", ["--version", "--help", "-h"])
def test_version_and_help_import_nothing_heavy(repository: Path, tmp_path: Path, flag: str) -> None:
    ran = darklib(repository, tmp_path, flag)
    assert ran.status == 0, ran.err
    assert "darklib" in ran.out
    assert not ran.packages & HEAVY


@pytest.mark.parametrize("command", ["ingest", "match", "export", "rebuild"])
def test_the_help_of_a_command_imports_nothing_heavy(repository: Path, tmp_path: Path, command: str) -> None:
    ran = darklib(repository, tmp_path, command, "--help")
    assert ran.status == 0, ran.err
    assert "--dry-run" in ran.out or command == "match"
    assert not ran.packages & HEAVY


def test_completion_imports_nothing_heavy(repository: Path, tmp_path: Path) -> None:
    ran = darklib(
        repository,
        tmp_path,
        _DARKLIB_COMPLETE="complete_bash",
        COMP_WORDS="darklib ma",
        COMP_CWORD="1",
    )
    assert ran.status == 0, ran.err
    assert "match" in ran.out.split()
    assert not ran.packages & HEAVY


@pytest.fixture(scope="module")
def small_library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a library of one evening: three lights, and three darks and three flats that fit."""
    base = tmp_path_factory.mktemp("evening")
    card = base / "card"
    card.mkdir()
    chance = np.random.default_rng(7)
    for kind, exposure_s, level in (("Light", 60.0, 900), ("Dark", 60.0, 500), ("Flat", 2.0, 30000)):
        for number in range(3):
            header = fits.Header()
            header["IMAGETYP"] = f"{kind} Frame"
            header["EXPTIME"] = exposure_s
            header["INSTRUME"] = "Invented 300"
            header["GAIN"] = 100
            header["OFFSET"] = 50
            header["CCD-TEMP"] = -10.0
            header["SET-TEMP"] = -10.0
            header["XBINNING"] = header["YBINNING"] = 1
            header["FILTER"] = "L"
            header["TELESCOP"] = "Invented 80"
            header["FOCALLEN"] = 480.0
            header["DATE-OBS"] = f"2026-10-03T22:{number:02d}:{len(kind):02d}"
            if kind == "Light":
                header["OBJECT"] = "M 31"
            pixels = chance.poisson(level, (64, 96)).astype(np.uint16)
            fits.PrimaryHDU(pixels, header).writeto(card / f"{kind.lower()}_{number}.fits")
    home = {
        **os.environ,
        "PYTHONPATH": str(Path(__file__).resolve().parents[2]),
        "DARKLIB_LIBRARY": str(base / "library"),
    }
    for arguments in (["init", str(base / "library")], ["ingest", str(card)]):
        done = subprocess.run(
            [sys.executable, "-m", "darklib", "--json", *arguments],
            cwd=base,
            env=home,
            capture_output=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr.decode("utf-8", "replace")
    return base / "library"


@pytest.mark.parametrize(
    ("command", "listed", "count"), [("frames", "frames", 9), ("batches", "batches", 1), ("match", "matches", 1)]
)
def test_everyday_questions_import_no_numpy(
    repository: Path, tmp_path: Path, small_library: Path, command: str, listed: str, count: int
) -> None:
    ran = darklib(repository, tmp_path, "--library", str(small_library), "--json", command)
    assert ran.status in {0, 3}, ran.err
    assert len(json.loads(ran.out)[listed]) == count  # it had something to do, and did it
    assert not ran.packages & (HEAVY - {"sqlalchemy", "alembic"})


def test_gaps_import_no_numpy(repository: Path, tmp_path: Path, small_library: Path) -> None:
    ran = darklib(repository, tmp_path, "--library", str(small_library), "--json", "gaps", "--plan")
    assert ran.status in {0, 3}, ran.err
    assert json.loads(ran.out)["plan"] is not None
    assert not ran.packages & (HEAVY - {"sqlalchemy", "alembic"})


def test_the_watch_sees_what_is_imported(repository: Path, tmp_path: Path) -> None:
    """The check of the check: a list of frames does need the database, and the report says so."""
    library = tmp_path / "library"
    assert darklib(repository, tmp_path, "init", str(library)).status == 0
    ran = darklib(repository, tmp_path, "--library", str(library), "--json", "frames")
    assert ran.status == 0, ran.err
    assert "sqlalchemy" in ran.packages
