"""Many new names, few fsyncs, and none forgotten."""

from __future__ import annotations

from pathlib import Path

import pytest
from breaking_seam import BreakingSeam

from darklib.facts.errors import DarklibError
from darklib.store.durable import Batch, make_folders, publish
from darklib.store.seam import Seam


def synced(seam: BreakingSeam) -> list[str]:
    return [path for name, path in seam.calls if name == "fsync_folder"]


def test_a_folder_is_secured_once_for_many_files_and_after_them(tmp_path: Path) -> None:
    seam = BreakingSeam()
    with Batch(seam) as batch:
        for number in range(5):
            publish(seam, b"%d" % number, tmp_path / "a", f"{number}.fits", batch=batch)
        assert synced(seam) == []
    assert synced(seam) == [str(tmp_path), str(tmp_path / "a")]
    assert [name for name, _ in seam.calls].count("fsync") == 5, "each file's own bytes are secured at once"


def test_without_a_batch_every_file_is_secured_at_once(tmp_path: Path) -> None:
    seam = BreakingSeam()
    publish(seam, b"1", tmp_path, "1.fits")
    publish(seam, b"2", tmp_path, "2.fits")
    assert synced(seam) == [str(tmp_path)] * 2


def test_folders_between_a_file_and_the_library_are_secured_once(tmp_path: Path) -> None:
    """A run killed between making a folder and securing it leaves no trace of that; the next run makes it good."""
    (tmp_path / "frames" / "dark" / "body").mkdir(parents=True)
    seam = BreakingSeam()
    batch = Batch(seam, tmp_path)
    publish(seam, b"1", tmp_path / "frames" / "dark" / "body", "1.fits", batch=batch)
    batch.settle()
    folders = ["frames/dark/body", "frames/dark", "frames", "."]
    assert synced(seam) == [str(tmp_path / name) for name in folders]
    publish(seam, b"2", tmp_path / "frames" / "dark" / "body", "2.fits", batch=batch)
    batch.settle()
    assert synced(seam)[4:] == [str(tmp_path / "frames/dark/body")]


def test_a_batch_that_fails_tells_and_stays_due(tmp_path: Path) -> None:
    seam = BreakingSeam(1, "EIO")
    batch = Batch(seam)
    batch.add(tmp_path)
    with pytest.raises(DarklibError, match="Cannot secure the folder"):
        batch.settle()
    batch.settle()
    assert synced(seam) == [str(tmp_path)] * 2
    batch.settle()
    assert synced(seam) == [str(tmp_path)] * 2


def test_an_exception_leaves_the_batch_unsettled(tmp_path: Path) -> None:
    seam = BreakingSeam()

    def stop(batch: Batch) -> None:
        with batch:
            batch.add(tmp_path)
            raise RuntimeError("stop")

    with pytest.raises(RuntimeError, match="stop"):
        stop(Batch(seam))
    assert synced(seam) == []


def test_folders_are_made_by_two_at_once(tmp_path: Path) -> None:
    class Overtaken(Seam):
        def mkdir(self, path: object) -> None:  # type: ignore[override]
            Path(str(path)).mkdir()
            raise FileExistsError(17, "exists", str(path))

    make_folders(Overtaken(), tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").is_dir()


def test_a_file_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "a").touch()
    with pytest.raises(DarklibError, match="Cannot make the folder"):
        make_folders(Seam(), tmp_path / "a")
    with pytest.raises(DarklibError, match="Cannot make the folder"):
        make_folders(Seam(), tmp_path / "a" / "b")
