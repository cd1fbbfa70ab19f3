"""The wheel by itself: built from the source archive, installed far from the checkout, with its own migrations."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[2]

# Upgrades an old catalogue with what is installed, and says where everything came from.
UPGRADE = """
import json, sqlite3, sys
from pathlib import Path

from alembic.script import ScriptDirectory

import darklib
from darklib.catalogue import schema
from darklib.catalogue.schema import open_catalogue

migrations = Path(darklib.__file__).parent / "_migrations"
revisions = [one.revision for one in ScriptDirectory(str(migrations)).walk_revisions()]  # the newest first
folder = Path(sys.argv[1])
catalogue, backups = folder / "catalogue.sqlite", folder / "backups"
backups.mkdir()
old = None
if len(revisions) > 1:
    old, schema.REVISION = revisions[1], revisions[1]
    open_catalogue(catalogue, backups, create=True).close()
    schema.REVISION = revisions[0]
else:
    catalogue.write_bytes(b"")  # before the first tables there was nothing
open_catalogue(catalogue, backups, create=True).close()
reader = sqlite3.connect(catalogue)
(now,) = reader.execute("SELECT version_num FROM alembic_version").fetchone()
tables = [name for (name,) in reader.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
reader.close()
print(json.dumps({
    "darklib": darklib.__file__, "head": revisions[0], "old": old, "now": now, "tables": tables,
    "backups": sorted(path.name for path in backups.iterdir()),
}))
"""


@dataclass(frozen=True)
class Installed:
    """An environment outside the checkout that holds the built wheel."""

    python: Path
    program: Path
    packages: Path
    wheel: Path
    archive: Path


def run(*command: str | Path, cwd: Path, **more: str) -> str:
    """Run one command to its good end and return what it printed."""
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env={**os.environ, "PYTHONUTF8": "1", **more},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def installed(repository: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """Build source archive and wheel, and install the wheel into a new environment with a blank and a % in its path."""
    base = tmp_path_factory.mktemp("far away 100%")
    # Without --wheel the wheel is built from the source archive: so nothing is missing there either.
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", base / "dist", repository, cwd=base)
    (wheel,) = (base / "dist").glob("*.whl")
    (archive,) = (base / "dist").glob("*.tar.gz")
    environment = base / "environment"
    binaries = environment / ("Scripts" if os.name == "nt" else "bin")
    python = binaries / ("python.exe" if os.name == "nt" else "python")
    uv = shutil.which("uv")
    if uv:
        run(uv, "venv", "--quiet", "--python", sys.executable, environment, cwd=base)
        run(uv, "pip", "install", "--quiet", "--no-deps", "--offline", "--python", python, wheel, cwd=base)
    else:
        run(sys.executable, "-m", "venv", environment, cwd=base)
        run(python, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", wheel, cwd=base)
    packages = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=base).strip())
    # What darklib depends on is borrowed from the environment of these tests: fetching half a gigabyte again would show
    # nothing about the wheel. A folder named in a .pth file comes after the environment's own packages, and .pth files
    # inside it are not read, so the editable darklib over there stays invisible.
    borrowed = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    (packages / "zz_borrowed.pth").write_text("".join(f"{path}\n" for path in sorted(borrowed)), encoding="utf-8")
    return Installed(python, binaries / ("darklib.exe" if os.name == "nt" else "darklib"), packages, wheel, archive)


def test_it_is_the_installed_one(installed: Installed, repository: Path, tmp_path: Path) -> None:
    code = "import darklib, sys; print(darklib.__file__); print(darklib.__version__); print(*sys.path, sep='\\n')"
    file, version, *path = run(installed.python, "-c", code, cwd=tmp_path).splitlines()
    assert Path(file).is_relative_to(installed.packages)
    assert str(repository) not in path
    assert installed.wheel.name == f"darklib-{version}-py3-none-any.whl"
    assert run(installed.program, "--version", cwd=tmp_path) == f"darklib {version}\n"
    assert run(installed.python, "-m", "darklib", "--version", cwd=tmp_path) == f"darklib {version}\n"


def test_it_upgrades_a_catalogue_with_its_own_migrations(installed: Installed, tmp_path: Path) -> None:
    folder = tmp_path / "old library 50%"
    folder.mkdir()
    told = json.loads(run(installed.python, "-c", UPGRADE, folder, cwd=tmp_path))
    assert Path(told["darklib"]).is_relative_to(installed.packages)
    assert told["now"] == told["head"] != told["old"]
    assert len(told["backups"]) == (1 if told["old"] else 0)
    assert {"frames", "series", "statements", "alembic_version"} <= set(told["tables"])


def test_the_main_job_starts_from_it(installed: Installed, tmp_path: Path) -> None:
    library = tmp_path / "a library 50%"
    run(installed.program, "init", library, cwd=tmp_path)
    out = run(installed.program, "--library", library, "--json", "status", cwd=tmp_path)
    assert json.loads(out)["schema"] == "darklib/status/1"


@pytest.mark.skipif(not (REPOSITORY / ".git").exists(), reason="only a clone knows which files belong to the project")
def test_the_wheel_holds_the_house_and_nothing_else(installed: Installed, repository: Path) -> None:
    with zipfile.ZipFile(installed.wheel) as wheel:
        held = {name for name in wheel.namelist() if ".dist-info/" not in name}
        metadata = next(wheel.read(name).decode() for name in wheel.namelist() if name.endswith(".dist-info/METADATA"))
    tracked = run("git", "ls-files", "darklib", "migrations", "sample_data", cwd=repository).splitlines()
    wanted = {
        name.replace("migrations/", "darklib/_migrations/", 1).replace("sample_data/", "darklib/_sample_data/", 1)
        if not name.startswith("darklib/")
        else name
        for name in tracked
    }
    assert len(wanted) > 50
    assert held >= wanted
    assert not any("__pycache__" in name or name.endswith(".pyc") for name in held)
    assert {name for name in held - wanted if not name.startswith("darklib/")} == set()
    assert "License-Expression: BSD-3-Clause" in metadata
    assert "Requires-Python: >=3.11" in metadata


def test_the_source_archive_can_be_tested(installed: Installed) -> None:
    with tarfile.open(installed.archive) as archive:
        held = {name.partition("/")[2] for name in archive.getnames()}
    assert {
        "LICENSE",
        "CHANGELOG.md",
        "pyproject.toml",
        "requirements.lock",
        "scripts/test.py",
        "tests/conftest.py",
    } <= held
    assert not any(name.startswith((".venv", ".git/")) for name in held)
