"""Screens of what there is: the library at a glance, frames, batches, sets, cameras, trains."""

from collections.abc import Mapping, Sequence

from darklib.facts.frame import Frame
from darklib.facts.match import Batch
from darklib.jobs import results
from darklib.show import second_copy, text, words
from darklib.show.gaps_screen import gaps_table
from darklib.show.out import Out
from darklib.show.table import Column, table

KINDS: tuple[tuple[str, str, str], ...] = (
    ("light", "light", "lights"),
    ("dark", "dark", "darks"),
    ("bias", "bias", "biases"),
    ("flat", "flat", "flats"),
)


def status(out: Out, result: results.StatusResult) -> None:
    """The library at a glance, and what to do next."""
    out.heading(f"Library {result.library}")
    out.entry("Frames", f"{counted(result.frames)}; {text.size(result.bytes)}")
    if result.undecided:
        out.entry(
            "Undecided", (f"{text.some(result.undecided, 'frame')} whose kind you still have to settle", "yellow")
        )
    if result.set_aside:
        out.entry("Set aside", f"{text.some(result.set_aside, 'file')} that could not be taken in")
    if result.retired:
        out.entry("Retired", text.some(result.retired, "frame"))
    out.entry("Inbox", f"{text.some(result.inbox_files, 'file')} waiting" if result.inbox_files else "empty")
    out.entry("Last ingest", _last_ingest(result.last_ingest))
    out.entry("Last night", result.last_night or "no lights yet")
    out.entry("Time zone", result.timezone)
    if any(result.frames.values()) or result.undecided or result.second_copy.path:
        whole = second_copy.covers_all(result.second_copy)
        out.entry("Second copy", (second_copy.sentence(result.second_copy), "" if whole else "yellow"))
    for trouble in result.journal:
        if out.verbose or trouble.code != "journal_torn":
            out.line()
            out.about(trouble.path, trouble.text)
    if result.bodies:
        out.line()
        out.heading("Cameras")
        _bodies_table(out, result.bodies, indent=2)
    if result.last_night:
        out.line()
        if result.gaps:
            out.heading(f"What the lights of {result.last_night} lack")
            gaps_table(out, result.gaps, indent=2)
        else:
            out.paragraph(f"The lights of {result.last_night} lack nothing.")
    out.next(*_after_status(result))


def _after_status(result: results.StatusResult) -> tuple[str, str]:
    if result.inbox_files:
        return "darklib ingest", "takes in what waits in the inbox"
    if result.undecided:
        return "darklib frames --undecided", "shows them; `darklib amend ID... --kind KIND` settles what they are"
    if not any(result.frames.values()):
        return "darklib ingest PATH", "takes in a card or a folder"
    if result.gaps:
        return "darklib gaps --plan", "tells what to shoot, and in which order"
    if result.last_night:
        return "darklib match", f"shows what fits the lights of {result.last_night}"
    return "darklib sets", "shows what calibration stock there is"


def _last_ingest(last: results.LastIngest | None) -> str:
    if last is None:
        return "none yet"
    told = f"{text.moment(last.at)}: {text.some(last.counts.get('stored', 0), 'frame')} stored"
    return told if last.ended else f"{text.moment(last.at)}, interrupted; the same command goes on from there"


def counted(frames: Mapping[str, int]) -> str:
    """`120 lights, 60 darks, no biases, 40 flats`."""
    parts = []
    for kind, one, many in KINDS:
        count = frames.get(kind, 0)
        parts.append(text.some(count, one, many) if count else f"no {many}")
    return ", ".join(parts)


FRAME_COLUMNS = (
    Column("id"),
    Column("kind"),
    Column("night"),
    Column("exposure", right=True),
    Column("temp.", right=True),
    Column("setting", keep=2),
    Column("filter", keep=1),
    Column("target", keep=4),
    Column("camera", keep=5),
    Column("train", keep=6),
    Column("remarks", keep=3),
    Column("level", keep=8, right=True),
    Column("path", keep=9),
)


def frames(out: Out, result: results.FramesResult, absolute: Sequence[str]) -> None:
    """A list of frames; `absolute` are their paths."""
    if not result.frames:
        out.line("No frames are like this.")
        out.next("darklib status", "shows what there is")
        return
    table(
        out,
        FRAME_COLUMNS,
        [
            (
                frame.id,
                (words.kind(frame), "yellow" if frame.kind is None else ""),
                frame.night or "?",
                text.exposure(frame.exposure_s),
                words.frame_temperature(frame),
                words.setting(frame.readout),
                frame.filter or "",
                frame.target or "",
                words.camera(frame.body),
                frame.train.label if frame.train else "",
                _remarks(frame),
                f"{frame.median_dn:.0f} DN" if frame.median_dn is not None else "",
                path,
            )
            for frame, path in zip(result.frames, absolute, strict=True)
        ],
    )
    out.line()
    shown = text.some(len(result.frames), "frame")
    out.paragraph(f"{shown}; more with --after {result.next}" if result.next else f"{shown}.")
    if any(frame.kind is None for frame in result.frames):
        out.next("darklib amend ID... --kind KIND", "settles what undecided frames are")
    else:
        out.next(f"darklib explain {result.frames[0].id}", "tells everything known of one frame")


def _remarks(frame: Frame) -> str:
    return "; ".join((["retired"] if frame.retired else []) + [warning.text for warning in frame.warnings])


