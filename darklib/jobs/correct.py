"""Corrections by the user: of frames, bodies and trains. The old value is always kept; nothing is deleted."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from darklib.facts.entries import (
    BodiesJoined,
    BodyChanged,
    BodyNamed,
    Entry,
    Restored,
    Retired,
    Stated,
    TrainChanged,
    Unstated,
)
from darklib.facts.errors import DarklibError, Exit
from darklib.facts.frame import STATED_FIELDS, Frame, Kind, Statement
from darklib.facts.night import localised
from darklib.facts.resolve import frame_of, stated_body
from darklib.facts.units import iso_z
from darklib.jobs.body_named import body_meant
from darklib.jobs.derive import derive, in_words
from darklib.jobs.ids import frames_meant, one_meant
from darklib.jobs.library import Opened
from darklib.jobs.overview import bodies, trains
from darklib.jobs.record import Recorder
from darklib.jobs.results import BodiesResult, Changed, ChangedResult, TrainsResult

CHANGES_OF_A_BODY = ("remapped", "cleaned", "firmware", "modified")


def amend(
    opened: Opened,
    ids: Sequence[str],
    changes: Mapping[str, str | float | None],
    *,
    note: str = "",
    dry_run: bool = False,
) -> ChangedResult:
    """Corrects fields of some frames; value None takes a field back to what the file says. Fields that already are so
    change nothing. Raises DarklibError (usage) for a field or value that cannot be, 'not_found' for a camera that the
    library does not know.
    """
    shas = frames_meant(opened, ids)
    for field, value in changes.items():
        _check(opened, field, value)
    if changes.get("body") is not None:
        # The id: a label may be given to another camera later.
        changes = {**changes, "body": body_meant(opened, str(changes["body"])).id}
    changed: list[Changed] = []
    with Recorder(opened, "amend", tuple(ids)) as recorder:
        for field, value in changes.items():
            affected = []
            for frame in opened.catalogue.frames_by_id(shas):
                old, new = shown_value(frame, field), _after(opened, frame, Statement(field, value))
                if old != new or (value is not None and not _stated_already(opened, frame.sha256, field, value)):
                    affected.append(frame.sha256)
                    if old != new:
                        changed.append(Changed(frame.id, field, old, new))
            if affected and not dry_run:
                number = opened.seam.token(12)
                entry = Stated(number, tuple(affected), field, value, note, opened.seam.now())
                recorder.add(entry)
    return ChangedResult(tuple(changed), dry_run, _followed(opened, dry_run))


def undo(opened: Opened, ids: Sequence[str], *, dry_run: bool = False) -> ChangedResult:
    """Takes back, for each of these frames and for no other, its newest correction that still holds: all that one
    command stated of it, which may be several fields.
    """
    frames = opened.catalogue.frames_by_id(frames_meant(opened, ids))
    undone: dict[str, list[str]] = {}
    changed = []
    for frame in frames:
        held = [row for row in opened.catalogue.statements(frame.sha256) if row.undone_by is None and row.statement]
        if not held:
            continue
        run = max(enumerate(held), key=lambda item: (item[1].at, item[0]))[1].run
        for row in held:
            if row.run == run:
                undone.setdefault(row.statement, []).append(frame.sha256)
        kept = [Statement(row.field, row.value) for row in held if row.run != run]
        after = frame_of(opened.catalogue.record(frame.sha256), kept)
        changed += [
            Changed(frame.id, field, shown_value(frame, field), _told(opened, after, kept, field))
            for field in dict.fromkeys(row.field for row in held if row.run == run)
        ]
    if undone and not dry_run:
        with Recorder(opened, "amend", ("--undo", *ids)) as recorder:
            for statement, shas in undone.items():
                recorder.add(Unstated(statement, opened.seam.now(), tuple(shas)))
    return ChangedResult(tuple(changed), dry_run, _followed(opened, dry_run))


def retire(opened: Opened, ids: Sequence[str], *, note: str = "", dry_run: bool = False) -> ChangedResult:
    """Takes frames out of matching; they are kept."""
    return _mark(opened, ids, "retire", True, lambda shas, at: Retired(shas, note, at), dry_run)


def restore(opened: Opened, ids: Sequence[str], *, dry_run: bool = False) -> ChangedResult:
    """Takes retired frames back into matching."""
    return _mark(opened, ids, "restore", False, Restored, dry_run)


def _mark(
    opened: Opened,
    ids: Sequence[str],
    command: str,
    retired: bool,
    entry: Callable[[tuple[str, ...], datetime], Entry],
    dry_run: bool,
) -> ChangedResult:
    frames = [
        frame for frame in opened.catalogue.frames_by_id(frames_meant(opened, ids)) if frame.retired is not retired
    ]
    if frames and not dry_run:
        with Recorder(opened, command, tuple(ids)) as recorder:
            recorder.add(entry(tuple(frame.sha256 for frame in frames), opened.seam.now()))
    changed = tuple(Changed(frame.id, "retired", not retired, retired) for frame in frames)
    return ChangedResult(changed, dry_run, _followed(opened, dry_run))


def _followed(opened: Opened, dry_run: bool) -> tuple[str, ...]:
    """What a correction of darks means for others: temperatures that hot pixels tell, made anew."""
    return () if dry_run else in_words(derive(opened))


def name_body(opened: Opened, body: str, label: str, *, dry_run: bool = False) -> BodiesResult:
    """Gives a camera a label."""
    ref = body_meant(opened, body)
    label = " ".join(label.split())
    if not label:
        raise DarklibError("empty_label", "A label needs at least one letter.", status=Exit.USAGE)
    changes = () if ref.label == label else (Changed(ref.id, "label", ref.label, label),)
    entry = BodyNamed(ref.id, label, opened.seam.now())
    return _on_bodies(opened, "bodies name", (body, label), entry if changes else None, changes, dry_run)


def join_bodies(opened: Opened, body: str, into: str, *, dry_run: bool = False) -> BodiesResult:
    """Makes one camera of two entries: one known first without and later with its serial number. One that is joined
    already changes nothing.
    """
    if _joined_already(opened, body, into):
        return _on_bodies(opened, "bodies join", (body, into), None, (), dry_run)
    first, second = body_meant(opened, body), body_meant(opened, into)
    if first.id == second.id:
        raise DarklibError("same_body", f"{first.label} cannot be joined to itself.", status=Exit.USAGE)
    if first.serial and second.serial and first.serial != second.serial:
        raise DarklibError(
            "two_serials",
            f"{first.label} and {second.label} have different serial numbers: they are two cameras.",
            remedy="If a serial number was recorded wrongly, amend the frames' body instead.",
        )
    if first.serial and not second.serial:
        first, second = second, first
    changes = (Changed(first.id, "joined_to", None, second.id),)
    entry = BodiesJoined(first.id, second.id, opened.seam.now())
    return _on_bodies(opened, "bodies join", (body, into), entry, changes, dry_run)


def body_changed(
    opened: Opened, body: str, *, what: str, at: str | None = None, note: str = "", dry_run: bool = False
) -> BodiesResult:
    """Records that a camera was changed: a remap ends its old darks, a cleaning its old flats."""
    if what not in CHANGES_OF_A_BODY:
        raise DarklibError(
            "unknown_change",
            f"{what!r} is no change of a camera that is known.",
            remedy=f"Use one of {', '.join(CHANGES_OF_A_BODY)}.",
            status=Exit.USAGE,
        )
    ref = body_meant(opened, body)
    moment = moment_meant(opened, at)
    recorded = any(change.what == what and change.at == moment for change in opened.catalogue.body_changes(ref.id))
    changes = () if recorded else (Changed(ref.id, what, None, iso_z(moment)),)
    entry = None if recorded else BodyChanged(ref.id, what, note, moment)
    return _on_bodies(opened, "bodies changed", (body, what), entry, changes, dry_run)


def train_changed(
    opened: Opened, train: str, *, at: str | None = None, note: str = "", dry_run: bool = False
) -> TrainsResult:
    """Records that a train was taken apart, rotated or cleaned: flats from before do not serve lights from after."""
    known = trains(opened).trains
    entry = one_meant("train", train, known, [(item.ref.label, item.ref.fingerprint) for item in known])
    moment = moment_meant(opened, at)
    recorded = any((change.at, change.note) == (moment, note) for change in entry.changes)
    changes = () if recorded else (Changed(entry.ref.fingerprint, "changed", None, iso_z(moment)),)
    if changes and not dry_run:
        with Recorder(opened, "trains changed", (train,)) as recorder:
            recorder.add(TrainChanged(entry.ref.fingerprint, note, moment))
    return TrainsResult(trains(opened).trains, changes, dry_run)


def moment_meant(opened: Opened, text: str | None) -> datetime:
    """A moment as the user writes it, in the library's zone where none is given; None is now."""
    if text is None:
        return opened.seam.now()
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise DarklibError(
            "bad_time",
            f"{text!r} is not a date or time.",
            remedy="Write it as 2026-10-03 or 2026-10-03T21:30.",
            status=Exit.USAGE,
        ) from error
    return localised(moment, opened.settings.site.timezone)


