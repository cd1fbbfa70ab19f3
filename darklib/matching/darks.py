"""Darks for lights: which set is best, how good it is, and which lights it is best for.

Where the sensor is measured each set has a price (`pricing`), and the cheapest is the best. Until then simple limits
hold: good within `limits.good_temperature_c` at equal exposure, usable within `limits.usable_temperature_c`. Every
answer that rests on them says so.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from darklib.facts.match import CalibrationSet, Choice, Reason, Recipe, Use, Verdict
from darklib.facts.settings import Settings
from darklib.facts.units import exposures_equal, same_series_exposure
from darklib.matching.pool import Candidate
from darklib.matching.pricing import Asked, Pricing, Worth, asked, reasons_of, worth
from darklib.matching.sets import frames_in
from darklib.matching.target import Target, age_days
from darklib.matching.verdicts import RANK, by_age, by_count, worst
from darklib.matching.warmth import by_hot_pixels, doublings_apart, with_ratio
from darklib.sensor.odd_frames import SET_POINT_C

READING_C = 0.5
"""Recorded temperatures are no finer than this: sets nearer to each other are of equal temperature when ranked."""

SHARE_SERVED = 0.9
"""Share of the lights that must lie within a limit, for the set to have its verdict; the rest are stragglers."""

MATTERS_FROM_S = {"dark": 1.0, "dark_flat": 30.0}
"""From which exposure the temperature matters. An uncooled sensor gathers an electron or two a second on a warm night:
below the reading noise within 1 s, and in 30 s under half a percent of a flat's 20,000 electrons (common practice, no
single source)."""

TIE_DITHERED, TIE_FIXED = 0.002, 0.02
"""Sets whose avoidable costs differ by less than such a share are equal; the newer and larger then is better."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A candidate with its verdict and its place in the order: the least key is the best. cap: the verdict if the
    temperature were right.
    """

    candidate: Candidate
    choice: Choice
    key: tuple[float | str, ...]
    cap: Verdict
    worth: Worth | None = None


def judge(role: str, target: Target, candidate: Candidate, settings: Settings, asking: Asked | None = None) -> Judged:
    """The verdict of one candidate for some lights (or flats), with reasons and its place in the order.

    asking: the target's lights, for the price of darks where the sensor is measured.
    """
    one = candidate.set
    count = frames_in(one)
    days = age_days(target.night, one.first_night, one.last_night)
    count_verdict, why_count = by_count(role, count, settings)
    age_verdict, why_age = by_age(role, days, settings)
    found = None
    if asking is not None and role == "dark":
        number = count if count is not None else settings.counts.darks_least
        own_c = temperature_of(one)
        found = worth(asking, one, own_c, number, settings, scale=candidate.scale, biases=candidate.biases)
    if asking is not None and found is not None:
        cap = worst(_by_number(count_verdict), age_verdict, _by_form(role, target, candidate, priced=True))
        return _priced(target, candidate, asking.pricing, found, cap, (days, count), (why_count, why_age), settings)
    by_temperature, mismatch_c, why_temperature = _by_temperature(role, target, one, settings)
    cap = worst(count_verdict, age_verdict, _by_form(role, target, candidate))
    choice = Choice(
        worst(by_temperature, cap),
        one,
        mismatch_c,
        days,
        use=Use.SCALE if candidate.scale is not None else Use.SUBTRACT if role == "dark" else Use.WITH_FLATS,
        recipe=Recipe(candidate.form, candidate.scale, candidate.form == "scaled" or bias_removed(one)),
        reasons=candidate.unknown
        + _why_form(role, target, candidate)
        + why_temperature
        + why_count
        + why_age
        + candidate.doubts
        + ((_assumed(settings),) if role == "dark" else ()),
    )
    step = math.inf if mismatch_c is None else float(round(abs(mismatch_c) / READING_C))
    if temperature_is_nothing(role, target):
        step = 0.0
    key = (
        float(bool(candidate.unknown)),
        # Where others have a price, what can't be priced comes after them.
        1.0,
        float(RANK[choice.verdict]),
        float(candidate.form == "scaled"),
        _exposure_step(role, target, one),
        step,
        # Too warm a dark takes off more than there is, which costs more than taking off less.
        float(step > 0 and mismatch_c is not None and mismatch_c > 0),
        float(candidate.form == "merged"),
        math.inf if days is None else float(days),
        # Of two sets equally far off, the one shot later.
        -float(date.fromisoformat(one.last_night).toordinal()) if one.last_night else 0.0,
        -float(count or 0),
        one.id,
    )
    return Judged(candidate, choice, key, cap)


def ranked(
    role: str, target: Target, candidates: Iterable[Candidate], settings: Settings, pricing: Pricing | None = None
) -> list[Judged]:
    """The candidates judged, the best first."""
    asking = asked(pricing, target, settings) if role == "dark" else None
    judged = sorted((judge(role, target, one, settings, asking) for one in candidates), key=lambda judged: judged.key)
    if role != "dark":
        return judged
    return [replace(one, choice=with_ratio(one.choice, target.frames, target.exposure_s)) for one in judged]


def _by_number(verdict: Verdict) -> Verdict:
    # What few frames cost is in the price; what an outlier among them does is not.
    return Verdict.GOOD if verdict is Verdict.GOOD else Verdict.USABLE


def _priced(
    target: Target,
    candidate: Candidate,
    pricing: Pricing,
    found: Worth,
    cap: Verdict,
    known: tuple[int | None, int | None],
    why: tuple[tuple[Reason, ...], tuple[Reason, ...]],
    settings: Settings,
) -> Judged:
    """The verdict of a candidate by its price. known: age in days and frames; why: reasons of count and age."""
    one, price = candidate.set, found.price
    days, count = known
    why_count, why_age = why
    own_c, lights_c = temperature_of(one), target.median_c
    mismatch_c = None if own_c is None or lights_c is None else round(own_c - lights_c, 2)
    notes = () if own_c is None else _notes(target, one, own_c)
    if any(reason.code == "temperature_unknown" for reason in notes):
        cap = worst(cap, Verdict.USABLE)
    choice = Choice(
        worst(found.verdict, cap),
        one,
        mismatch_c,
        days,
        use=Use.SCALE if candidate.scale is not None else Use.SUBTRACT,
        recipe=Recipe(candidate.form, candidate.scale, candidate.form == "scaled" or bias_removed(one)),
        time_cost_percent=_percent(price.fixed if pricing.fixed else price.dithered),
        time_cost_percent_fixed=_percent(price.fixed),
        time_cost_percent_dithered=_percent(price.dithered),
        lights_factor=_rounded(price.factor_fixed if pricing.fixed else price.factor_dithered),
        no_dark_cost_percent=_percent(found.none.fixed if pricing.fixed else found.none.dithered),
        hot_pixels_left_per_megapixel=round(price.hot_left_per_megapixel, 1),
        level_error_e=round(price.level_error_e, 3),
        flat_residual_percent=_percent(found.flat_residual),
        reasons=candidate.unknown
        + _why_form("dark", target, candidate, priced=True)
        + _why_warmer(target, one, mismatch_c)
        + notes
        + why_count
        + why_age
        + candidate.doubts
        + reasons_of(pricing, found, settings),
    )
    dithered = 0.0 if pricing.fixed else float(round(found.avoidable / TIE_DITHERED))
    # Where nobody knows whether the lights were dithered, sets that are equal if they were differ if they were not.
    fixed = 0.0 if pricing.pointing == "dithered" else float(round(price.fixed_with_hot / TIE_FIXED))
    key = (
        float(bool(candidate.unknown)),
        0.0,
        dithered,
        fixed,
        float(candidate.form == "scaled"),
        math.inf if days is None else float(days),
        -float(date.fromisoformat(one.last_night).toordinal()) if one.last_night else 0.0,
        -float(count or 0),
        one.id,
    )
    return Judged(candidate, choice, key, cap, found)


def _percent(share: float) -> float:
    return round(100.0 * share, 3)


def _rounded(factor: float | None) -> float | None:
    return None if factor is None else round(factor, 4)


def _why_warmer(target: Target, one: CalibrationSet, mismatch_c: float | None) -> tuple[Reason, ...]:
    """How far the temperatures are apart, where that can be told from a reading; what it costs is in the price."""
    own_c, lights_c = temperature_of(one), target.median_c
    if mismatch_c is None or own_c is None or lights_c is None or _as_shown(mismatch_c) <= READING_C:
        return ()
    return (_apart("lights", own_c, lights_c, mismatch_c),)


def _apart(served: str, own_c: float, lights_c: float, mismatch_c: float) -> Reason:
    side = "warmer" if mismatch_c > 0 else "colder"
    text = f"The darks are {abs(mismatch_c):.1f} C {side} than the {served} ({own_c:.1f} against {lights_c:.1f} C)."
    figures = {"temperature_mismatch_c": mismatch_c, "darks_c": own_c, f"{served}_c": lights_c}
    return Reason("temperature_mismatch", text, figures)


def bias_removed(one: CalibrationSet) -> bool:
    """Whether the set no longer contains its bias."""
    combined = one.frames[0].combined
    return combined is not None and combined.bias_removed is True


def temperature_of(one: CalibrationSet) -> float | None:
    """Temperature of a set, degrees C: the median of what was recorded, else the cooler's set-point."""
    return one.temperatures.median_c if one.temperatures.median_c is not None else one.set_temperature_c


