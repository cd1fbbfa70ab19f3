"""Making libraries, and libraries that lack something."""

from pathlib import Path

import pytest

from darklib.facts.errors import DarklibError
from darklib.jobs.demo import make as make_demo
from darklib.jobs.ingest import ingest
from darklib.jobs.library import init, open_library
from darklib.jobs.overview import status
from darklib.jobs.verify import verify


def test_a_dry_run_refuses_what_the_run_would_refuse(library: Path, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "notes.txt").write_text("x", "utf-8")
    for place, code in (
        (library, "library_exists"),
        (library / "inbox" / "another", "inside_library"),
        (tmp_path / "full", "folder_not_empty"),
    ):
        for dry_run in (True, False):
            with pytest.raises(DarklibError, match="library|empty") as caught:
                init(str(place), dry_run=dry_run)
            assert caught.value.code == code


def test_a_dry_run_makes_nothing(tmp_path: Path) -> None:
    assert init(str(tmp_path / "new"), dry_run=True).dry_run
    assert make_demo(str(tmp_path / "demo"), dry_run=True).dry_run
    assert not list(tmp_path.iterdir())


def test_a_demo_that_is_there_is_not_made_again(tmp_path: Path) -> None:
    init(str(tmp_path / "demo" / "library"))
    with pytest.raises(DarklibError, match="library already"):
        make_demo(str(tmp_path / "demo"), dry_run=True)


def test_a_copy_without_empty_folders_is_a_library(library: Path, trio_card: Path) -> None:
    """Not every program that copies folders copies the empty ones."""
    for folder in library.iterdir():
        if folder.is_dir():
            folder.rmdir()
    with open_library(library) as opened:
        assert status(opened).inbox_files == 0
        assert ingest(opened, [], workers=1).counts.seen == 0
        assert ingest(opened, [str(trio_card)], workers=1).counts.stored == 3
        assert not verify(opened).needs_attention