def shown_value(frame: Frame, field: str) -> str | float | bool | None:
    """A field of STATED_FIELDS as it stands in a frame."""
    if field == "kind":
        return frame.kind.value if frame.kind else None
    if field == "train":
        return frame.train.label if frame.train else None
    if field == "body":
        return frame.body.label if frame.body else None
    if field in ("taken_at", "clock_shift_s"):
        return iso_z(frame.taken_at) if frame.taken_at else None
    value: str | float | None = getattr(frame, field)
    return value


def _on_bodies(
    opened: Opened,
    command: str,
    arguments: tuple[str, ...],
    entry: Entry | None,
    changes: tuple[Changed, ...],
    dry_run: bool,
) -> BodiesResult:
    if entry is not None and not dry_run:
        with Recorder(opened, command, arguments) as recorder:
            recorder.add(entry)
    # Where nothing is to be changed as well: a command that was stopped after recording is run again.
    remarks = () if isinstance(entry, BodyNamed) else _followed(opened, dry_run)
    now = bodies(opened)
    return BodiesResult(now.bodies, changes, dry_run, tuple(dict.fromkeys(remarks + now.remarks)))


def _joined_already(opened: Opened, body: str, into: str) -> bool:
    """Whether `body` means a camera that was joined to `into` before: the command is run again after a failure."""
    wanted = body.strip().casefold()
    ref = body_meant(opened, into)
    joined = next(item.joined for item in bodies(opened).bodies if item.ref.id == ref.id)
    return (
        bool(wanted)
        and any(one.casefold().startswith(wanted) for one in joined)
        and not any(
            wanted in (name.casefold() for name in (item.ref.id, item.ref.label, item.ref.serial) if name)
            for item in bodies(opened).bodies
        )
    )


