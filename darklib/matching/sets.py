"""Calibration frames as sets: what is combined into one master.

A set lies within one series. Darks and biases are parted by temperature besides: by the set-point of a cooler that had
reached it, else so that a set spans no more than `limits.set_span_c`; flats by what was shot in one go. A combination
of frames made elsewhere is a set of its own, and so are frames of which it is known that they are no plain darks.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, timedelta
from statistics import median

from darklib.facts.frame import Frame, Kind
from darklib.facts.grouping import in_time_order, temperatures_of
from darklib.facts.match import CalibrationSet
from darklib.facts.naming import night_name
from darklib.facts.settings import Settings
from darklib.matching.batches import grouped
from darklib.matching.warmth import place_c
from darklib.sensor.odd_frames import SET_POINT_C

ONE_GO = timedelta(hours=3)
"""Flats further apart were not shot in one go: the train may have moved in between (common practice)."""

TURNED_DEG = 0.5
"""Mechanical rotator angles that differ by more are another orientation: half a degree moves a shadow 1,000 pixels
from the axis by 9 pixels."""

NOT_PLAIN = ("in_camera_subtraction", "light_leak", "lossy")
"""Warnings of frames that must not be mixed with plain darks, and never serve."""


def sets_of(frames: Iterable[Frame], settings: Settings) -> list[CalibrationSet]:
    """The sets of some calibration frames, by time of their first frame, then id. Retired frames are left out."""
    stock = (frame for frame in frames if frame.kind in (Kind.DARK, Kind.BIAS, Kind.FLAT) and not frame.retired)
    sets = [one for name, members in grouped(stock).items() for one in sets_of_series(name, members, settings)]
    return sorted(sets, key=_order)


def sets_of_series(name: str, members: Sequence[Frame], settings: Settings) -> list[CalibrationSet]:
    """The sets of one series. A series that is one set lends it its id; else each id says more."""
    clusters = [cluster for part in _alike(members) for cluster in _clusters(part, settings.limits.set_span_c)]
    if len(clusters) == 1:
        return [set_of(name, clusters[0])]
    sets: list[CalibrationSet] = []
    taken: set[str] = set()
    for cluster in sorted(clusters, key=lambda cluster: [frame.id for frame in cluster]):
        base = unique = f"{name}-{_label(cluster)}"
        number = 2
        while unique in taken:
            unique, number = f"{base}-{number}", number + 1
        taken.add(unique)
        sets.append(set_of(unique, cluster))
    return sorted(sets, key=_order)


def set_of(name: str, members: Iterable[Frame]) -> CalibrationSet:
    """The set that some frames are, taking what they share from the first. members: at least one, no lights."""
    frames = in_time_order(members)
    first = frames[0]
    if first.kind is None or first.kind is Kind.LIGHT:
        raise ValueError("a calibration set is made of darks, biases or flats")
    optical = first.kind is Kind.FLAT
    nights = [frame.night for frame in frames if frame.night is not None]
    set_points = {frame.set_temperature_c for frame in frames}
    return CalibrationSet(
        id=name,
        kind=first.kind,
        body=first.body,
        readout=first.readout,
        exposure_s=first.exposure_s,
        filter=first.filter if optical else None,
        train=first.train if optical else None,
        temperatures=temperatures_of(frame.temperature_c for frame in frames),
        set_temperature_c=set_points.pop() if len(set_points) == 1 else None,
        first_night=min(nights, default=None),
        last_night=max(nights, default=None),
        frames=frames,
    )


def merged(sets: Sequence[CalibrationSet]) -> CalibrationSet:
    """Several sets as one, its id made from theirs. Flats of several exposures have their median for an exposure."""
    ids = sorted({one.id for one in sets})
    frames = {frame.sha256: frame for one in sets for frame in one.frames}
    night = min((one.first_night for one in sets if one.first_night is not None), default=None)
    one = set_of(night_name(night, "merged\n" + "\n".join(ids)), frames.values())
    exposures_s = [frame.exposure_s for frame in frames.values()]
    known_s = [exposure_s for exposure_s in exposures_s if exposure_s is not None]
    return replace(one, exposure_s=float(median(known_s)) if len(known_s) == len(exposures_s) else None)


def frames_in(one: CalibrationSet) -> int | None:
    """How many exposures a set is made of, those inside combined frames counted; None where that is not known."""
    total = 0
    for frame in one.frames:
        if frame.combined is None:
            total += 1
        elif frame.combined.count is None:
            return None
        else:
            total += frame.combined.count
    return total


def _alike(members: Sequence[Frame]) -> list[list[Frame]]:
    """Plain frames together, each combined frame by itself, frames with a flaw in common together."""
    parts: dict[str, list[Frame]] = {}
    for frame in members:
        flaws = sorted({warning.code for warning in frame.warnings} & set(NOT_PLAIN))
        if frame.in_camera_subtraction and "in_camera_subtraction" not in flaws:
            flaws.append("in_camera_subtraction")
        name = f"combined {frame.id}" if frame.combined is not None else " ".join(flaws)
        parts.setdefault(name, []).append(frame)
    return list(parts.values())


def _clusters(members: list[Frame], span_c: float) -> list[list[Frame]]:
    if members[0].kind is Kind.FLAT:
        return _sittings(members)
    unknown = [frame for frame in members if frame.temperature_c is None and frame.set_temperature_c is None]
    settled: dict[float, list[Frame]] = {}
    free: list[Frame] = []
    for frame in members:
        if frame.set_temperature_c is not None and _settled(frame, span_c):
            settled.setdefault(round(frame.set_temperature_c, 1), []).append(frame)
        elif frame.temperature_c is not None:
            free.append(frame)
    clusters = list(settled.values()) + _spans(free, span_c)
    # Without a temperature hot pixels part them all the same.
    placed = [frame for frame in unknown if place_c(frame) is not None]
    rest = [frame for frame in unknown if place_c(frame) is None]
    return clusters + _spans(placed, span_c) + ([rest] if rest else [])


def _sittings(members: list[Frame]) -> list[list[Frame]]:
    """Flats shot in one go: evening and morning flats of a night are apart, and so are those of two rotator angles."""
    sittings: list[list[Frame]] = []
    for frame in in_time_order(members):
        before = sittings[-1][-1] if sittings else None
        if before is None or _parted(before, frame):
            sittings.append([])
        sittings[-1].append(frame)
    return sittings


def _parted(before: Frame, after: Frame) -> bool:
    if before.rotator_deg is not None and after.rotator_deg is not None:
        turned_deg = abs((before.rotator_deg - after.rotator_deg + 180.0) % 360.0 - 180.0)
        if turned_deg > TURNED_DEG:
            return True
    if before.taken_at is None or after.taken_at is None:
        return before.taken_at is not after.taken_at
    return after.taken_at - before.taken_at > ONE_GO


def _settled(frame: Frame, span_c: float) -> bool:
    if frame.temperature_c is None or frame.set_temperature_c is None:
        return True
    return abs(frame.temperature_c - frame.set_temperature_c) <= min(span_c, SET_POINT_C) + 1e-9


def _spans(members: list[Frame], span_c: float) -> list[list[Frame]]:
    """Frames by temperature into spans of at most span_c, the span that holds most frames first.

    Most first, because a set is the better the more frames it has: frames shot while the camera was still cooling must
    not cut the long run that follows in two.
    """
    rest = sorted(members, key=lambda frame: (_warmth_c(frame), frame.id))
    spans = []
    while rest:
        values = [_warmth_c(frame) for frame in rest]
        best_from, best_to, to = 0, 0, 0
        for start, low_c in enumerate(values):
            while to < len(values) and values[to] <= low_c + span_c + 1e-9:
                to += 1
            if to - start > best_to - best_from:
                best_from, best_to = start, to
        spans.append(rest[best_from:best_to])
        rest = rest[:best_from] + rest[best_to:]
    return spans


def _warmth_c(frame: Frame) -> float:
    return frame.temperature_c if frame.temperature_c is not None else place_c(frame) or 0.0


def _label(cluster: Sequence[Frame]) -> str:
    """What tells a cluster from its neighbours, for use in an id.

    Of darks and biases the temperature, such as 5.3c, m10.0c, or tx where it is not known; of flats the time of the
    first one in UTC, such as 1930z, or undated.
    """
    if cluster[0].kind is Kind.FLAT:
        moment = cluster[0].taken_at
        return "undated" if moment is None else f"{moment.astimezone(UTC):%H%M}z"
    value = cluster[0].set_temperature_c
    if value is None or not _settled(cluster[0], 1.0):
        value = temperatures_of(frame.temperature_c for frame in cluster).median_c
    if value is None:
        return "tx"
    return f"{'m' if value < -0.05 else ''}{abs(value):.1f}c"


def _order(one: CalibrationSet) -> tuple[bool, float, str]:
    moment = one.frames[0].taken_at
    return (moment is None, moment.timestamp() if moment else 0.0, one.id)