def verdict_at(difference_c: float, settings: Settings) -> Verdict:
    """The simple limits: verdict of a dark that many degrees from a light."""
    off_c = _as_shown(difference_c)
    if off_c <= settings.limits.good_temperature_c + 1e-9:
        return Verdict.GOOD
    if off_c <= settings.limits.usable_temperature_c + 1e-9:
        return Verdict.USABLE
    return Verdict.POOR


def _as_shown(difference_c: float) -> float:
    # Tenths, as the reasons tell it: "5.0 C warmer" is not within 5.0 C once and beyond it another time.
    return round(round(abs(difference_c), 2), 1)


def _by_temperature(
    role: str, target: Target, one: CalibrationSet, settings: Settings
) -> tuple[Verdict, float | None, tuple[Reason, ...]]:
    """Verdict by temperature, dark minus light in degrees C, and reasons."""
    own_c, lights_c = temperature_of(one), target.median_c
    mismatch_c = None if own_c is None or lights_c is None else round(own_c - lights_c, 2)
    if temperature_is_nothing(role, target):
        return Verdict.GOOD, mismatch_c, ()
    served = "lights" if role == "dark" else "flats"
    if own_c is None or lights_c is None or mismatch_c is None:
        apart = doublings_apart(target.frames, one.frames)
        if apart is not None:
            mismatch_c, why = by_hot_pixels(apart, served)
            return verdict_at(mismatch_c, settings), mismatch_c, why
        sides = [side for side, value in ((f"the {served}", lights_c), ("the darks", own_c)) if value is None]
        return (
            Verdict.POOR,
            None,
            (Reason("temperature_unknown", f"The temperature of {' and '.join(sides)} is not known."),),
        )
    notes = _notes(target, one, own_c)
    ranks = sorted(RANK[verdict_at(own_c - value_c, settings)] for value_c in target.temperatures_c)
    rank = max(ranks[math.ceil(SHARE_SERVED * len(ranks)) - 1], RANK[verdict_at(mismatch_c, settings)])
    verdict = (Verdict.GOOD, Verdict.USABLE, Verdict.POOR)[rank]
    if any(note.code == "temperature_unknown" for note in notes):
        verdict = worst(verdict, Verdict.USABLE)
    if rank == 0:
        return verdict, mismatch_c, notes
    if _as_shown(mismatch_c) > settings.limits.good_temperature_c + 1e-9:
        return verdict, mismatch_c, (_apart(served, own_c, lights_c, mismatch_c), *notes)
    low_c, high_c = min(target.temperatures_c), max(target.temperatures_c)
    text = f"The {served} drift from {low_c:.1f} to {high_c:.1f} C, further than darks of {own_c:.1f} C serve well."
    figures = {"temperature_mismatch_c": mismatch_c, "darks_c": own_c, f"{served}_c": lights_c}
    return verdict, mismatch_c, (Reason("temperature_mismatch", text, figures), *notes)


