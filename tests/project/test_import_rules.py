"""The import rules of pyproject.toml can be broken: each is, by one planted import, in a copy of the house's plan."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

# Which rule a module breaks when it stands in the house with this content.
PLANTED = {
    "layers": ("facts/planted.py", "import darklib.jobs\n"),
    "quick": ("matching/planted.py", "def later() -> None:\n    import numpy\n"),
    "pure": ("kinds/planted.py", "from os import path\n"),
    "database": ("jobs/planted.py", "from sqlalchemy.orm import Session\n"),
    "formats": ("pixels/planted.py", "from astropy.io import fits\n"),
    "negative": ("handover/planted.py", "import tifffile\n"),
    "looks": ("store/planted.py", "from rich.console import Console\n"),
    "sides": ("cli/planted.py", "from darklib import catalogue\n"),
    "circles": ("jobs/third.py", "import darklib.jobs.other\n"),
}
# What a house needs for its rules to have a subject.
OWNERS = {
    "catalogue/owner.py": "import alembic\nimport sqlalchemy\n",
    "readers/owner.py": "import astropy.io.fits\nimport exifread\nimport rawpy\n",
    "scenario/owner.py": "import tifffile\n",
    "scenario/camera.py": "",
    "scenario/pattern.py": "import darklib.scenario.camera\n",  # an exception must have a subject too
    "show/owner.py": "import humanize\nimport rich\nimport typer\n",
    "jobs/other.py": "import darklib.jobs.third\n",
    "jobs/third.py": "",
}


def contracts(repository: Path) -> dict[str, Any]:
    """Return every import rule by its id."""
    with (repository / "pyproject.toml").open("rb") as file:
        return {one["id"]: one for one in tomllib.load(file)["tool"]["importlinter"]["contracts"]}


def names(repository: Path) -> dict[str, str]:
    """Return what the linter calls every import rule, by its id."""
    return {id_: one["name"] for id_, one in contracts(repository).items()}


def build(repository: Path, house: Path, modules: dict[str, str]) -> None:
    """Write a house with every room the layers name, empty except for `modules`."""
    rooms = re.findall(r"\w+", " ".join(contracts(repository)["layers"]["layers"]))
    files = {"__init__.py": "", **{f"{room}/__init__.py": "" for room in rooms}, **modules}
    for name, content in files.items():
        path = house / "darklib" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content, encoding="utf-8")
    (house / "pyproject.toml").write_bytes((repository / "pyproject.toml").read_bytes())


def verdicts(house: Path) -> tuple[int, list[str]]:
    """Return the exit status of the linter in `house` and the lines it prints."""
    linter = Path(sys.executable).parent / "lint-imports"
    done = subprocess.run(
        [str(linter), "--no-cache", "--no-logo"],
        cwd=house,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    return done.returncode, (done.stdout + done.stderr).splitlines()


def judged(lines: list[str]) -> dict[str, str]:
    """Return KEPT or BROKEN by the name of each rule."""
    found = (re.fullmatch(r"(.+) (KEPT|BROKEN)(?: \(\d+ ignored imports?\))?", line) for line in lines)
    return {one[1]: one[2] for one in found if one}


def test_a_house_without_planted_imports_keeps_every_rule(repository: Path, tmp_path: Path) -> None:
    build(repository, tmp_path, OWNERS)
    status, lines = verdicts(tmp_path)
    assert status == 0, lines
    assert judged(lines) == dict.fromkeys(names(repository).values(), "KEPT")


def test_no_rule_goes_untried(repository: Path) -> None:
    assert set(PLANTED) == set(names(repository))


@pytest.mark.parametrize("rule", sorted(PLANTED))
def test_every_rule_can_be_broken_and_says_where(repository: Path, tmp_path: Path, rule: str) -> None:
    file, content = PLANTED[rule]
    build(repository, tmp_path, {**OWNERS, file: content})
    status, lines = verdicts(tmp_path)
    assert status == 1
    assert judged(lines)[names(repository)[rule]] == "BROKEN"
    assert any(Path(file).stem in line for line in lines)


def test_a_room_nobody_planned_is_refused(repository: Path, tmp_path: Path) -> None:
    build(repository, tmp_path, {**OWNERS, "helpers/__init__.py": ""})
    status, lines = verdicts(tmp_path)
    assert status == 1
    assert judged(lines)[names(repository)["layers"]] == "BROKEN"
    assert any("darklib.helpers" in line for line in lines)
