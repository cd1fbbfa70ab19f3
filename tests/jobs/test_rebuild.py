"""The catalogue made anew holds what the old one held, whatever was done meanwhile."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from darklib.catalogue.catalogue import FrameQuery
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Frame, Kind
from darklib.jobs import correct
from darklib.jobs.asked import Stated
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, open_library
from darklib.jobs.rebuild import rebuild
from darklib.jobs.verify import verify


def _lived_in(opened: Opened, card: Path) -> None:
    """A library in which a bit of everything was done."""
    frames = {frame.kind: frame for frame in ingest(opened, [str(card)], Stated(body="mine"), workers=1).stored}
    dark, flat, light = (frames[kind].id for kind in (Kind.DARK, Kind.FLAT, Kind.LIGHT))
    (card / "again.fits").write_bytes((card / "dark_300s.fits").read_bytes())
    (card / "short.fits").write_bytes(b"SIMPLE  =                    T")
    ingest(opened, [str(card)], workers=1)
    correct.amend(opened, [light, flat], {"filter": "R", "target": "NGC 6946"}, note="another wheel")
    correct.amend(opened, [light], {"temperature_c": -12.5})
    correct.undo(opened, [light])
    correct.amend(opened, [dark], {"body": None})
    correct.retire(opened, [dark, flat], note="clouds")
    correct.restore(opened, [flat])
    correct.name_body(opened, "mine", "Winter camera")
    correct.join_bodies(opened, "mine", opened.catalogue.bodies()[-1].ref.id)
    correct.body_changed(opened, opened.catalogue.bodies()[0].ref.id, what="cleaned", at="2026-09-20")
    correct.train_changed(opened, opened.catalogue.trains()[0].ref.label, note="turned")


def _held(opened: Opened) -> dict[str, Any]:
    """All that the catalogue says."""
    catalogue = opened.catalogue
    frames: list[Frame] = list(catalogue.frames(FrameQuery(retired=None)).frames)
    return {
        "frames": frames,
        "records": [catalogue.record(frame.sha256) for frame in frames],
        # Row numbers are the catalogue's own.
        "said": [[replace(row) for row in catalogue.statements(frame.sha256)] for frame in frames],
        "sources": [[row.path for row in catalogue.sources(frame.sha256)] for frame in frames],
        "series": catalogue.series(),
        "bodies": catalogue.bodies(),
        "body changes": {row.ref.id: catalogue.body_changes(row.ref.id) for row in catalogue.bodies()},
        "trains": catalogue.trains(),
        "set aside": catalogue.set_aside(),
        "runs": catalogue.runs(),
        "counts": catalogue.counts(),
        "positions": catalogue.positions(),
    }


def test_it_equals_the_original(library: Path, trio_card: Path) -> None:
    with open_library(library) as opened:
        _lived_in(opened, trio_card)
        before = _held(opened)
    result = rebuild(library)
    assert (result.frames, result.differences) == (3, ())
    with open_library(library) as opened:
        after = _held(opened)
        assert verify(opened).needs_attention is False
    assert after == before
    assert any(row.changes for row in before["trains"])
    assert [frame.retired for frame in before["frames"]].count(True) == 1


def test_a_catalogue_that_knows_otherwise_is_told_and_kept(library: Path, trio_card: Path) -> None:
    with open_library(library) as opened:
        dark = next(frame for frame in ingest(opened, [str(trio_card)], workers=1).stored if frame.kind is Kind.DARK)
    with closing(sqlite3.connect(library / "catalogue.sqlite")) as connection, connection:
        connection.execute("UPDATE frames SET temperature_c100 = 500 WHERE id = ?", (dark.id,))
    result = rebuild(library, dry_run=True)
    assert [line for line in result.differences if dark.id in line and "temperature_c" in line]
    with open_library(library) as opened:
        assert opened.catalogue.frames_by_id([dark.id])[0].temperature_c == 5.0
    assert rebuild(library).backup is not None
    with open_library(library) as opened:
        assert opened.catalogue.frames_by_id([dark.id])[0].temperature_c == dark.temperature_c


def test_it_works_without_and_with_a_broken_catalogue(library: Path, trio_card: Path) -> None:
    with open_library(library) as opened:
        ingest(opened, [str(trio_card)], workers=1)
    for broken in (None, b"", b"no database at all" * 100):
        (library / "catalogue.sqlite").unlink()
        if broken is not None:
            (library / "catalogue.sqlite").write_bytes(broken)
        assert rebuild(library).frames == 3


def test_a_catalogue_of_a_newer_darklib_is_left_alone(library: Path, trio_card: Path) -> None:
    with open_library(library) as opened:
        ingest(opened, [str(trio_card)], workers=1)
    with closing(sqlite3.connect(library / "catalogue.sqlite")) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    before = (library / "catalogue.sqlite").read_bytes()
    with pytest.raises(DarklibError, match="which is older") as caught:
        rebuild(library)
    assert caught.value.code == "newer_catalogue"
    assert (library / "catalogue.sqlite").read_bytes() == before
    assert not list((library / "backups").iterdir())


def test_a_stored_file_without_a_line_is_taken_in(library: Path, trio_card: Path) -> None:
    (library / "frames" / "by-hand").mkdir(parents=True)
    name = "dark_300s.fits"
    (library / "frames" / "by-hand" / name).write_bytes((trio_card / name).read_bytes())
    result = rebuild(library)
    assert result.frames == 1
    assert any("by-hand" in line for line in result.differences)
    with open_library(library) as opened:
        assert [frame.path for frame in opened.catalogue.frames(FrameQuery()).frames] == [f"frames/by-hand/{name}"]
