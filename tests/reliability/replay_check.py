"""Whether the journal, replayed from its first line, gives the catalogue that is there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from small_library import FixedSeam, differences, rows

from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.catalogue.schema import open_catalogue
from darklib.jobs.library import open_library
from darklib.jobs.rebuild import rebuild
from darklib.jobs.verify import verify


def told_by(catalogue: Catalogue) -> dict[str, Any]:
    """Everything the catalogue answers, as its own objects."""
    frames = catalogue.frames(FrameQuery(retired=None)).frames
    series = sorted({frame.series for frame in frames if frame.series})
    return {
        "frames": frames,
        "records": [catalogue.record(frame.sha256) for frame in frames],
        "statements": {frame.sha256: catalogue.statements(frame.sha256) for frame in frames},
        "sources": {frame.sha256: sorted(map(str, catalogue.sources(frame.sha256))) for frame in frames},
        "series": catalogue.series(ids=series),
        "bodies": catalogue.bodies(),
        "trains": catalogue.trains(),
        "set aside": catalogue.set_aside(),
        "runs": catalogue.runs(1000),
        "counts": catalogue.counts(),
    }


def assert_replay_is_equal(at: Path, done: object) -> None:
    """Rebuilds the library; the old catalogue and the new one hold the same rows and give the same answers."""
    with open_library(at / "library", seam=FixedSeam()) as opened:
        result = verify(opened)
        assert not result.needs_attention, (result, done)
    result = rebuild(at / "library", seam=FixedSeam())
    assert result.differences == (), done
    assert result.backup is not None
    live = Path(result.backup)
    anew = at / "library" / "catalogue.sqlite"
    found = differences(rows(live, runs=True), rows(anew, runs=True))
    assert found == [], (found[:4], done)
    with (
        open_catalogue(live, at, create=False) as before,
        open_catalogue(anew, at, create=False) as after,
    ):
        one, other = told_by(before), told_by(after)
        for name, value in one.items():
            assert value == other[name], (name, done)