def _notes(target: Target, one: CalibrationSet, own_c: float) -> tuple[Reason, ...]:
    """What is odd about the temperatures, whatever they are."""
    if one.temperatures.median_c is None or target.only_set_points:
        text = "Only the cooler's set-point is known, not what temperature was reached."
        return (Reason("temperature_unknown", text, {"set_temperature_c": own_c}),)
    if one.set_temperature_c is not None and abs(own_c - one.set_temperature_c) > SET_POINT_C + 1e-9:
        text = f"The darks were shot at {own_c:.1f} C, before the cooler had reached its {one.set_temperature_c:.1f} C."
        return (Reason("not_at_set_point", text, {"darks_c": own_c, "set_temperature_c": one.set_temperature_c}),)
    return ()


def temperature_is_nothing(role: str, target: Target) -> bool:
    """Whether the exposure is too short for the temperature to matter; a bias has no exposure to speak of."""
    if role == "bias":
        return True
    return target.exposure_s is not None and target.exposure_s < MATTERS_FROM_S[role]


def _by_form(role: str, target: Target, candidate: Candidate, *, priced: bool = False) -> Verdict:
    if candidate.scale is not None and not priced:
        # Until the sensor is measured nobody knows whether it is linear and what scaling costs.
        return Verdict.POOR
    exposures_known = role == "bias" or (target.exposure_s is not None and candidate.set.exposure_s is not None)
    if candidate.unknown or candidate.doubts or not exposures_known:
        return Verdict.USABLE
    return Verdict.GOOD


