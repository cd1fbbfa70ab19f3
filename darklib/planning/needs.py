"""What the lights of one match lack, before needs that one set would serve are put together."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from darklib.facts.frame import BodyRef, DarkRatio, Frame, Kind, Readout
from darklib.facts.match import Batch, CalibrationSet, Choice, Match, Use, Verdict
from darklib.facts.plan import Interval
from darklib.facts.settings import Settings
from darklib.facts.train import TrainRef
from darklib.facts.units import exposures_equal
from darklib.matching.darks import MATTERS_FROM_S
from darklib.matching.sets import frames_in
from darklib.matching.verdicts import least_of
from darklib.planning.reach import Reach, ReachOf, by_limits

TELLING_NOTHING = frozenset({"assumed_sensor", "other_readout", "not_at_set_point", "pointing_unknown", "sky_unknown"})
"""Reasons that do not speak against a set."""

OF_THE_TEMPERATURE = frozenset(
    {
        "assumed_sensor",
        "temperature_mismatch",
        "pointing_unknown",
        "sky_unknown",
        "hot_pixels_left",
        "level_left",
        "cannot_be_won_back",
        "worse_than_none",
    }
)
"""Reasons that darks of the lights' own temperature do away with, or that say nothing against a set."""


@dataclass(frozen=True, slots=True)
class Need:
    """Frames of one role that some lights of one match lack.

    enough: frames are there, and only what the lights don't tell speaks against them: no new ones would be better.
    dark_ratio: of lights whose temperature is not known, the middle one of how strong their hot pixels are.
    """

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
    enough: bool
    verdict: Verdict
    cooled: bool | None
    dark_ratio: DarkRatio | None = None


def needs_of(one: Match, settings: Settings, reach_of: ReachOf | None = None) -> list[Need]:
    """What the lights of one match lack, role by role; of darks one need for each temperature.

    reach_of: how far from the lights darks are still good; by the simple limits where not given.
    """
    needs = []
    if _lacks(one.darks):
        needs += _dark_needs(one, one.darks, settings, (reach_of or by_limits(settings))(one))
    if _lacks(one.flats):
        needs.append(_flat_need(one, settings))
    if _lacks(one.dark_flats):
        # Biases may stand in the dark flats' place; then it is biases of the flats' readout that lack.
        in_place = one.dark_flats.set is not None and one.dark_flats.set.kind is Kind.BIAS
        needs.append(_need_of_flats("bias" if in_place else "dark_flat", one, one.dark_flats, settings))
    if _lacks(one.biases):
        if _for_lights(one):
            needs.append(_need("bias", one.batch, one, one.biases, settings))
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


def _dark_needs(one: Match, choice: Choice, settings: Settings, reach: Reach) -> list[Need]:
    """One need for each run of temperatures that a single set can serve well."""
    known = [light for light in one.lights if _temperature(light) is not None]
    unknown = tuple(light for light in one.lights if _temperature(light) is None)
    groups: list[tuple[Interval | None, tuple[Frame, ...]]] = []
    for group in _stabbed(_lacking(known, choice, reach), reach):
        values_c = [_temperature(light) or 0.0 for light in group]
        low_c, high_c = round(reach(max(values_c))[0], 2), round(reach(min(values_c))[1], 2)
        interval = Interval(low_c, high_c, _best_c(group, low_c, high_c))
        if _have(one.batch, choice, one.batch.exposure_s, interval) and choice.set is not None:
            # What is there is topped up, which only frames of its own temperature can do.
            interval = replace(interval, shoot_at_c=choice.set.temperatures.median_c or 0.0)
        groups.append((interval, group))
    if unknown and not groups:
        groups.append((None, unknown))
    exposure_s = one.batch.exposure_s
    need = replace(_need("dark", one.batch, one, choice, settings), exposure_s=exposure_s)
    return [
        replace(
            need,
            lights=lights,
            interval=interval,
            have=_have(one.batch, choice, exposure_s, interval),
            dark_ratio=_middle_ratio(lights) if interval is None else None,
        )
        for interval, lights in groups
    ]


