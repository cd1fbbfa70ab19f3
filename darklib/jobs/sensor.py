"""The cameras measured from the library's own frames; what was found is kept and made anew only for other frames."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import log
from typing import TYPE_CHECKING

from darklib.catalogue.catalogue import Finding, FrameQuery
from darklib.catalogue.findings import inputs_hash
from darklib.facts.codes import REASONS, WARNINGS
from darklib.facts.frame import BodyRef, Frame, Kind, Readout, TemperatureFrom
from darklib.facts.match import CalibrationSet
from darklib.facts.plain import from_plain, to_plain
from darklib.facts.sensor import LeftOut, SensorModel, Value
from darklib.jobs.library import Opened
from darklib.jobs.ports import Progress, Silent
from darklib.matching.odd import odd_in
from darklib.matching.rules import ENDED_BY
from darklib.matching.sets import NOT_PLAIN, sets_of
from darklib.planning import cautions
from darklib.store.durable import write_new

if TYPE_CHECKING:
    from darklib.readers.answers import Look

FINDING = "sensor"
VERSION = 3
"""Grows whenever a figure of the model changes its meaning or its value; older findings are then made anew."""

MOST_FRAMES = 40
"""Of a larger set so many frames are read, evenly spread: more would tell next to nothing more."""

MOST_SETS = 40
"""So many sets of darks, the newest, are kept in memory at once."""

GAIN_BY_ISO_ERROR = 0.05
"""ISO numbers follow the gain to some percent (ISO 12232 lets a maker choose; common practice, no single source)."""

READERS = 2
"""Reading processes: each holds a whole frame, and together with what is counted they stay below 1.5 GB."""

KINDS = (Kind.BIAS, Kind.FLAT, Kind.DARK)


@dataclass(frozen=True, slots=True)
class SensorResult:
    """Each body in each readout. measured: how many of them were measured now, not found as kept from before.
    cautions: what to mind while shooting what is advised.
    """

    sensors: tuple[SensorModel, ...]
    measured: int
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Group:
    """All calibration frames of one body in one readout, as sets. ended_at: when the camera was last changed so that
    earlier darks no longer speak for it.
    """

    body: BodyRef
    readout: Readout
    sets: tuple[CalibrationSet, ...]
    ended_at: datetime | None = None

    @property
    def subject(self) -> str:
        return f"{self.body.id}\n{self.readout.key}"

    @property
    def has_flats(self) -> bool:
        return any(one.kind is Kind.FLAT for one in self.sets)

    def inputs(self, lender: "Group | None" = None) -> str:
        """A name for all that the model is made from: which frames, and what is known of them. lender: of the gain."""
        parts: list[object] = [self.ended_at] if lender is None else [self.ended_at, lender.inputs()]
        parts += [
            (
                frame.sha256,
                one.id,
                one.kind.value,
                frame.exposure_s,
                frame.temperature_c,
                frame.set_temperature_c,
                frame.filter,
            )
            for one in self.sets
            for frame in one.frames
        ]
        return inputs_hash(parts)


def sensor(opened: Opened, *, body: str | None = None, progress: Progress | None = None) -> SensorResult:
    """Each body in each readout, measured now where its frames have changed since it was last."""
    progress = progress or Silent()
    groups = groups_of(opened, body)
    lenders = {group.subject: _lender(group, groups) for group in groups}
    kept = {one.subject: one for one in opened.catalogue.findings(FINDING)}
    models: dict[str, SensorModel] = {}
    stale = []
    for group in groups:
        found = kept.get(group.subject)
        inputs = group.inputs(lenders[group.subject])
        if found is not None and found.version == VERSION and found.inputs_hash == inputs:
            models[group.subject] = from_plain(SensorModel, found.result)
        else:
            stale.append(group)
    if stale:
        # Who lends a gain is measured before those who borrow it.
        stale.sort(key=lambda group: lenders[group.subject] is not None)
        _measure_all(opened, stale, lenders, models, progress)
    made = tuple(models[group.subject] for group in groups)
    return SensorResult(made, len(stale), _cautions(opened, groups, made))


def _cautions(opened: Opened, groups: Sequence[Group], found: Sequence[SensorModel]) -> tuple[str, ...]:
    """What to mind while shooting what the models' advice asks for, the most dangerous first."""
    from darklib.sensor.advice import wants_darks, wants_flats

    said = []
    if any(wants_flats(one) for one in found):
        said.append(cautions.FLATS)
    cold = [group for group, one in zip(groups, found, strict=True) if wants_darks(one)]
    cooled = [_cooled(opened, group) for group in cold]
    if not all(cooled):
        said += [cautions.FRIDGE, cautions.rewarming(), cautions.BATTERIES, cautions.DRY_ICE]
    if any(cooled):
        said.append(cautions.COOLED)
    return (*said, cautions.MANUAL) if said else ()


def _cooled(opened: Opened, group: Group) -> bool:
    """Whether the body has a cooler: as the user says, else whether its frames name a set-point."""
    stated = opened.settings.cameras.get(group.body.id)
    if stated is not None and stated.cooled is not None:
        return stated.cooled
    return any(frame.set_temperature_c is not None for one in group.sets for frame in one.frames)


