"""Hot-pixel evidence in the cache: whatever breaks, nothing is raised and nobody reads half of it."""

from contextlib import suppress
from pathlib import Path

import pytest
from breaking_seam import BreakingSeam, Killed

from darklib.store.evidence import keep, kept, place
from darklib.store.layout import Library
from darklib.store.seam import Seam

SHA = "ab" * 32
OLD, NEW = b"old evidence" * 40, b"evidence made anew" * 60


def library(root: Path) -> Library:
    root.mkdir()
    return Library(root)


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    layout, seam = Library(tmp_path), Seam()
    assert kept(seam, layout, SHA) is None
    assert keep(seam, layout, SHA, OLD)  # the folders, cache/ itself as well, are made
    assert kept(seam, layout, SHA) == OLD
    assert keep(seam, layout, SHA, NEW)
    assert kept(seam, layout, SHA) == NEW
    assert [path.name for path in place(layout, SHA).parent.iterdir()] == [place(layout, SHA).name]


@pytest.mark.parametrize("fault", ["EIO", "ENOSPC", "EACCES", "EROFS", "kill"])
def test_each_call_broken(tmp_path: Path, fault: str) -> None:
    counting = BreakingSeam()
    keep(counting, library(tmp_path / "counted"), SHA, NEW)
    assert len(counting.calls) >= 6
    for number in range(1, len(counting.calls) + 1):
        layout = library(tmp_path / f"{number}")
        assert keep(Seam(), layout, SHA, OLD)
        again = layout if number % 2 else library(tmp_path / f"fresh {number}")
        with suppress(Killed):
            keep(BreakingSeam(number, fault), again, SHA, NEW)
        assert kept(Seam(), again, SHA) in ((OLD, NEW) if again is layout else (None, NEW))
        assert keep(Seam(), again, SHA, NEW)
        assert kept(Seam(), again, SHA) == NEW


def test_what_cannot_be_read_is_not_there(tmp_path: Path) -> None:
    layout = Library(tmp_path)
    keep(Seam(), layout, SHA, OLD)
    counting = BreakingSeam()
    kept(counting, layout, SHA)
    for number in range(1, len(counting.calls) + 1):
        assert kept(BreakingSeam(number, "EIO"), layout, SHA) in (None, OLD)