def _middle_ratio(lights: tuple[Frame, ...]) -> DarkRatio | None:
    """The middle dark ratio of some lights, of those measured against the set that most were measured against."""
    ratios = [light.dark_ratio for light in lights if light.dark_ratio is not None]
    if not ratios:
        return None
    against = [one.against for one in ratios]
    usual = max(sorted(set(against)), key=against.count)
    of_it = sorted((one for one in ratios if one.against == usual), key=lambda one: one.value)
    return of_it[len(of_it) // 2]


def _best_c(lights: tuple[Frame, ...], low_c: float, high_c: float) -> float:
    """Where to shoot for some lights: at the set-point they share, else in the middle of them, which costs least."""
    set_points = {light.set_temperature_c for light in lights}
    if len(set_points) == 1:
        (set_point,) = set_points
        if set_point is not None and low_c <= set_point <= high_c:
            return set_point
    values_c = [_temperature(light) or 0.0 for light in lights]
    return min(max(round((min(values_c) + max(values_c)) / 2, 2), low_c), high_c)


def _lacking(lights: list[Frame], choice: Choice, reach: Reach) -> list[Frame]:
    """The lights the choice does not serve well: all, unless only the temperature of some speaks against it."""
    codes = {reason.code for reason in choice.reasons} - OF_THE_TEMPERATURE
    if choice.set is None or codes or choice.set.temperatures.median_c is None:
        return lights
    own_c = choice.set.temperatures.median_c
    far = []
    for light in lights:
        low_c, high_c = reach(_temperature(light) or 0.0)
        if not low_c - 1e-9 <= own_c <= high_c + 1e-9:
            far.append(light)
    return far or lights


def _stabbed(lights: list[Frame], reach: Reach) -> list[tuple[Frame, ...]]:
    """Lights in as few groups as possible, each of which one temperature serves.

    Interval stabbing: from the coldest light up, a group ends where no dark would serve its coldest light as well. Of
    the divisions into that many groups one that leaves most room for each temperature is taken.
    """
    ordered = sorted(lights, key=lambda light: (_temperature(light) or 0.0, light.id))
    bounds = [reach(_temperature(light) or 0.0) for light in ordered]
    groups = _within(ordered, bounds, 0.0)
    least_c, most_c = 0.0, max((high_c - low_c for low_c, high_c in bounds), default=0.0)
    while most_c - least_c > 0.01:
        middle_c = (least_c + most_c) / 2
        tried = _within(ordered, bounds, middle_c)
        if len(tried) > len(groups):
            most_c = middle_c
        else:
            least_c, groups = middle_c, tried
    return [tuple(group) for group in groups]


def _within(ordered: list[Frame], bounds: list[tuple[float, float]], room_c: float) -> list[list[Frame]]:
    """Groups whose lights are served by so many degrees in common."""
    groups: list[list[Frame]] = []
    ceiling_c = float("-inf")
    for light, (low_c, high_c) in zip(ordered, bounds, strict=True):
        if ceiling_c - low_c < room_c - 1e-9:
            groups.append([])
            ceiling_c = high_c
        groups[-1].append(light)
    return groups


def _flat_need(one: Match, settings: Settings) -> Need:
    need = _need("flat", one.batch, one, one.flats, settings)
    have = need.have if _own_night(one.flats) else 0
    return replace(need, filter=one.batch.filter, train=one.batch.train, have=have)


def _need_of_flats(role: str, one: Match, choice: Choice, settings: Settings) -> Need:
    """What the chosen flats lack; of the flats' readout and, for dark flats, their exposure."""
    flats: Batch | CalibrationSet = one.flats.set if one.flats.set is not None else one.batch
    need = _need(role, flats, one, choice, settings)
    if role != "dark_flat":
        return need
    interval = _around(flats, settings)
    have = _have(flats, choice, flats.exposure_s, interval)
    return replace(need, exposure_s=flats.exposure_s, interval=interval, have=have)


def _need(role: str, served: Batch | CalibrationSet, one: Match, choice: Choice, settings: Settings) -> Need:
    """A need of what is served (a batch or its flats), of no particular exposure, temperature or train."""
    return Need(
        role=role,
        body=served.body,
        readout=served.readout,
        exposure_s=None,
        filter=None,
        train=None,
        lights=one.lights,
        batch=one.batch.id,
        night=one.batch.night,
        interval=None,
        have=_have(served, choice, None, None),
        enough=_enough(role, served, choice, settings),
        verdict=choice.verdict,
        cooled=_cooled(served.body, one.lights, settings),
    )


def _around(flats: Batch | CalibrationSet, settings: Settings) -> Interval | None:
    """Temperatures for dark flats: any, unless the flats are so long that it matters."""
    middle_c = flats.temperatures.median_c
    if middle_c is None or flats.exposure_s is None or flats.exposure_s < MATTERS_FROM_S["dark_flat"]:
        return None
    reach_c = settings.limits.good_temperature_c
    return Interval(round(middle_c - reach_c, 2), round(middle_c + reach_c, 2), middle_c)


def _own_night(choice: Choice) -> bool:
    return not any(
        reason.code in ("other_night", "train_changed", "rotated", "focus_moved") for reason in choice.reasons
    )


def _have(served: Batch | CalibrationSet, choice: Choice, exposure_s: float | None, interval: Interval | None) -> int:
    """Frames that exist and count: of a set that is right but for its number."""
    one = choice.set
    if one is None or choice.recipe is None or choice.recipe.form == "scaled":
        return 0
    for reason in choice.reasons:
        if reason.code in ("aged", "body_changed", "over_exposed"):
            return 0
        # What only the frames at hand don't tell, new frames would.
        if reason.code in OWN and not OWN[reason.code](served):
            return 0
    if exposure_s is not None and (one.exposure_s is None or not exposures_equal(exposure_s, one.exposure_s)):
        return 0
    if interval is not None:
        own_c = one.temperatures.median_c
        if own_c is None or not interval.low_c - 1e-9 <= own_c <= interval.high_c + 1e-9:
            return 0
    return frames_in(one) or 0


def _enough(role: str, served: Batch | CalibrationSet, choice: Choice, settings: Settings) -> bool:
    """Whether there are frames enough, and only what the served frames don't tell keeps them from being good."""
    if choice.set is None or (frames_in(choice.set) or 0) < least_of(role, settings):
        return False
    codes = {reason.code for reason in choice.reasons} - TELLING_NOTHING
    return bool(codes) and all(code in OWN and OWN[code](served) for code in codes)


OWN: dict[str, Callable[[Batch | CalibrationSet], bool]] = {
    "body_unknown": lambda served: served.body is None,
    "gain_unknown": lambda served: served.readout.gain is None and served.readout.iso is None,
    "offset_unknown": lambda served: served.readout.offset is None,
    "readout_unknown": lambda served: False,
    "temperature_unknown": lambda served: served.temperatures.median_c is None,
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
