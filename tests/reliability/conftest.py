"""A stage made once, and worker processes replaced by a look in this process."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from small_library import InProcessGuard, make_stage
from sqlalchemy import event
from sqlalchemy.util import LRUCache

from darklib.catalogue import address
from darklib.jobs import intake
from darklib.store import durable, hashing

SMALL_PIECE = 4096
"""Bytes read and written at once, so that the small files of these tests take several calls, as large ones do."""


_engine_made = address.engine_of
_compiled: Any = LRUCache(2000)


def _engine_of(*arguments: Any, **named: Any) -> Any:
    engine = _engine_made(*arguments, **named)
    engine._compiled_cache = _compiled  # else each of thousands of connections compiles the same statements anew
    event.listen(engine, "connect", lambda driver, _: driver.execute("PRAGMA synchronous = OFF"))
    return engine


@pytest.fixture
def in_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files are looked at in this process, and copied in small pieces. SQL is put together once for all tests."""
    monkeypatch.setattr(intake, "Guard", InProcessGuard)
    monkeypatch.setattr(address, "engine_of", _engine_of)
    monkeypatch.setattr(durable, "PIECE", SMALL_PIECE)
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
