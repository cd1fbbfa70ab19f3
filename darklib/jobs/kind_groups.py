"""Frames of one ingest by series, so that a person can settle what a whole group is."""

from collections.abc import Iterable, Iterator

from darklib.facts.frame import Frame
from darklib.jobs.results import KindGroup
from darklib.matching.batches import grouped


def groups_of(frames: Iterable[Frame]) -> Iterator[KindGroup]:
    """Frames by series, by time of their first frame; undecided ones are to be asked about.

    Frames that were only looked at have no series yet and are grouped as they would be.
    """
    for key, members in grouped(frames).items():
        first = members[0]
        confidence = min(frame.kind_confidence for frame in members)
        exposures = exposures_of(frame.exposure_s for frame in members)
        yield KindGroup(key, first.kind, confidence, len(members), first.source_path, first.kind is None, exposures)


def exposures_of(values_s: Iterable[float | None]) -> tuple[float, ...]:
    """The different known exposures among some, seconds, shortest first."""
    return tuple(sorted({value for value in values_s if value is not None}))
