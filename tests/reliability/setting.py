"""How a stage is set: commands run in this process, in small pieces and without waiting for the disk."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from small_library import InProcessGuard, make_stage
from sqlalchemy import Engine, event

from darklib.catalogue import address
from darklib.jobs import intake
from darklib.readers import guard
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


def in_this_process(patch: pytest.MonkeyPatch) -> None:
    """Files are looked at in this process, and copied in small pieces. SQL is put together once for all tests."""
    patch.setattr(intake, "Guard", InProcessGuard)
    patch.setattr(guard, "Guard", InProcessGuard)  # those who take it when they need it
    patch.setattr(address, "engine_of", _engine_of)
    patch.setattr(durable, "PIECE", SMALL_PIECE)
    patch.setattr(durable, "TRANSFERRED", SMALL_PIECE)
    patch.setattr(hashing, "PIECE", SMALL_PIECE)


def made_stage(folder: Path) -> tuple[Path, Path]:
    """A stage as a template, and the place where it was made and where its copies must stand."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(intake, "Guard", InProcessGuard)
        patch.setattr(guard, "Guard", InProcessGuard)
        make_stage(folder / "at")
    (folder / "at").rename(folder / "template")
    return folder / "template", folder / "at"
