"""Matching lights, of the library or looked at without being taken in, against the library's stock."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from darklib.catalogue.catalogue import FrameQuery
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Frame, FrameRecord, Kind
from darklib.facts.match import Batch, Match
from darklib.facts.resolve import frame_of
from darklib.facts.train import nearest_train
from darklib.jobs.asked import Nights
from darklib.jobs.library import Opened
from darklib.jobs.results import BatchesResult, MatchResult, SetAsideFile
from darklib.jobs.sensor import sensor_models
from darklib.jobs.stock import CatalogueStock
from darklib.jobs.unstored_nights import in_their_nights
from darklib.matching.batches import batches_of
from darklib.matching.choose import match_all
from darklib.store.names import shown
from darklib.store.walk import Found, walk


def match(
    opened: Opened,
    *,
    nights: Nights = Nights(),  # noqa: B008 (frozen)
    target: str | None = None,
    batch: str | None = None,
    paths: Sequence[str] = (),
) -> MatchResult:
    """The best calibration sets for the batches asked for, one match a part of a batch.

    paths: files or folders of lights, looked at without being taken in; the rest then does not count.
    """
    unread: tuple[SetAsideFile, ...] = ()
    if paths:
        lights, unread = lights_at(opened, paths)
        batches = batches_of(lights)
    else:
        batches = list(batches_asked(opened, nights=nights, target=target, batch=batch).batches)
    return MatchResult(tuple(matches_of(opened, batches)), unread)


def matches_of(opened: Opened, batches: Sequence[Batch]) -> list[Match]:
    """Matches of some batches in their order; darks of measured sensors by their price."""
    return match_all(batches, CatalogueStock(opened.catalogue), opened.settings, sensor_models(opened))


def batches_asked(
    opened: Opened, *, nights: Nights, target: str | None = None, batch: str | None = None
) -> BatchesResult:
    """The batches of the nights and target, or the one batch named; sorted by time, then id."""
    if batch is not None:
        frames = [
            frame for frame in opened.catalogue.frames_by_id(_batch_frames(opened, batch)) if frame.kind is Kind.LIGHT
        ]
        return BatchesResult(tuple(batches_of(frame for frame in frames if not frame.retired)))
    low, high = nights.low, nights.high
    if nights.last:
        low = high = opened.catalogue.last_light_night()
        if low is None:
            return BatchesResult(())
    query = FrameQuery(kind=Kind.LIGHT, night_low=low, night_high=high, target=target, retired=False)
    return BatchesResult(tuple(batches_of(opened.catalogue.frames(query).frames)))


def _batch_frames(opened: Opened, batch: str) -> Sequence[str]:
    found = opened.catalogue.find(batch)
    if not found:
        raise DarklibError(
            "not_found",
            f"There is no batch {shown(batch)!r} in this library.",
            remedy="`darklib batches` lists them.",
        )
    return found


def lights_at(opened: Opened, paths: Sequence[str]) -> tuple[list[Frame], tuple[SetAsideFile, ...]]:
    """The lights among some files, as frames that are not stored, and what could not be looked at.

    A frame whose kind nothing settles counts as a light, since the user asked what matches it; a calibration frame is
    left out.
    """
    from darklib.kinds.groups import Candidate, decide
    from darklib.readers.guard import Guard

    found = []
    unread = []
    for item in walk(opened.seam, [Path(path) for path in paths]):
        if isinstance(item, Found):
            found.append(item)
        elif item.code in ("unreadable", "folder_unreadable"):
            unread.append(SetAsideFile(shown(str(item.path)), item.text, item.code))
    records, candidates, known = [], [], []
    with Guard() as guard:
        for item, look in zip(found, guard.map([str(item.path) for item in found]), strict=True):
            path = shown(str(item.path))
            if look.refusal is not None:
                unread.append(SetAsideFile(path, look.refusal.text, look.refusal.code))
            elif look.facts is not None and opened.catalogue.known(look.sha256):
                known.append(look.sha256)
            elif look.facts is not None:
                parts = tuple(shown(part) for part in item.relative_parts)
                candidates.append(Candidate(look.facts, look.pixels, parts[:-1], parts[-1], None))
                records.append((look, path))
    frames = list(opened.catalogue.frames_by_id(known)) if known else []
    trains = [(row.facts, row.ref) for row in opened.catalogue.trains()]
    for (look, path), decision in zip(records, decide(candidates), strict=True):
        if decision.kind is None:
            decision = replace(decision, kind=Kind.LIGHT)  # assumed: nobody said so, and it is no surer than it was
        assert look.facts is not None
        site = opened.settings.site
        record = FrameRecord(
            look.sha256, look.size, path, True, look.facts, look.pixels, decision, site.timezone, path, look.modified,
            site.longitude_deg,
        )  # fmt: skip
        frames.append(frame_of(record, train=nearest_train(look.facts.train, trains)))
    lights = [frame for frame in frames if frame.kind is Kind.LIGHT and not frame.retired]
    return in_their_nights(lights, opened.settings.site), tuple(unread)
