"""What each frame is, where no word tells: the scenario's frames under names and in folders that say nothing."""

from collections import Counter
from pathlib import Path

from darklib.facts.frame import Kind
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.scenario.nights import scrambled

MOST_UNDECIDED = 0.05
LIT = {Kind.LIGHT, Kind.FLAT}
UNLIT = {Kind.DARK, Kind.BIAS}


def test_the_raws_are_told_apart_by_their_pixels(opened: Opened, tmp_path: Path) -> None:
    """A light taken for a dark would spoil every picture that dark serves; not knowing costs a question."""
    files = {file.path: file for file in scrambled() if file.path.endswith(".dng")}
    for path, file in files.items():
        place = tmp_path / "card" / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(file.make())
    result = ingest(opened, [str(tmp_path / "card")], dry_run=True)
    assert result.counts.stored == len(files) > 100
    called: Counter[tuple[Kind, Kind | None]] = Counter()
    for frame in result.stored:
        truth = files[Path(frame.source_path).relative_to(tmp_path / "card").as_posix()].truth
        assert truth is not None
        called[truth.kind, frame.kind] += 1
    assert set(Kind) == {truth for truth, _ in called}
    assert not {(truth, kind): count for (truth, kind), count in called.items() if truth in LIT and kind in UNLIT}
    undecided = sum(count for (_, kind), count in called.items() if kind is None)
    assert undecided <= MOST_UNDECIDED * len(files), called
    assert result.counts.undecided == undecided
