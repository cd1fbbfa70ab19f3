"""A stage made once, and worker processes replaced by a look in this process."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from small_library import InProcessGuard, make_stage
from sqlalchemy import Engine, event

from darklib.catalogue import address
from darklib.jobs import intake
from darklib.store import durable, hashing

SMALL_PIECE = 4096
"""Bytes read and written at once, so that the small files of these tests take several calls, as large ones do."""


_engine_made = address.engine_of


@cache
def _engine_of(path: Path | None, **named: bool) -> Engine:
    """One engine for each file, which keeps its compiled statements, and no waiting for the disk."""
    engine = _engine_made(path, **named)
    event.listen(engine, "connect", lambda driver, _: driver.execute("PRAGMA synchronous = OFF"))
    return engine


@pytest.fixture
def in_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files are looked at in this process, and copied in small pieces. SQL is put together once for all tests."""
    monkeypatch.setattr(intake, "Guard", InProcessGuard)
    monkeypatch.setattr(address, "engine_of", _engine_of)
    monkeypatch.setattr(durable, "PIECE", SMALL_PIECE)
    monkeypatch.setattr(durable, "TRANSFERRED", SMALL_PIECE)
    monkeypatch.setattr(hashing, "PIECE", SMALL_PIECE)


@pytest.fixture(scope="session")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Path]]:
    """Return a stage as a template, and the place where it was made and where its copies must stand."""
    folder = tmp_path_factory.mktemp("stage")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(intake, "Guard", InProcessGuard)
        make_stage(folder / "at")
    (folder / "at").rename(folder / "template")
    return folder / "template", folder / "at"
