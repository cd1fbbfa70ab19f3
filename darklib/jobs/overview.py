"""Looking at the library: its state, frames, sets, cameras, batches, trains, and all that is known of one frame."""

from collections.abc import Iterator
from datetime import date

from darklib import __version__
from darklib.catalogue.catalogue import FrameQuery, RunRow
from darklib.facts.frame import Kind
from darklib.facts.match import CalibrationSet, Verdict
from darklib.jobs.asked import FramesAsked, Nights
from darklib.jobs.library import Opened
from darklib.jobs.likeness import likenesses
from darklib.jobs.results import (
    BatchesResult,
    BodiesResult,
    BodyEntry,
    Finding,
    FramesResult,
    LastIngest,
    SetEntry,
    SetsResult,
    StatusResult,
    TrainEntry,
    TrainsResult,
)
from darklib.jobs.second_copy import second_copy
from darklib.matching.sets import sets_of
from darklib.store import journal
from darklib.store.names import shown
from darklib.store.walk import Found, walk_own

KINDS = tuple(kind.value for kind in Kind)


def status(opened: Opened) -> StatusResult:
    """The library at a glance, and what the lights of the newest night lack."""
    from darklib.jobs.plan import gaps_found

    counts = opened.catalogue.counts()
    runs = opened.catalogue.runs(200)
    last = next((run for run in runs if run.command == "ingest" and run.started_at is not None), None)
    night = opened.catalogue.last_light_night()
    lacking = gaps_found(opened, Nights(last=True)) if night else []
    return StatusResult(
        library=str(opened.root),
        version=__version__,
        timezone=opened.settings.site.timezone,
        bodies=bodies(opened).bodies,
        frames={kind: counts.get(kind, 0) for kind in KINDS},
        undecided=counts["undecided"],
        retired=counts["retired"],
        bytes=counts["bytes"],
        set_aside=counts["set_aside"],
        inbox_files=_waiting(opened),
        last_ingest=_last_ingest(last),
        last_night=night,
        gaps=tuple(gap for gap in lacking if gap.verdict_now is not Verdict.GOOD),
        second_copy=second_copy(opened),
        journal=tuple(_unreadable_lines(opened)),
    )


def _unreadable_lines(opened: Opened) -> Iterator[Finding]:
    """Lines of the journal that could not be read when the library was opened, a finding a file."""
    for name in opened.torn:
        path = opened.layout.journal / name
        troubles = {line.trouble for line in journal.read(opened.seam, path) if line.entry is None}
        if "damaged" in troubles:
            text = (
                "A line of this journal file is damaged, so that what it recorded is not in the catalogue. "
                "`darklib verify` tells what is the matter, and how to put it right."
            )
            yield Finding(shown(str(path)), None, "journal_damaged", text)
        elif troubles:
            text = "The last line of this journal file is torn: a run was interrupted there. Nothing needs to be done."
            yield Finding(shown(str(path)), None, "journal_torn", text)


def _waiting(opened: Opened) -> int:
    """Files in the inbox."""
    return sum(isinstance(item, Found) for item in walk_own(opened.seam, opened.layout.inbox))


def _last_ingest(row: RunRow | None) -> LastIngest | None:
    if row is None or row.started_at is None:
        return None
    return LastIngest(row.run, row.started_at, row.ended_at is not None, row.counts)


def frames(opened: Opened, asked: FramesAsked) -> FramesResult:
    """One page of the frames asked for, sorted by time, then id."""
    low, high = _nights(opened, asked.nights)
    page = opened.catalogue.frames(
        FrameQuery(
            kind=asked.kind,
            body=asked.body,
            night_low=low,
            night_high=high,
            exposure_low_s=asked.exposure.low,
            exposure_high_s=asked.exposure.high,
            temperature_low_c=asked.temperature.low,
            temperature_high_c=asked.temperature.high,
            filter=asked.filter,
            train=asked.train,
            target=asked.target,
            retired=asked.retired,
            undecided=asked.undecided,
            limit=asked.limit,
            after=asked.after,
        )
    )
    return FramesResult(tuple(page.frames), page.next)


def sets(opened: Opened, *, kind: Kind | None = None, body: str | None = None) -> SetsResult:
    """What calibration stock there is, sorted by time, then id; retired frames are left out."""
    kinds = [kind] if kind else [Kind.DARK, Kind.BIAS, Kind.FLAT]
    found: list[CalibrationSet] = []
    for one in kinds:
        if one is not Kind.LIGHT:
            query = FrameQuery(kind=one, body=body, retired=False)
            found += sets_of(opened.catalogue.frames(query).frames, opened.settings)
    today = opened.seam.now().date()
    found.sort(key=lambda item: (item.first_night or "", item.id))
    return SetsResult(tuple(SetEntry(item, _age_days(item.last_night, today)) for item in found))


def bodies(opened: Opened) -> BodiesResult:
    """The cameras."""
    rows = opened.catalogue.bodies()
    return BodiesResult(
        tuple(BodyEntry(row.ref, row.frames, row.first_at, row.last_at, row.changes, row.joined) for row in rows),
        remarks=likenesses(opened),
    )


def trains(opened: Opened) -> TrainsResult:
    """The optical trains with the nights they were used in and their recorded changes."""
    rows = opened.catalogue.trains()
    return TrainsResult(tuple(TrainEntry(row.ref, row.facts, tuple(row.nights), tuple(row.changes)) for row in rows))


def batches(opened: Opened, *, nights: Nights = Nights(), target: str | None = None) -> BatchesResult:  # noqa: B008
    """The batches of lights of some nights and a target, sorted by time, then id."""
    from darklib.jobs.match import batches_asked

    return batches_asked(opened, nights=nights, target=target)


def _nights(opened: Opened, nights: Nights) -> tuple[str | None, str | None]:
    if nights.last:
        night = opened.catalogue.last_light_night()
        return night or "9999-12-31", night
    return nights.low, nights.high


def _age_days(night: str | None, today: date) -> int | None:
    if night is None:
        return None
    return max((today - date.fromisoformat(night)).days, 0)
