"""Making libraries."""

from pathlib import Path

import pytest

from darklib.facts.errors import DarklibError
from darklib.jobs.demo import make as make_demo
from darklib.jobs.library import init


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
