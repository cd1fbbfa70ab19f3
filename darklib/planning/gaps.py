"""What lights need and the library lacks: every purpose whose best choice is not good.

Counts of good sets are rules of thumb (common practice, no single source), settable under [counts].
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from darklib.facts.frame import BodyRef, Frame, Kind, Readout
from darklib.facts.match import Batch, CalibrationSet, Choice, Match, TrainChange, Use, Verdict
from darklib.facts.plan import Gap, Interval
from darklib.facts.settings import Settings
from darklib.facts.train import TrainRef, plain_name
from darklib.facts.units import exposures_equal
from darklib.matching.darks import MATTERS_FROM_S
from darklib.matching.sets import frames_in
from darklib.matching.verdicts import RANK, good_of

ROLE_KINDS = {"dark": Kind.DARK, "flat": Kind.FLAT, "bias": Kind.BIAS, "dark_flat": Kind.DARK}

ALIKE_C = 1.0
"""Needs whose temperatures lie this near are one gap: readings are no finer, and one set serves both as well."""


@dataclass(frozen=True, slots=True)
class Need:
    """What the lights of one match lack for one role, before needs that one set would serve are put together."""

    role: str
    body: BodyRef | None
    readout: Readout
    exposure_s: float | None
    filter: str | None
    train: TrainRef | None
    lights: tuple[Frame, ...]
    batch: str
    night: str | None
    interval: Interval | None
    have: int
    verdict: Verdict
    cooled: bool | None


def gaps_of(
    matches: Sequence[Match],
    settings: Settings,
    *,
    train_changes: Iterable[TrainChange] = (),
    tonight: str | None = None,
) -> list[Gap]:
    """What lacks, the most hours of light first.

    train_changes: of all trains concerned; tonight: the night it is now, else the newest night among the matches. Both
    tell whether flats can still be shot: not when the train was changed since the lights, nor when another night of
    lights has passed since.
    """
    needs = [need for one in matches for need in _needs(one, settings)]
    now = tonight or max((one.batch.night for one in matches if one.batch.night is not None), default=None)
    changes = tuple(train_changes)
    gaps = [_gap(group, settings, changes, now) for group in _together(needs)]
    return sorted(gaps, key=lambda gap: (-gap.lights_seconds, gap.kind.value, gap.batches))


def _needs(one: Match, settings: Settings) -> list[Need]:
    needs = []
    if _lacks(one.darks):
        needs += _dark_needs(one, one.darks, settings)
    if _lacks(one.flats):
        needs.append(_flat_need(one, settings))
    if _lacks(one.dark_flats):
        # Biases may stand in the dark flats' place; then it is biases of the flats' readout that lack.
        in_place = one.dark_flats.set is not None and one.dark_flats.set.kind is Kind.BIAS
        needs.append(_need_of_flats("bias" if in_place else "dark_flat", one, one.dark_flats, settings))
    if _lacks(one.biases):
        if _for_lights(one):
            needs.append(_bias_need(one, settings))
        elif one.biases.use is not Use.SUBTRACT and one.dark_flats.verdict is not Verdict.MISSING:
            needs.append(_need_of_flats("bias", one, one.biases, settings))
    return needs


def _lacks(choice: Choice) -> bool:
    return choice.verdict not in (Verdict.GOOD, Verdict.NOT_NEEDED)


def _for_lights(one: Match) -> bool:
    """Whether the lights themselves need biases even when all else is shot: their dark has none of its own.

    Biases for a scaled dark, or in place of a missing one, are not needed any more once the exact darks are shot.
    """
    recipe = one.darks.recipe
    return recipe is not None and recipe.needs_bias and recipe.form != "scaled"


def _dark_needs(one: Match, choice: Choice, settings: Settings) -> list[Need]:
    """One need for each run of temperatures that a single set can serve well."""
    reach_c = settings.limits.good_temperature_c
    known = [light for light in one.lights if _temperature(light) is not None]
    unknown = tuple(light for light in one.lights if _temperature(light) is None)
    groups: list[tuple[Interval | None, tuple[Frame, ...]]] = []
    for group in _stabbed(_lacking(known, choice, settings), reach_c):
        values_c = [_temperature(light) or 0.0 for light in group]
        low_c, high_c = round(max(values_c) - reach_c, 2), round(min(values_c) + reach_c, 2)
        interval = Interval(low_c, high_c, round((low_c + high_c) / 2, 2))
        if _have(one.batch, choice, one.batch.exposure_s, interval) and choice.set is not None:
            # What is there is topped up, which only frames of its own temperature can do.
            interval = replace(interval, shoot_at_c=choice.set.temperatures.median_c or 0.0)
        groups.append((interval, group))
    if unknown and not groups:
        groups.append((None, unknown))
    return [
        Need(
            role="dark",
            body=one.batch.body,
            readout=one.batch.readout,
            exposure_s=one.batch.exposure_s,
            filter=None,
            train=None,
            lights=lights,
            batch=one.batch.id,
            night=one.batch.night,
            interval=interval,
            have=_have(one.batch, choice, one.batch.exposure_s, interval),
            verdict=choice.verdict,
            cooled=_cooled(one.batch.body, lights, settings),
        )
        for interval, lights in groups
    ]


def _lacking(lights: list[Frame], choice: Choice, settings: Settings) -> list[Frame]:
    """The lights the choice does not serve well: all, unless only the temperature of some speaks against it."""
    codes = {reason.code for reason in choice.reasons} - {"assumed_sensor", "temperature_mismatch"}
    if choice.set is None or codes or choice.set.temperatures.median_c is None:
        return lights
    own_c, reach_c = choice.set.temperatures.median_c, settings.limits.good_temperature_c
    far = [light for light in lights if abs((_temperature(light) or 0.0) - own_c) > reach_c + 1e-9]
    return far or lights


def _stabbed(lights: list[Frame], reach_c: float) -> list[tuple[Frame, ...]]:
    """Lights in as few groups as possible of which each spans no more than twice the reach of a dark.

    Interval stabbing: from the coldest light up, a group ends where its coldest light would no longer be served. Of the
    divisions into that many groups one with the narrowest groups is taken, which leaves most room for each temperature.
    """
    ordered = sorted(lights, key=lambda light: (_temperature(light) or 0.0, light.id))
    groups = _within(ordered, 2 * reach_c)
    narrow_c, wide_c = 0.0, 2 * reach_c
    while wide_c - narrow_c > 0.01:
        middle_c = (narrow_c + wide_c) / 2
        tried = _within(ordered, middle_c)
        if len(tried) > len(groups):
            narrow_c = middle_c
        else:
            wide_c, groups = middle_c, tried
    return [tuple(group) for group in groups]


def _within(ordered: list[Frame], width_c: float) -> list[list[Frame]]:
    groups: list[list[Frame]] = []
    floor_c = float("-inf")
    for light in ordered:
        value_c = _temperature(light) or 0.0
        if value_c - floor_c > width_c + 1e-9:
            groups.append([])
            floor_c = value_c
        groups[-1].append(light)
    return groups


def _flat_need(one: Match, settings: Settings) -> Need:
    batch = one.batch
    return Need(
        role="flat",
        body=batch.body,
        readout=batch.readout,
        exposure_s=None,
        filter=batch.filter,
        train=batch.train,
        lights=one.lights,
        batch=batch.id,
        night=batch.night,
        interval=None,
        have=_have(batch, one.flats, None, None) if _own_night(one.flats) else 0,
        verdict=one.flats.verdict,
        cooled=_cooled(batch.body, one.lights, settings),
    )


def _bias_need(one: Match, settings: Settings) -> Need:
    batch = one.batch
    have = _have(batch, one.biases, None, None)
    cooled = _cooled(batch.body, one.lights, settings)
    return _plain_need("bias", batch, one, None, None, have, one.biases.verdict, cooled)


def _need_of_flats(role: str, one: Match, choice: Choice, settings: Settings) -> Need:
    """What the chosen flats lack; of the flats' readout and, for dark flats, their exposure."""
    flats: Batch | CalibrationSet = one.flats.set if one.flats.set is not None else one.batch
    interval, exposure_s = None, None
    if role == "dark_flat":
        exposure_s = flats.exposure_s
        interval = _around(flats, settings)
    have = _have(flats, choice, exposure_s, interval)
    cooled = _cooled(flats.body, one.lights, settings)
    return _plain_need(role, flats, one, exposure_s, interval, have, choice.verdict, cooled)


