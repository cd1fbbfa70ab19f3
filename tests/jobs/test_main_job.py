"""The main job, end to end: three files on a card -> ingest -> match -> export as lists."""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path

from darklib.facts.frame import Kind
from darklib.facts.match import Verdict
from darklib.facts.plain import to_plain
from darklib.jobs.export import export
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.jobs.match import match

Snapshot = Callable[[Path], dict[str, bytes]]


def test_three_files_become_a_match_and_a_list(
    opened: Opened, trio_card: Path, tmp_path: Path, snapshot: Snapshot
) -> None:
    before = snapshot(trio_card)

    result = ingest(opened, [str(trio_card)], workers=1)

    assert (result.counts.seen, result.counts.stored) == (3, 3)
    assert {frame.kind for frame in result.stored} == {Kind.DARK, Kind.FLAT, Kind.LIGHT}
    for frame in result.stored:
        stored = opened.layout.absolute(frame.path)
        assert hashlib.sha256(stored.read_bytes()).hexdigest() == frame.sha256
        assert before[Path(frame.source_path).name] == stored.read_bytes()
    assert snapshot(trio_card) == before, "the card is never changed"

    matches = match(opened).matches
    assert len(matches) == 1
    dark = next(frame for frame in result.stored if frame.kind is Kind.DARK)
    flat = next(frame for frame in result.stored if frame.kind is Kind.FLAT)
    light = next(frame for frame in result.stored if frame.kind is Kind.LIGHT)
    assert matches[0].darks.set is not None
    assert [frame.id for frame in matches[0].darks.set.frames] == [dark.id]
    assert matches[0].darks.verdict is Verdict.POOR, "one dark leaves its own noise in every light"
    assert "too_few" in [reason.code for reason in matches[0].darks.reasons]
    assert matches[0].flats.set is not None
    assert [frame.id for frame in matches[0].flats.set.frames] == [flat.id]
    assert matches[0].batch.frames == (light,)

    to = tmp_path / "hand-over"
    handed = export(opened, to=str(to), describe=lambda batch: {"id": batch.id}, batch=matches[0].batch.id)
    folder = to / matches[0].batch.id
    assert (folder / "lights.txt").read_text("utf-8").splitlines() == [opened.absolute(light.path)]
    assert (folder / "darks.txt").read_text("utf-8").splitlines() == [opened.absolute(dark.path)]
    assert (folder / "flats.txt").read_text("utf-8").splitlines() == [opened.absolute(flat.path)]
    manifest = json.loads(Path(handed.manifest).read_text("utf-8"))
    assert manifest["schema"] == "darklib/manifest/1"
    assert {(file["role"], file["sha256"]) for file in manifest["files"]} == {
        ("light", light.sha256),
        ("dark", dark.sha256),
        ("flat", flat.sha256),
    }
    assert to_plain(handed.batches) == [matches[0].batch.id]


def test_the_same_card_again_changes_nothing(opened: Opened, trio_card: Path, snapshot: Snapshot) -> None:
    ingest(opened, [str(trio_card)], workers=1)
    frames = snapshot(opened.layout.frames)
    again = ingest(opened, [str(trio_card)], workers=1)
    assert (again.counts.stored, again.counts.duplicates) == (0, 3)
    assert snapshot(opened.layout.frames) == frames
