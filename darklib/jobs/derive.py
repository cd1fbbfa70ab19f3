"""What hot pixels say, made anew when darks come, go or are corrected: dark ratios, and temperatures nobody recorded.

Frames of one body and readout lie on one scale of doublings (`sensor/thermometer`). Where a frame lies there comes from
its evidence in `cache/` and is kept in the catalogue with a hash of the darks it was measured against; how the scale
reads in degrees comes from the temperatures told for darks. So a dark whose temperature is corrected moves thousands of
lights by arithmetic alone, and no stored image is ever opened, but by `rebuild` for evidence that lacks.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from darklib.catalogue.findings import Finding, Inference
from darklib.catalogue.inferences import DOUBT, RATIO, SCALE, HotOutcome, HotRow
from darklib.facts.frame import Kind
from darklib.jobs.hot_evidence import made_anew
from darklib.jobs.library import Opened
from darklib.jobs.likeness import compared
from darklib.jobs.ports import Progress, Silent
from darklib.jobs.results import IngestResult

VERSION = 1
"""Grows when dark ratios or temperatures are worked out otherwise; all are then made anew."""


@dataclass(frozen=True, slots=True)
class Derived:
    """How many lights and darks have another temperature, or one at last; how many lost theirs; how many have another
    dark ratio.

    lacking: frames without evidence in `cache/`. remarks: sentences for people.
    """

    lights: int = 0
    darks: int = 0
    lost: int = 0
    ratios: int = 0
    lacking: int = 0
    remarks: tuple[str, ...] = ()


NOTHING = Derived()


def derive(opened: Opened, *, read_lacking: bool = False, progress: Progress | None = None) -> Derived:
    """Makes all inferences anew whose inputs have changed. read_lacking: frames without evidence are read for it."""
    rows = opened.catalogue.hot_rows()
    groups = _groups(opened, rows)
    scales = {one.subject: one for one in opened.catalogue.findings(SCALE)}
    gone = [subject for subject in scales if subject not in groups]
    if gone:
        opened.catalogue.drop_findings(SCALE, gone)
    if not groups:
        return NOTHING
    if read_lacking:
        _read_lacking(opened, [row for group in groups.values() for row in group], progress or Silent())
    # numpy is loaded only where there is something to derive
    from darklib.jobs.body_scale import BodyScale

    kept = {one.sha256: one for one in opened.catalogue.inferences(RATIO) if one.version == VERSION}
    doubted = {one.sha256: one for one in opened.catalogue.inferences(DOUBT) if one.value is not None}
    scales = {subject: one for subject, one in scales.items() if one.version == VERSION}
    outcomes: list[HotOutcome] = []
    made: list[Inference] = []
    found: list[Finding] = []
    total = NOTHING
    for subject, group in groups.items():
        scale = BodyScale(opened, subject, group, kept, scales.get(subject), doubted)
        scale.work_out()
        outcomes += scale.outcomes
        made += scale.made
        if scale.finding is not None:
            found.append(scale.finding)
        total = Derived(
            total.lights + scale.count(Kind.LIGHT),
            total.darks + scale.count(Kind.DARK),
            total.lost + scale.lost,
            total.ratios + scale.measured,
            total.lacking + scale.lacking,
            total.remarks + tuple(scale.remarks),
        )
    same, remarks = compared(opened, rows)
    found += same
    total = replace(total, remarks=total.remarks + tuple(remarks))
    if outcomes or made or found:
        opened.catalogue.put_inferred(outcomes, made, found)
    return total


def after_ingest(opened: Opened, result: IngestResult, derived: Derived | None = None) -> IngestResult:
    """The result of taking files in, with what their hot pixels say of them and of others. derived: where that was
    worked out already.
    """
    # Whatever was taken in now: a run that was stopped leaves frames that are recorded and not yet derived from.
    if result.dry_run:
        return result
    derived = derive(opened) if derived is None else derived
    shas = [frame.sha256 for frame in result.stored]
    now = {}
    for start in range(0, len(shas), 500):
        now.update({frame.sha256: frame for frame in opened.catalogue.frames_by_id(shas[start : start + 500])})
    stored = tuple(now.get(frame.sha256, frame) for frame in result.stored)
    return replace(result, stored=stored, remarks=result.remarks + in_words(derived))


def in_words(derived: Derived) -> tuple[str, ...]:
    """What changed, in sentences; nothing where nothing did."""
    sentences = []
    if derived.lights:
        sentences.append(f"{derived.lights} {_lights(derived.lights)} a new temperature, told by hot pixels.")
    if derived.darks:
        several = "darks get" if derived.darks > 1 else "dark gets"
        sentences.append(f"{derived.darks} {several} a new temperature, told by hot pixels.")
    if derived.lost:
        several = "frames lose the temperatures" if derived.lost > 1 else "frame loses the temperature"
        sentences.append(f"{derived.lost} {several} that hot pixels told: no darks are left that tell it.")
    return (*sentences, *derived.remarks)


def _lights(count: int) -> str:
    return "lights get" if count != 1 else "light gets"


def _groups(opened: Opened, rows: Sequence[HotRow]) -> dict[str, list[HotRow]]:
    """Frames that can be compared: of one body and readout, between two remaps of its hot pixels. Only those with
    darks among them, or with a dark ratio from the time when there were.
    """
    remaps: dict[str, list[datetime]] = {}
    groups: dict[str, list[HotRow]] = defaultdict(list)
    for row in rows:
        if row.body not in remaps:
            changes = opened.catalogue.body_changes(row.body)
            remaps[row.body] = [change.at for change in changes if change.what == "remapped"]
        since = sum(row.taken_at is not None and at <= row.taken_at for at in remaps[row.body])
        groups[f"{row.body}\n{row.readout}\n{since}"].append(row)
    return {
        subject: group
        for subject, group in groups.items()
        if any((row.kind is Kind.DARK and not row.retired) or row.dark_ratio is not None for row in group)
    }


def _read_lacking(opened: Opened, rows: Iterable[HotRow], progress: Progress) -> None:
    from darklib.store import evidence

    lacking = {
        row.sha256: opened.absolute(row.path)
        for row in rows
        if evidence.kept(opened.seam, opened.layout, row.sha256) is None
    }
    made_anew(opened, lacking, progress)
