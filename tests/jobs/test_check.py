"""May a card be erased? Only what lies in the library as a file of its own counts as stored."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from darklib.jobs.check import check
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.scenario.trio import trio

DARK = trio()[0].name


def test_a_card_taken_in_may_be_erased(opened: Opened, trio_card: Path) -> None:
    assert not check(opened, [str(trio_card)]).may_erase
    ingest(opened, [str(trio_card)], workers=1)
    result = check(opened, [str(trio_card)])
    assert (result.checked, result.stored, result.may_erase) == (3, 3, True)


def test_a_stored_copy_that_rotted_or_went_is_found(opened: Opened, trio_card: Path) -> None:
    frames = ingest(opened, [str(trio_card)], workers=1).stored
    rotten, gone = (Path(opened.absolute(frame.path)) for frame in frames[:2])
    rotten.chmod(0o644)
    rotten.write_bytes(rotten.read_bytes()[:-1] + b"x")
    gone.chmod(0o644)
    gone.unlink()
    result = check(opened, [str(trio_card)])
    assert sorted(item.code for item in result.not_stored) == ["copy_differs", "copy_missing"]
    assert not result.may_erase


def _as_it_is(card: Path, beside: Path) -> Path:
    return card


def _behind_a_link(card: Path, beside: Path) -> Path:
    beside.symlink_to(card, target_is_directory=True)
    return beside


def _by_a_second_name(card: Path, beside: Path) -> Path:
    beside.mkdir()
    os.link(card / DARK, beside / "other.fits")
    return beside


@pytest.mark.parametrize("way", [_as_it_is, _behind_a_link, _by_a_second_name])
def test_a_frame_left_where_it_lies_is_not_stored(
    way: Callable[[Path, Path], Path], opened: Opened, trio_card: Path, tmp_path: Path
) -> None:
    """Erasing the card would take the only copy, by whatever name one comes to it."""
    ingest(opened, [str(trio_card)], in_place=True, workers=1)
    result = check(opened, [str(way(trio_card, tmp_path / "beside"))])
    assert result.not_stored
    assert {item.code for item in result.not_stored} == {"in_place"}
    assert not result.may_erase


def test_the_librarys_own_frames_are_no_card(opened: Opened, trio_card: Path, tmp_path: Path) -> None:
    ingest(opened, [str(trio_card)], workers=1)
    (tmp_path / "beside").symlink_to(opened.layout.frames, target_is_directory=True)
    for folder in (opened.layout.frames, tmp_path / "beside"):
        result = check(opened, [str(folder)])
        assert (result.stored, len(result.not_stored), result.may_erase) == (0, 3, False)


def test_a_second_copy_elsewhere_is_stored(opened: Opened, trio_card: Path, tmp_path: Path) -> None:
    ingest(opened, [str(trio_card)], in_place=True, workers=1)
    shutil.copytree(trio_card, tmp_path / "copy")
    assert check(opened, [str(tmp_path / "copy")]).may_erase


def test_an_empty_note_is_no_frame_that_was_set_aside(opened: Opened, trio_card: Path) -> None:
    """Every empty file has the same hash."""
    (trio_card / "empty.fits").write_bytes(b"")
    ingest(opened, [str(trio_card)], workers=1)
    (trio_card / "empty.fits").rename(trio_card / "empty.txt")
    result = check(opened, [str(trio_card)])
    assert [item.code for item in result.passed_over] == ["not_an_image"]
    assert result.may_erase


def test_a_picture_kept_beside_may_go_and_a_damaged_frame_may_not(opened: Opened, trio_card: Path) -> None:
    (trio_card / "preview.jpg").write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(200))
    ingest(opened, [str(trio_card)], workers=1)
    assert check(opened, [str(trio_card)]).may_erase
    (trio_card / "short.fits").write_bytes((trio_card / DARK).read_bytes()[:5000])
    ingest(opened, [str(trio_card)], workers=1)
    result = check(opened, [str(trio_card)])
    assert sorted(item.code for item in result.set_aside) == ["not_calibratable", "truncated"]
    assert not result.may_erase


def test_nothing_is_said_of_a_folder_without_frames(opened: Opened, tmp_path: Path) -> None:
    """It may be a card that is not connected."""
    (tmp_path / "nothing").mkdir()
    (tmp_path / "nothing" / "notes.txt").write_text("x", "utf-8")
    result = check(opened, [str(tmp_path / "nothing")])
    assert (result.checked, result.may_erase, result.needs_attention) == (0, False, True)
