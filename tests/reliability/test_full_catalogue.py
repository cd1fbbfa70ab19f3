"""SQLite itself runs out of room, at one page after the other: what the journal holds comes into the catalogue later.

The limit is SQLite's own (`PRAGMA max_page_count`, sqlite.org/pragma.html), so that the error is a real SQLITE_FULL
from inside a transaction.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fault_map import WatchfulSeam, found_by_verify, sources_lost, undisturbed
from small_library import COMMANDS, FixedSeam, differences, set_stage, state

from darklib.catalogue import address
from darklib.facts.errors import DarklibError

pytestmark = pytest.mark.usefixtures("in_process")


@pytest.fixture
def room(in_process: None, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Return a list; while it holds a number, a catalogue that is opened may grow by so many pages."""
    spare: list[int] = []
    engine_of = address.engine_of

    class Limited:
        def __init__(self, engine: Any) -> None:
            self._engine = engine

        def connect(self) -> Any:
            connection = self._engine.connect()
            if spare:
                driver = connection.connection.driver_connection
                (pages,) = driver.execute("PRAGMA page_count").fetchone()
                driver.execute(f"PRAGMA max_page_count = {pages + spare[0]}")
            return connection

        def __getattr__(self, name: str) -> Any:
            return getattr(self._engine, name)

    monkeypatch.setattr(address, "engine_of", lambda path, **named: Limited(engine_of(path, **named)))
    return spare


@pytest.mark.parametrize("name", ["ingest --move", "set-aside --retry"])
def test_no_room_in_the_catalogue(name: str, stage: tuple[Path, Path], room: list[int]) -> None:
    template, at = stage
    command = COMMANDS[name]
    quiet = undisturbed(name, template, at)
    full = 0
    for pages in range(12):
        set_stage(template, at)
        room[:] = [pages]
        seam = WatchfulSeam(at)
        try:
            command.act(seam, at)
        except DarklibError as error:
            assert error.code == "disk_full"  # noqa: PT017
            assert "Make room" in error.remedy  # noqa: PT017
            full += 1
        else:
            break
        finally:
            room.clear()
        assert seam.too_early == []
        assert sources_lost(template, at, command) == []
        assert found_by_verify(template, at, leftovers=True) == []
        command.act(FixedSeam(), at)
        assert differences(quiet.final, state(at)) == []
    assert full > 0, "the limit was met"