def sensor_models(opened: Opened) -> dict[tuple[str, str], SensorModel]:
    """What is known of cameras, by body id and readout key; nothing is opened and nothing measured."""
    found = [
        from_plain(SensorModel, one.result) for one in opened.catalogue.findings(FINDING) if one.version == VERSION
    ]
    return {(one.body.id, one.readout.key): one for one in found}


def picture_written(opened: Opened, name: str, data: bytes) -> str:
    """Writes a picture to the file of that name and returns its absolute path. Another file there is never
    overwritten.
    """
    path = opened.seam.absolute(name)
    write_new(opened.seam, path, data)
    return str(path)


def groups_of(opened: Opened, body: str | None = None) -> list[Group]:
    """The calibration frames by body and readout, by body, then setting."""
    frames: list[Frame] = []
    for kind in KINDS:
        frames += opened.catalogue.frames(FrameQuery(kind=kind, body=body, retired=False)).frames
    by_body: dict[str, list[Frame]] = {}
    for frame in frames:
        if frame.body is not None:
            by_body.setdefault(frame.body.id, []).append(frame)
    groups = []
    for body_id, members in by_body.items():
        changes = opened.catalogue.body_changes(body_id)
        ended_at = max((one.at for one in changes if one.what in ENDED_BY["dark"]), default=None)
        for readout, some in _by_readout(members):
            assert some[0].body is not None
            sets = tuple(sets_of(some, opened.settings))
            groups.append(Group(some[0].body, readout, sets, ended_at))
    return sorted(
        groups,
        key=lambda one: (one.body.label, one.body.id, one.readout.iso or 0, one.readout.gain or 0.0, one.subject),
    )


def _by_readout(frames: Iterable[Frame]) -> Iterator[tuple[Readout, list[Frame]]]:
    """Frames read out alike. A step that a frame is too dark to show is taken for that of the others."""
    loose: dict[str, list[Frame]] = {}
    for frame in frames:
        loose.setdefault(replace(frame.readout, dn_step=None).key, []).append(frame)
    for members in loose.values():
        steps = [frame.readout.dn_step for frame in members if frame.readout.dn_step is not None]
        usual = max(sorted(set(steps)), key=steps.count) if steps else None
        by_step: dict[int | None, list[Frame]] = {}
        for frame in members:
            by_step.setdefault(usual if frame.readout.dn_step is None else frame.readout.dn_step, []).append(frame)
        for some in by_step.values():
            told = next((frame for frame in some if frame.readout.dn_step is not None), some[0])
            yield told.readout, some


def _lender(group: Group, groups: Sequence[Group]) -> Group | None:
    """Of a readout without flats: the nearest ISO of the same body that has some and differs in nothing else."""
    if group.has_flats or not group.readout.iso:
        return None
    alike = replace(group.readout, iso=None).key
    able = [
        one
        for one in groups
        if one.body.id == group.body.id
        and one.has_flats
        and one.readout.iso
        and replace(one.readout, iso=None).key == alike
    ]
    iso = group.readout.iso
    return min(able, key=lambda one: (abs(log(iso / (one.readout.iso or iso))), one.subject), default=None)


@dataclass(frozen=True, slots=True)
class _Part:
    """One set to be read: at most MOST_FRAMES of its frames."""

    set: CalibrationSet
    frames: tuple[Frame, ...]


def _before(one: CalibrationSet, moment: datetime | None) -> bool:
    """Whether all of a set was shot before a moment."""
    taken = [frame.taken_at for frame in one.frames]
    return moment is not None and all(at is not None and at < moment for at in taken)


def _temperature_c(one: CalibrationSet) -> float | None:
    """The temperature a set was shot at. One worked out from hot pixels rests on a law of hot pixels, and would only
    give that law back; it counts as not known here.
    """
    if any(frame.temperature_from is TemperatureFrom.PIXELS for frame in one.frames):
        return None
    return one.temperatures.median_c if one.temperatures.median_c is not None else one.set_temperature_c


def _without_odd(one: CalibrationSet, left_out: list[LeftOut]) -> CalibrationSet:
    """The set without the frames that do not belong to it, which are noted."""
    odd = {item.name: item for item in odd_in(one)}
    left_out += [LeftOut(item.name, item.code, item.what) for item in odd.values()]
    kept = tuple(frame for frame in one.frames if frame.id not in odd)
    return replace(one, frames=kept) if kept else one


def _measure_all(
    opened: Opened,
    groups: Sequence[Group],
    lenders: Mapping[str, Group | None],
    models: dict[str, SensorModel],
    progress: Progress,
) -> None:
    """Measures some groups, each file read once; adds the models and keeps them as findings as they are made."""
    from darklib.readers.bands import TASK
    from darklib.readers.guard import Guard

    plans = [(group, *_plan(group)) for group in groups]
    frames = [frame for _, parts, _ in plans for part in parts for frame in part.frames]
    progress.start(len(frames), sum(frame.size for frame in frames))
    with Guard(workers=READERS, task=TASK) as guard:
        looks = guard.map((opened.absolute(frame.path) for frame in frames), ahead=4)
        for group, parts, left_out in plans:
            lender = lenders[group.subject]
            assumed = _borrowed(group, lender, models) if lender is not None else None
            model = _measure(group, parts, left_out, assumed, looks, progress)
            models[group.subject] = model
            inputs = group.inputs(lender)
            opened.catalogue.store_findings(
                [Finding(FINDING, group.subject, inputs, VERSION, to_plain(model), opened.seam.now())]
            )
    progress.finish()


