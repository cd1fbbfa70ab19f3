"""A library in a temporary folder, and cards to take in."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from darklib.jobs.library import Opened, init, open_library
from darklib.scenario.trio import trio

SEED = 20261003


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """Return the folder of a new, empty library in the scenario's zone."""
    init(str(tmp_path / "library"), timezone="Etc/GMT+1")
    return tmp_path / "library"


@pytest.fixture
def opened(library: Path) -> Iterator[Opened]:
    """Open that library."""
    with open_library(library) as one:
        yield one


@pytest.fixture
def trio_card(tmp_path: Path) -> Path:
    """Return a card with one dark, one flat and one light that belong together."""
    card = tmp_path / "card"
    card.mkdir()
    for file in trio(SEED):
        (card / file.name).write_bytes(file.make())
    return card


@pytest.fixture
def snapshot() -> Callable[[Path], dict[str, bytes]]:
    """Return a function that reads every file below a folder, by relative path."""

    def take(folder: Path) -> dict[str, bytes]:
        files = (path for path in sorted(folder.rglob("*")) if path.is_file())
        return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}

    return take