def _plain_need(
    role: str,
    served: Batch | CalibrationSet,
    one: Match,
    exposure_s: float | None,
    interval: Interval | None,
    have: int,
    verdict: Verdict,
    cooled: bool | None,
) -> Need:
    return Need(
        role=role,
        body=served.body,
        readout=served.readout,
        exposure_s=exposure_s,
        filter=None,
        train=None,
        lights=one.lights,
        batch=one.batch.id,
        night=one.batch.night,
        interval=interval,
        have=have,
        verdict=verdict,
        cooled=cooled,
    )


def _around(flats: Batch | CalibrationSet, settings: Settings) -> Interval | None:
    """Temperatures for dark flats: any, unless the flats are so long that it matters."""
    middle_c = flats.temperatures.median_c
    if middle_c is None or flats.exposure_s is None or flats.exposure_s < MATTERS_FROM_S["dark_flat"]:
        return None
    reach_c = settings.limits.good_temperature_c
    return Interval(round(middle_c - reach_c, 2), round(middle_c + reach_c, 2), middle_c)


def _own_night(choice: Choice) -> bool:
    return not any(reason.code in ("other_night", "train_changed", "rotated") for reason in choice.reasons)


def _have(served: Batch | CalibrationSet, choice: Choice, exposure_s: float | None, interval: Interval | None) -> int:
    """Frames that exist and count: of a set that is right but for its number."""
    one = choice.set
    if one is None or choice.recipe is None or choice.recipe.form == "scaled":
        return 0
    for reason in choice.reasons:
        if reason.code in ("aged", "body_changed", "over_exposed"):
            return 0
        # Where the frames to be served tell as little, new frames would fit no better than these.
        if reason.code in OWN and not OWN[reason.code](served):
            return 0
    if exposure_s is not None and (one.exposure_s is None or not exposures_equal(exposure_s, one.exposure_s)):
        return 0
    if interval is not None:
        own_c = one.temperatures.median_c
        if own_c is None or not interval.low_c - 1e-9 <= own_c <= interval.high_c + 1e-9:
            return 0
    return frames_in(one) or 0