def _borrowed(group: Group, lender: Group, models: Mapping[str, SensorModel]) -> Value | None:
    """The gain of another ISO in proportion: twice the ISO, half the electrons per DN."""
    model = models.get(lender.subject)
    gain = model.gain_e_per_dn if model is not None else None
    if gain is None or not group.readout.iso or not lender.readout.iso:
        return None
    value = gain.value * lender.readout.iso / group.readout.iso
    return Value(value, value * GAIN_BY_ISO_ERROR)


def _plan(group: Group) -> tuple[list[_Part], list[LeftOut]]:
    """Which sets are read, in the order in which they are measured, and which frames are left out at once."""
    left_out: list[LeftOut] = []
    usable = []
    for one in group.sets:
        first = one.frames[0]
        flaw = next((warning.code for warning in first.warnings if warning.code in NOT_PLAIN), None)
        if first.in_camera_subtraction:
            flaw = "in_camera_subtraction"
        if first.combined is not None:
            left_out += [LeftOut(frame.id, "combined_frame", "a combination of frames") for frame in one.frames]
        elif one.kind is Kind.DARK and _before(one, group.ended_at):
            left_out += [LeftOut(frame.id, "body_changed", REASONS["body_changed"]) for frame in one.frames]
        elif flaw is not None:
            left_out += [LeftOut(frame.id, flaw, WARNINGS.get(flaw, flaw)) for frame in one.frames]
        else:
            usable.append(_without_odd(one, left_out))
    order = {Kind.BIAS: 0, Kind.FLAT: 1, Kind.DARK: 2}
    usable.sort(key=lambda one: (order[one.kind], one.exposure_s or 0.0, one.first_night or "", one.id))
    darks = [one for one in usable if one.kind is Kind.DARK]
    # The newest of each exposure and temperature tell most; very many sets of one camera would not fit into memory.
    for one in sorted(darks, key=lambda one: (one.last_night or "", one.id))[: max(0, len(darks) - MOST_SETS)]:
        usable.remove(one)
        left_out += [
            LeftOut(frame.id, "too_many", f"older than the newest {MOST_SETS} sets of darks") for frame in one.frames
        ]
    parts = []
    for one in usable:
        chosen = one.frames
        if len(chosen) > MOST_FRAMES:
            places = {round(place * (len(chosen) - 1) / (MOST_FRAMES - 1)) for place in range(MOST_FRAMES)}
            chosen = tuple(frame for place, frame in enumerate(one.frames) if place in places)
            names = {frame.id for frame in chosen}
            left_out += [
                LeftOut(frame.id, "too_many", f"one of more than {MOST_FRAMES} of its set")
                for frame in one.frames
                if frame.id not in names
            ]
        parts.append(_Part(one, chosen))
    return parts, left_out


def _measure(
    group: Group,
    parts: Sequence[_Part],
    left_out: Sequence[LeftOut],
    assumed_gain: Value | None,
    looks: "Iterator[Look]",
    progress: Progress,
) -> SensorModel:
    """The model of one group. looks: of the parts' frames, in their order."""
    from darklib.pixels.mosaic import MONO, mosaic_of
    from darklib.sensor.measuring import Measuring, SetOf

    measuring: Measuring | None = None
    shape: tuple[int, ...] = ()
    refused = list(left_out)
    for part in parts:
        frames, ids = [], []
        for frame in part.frames:
            look = next(looks)
            progress.advance(look.path, frame.size)
            bands = look.bands
            if bands is None:
                refusal = look.refusal
                code, text = (refusal.code, refusal.text) if refusal is not None else ("unreadable", "")
                refused.append(LeftOut(frame.id, code, text))
                continue
            if measuring is None:
                mosaic = mosaic_of(bands.cfa, bands.cfa_rows, bands.cfa_columns)
                measuring = Measuring(group.body, group.readout, mosaic, bands.rows_of_band, assumed_gain)
                shape = bands.data.shape
            if bands.data.shape != shape:
                refused.append(LeftOut(frame.id, "other_size", "another size than the first frame"))
                continue
            frames.append(bands.data)
            ids.append(frame.id)
        if measuring is None or not frames:
            continue
        one = part.set
        facts = SetOf(one.id, tuple(ids), one.exposure_s, _temperature_c(one), one.first_night)
        take_in = {Kind.BIAS: measuring.bias, Kind.FLAT: measuring.flat, Kind.DARK: measuring.dark}[one.kind]
        take_in(facts, frames)
    if measuring is None:
        measuring = Measuring(group.body, group.readout, MONO, 1, assumed_gain)
    for item in refused:
        measuring.leave_out([item.id], item.code, item.why)
    return measuring.model()
