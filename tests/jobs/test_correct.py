"""Corrections: the old value is kept, nothing is lost, and everything can be taken back."""

from pathlib import Path

import pytest

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.frame import Frame, Kind
from darklib.facts.match import Verdict
from darklib.jobs.asked import Stated
from darklib.jobs.correct import (
    amend,
    body_changed,
    join_bodies,
    name_body,
    restore,
    retire,
    train_changed,
    undo,
)
from darklib.jobs.explain import explain
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, open_library
from darklib.jobs.match import match
from darklib.jobs.overview import bodies, trains
from darklib.jobs.rebuild import rebuild
from darklib.jobs.results import Changed


@pytest.fixture
def frames(opened: Opened, trio_card: Path) -> dict[Kind, Frame]:
    """Take in the trio and return its frames by kind."""
    return {frame.kind: frame for frame in ingest(opened, [str(trio_card)], workers=1).stored if frame.kind}


def _now(opened: Opened, frame: Frame) -> Frame:
    return opened.catalogue.frames_by_id([frame.sha256])[0]


def test_an_amendment_keeps_the_old_value_and_can_be_undone(opened: Opened, frames: dict[Kind, Frame]) -> None:
    dark = frames[Kind.DARK]
    result = amend(opened, [dark.id], {"temperature_c": -20.0}, note="the header was wrong")
    assert result.changed == (Changed(dark.id, "temperature_c", -10.0, -20.0),)
    assert _now(opened, dark).temperature_c == -20.0
    told = explain(opened, dark.id).amendments
    assert [(item.field, item.value, item.old, item.note, item.undone) for item in told] == [
        ("temperature_c", -20.0, -10.0, "the header was wrong", False)
    ]
    back = undo(opened, [dark.id])
    assert back.changed == (Changed(dark.id, "temperature_c", -20.0, -10.0),)
    assert _now(opened, dark).temperature_c == -10.0
    assert [item.undone for item in explain(opened, dark.id).amendments] == [True]
    assert undo(opened, [dark.id]).changed == ()


def test_undo_concerns_only_the_frames_named(library: Path, trio_card: Path) -> None:
    """One command corrected three frames in two fields: taken back for one of them, it holds for the others; the
    catalogue made anew from the journal says the same.
    """
    with open_library(library) as opened:
        frames = {frame.kind: frame for frame in ingest(opened, [str(trio_card)], workers=1).stored}
        dark, flat, light = frames[Kind.DARK], frames[Kind.FLAT], frames[Kind.LIGHT]
        amend(opened, [dark.id], {"temperature_c": -15.0})
        amend(opened, [dark.id, flat.id, light.id], {"kind": "bias", "temperature_c": -20.0})
        back = undo(opened, [dark.id])
        assert set(back.changed) == {
            Changed(dark.id, "kind", "bias", "dark"),
            Changed(dark.id, "temperature_c", -20.0, -15.0),
        }
        grown = [_now(opened, frame) for frame in (dark, flat, light)]
    assert rebuild(library).frames == 3
    with open_library(library) as opened:
        assert [_now(opened, frame) for frame in (dark, flat, light)] == grown
        held = [(frame.kind, frame.temperature_c) for frame in grown]
        assert held == [(Kind.DARK, -15.0), (Kind.BIAS, -20.0), (Kind.BIAS, -20.0)]
        assert undo(opened, [dark.id]).changed == (Changed(dark.id, "temperature_c", -15.0, -10.0),)
        assert len(undo(opened, [flat.id, light.id]).changed) == 4
        assert [_now(opened, frame).kind for frame in (flat, light)] == [Kind.FLAT, Kind.LIGHT]


def test_a_camera_nobody_knows_is_refused_and_a_known_one_recorded_by_its_id(
    opened: Opened, frames: dict[Kind, Frame]
) -> None:
    dark = frames[Kind.DARK]
    assert dark.body is not None
    with pytest.raises(DarklibError, match="no camera called 'Nobody has it'") as caught:
        amend(opened, [dark.id], {"body": "Nobody has it"})
    assert caught.value.code == "not_found"
    assert dark.body.id in caught.value.remedy
    assert len(bodies(opened).bodies) == 1
    name_body(opened, dark.body.id, "The cooled one")
    amend(opened, [dark.id], {"body": "the cooled one"})
    assert [row.value for row in opened.catalogue.statements(dark.sha256)] == [dark.body.id]
    now = _now(opened, dark).body
    assert now is not None
    assert (now.id, now.label) == (dark.body.id, "The cooled one")


def test_amending_does_not_move_the_file(opened: Opened, frames: dict[Kind, Frame]) -> None:
    dark = frames[Kind.DARK]
    amend(opened, [dark.id], {"kind": "flat"})
    now = _now(opened, dark)
    assert (now.kind, now.path) == (Kind.FLAT, dark.path)
    assert now.series != dark.series


def test_what_already_is_so_changes_nothing(opened: Opened, frames: dict[Kind, Frame]) -> None:
    dark = frames[Kind.DARK]
    amend(opened, [dark.id], {"temperature_c": -20.0})
    runs = len(opened.catalogue.runs(100))
    assert amend(opened, [dark.id], {"temperature_c": -20.0}).changed == ()
    assert len(opened.catalogue.runs(100)) == runs


