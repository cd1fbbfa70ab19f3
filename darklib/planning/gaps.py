"""What lights need and the library lacks: every purpose whose best choice is not good.

Counts of good sets are rules of thumb (common practice, no single source), settable under [counts].
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import date

from darklib.facts.frame import Kind
from darklib.facts.match import Match, TrainChange
from darklib.facts.plan import Gap, Interval
from darklib.facts.settings import Settings
from darklib.facts.train import plain_name
from darklib.facts.units import exposures_equal
from darklib.matching.verdicts import RANK, good_of
from darklib.planning.needs import Need, needs_of
from darklib.planning.reach import ReachOf
from darklib.planning.remedies import impossible, remedy_of

ROLE_KINDS = {"dark": Kind.DARK, "flat": Kind.FLAT, "bias": Kind.BIAS, "dark_flat": Kind.DARK}

ALIKE_C = 1.0
"""Needs whose temperatures lie this near are one gap: readings are no finer, and one set serves both as well."""


def gaps_of(
    matches: Sequence[Match],
    settings: Settings,
    *,
    train_changes: Iterable[TrainChange] = (),
    tonight: str | None = None,
    reach_of: ReachOf | None = None,
    to_come: Collection[str] = (),
) -> list[Gap]:
    """What lacks, the most hours of light first.

    train_changes: of all trains concerned; tonight: the night it is now, else the newest night among the matches. Both
    tell whether flats can still be shot: not when the train was changed since the lights, nor when another night of
    lights has passed since. reach_of: how far from the lights darks are still good; where not given, by simple limits.
    to_come: ids of batches that nobody has shot yet.
    """
    needs = [need for one in matches for need in needs_of(one, settings, reach_of)]
    now = tonight or max((one.batch.night for one in matches if one.batch.night is not None), default=None)
    changes = tuple(train_changes)
    gaps = [_told(_gap(group, settings, changes, now), to_come) for group in _together(needs)]
    return sorted(gaps, key=lambda gap: (-gap.lights_seconds, gap.kind.value, gap.batches))


def _told(gap: Gap, to_come: Collection[str]) -> Gap:
    """Which batches ask for it, without those that are not there yet."""
    real = tuple(batch for batch in gap.batches if batch not in to_come)
    return replace(gap, batches=real, expected=not real)


def _together(needs: list[Need]) -> list[list[Need]]:
    """Needs that one set of frames would serve, put together.

    Darks of one readout and exposure whose temperatures are alike; flats of one night, train and filter. Needs farther
    apart stay apart even where a temperature between would serve both: what is best then depends on everything else
    to be shot, and the plan decides it.
    """
    groups: list[list[Need]] = []
    for need in sorted(needs, key=lambda need: (need.interval.low_c if need.interval else 0.0, need.batch)):
        group = next((group for group in groups if _alike(group[0], need)), None)
        if group is None:
            groups.append([need])
        else:
            group.append(need)
    return groups


def _alike(a: Need, b: Need) -> bool:
    if a.role != b.role or a.readout.key != b.readout.key:
        return False
    if (a.body.id if a.body else None) != (b.body.id if b.body else None):
        return False
    if a.role == "flat":
        trains = (a.train.fingerprint if a.train else None, b.train.fingerprint if b.train else None)
        return trains[0] == trains[1] and plain_name(a.filter) == plain_name(b.filter) and a.night == b.night
    if (a.exposure_s is None) != (b.exposure_s is None):
        return False
    if a.exposure_s is not None and b.exposure_s is not None and not exposures_equal(a.exposure_s, b.exposure_s):
        return False
    if a.interval is None or b.interval is None:
        return a.interval is b.interval
    # A quarter of the width, so that half of it is left in common.
    near_c = min(ALIKE_C, (a.interval.high_c - a.interval.low_c) / 4)
    return abs(a.interval.low_c - b.interval.low_c) <= near_c and abs(a.interval.high_c - b.interval.high_c) <= near_c


def _gap(group: list[Need], settings: Settings, changes: tuple[TrainChange, ...], now: str | None) -> Gap:
    first = group[0]
    lights = {light.sha256: light for need in group for light in need.lights}
    interval = _common(group)
    need = good_of(first.role, settings)
    have = min(need, max(one.have for one in group))
    if all(one.enough for one in group):
        # What lacks is knowledge, not frames; shooting more would mend nothing.
        need = have
    gap = Gap(
        kind=ROLE_KINDS[first.role],
        role=first.role,
        body=first.body,
        readout=first.readout,
        exposure_s=first.exposure_s,
        filter=first.filter,
        train=first.train,
        lights_count=len(lights),
        lights_seconds=sum(light.exposure_s or 0.0 for light in lights.values()),
        batches=tuple(sorted({need.batch for need in group})),
        interval=interval,
        have=have,
        need=need,
        verdict_now=max((one.verdict for one in group), key=RANK.__getitem__),
        cooled=first.cooled,
        frame_bytes=max((light.size for light in lights.values()), default=None),
        dark_ratio=next((one.dark_ratio for one in group if one.dark_ratio is not None), None),
    )
    possible = _still_possible(gap, group, settings, changes, now)
    changed = gap.role == "flat" and _train_changed_since(gap, group, changes)
    return replace(gap, still_possible=possible, remedy=remedy_of(gap, possible=possible, train_changed=changed))


def _common(group: list[Need]) -> Interval | None:
    """The temperatures all needs share; best is where a set waits to be topped up, else what all like, else between."""
    intervals = [need.interval for need in group if need.interval is not None]
    if not intervals:
        return None
    low_c, high_c = max(one.low_c for one in intervals), min(one.high_c for one in intervals)
    most = max(group, key=lambda need: need.have)
    if most.have and most.interval is not None and low_c <= most.interval.shoot_at_c <= high_c:
        return Interval(low_c, high_c, most.interval.shoot_at_c)
    if len({one.shoot_at_c for one in intervals}) == 1:
        return Interval(low_c, high_c, intervals[0].shoot_at_c)
    between_c = (min(one.shoot_at_c for one in intervals) + max(one.shoot_at_c for one in intervals)) / 2
    return Interval(low_c, high_c, min(max(round(between_c, 2), low_c), high_c))


def _still_possible(
    gap: Gap, group: list[Need], settings: Settings, changes: tuple[TrainChange, ...], now: str | None
) -> bool:
    if gap.role == "flat":
        return not _train_changed_since(gap, group, changes) and not _passed(group[0].night, now)
    if impossible(gap):
        return False
    camera = settings.cameras.get(gap.body.id) if gap.body is not None else None
    if gap.interval is not None and camera is not None and camera.lowest_c is not None:
        return gap.interval.high_c >= camera.lowest_c
    return True


def _train_changed_since(gap: Gap, group: list[Need], changes: tuple[TrainChange, ...]) -> bool:
    if gap.train is None:
        return False
    moments = [light.taken_at for need in group for light in need.lights if light.taken_at is not None]
    if not moments:
        return False
    return any(change.fingerprint == gap.train.fingerprint and change.at > min(moments) for change in changes)


def _passed(night: str | None, now: str | None) -> bool:
    """Whether the morning after is over: the next night has begun and is over, too."""
    if night is None or now is None:
        return False
    return (date.fromisoformat(now) - date.fromisoformat(night)).days > 1
