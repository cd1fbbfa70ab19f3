"""Cameras that look like one by their hot pixels: known first without and later with a serial number, say.

Nothing is joined without being asked: the user is told, and `bodies join` does it.
"""

from collections import defaultdict
from collections.abc import Sequence
from itertools import combinations

from darklib.catalogue.findings import Finding, inputs_hash
from darklib.catalogue.inferences import HotRow
from darklib.facts.frame import BodyRef, Kind
from darklib.jobs.hot_evidence import fetched
from darklib.jobs.library import Opened

VERSION = 1
SAME_BODY = "same_body"
"""What the findings are called; their subject is the two ids, one a line."""

DARKS, OTHERS = 8, 3
"""Frames of the one that are combined, and of the other that are compared with them."""


def compared(opened: Opened, rows: Sequence[HotRow]) -> tuple[list[Finding], list[str]]:
    """Compares cameras of one model and readout of which one has no serial number; those compared before only where
    what was compared has changed. Findings to be kept, and sentences on new likenesses.
    """
    bodies = {row.ref.id: row.ref for row in opened.catalogue.bodies()}
    if len(bodies) < 2:
        return [], []
    kept = {one.subject: one for one in opened.catalogue.findings(SAME_BODY) if one.version == VERSION}
    shared: dict[str, dict[str, list[HotRow]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        if row.body in bodies and not row.retired and row.plain:
            shared[row.readout][row.body].append(row)
    found: dict[str, Finding] = {}
    remarks = []
    for here in shared.values():
        for a, b in combinations(sorted(here), 2):
            subject = f"{a}\n{b}"
            if not _may_be_one(bodies[a], bodies[b]) or subject in found:
                continue
            chosen = _chosen(here[a], here[b])
            if chosen is None:
                continue
            made_of = inputs_hash(row.sha256 for some in chosen for row in some)
            before = kept.get(subject)
            if before is not None and before.inputs_hash == made_of:
                continue
            same = _same(opened, *chosen)
            if same is None:
                continue
            found[subject] = Finding(SAME_BODY, subject, made_of, VERSION, same, opened.seam.now())
            if same and (before is None or not before.result):
                remarks.append(_sentence(bodies[a], bodies[b]))
    return list(found.values()), remarks


def likenesses(opened: Opened) -> tuple[str, ...]:
    """Sentences on cameras that look like one and are not joined."""
    bodies = {row.ref.id: row.ref for row in opened.catalogue.bodies()}
    pairs = [one.subject.split("\n") for one in opened.catalogue.findings(SAME_BODY) if one.result]
    return tuple(_sentence(bodies[a], bodies[b]) for a, b in pairs if a in bodies and b in bodies)


def _may_be_one(a: BodyRef, b: BodyRef) -> bool:
    models = [(one.model or "").casefold() for one in (a, b)]
    return not (a.serial and b.serial) and (models[0] == models[1] or "" in models)


def _chosen(a: Sequence[HotRow], b: Sequence[HotRow]) -> tuple[list[HotRow], list[HotRow]] | None:
    """Darks of one series of the one camera, and a few long exposures of the other; None where neither has darks."""
    sets: dict[tuple[int, str], list[HotRow]] = defaultdict(list)
    for side, rows in enumerate((a, b)):
        for row in rows:
            if row.kind is Kind.DARK:
                sets[side, row.series].append(row)
    if not sets:
        return None
    (side, _), darks = max(sets.items(), key=lambda one: (one[1][0].exposure_s * min(len(one[1]), DARKS), one[0]))
    others = sorted((b, a)[side], key=lambda row: (row.kind is not Kind.DARK, -row.exposure_s, row.sha256))
    return darks[:DARKS], others[:OTHERS]


def _same(opened: Opened, darks: Sequence[HotRow], others: Sequence[HotRow]) -> bool | None:
    """Whether they show the same hot pixels; None where evidence lacks."""
    from darklib.sensor.identity import Sameness, identified
    from darklib.sensor.reference import combined

    hot = [one for _, one in fetched(opened, (row.sha256 for row in darks)) if one is not None]
    reference = combined(hot, darks[0].exposure_s)
    shown = [one for _, one in fetched(opened, (row.sha256 for row in others)) if one is not None]
    if reference is None or not shown:
        return None
    return any(identified(one, reference.hot).verdict is Sameness.SAME for one in shown)


def _sentence(a: BodyRef, b: BodyRef) -> str:
    first, second = (b, a) if a.serial else (a, b)
    return (
        f"{first.label} and {second.label} show the same hot pixels: they look like one camera. "
        f"`darklib bodies join {first.id} {second.id}` makes them one."
    )