def _stated_already(opened: Opened, sha256: str, field: str, value: str | float | None) -> bool:
    rows = [row for row in opened.catalogue.statements(sha256) if row.field == field and row.undone_by is None]
    return bool(rows) and rows[-1].value == value


def _after(opened: Opened, frame: Frame, statement: Statement) -> str | float | bool | None:
    rows = opened.catalogue.statements(frame.sha256)
    held = [Statement(row.field, row.value) for row in rows if row.undone_by is None]
    held.append(statement)
    return _told(opened, frame_of(opened.catalogue.record(frame.sha256), held), held, statement.field)


def _told(opened: Opened, after: Frame, held: Sequence[Statement], field: str) -> str | float | bool | None:
    """A field of a frame as it would be, the camera by the label it has in the library."""
    if field != "body" or after.body is None:
        return shown_value(after, field)
    name = stated_body(held) or after.body.id
    for item in bodies(opened).bodies:
        if name in (item.ref.id, item.ref.label, *item.joined):
            return item.ref.label
    return after.body.label


def _check(opened: Opened, field: str, value: str | float | None) -> None:
    if field not in STATED_FIELDS:
        raise DarklibError(
            "unknown_field",
            f"{field!r} cannot be amended.",
            remedy=f"What can be: {', '.join(STATED_FIELDS)}.",
            status=Exit.USAGE,
        )
    if value is None:
        return
    try:
        if field == "kind":
            Kind(str(value))
        elif field in ("temperature_c", "clock_shift_s", "exposure_s"):
            number = float(value)
            if (field == "exposure_s" and number < 0) or (field == "temperature_c" and not -273.15 < number < 100):
                raise ValueError
        elif field == "taken_at":
            moment_meant(opened, str(value))
        elif not str(value).strip():
            raise ValueError
    except ValueError as error:
        raise DarklibError(
            "bad_value", f"{field} cannot be {value!r}.", remedy="Nothing was changed.", status=Exit.USAGE
        ) from error