OWN: dict[str, Callable[[Batch | CalibrationSet], bool]] = {
    "body_unknown": lambda served: served.body is None,
    "gain_unknown": lambda served: served.readout.gain is None and served.readout.iso is None,
    "offset_unknown": lambda served: served.readout.offset is None,
    "readout_unknown": lambda served: False,
    "train_unknown": lambda served: served.train is None,
    "filter_unknown": lambda served: served.filter is None,
}
"""By code of what is not known: whether it is the served frames themselves that don't tell."""


def _temperature(light: Frame) -> float | None:
    return light.temperature_c if light.temperature_c is not None else light.set_temperature_c


def _cooled(body: BodyRef | None, lights: tuple[Frame, ...], settings: Settings) -> bool | None:
    stated = settings.cameras.get(body.id) if body is not None else None
    if stated is not None and stated.cooled is not None:
        return stated.cooled
    return True if any(light.set_temperature_c is not None for light in lights) else None


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
        have=min(need, max(one.have for one in group)),
        need=need,
        verdict_now=max((one.verdict for one in group), key=RANK.__getitem__),
        cooled=first.cooled,
    )
    return replace(gap, still_possible=_still_possible(gap, group, settings, changes, now))


def _common(group: list[Need]) -> Interval | None:
    """The temperatures all needs share; best is their middle, or where a set waits to be topped up."""
    intervals = [need.interval for need in group if need.interval is not None]
    if not intervals:
        return None
    low_c, high_c = max(one.low_c for one in intervals), min(one.high_c for one in intervals)
    most = max(group, key=lambda need: need.have)
    if most.have and most.interval is not None and low_c <= most.interval.shoot_at_c <= high_c:
        return Interval(low_c, high_c, most.interval.shoot_at_c)
    return Interval(low_c, high_c, round((low_c + high_c) / 2, 2))


def _still_possible(
    gap: Gap, group: list[Need], settings: Settings, changes: tuple[TrainChange, ...], now: str | None
) -> bool:
    if gap.role == "flat":
        return not _train_changed_since(gap, group, changes) and not _passed(group[0].night, now)
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