def test_a_field_can_go_back_to_what_the_file_says(opened: Opened, frames: dict[Kind, Frame]) -> None:
    light = frames[Kind.LIGHT]
    amend(opened, [light.id], {"target": "NGC 1"})
    assert _now(opened, light).target == "NGC 1"
    amend(opened, [light.id], {"target": None})
    assert _now(opened, light).target == light.target


def test_a_dry_run_tells_and_changes_nothing(opened: Opened, frames: dict[Kind, Frame]) -> None:
    dark = frames[Kind.DARK]
    result = amend(opened, [dark.id], {"kind": "bias"}, dry_run=True)
    assert result.dry_run
    assert result.changed == (Changed(dark.id, "kind", "dark", "bias"),)
    assert _now(opened, dark).kind is Kind.DARK
    assert retire(opened, [dark.id], dry_run=True).changed == (Changed(dark.id, "retired", False, True),)
    assert not _now(opened, dark).retired


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("kind", "lihgt"),
        ("temperature_c", -300.0),
        ("exposure_s", -1.0),
        ("taken_at", "yesterday"),
        ("target", "  "),
        ("colour", "red"),
    ],
)
def test_what_cannot_be_is_refused(opened: Opened, frames: dict[Kind, Frame], field: str, value: str | float) -> None:
    with pytest.raises(DarklibError, match="cannot be|not a date") as caught:
        amend(opened, [frames[Kind.DARK].id], {field: value})
    assert caught.value.status is Exit.USAGE


def test_a_retired_frame_is_kept_and_no_longer_matched(opened: Opened, frames: dict[Kind, Frame]) -> None:
    dark = frames[Kind.DARK]
    assert match(opened).matches[0].darks.set is not None
    retire(opened, [dark.id])
    assert match(opened).matches[0].darks.verdict is Verdict.MISSING
    assert Path(opened.absolute(dark.path)).exists()
    assert retire(opened, [dark.id]).changed == ()
    restore(opened, [dark.id])
    assert match(opened).matches[0].darks.set is not None


def test_nothing_is_half_done_where_one_id_means_nothing(opened: Opened, frames: dict[Kind, Frame]) -> None:
    with pytest.raises(DarklibError, match="'ffffffff'"):
        retire(opened, [frames[Kind.DARK].id, "ffffffff"])
    assert not _now(opened, frames[Kind.DARK]).retired


def test_frames_are_meant_by_path_source_and_series(opened: Opened, frames: dict[Kind, Frame]) -> None:
    dark = frames[Kind.DARK]
    for text in (dark.id[:6], dark.path, opened.absolute(dark.path), dark.source_path, str(dark.series)):
        retire(opened, [text])
        assert _now(opened, dark).retired, text
        restore(opened, [text])


def test_a_body_is_named_and_the_name_serves_as_its_id(opened: Opened, frames: dict[Kind, Frame]) -> None:
    body = frames[Kind.DARK].body
    assert body is not None
    result = name_body(opened, body.id, "the cold one")
    assert result.changed == (Changed(body.id, "label", body.label, "the cold one"),)
    assert bodies(opened).bodies[0].ref.label == "the cold one"
    body_changed(opened, "The Cold", what="remapped", at="2026-09-10")
    assert [change.what for change in bodies(opened).bodies[0].changes] == ["remapped"]
    # The darks are from before the remap, the lights from after it: an old dark no longer serves.
    assert match(opened).matches[0].darks.verdict is Verdict.MISSING


def test_a_body_is_not_joined_to_itself(opened: Opened, frames: dict[Kind, Frame]) -> None:
    body = frames[Kind.DARK].body
    assert body is not None
    with pytest.raises(DarklibError, match="to itself"):
        join_bodies(opened, body.id, body.id)


def test_a_body_known_without_a_serial_is_joined(opened: Opened, trio_card: Path) -> None:
    card = sorted(trio_card.iterdir(), key=lambda path: "dark" not in path.name)
    taken = [*ingest(opened, [str(card[0])], Stated(body="borrowed camera"), workers=1).stored]
    taken += ingest(opened, [str(trio_card)], workers=1).stored
    frames = {frame.kind: frame for frame in taken}
    assert "body_unknown" in {reason.code for reason in match(opened).matches[0].darks.reasons}
    own = frames[Kind.LIGHT].body
    assert own is not None
    join_bodies(opened, "borrowed", own.id)
    assert len(bodies(opened).bodies) == 1
    chosen = match(opened).matches[0].darks.set
    assert chosen is not None
    assert [frame.id for frame in chosen.frames] == [frames[Kind.DARK].id]
    assert "body_unknown" not in {reason.code for reason in match(opened).matches[0].darks.reasons}


def test_a_changed_train_ends_its_flats(opened: Opened, frames: dict[Kind, Frame]) -> None:
    train = frames[Kind.FLAT].train
    assert train is not None
    assert match(opened).matches[0].flats.stale is False
    # Lights of the night of the 12th at 23:00 UTC, flats of the 13th at 07:30 UTC: changed in between.
    train_changed(opened, train.label, at="2026-09-13T04:00", note="camera turned")
    assert [change.note for change in trains(opened).trains[0].changes] == ["camera turned"]
    choice = match(opened).matches[0].flats
    assert choice.stale
    assert "train_changed" in [reason.code for reason in choice.reasons]