def batches(out: Out, items: Sequence[Batch], following: str | None) -> None:
    """The batches of lights."""
    if not items:
        out.line("No lights are like this.")
        out.next("darklib ingest PATH", "takes in a card or a folder")
        return
    table(
        out,
        (
            Column("batch"),
            Column("target"),
            Column("lights", right=True),
            Column("exposure", right=True),
            Column("filter"),
            Column("temp.", right=True),
            Column("setting", keep=1),
            Column("camera", keep=2),
            Column("train", keep=3),
            Column("pointing", keep=4),
        ),
        [
            (
                item.id,
                item.target or "?",
                str(item.count),
                text.exposure(item.exposure_s),
                item.filter or "",
                words.warmth(item.temperatures),
                words.setting(item.readout),
                words.camera(item.body),
                item.train.label if item.train else "",
                item.pointing,
            )
            for item in items
        ],
    )
    _more(out, following)
    out.next(f"darklib match --batch {items[-1].id}", "shows which darks, flats and biases fit this batch")


def sets(out: Out, entries: Sequence[results.SetEntry], following: str | None) -> None:
    """The calibration stock."""
    if not entries:
        out.line("No calibration frames are like this.")
        out.next("darklib gaps --plan", "tells which ones your lights want")
        return
    together: dict[str, list[results.SetEntry]] = {}
    for entry in entries:
        together.setdefault(words.camera_and_setting(entry.set.body, entry.set.readout), []).append(entry)
    for number, (camera, some) in enumerate(together.items()):
        if number:
            out.line()
        out.heading(camera)
        _sets_of(out, some)
    _more(out, following)
    out.next("darklib match", "shows which of them fit your newest lights")


def _sets_of(out: Out, entries: Sequence[results.SetEntry]) -> None:
    """The sets of one camera and setting: so neither is ever left out for want of width."""
    table(
        out,
        (
            Column("set"),
            Column("kind"),
            Column("count", right=True),
            Column("exposure", right=True),
            Column("temp.", right=True),
            Column("age", right=True),
            Column("filter", keep=1),
            Column("train", keep=2),
            Column("nights", keep=3),
        ),
        [
            (
                entry.set.id,
                entry.set.kind.value,
                str(entry.set.count),
                text.exposure(entry.set.exposure_s),
                words.warmth(entry.set.temperatures),
                text.age(entry.age_days),
                entry.set.filter or "",
                entry.set.train.label if entry.set.train else "",
                _nights(entry.set.first_night, entry.set.last_night),
            )
            for entry in entries
        ],
        indent=2,
    )


def bodies(out: Out, result: results.BodiesResult, following: str | None = None) -> None:
    """The cameras."""
    if not result.bodies:
        out.line("No camera is known yet.")
        out.next("darklib ingest PATH", "takes in a card or a folder")
        return
    _changes(out, result.changed, dry_run=result.dry_run)
    _bodies_table(out, result.bodies)
    for entry in result.bodies:
        for change in entry.changes:
            out.paragraph(f"{entry.ref.label}: {change.what} {text.moment(change.at)}", hang=2)
        if entry.joined:
            out.paragraph(f"{entry.ref.label} was also known as {', '.join(entry.joined)}", hang=2)
    for remark in result.remarks:
        out.paragraph(remark, hang=2)
    _more(out, following)
    out.next(f"darklib bodies name {result.bodies[0].ref.id} LABEL", "gives a camera a name of your own")


def _bodies_table(out: Out, entries: Sequence[results.BodyEntry], indent: int = 0) -> None:
    table(
        out,
        (
            Column("camera"),
            Column("frames", right=True),
            Column("first", keep=2),
            Column("last", keep=1),
            Column("id"),
            Column("serial", keep=3),
        ),
        [
            (
                entry.ref.label,
                f"{entry.frames:,}",
                text.moment(entry.first_at)[:10],
                text.moment(entry.last_at)[:10],
                entry.ref.id,
                entry.ref.serial or "",
            )
            for entry in entries
        ],
        indent=indent,
    )


def trains(out: Out, result: results.TrainsResult, following: str | None = None) -> None:
    """The optical trains."""
    if not result.trains:
        out.line("No optical train is known yet: no light or flat has named one.")
        out.next("darklib amend ID... --train LABEL", "states which train frames came through")
        return
    _changes(out, result.changed, dry_run=result.dry_run)
    table(
        out,
        (
            Column("train"),
            Column("focal length", keep=1, right=True),
            Column("aperture", keep=2, right=True),
            Column("nights", right=True),
            Column("last night"),
            Column("fingerprint"),
        ),
        [
            (
                entry.ref.label,
                f"{entry.facts.focal_length_mm:g} mm" if entry.facts.focal_length_mm is not None else "",
                f"{entry.facts.aperture_mm:g} mm" if entry.facts.aperture_mm is not None else "",
                str(len(entry.nights)),
                entry.nights[-1] if entry.nights else "",
                entry.ref.fingerprint,
            )
            for entry in result.trains
        ],
    )
    for entry in result.trains:
        for change in entry.changes:
            note = f": {change.note}" if change.note else ""
            out.paragraph(f"{entry.ref.label} was changed {text.moment(change.at)}{note}", hang=2)
    _more(out, following)
    out.next("darklib trains changed LABEL", "records that a train was taken apart, rotated or cleaned: old flats end")


def _changes(out: Out, changed: Sequence[results.Changed], *, dry_run: bool) -> None:
    for change in changed:
        what = f"{change.field} {change.new}" if change.new is not None else change.field
        out.paragraph(f"{'Would record' if dry_run else 'Recorded'} of {change.id}: {what}", hang=2)
    if changed:
        out.line()


def _more(out: Out, following: str | None) -> None:
    if following is not None:
        out.line()
        out.paragraph(f"More with --after {following}")


def _nights(first: str | None, last: str | None) -> str:
    if first is None or last is None:
        return first or last or "?"
    return first if first == last else f"{first} to {last}"
