"""A stored file that is gone comes back with its card; one that is there stays as it is."""

from collections.abc import Callable
from pathlib import Path

from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.jobs.verify import verify

Snapshot = Callable[[Path], dict[str, bytes]]


def test_what_is_gone_comes_back(opened: Opened, trio_card: Path, snapshot: Snapshot) -> None:
    first = ingest(opened, [str(trio_card)], workers=1)
    frames = snapshot(opened.layout.frames)
    for frame in first.stored[:2]:
        Path(opened.absolute(frame.path)).unlink()
    assert len(verify(opened).missing) == 2
    dry = ingest(opened, [str(trio_card)], workers=1, dry_run=True)
    assert (dry.counts.duplicates, len(verify(opened).missing)) == (3, 2)
    again = ingest(opened, [str(trio_card)], workers=1)
    assert (again.counts.stored, again.counts.duplicates) == (0, 3)
    assert [line for line in again.remarks if "2 frames were gone" in line]
    assert snapshot(opened.layout.frames) == frames
    assert not verify(opened).needs_attention


def test_what_is_there_is_not_written_over(opened: Opened, trio_card: Path) -> None:
    """A damaged file is evidence, and perhaps half a frame: the user decides. With --move its source stays."""
    frame = ingest(opened, [str(trio_card)], workers=1).stored[0]
    path = Path(opened.absolute(frame.path))
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:-1] + b"\x01")
    damaged = path.read_bytes()
    again = ingest(opened, [str(trio_card)], workers=1, move=True)
    assert path.read_bytes() == damaged
    assert [Path(frame.source_path).name] == [left.name for left in trio_card.iterdir()], "the only whole one stays"
    assert again.removed == 2
    path.unlink()
    ingest(opened, [str(trio_card)], workers=1, move=True)
    assert not verify(opened).needs_attention
    assert list(trio_card.iterdir()) == []
