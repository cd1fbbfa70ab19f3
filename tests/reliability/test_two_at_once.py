"""Two real processes at one library: no frame lost, none stored twice, nobody told that something is locked."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from small_library import put, set_stage
from together import before, card, look_after, run

from darklib.facts.errors import DarklibError
from darklib.jobs.ingest import ingest
from darklib.jobs.library import open_library
from darklib.jobs.rebuild import rebuild
from darklib.store import keeping_apart
from darklib.store.layout import Library
from darklib.store.seam import Seam

pytestmark = pytest.mark.usefixtures("in_process")


def test_two_processes_take_in_cards_with_frames_in_common(
    stage: tuple[Path, Path], record_property: Callable[[str, object], None]
) -> None:
    set_stage(*stage)
    at = stage[1]
    known = before(at)
    one, other = card(100, 24), card(112, 24, "DSC")
    put(at / "one", one)
    put(at / "other" / "deeper", other)
    first, second = run(at, ("ingest", str(at / "one")), ("ingest", str(at / "other")))
    assert (first["seen"], second["seen"]) == (24, 24)
    assert first["stored"] + second["stored"] == 36
    assert first["duplicates"] + second["duplicates"] == 12
    frames, journals = look_after(at, known, one, other)
    record_property(
        "measured",
        f"two processes, 24 files each, 12 in common: {frames - len(known)} frames stored, {journals} journals",
    )


@pytest.mark.long
@pytest.mark.parametrize("attempt", range(3))
def test_two_processes_take_in_the_same_card(
    attempt: int, stage: tuple[Path, Path], record_property: Callable[[str, object], None]
) -> None:
    set_stage(*stage)
    at = stage[1]
    known = before(at)
    files = card(200 + 60 * attempt, 60)
    put(at / "one", files)
    first, second = run(at, ("ingest", str(at / "one")), ("ingest", str(at / "one")))
    assert first["stored"] + second["stored"] == 60
    assert first["duplicates"] + second["duplicates"] == 60
    frames, journals = look_after(at, known, files)
    record_property(
        "measured", f"two processes, the same 60 files: {frames - len(known)} frames stored, {journals} journals"
    )


@pytest.mark.long
def test_others_match_while_cards_are_taken_in(
    stage: tuple[Path, Path], record_property: Callable[[str, object], None]
) -> None:
    set_stage(*stage)
    at = stage[1]
    known = before(at)
    one, other = card(400, 60), card(460, 60)
    put(at / "one", one)
    put(at / "other", other)
    _, _, third = run(at, ("ingest", str(at / "one")), ("ingest", str(at / "other")), ("look", str(at / "done")))
    assert third["fewer"] == 0, "frames only ever become more"
    assert third["replayed"] == 0, "what others record they apply themselves"
    assert third["looks"] > 1
    frames, _ = look_after(at, known, one, other)
    assert third["frames"] == frames
    record_property("measured", f"two ingests of 60 files and {third['looks']} matches meanwhile: {frames} frames")


def test_rebuild_has_the_library_alone(stage: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """It changes nothing while others are at work, and others do not get between its two renames."""
    set_stage(*stage)
    root = stage[1] / "library"
    monkeypatch.setattr(keeping_apart, "WAIT_ALONE_S", 0.05)
    monkeypatch.setattr(keeping_apart, "WAIT_S", 0.05)
    with open_library(root) as opened:
        with pytest.raises(DarklibError, match="Another darklib is using") as told:
            rebuild(root)
        assert told.value.code == "library_busy"
        assert not list(opened.layout.backups.glob("*rebuild*"))
        ingest(opened, [str(stage[1] / "card")], copiers=0)
    with keeping_apart.alone(Seam(), Library(root)), pytest.raises(DarklibError, match="being made anew or upgraded"):
        open_library(root)
    rebuild(root)
    with open_library(root) as opened:
        assert opened.catalogue.counts()["frames"] == len(before(stage[1])) > 7
