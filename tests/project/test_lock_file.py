"""requirements.lock covers the project file, names no host, and is what these tests run with."""

from __future__ import annotations

import importlib.metadata
import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name


@pytest.fixture(scope="module")
def lock(repository: Path) -> str:
    """Return the text of the lock file."""
    return (repository / "requirements.lock").read_text(encoding="utf-8")


def pinned(lock: str) -> list[Requirement]:
    """Return the requirements of the lock file, hashes and comments taken off."""
    lines = lock.replace("\\\n", " ").splitlines()
    return [Requirement(line.partition("--hash")[0]) for line in lines if line and not line.lstrip().startswith("#")]


def asked_for(repository: Path) -> list[Requirement]:
    """Return what the project file asks for, to run and to develop."""
    with (repository / "pyproject.toml").open("rb") as file:
        project = tomllib.load(file)["project"]
    return [Requirement(one) for one in (*project["dependencies"], *project["optional-dependencies"]["dev"])]


def test_it_names_no_host_and_no_folder(lock: str) -> None:
    assert "://" not in lock
    assert not re.search(r"(?m)^\s*-(?!-hash=sha256:)", lock)


def test_every_package_has_a_hash(lock: str) -> None:
    logical = [line for line in lock.replace("\\\n", " ").splitlines() if line and not line.lstrip().startswith("#")]
    assert len(logical) > 50
    assert [line.split()[0] for line in logical if "--hash=sha256:" not in line] == []


def test_it_covers_the_project_file(lock: str, repository: Path) -> None:
    versions = {canonicalize_name(one.name): str(one.specifier).removeprefix("==") for one in pinned(lock)}
    uncovered = [
        str(wanted)
        for wanted in asked_for(repository)
        if not wanted.specifier.contains(versions.get(canonicalize_name(wanted.name), "0"))
    ]
    assert uncovered == []


def test_these_tests_run_with_what_is_locked(lock: str) -> None:
    here = [one for one in pinned(lock) if one.marker is None or one.marker.evaluate()]
    assert len(here) > 50
    differing = {}
    for one in here:
        installed = importlib.metadata.version(one.name)
        if not one.specifier.contains(installed):
            differing[one.name] = f"{installed} installed, {one.specifier} locked"
    assert differing == {}