def _why_form(role: str, target: Target, candidate: Candidate, *, priced: bool = False) -> tuple[Reason, ...]:
    lights_s, own_s, scale = target.exposure_s, candidate.set.exposure_s, candidate.scale
    if role == "bias":
        return ()
    if lights_s is None or own_s is None:
        return (Reason("exposure_mismatch", "The exposure of one side is not known."),)
    if scale is None:
        return ()
    apart = Reason(
        "exposure_mismatch",
        f"The darks were exposed {own_s:g} s, the lights {lights_s:g} s.",
        {"darks_s": own_s, "lights_s": lights_s},
    )
    text = f"Without their bias they have to be multiplied by {scale:.3g}, and the bias taken off the lights as well"
    text += "." if priced else "; how well that works is not known before the sensor is measured."
    scaled = Reason("scaled", text, {"scale": scale})
    return (scaled,) if exposures_equal(own_s, lights_s) else (apart, scaled)


def _assumed(settings: Settings) -> Reason:
    good_c, usable_c = settings.limits.good_temperature_c, settings.limits.usable_temperature_c
    return Reason(
        "assumed_sensor",
        f"The sensor is not measured yet, so simple limits are used: within {good_c:.1f} C at equal exposure is good, "
        f"within {usable_c:.1f} C usable. `darklib sensor` measures it from the library's own frames.",
        {"good_temperature_c": good_c, "usable_temperature_c": usable_c},
    )


def _exposure_step(role: str, target: Target, one: CalibrationSet) -> float:
    """How far off an exposure is: 0 for one setting of the shutter, 0.5 for an equal one, else tenths of an octave."""
    if role == "bias" or target.exposure_s is None or one.exposure_s is None:
        return 0.0
    if same_series_exposure(target.exposure_s, one.exposure_s):
        return 0.0
    if exposures_equal(target.exposure_s, one.exposure_s) or not target.exposure_s or not one.exposure_s:
        return 0.5
    return float(round(abs(math.log2(target.exposure_s / one.exposure_s)) * 10))
