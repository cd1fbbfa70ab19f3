"""Flats for lights: by train and filter, and by the night to which a set of flats belongs.

Flats belong to the night of lights on their train that ends nearest to them: shot the morning after, or at half past
one in the afternoon, they are that night's; shot at dusk shortly before the first light they are the coming night's. A
meridian flip changes nothing: the mount turns the train as a whole, and neither the side of the pier nor a position
angle on the sky is looked at here.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from statistics import median

from darklib.facts.frame import Frame, Kind
from darklib.facts.match import CalibrationSet, Choice, Reason, Recipe, Series, TrainChange, Verdict, Wanted
from darklib.facts.settings import Settings
from darklib.facts.train import plain_name
from darklib.matching.darks import Judged
from darklib.matching.outcome import chosen
from darklib.matching.pool import Candidate, Pool, pool, with_merged
from darklib.matching.sets import ONE_GO, TURNED_DEG, frames_in
from darklib.matching.stock import Stock
from darklib.matching.target import Span, Target, age_days, nights_apart, span_of
from darklib.matching.verdicts import RANK, by_age, by_count, worst

DUSK = timedelta(hours=3)
"""Flats this short before the first light were shot at dusk for the night that follows (common practice)."""

STILL_ON = timedelta(hours=18)
"""How long after a night's last light (or before its first) flats still count as that night's own: the next evening
somebody takes the train for other work (common practice, no single source)."""

_DAY, _REACH = timedelta(days=1), timedelta(days=4)

FOCUS_STEPS = 500.0
"""A focuser moved by more steps may have changed the size of the shadows; steps are a few micrometres (value from
memory)."""

SATURATED = 0.01
"""A flat with more than this share of saturated pixels was exposed too long: hot pixels alone are far fewer."""


def choose_flats(stock: Stock, lights: Target, settings: Settings) -> Choice:
    """The flats that serve a batch best."""
    found = flat_pool(stock, lights, settings)
    nights = nights_on_train(stock, lights)
    changes = stock.train_changes(lights.train.fingerprint) if lights.train else ()
    candidates = with_merged(found.candidates, "flat", settings, _one_night(nights))
    judged = sorted((judge(lights, one, nights, changes, settings) for one in candidates), key=lambda one: one.key)
    return chosen(judged, found)


def flat_pool(stock: Stock, lights: Target, settings: Settings) -> Pool:
    """Sets of flats that break no hard rule, and those that just miss."""
    body = lights.body.id if lights.body else None
    train = lights.train.fingerprint if lights.train else None
    questions = [
        Wanted(Kind.FLAT, body, train=train, filter=lights.filter, near=lights.near, limit=80),
        Wanted(Kind.FLAT, body, train=train, near=lights.near, limit=80),
        Wanted(Kind.FLAT, body, near=lights.near, limit=20),
        Wanted(Kind.FLAT, None, near=lights.near, limit=20),
    ]

    def rank(series: Series) -> tuple[float, ...]:
        days = nights_apart(lights.night, series.night)
        # A set of the evening before and one of the morning after stand in neighbouring nights.
        return (math.inf if days is None else float(max(0, days - 1)), -float(series.count))

    return pool(stock, "flat", lights, dict.fromkeys(questions), rank, settings, most_frames=160)


def nights_on_train(stock: Stock, lights: Target) -> dict[str, Span]:
    """From first to last light of each night on the lights' train and body, the lights' own night included."""
    nights: dict[str, Span] = {}
    if lights.train is not None:
        for series in stock.light_series(lights.train.fingerprint, lights.body.id if lights.body else None):
            if series.night is not None and series.first_at is not None and series.last_at is not None:
                nights[series.night] = _both(nights.get(series.night), (series.first_at, series.last_at))
    if lights.night is not None and lights.span is not None:
        nights[lights.night] = _both(nights.get(lights.night), lights.span)
    return nights


def nights_served(flats: Span, nights: Mapping[str, Span]) -> frozenset[str]:
    """The nights whose own flats these are: that whose lights end nearest, and always that of the morning before.

    Mostly that is one night. Shot in the afternoon between two short nights flats are nearest to the end of the next,
    and still are what was shot after the last one. None, where no lights lie near enough in time.
    """
    distances = []
    nights = _about(flats, nights)
    for night, (first, last) in nights.items():
        apart = max(flats[0] - last, first - flats[1], timedelta(0))
        # Before its first light a night counts from its end: the morning's flats are not the next night's.
        before = first - flats[1] > DUSK
        distances.append((last - flats[1] if before else apart, apart, night))
    served = set()
    if distances:
        _, apart, night = min(distances)
        if apart <= STILL_ON:
            served.add(night)
    at_dusk = any(timedelta(0) <= first - flats[1] <= DUSK for first, _ in nights.values())
    ended = [(last, night) for night, (_, last) in nights.items() if last < flats[0]]
    if ended and not at_dusk:
        last, night = max(ended)
        if flats[0] - last <= STILL_ON:
            served.add(night)
    return frozenset(served)


def _about(flats: Span, nights: Mapping[str, Span]) -> dict[str, Span]:
    """The nights that can play a part: a night lasts a day at most and bears its date, whatever the time zone."""
    day = flats[0].date() - _REACH
    found = {}
    while day <= flats[1].date() + _REACH:
        name = day.isoformat()
        if name in nights:
            found[name] = nights[name]
        day += _DAY
    return found


def judge(
    lights: Target,
    candidate: Candidate,
    nights: Mapping[str, Span],
    changes: Sequence[TrainChange],
    settings: Settings,
) -> Judged:
    """The verdict of one set of flats, with reasons and its place in the order. changes: of the lights' train."""
    one = candidate.set
    span = span_of(one.frames)
    days = age_days(lights.night, one.first_night, one.last_night)
    own = span is not None and lights.night is not None and lights.night in nights_served(span, nights)
    if own:
        # The morning after a night is the next date, but no day older.
        days = 0
    count_verdict, why_count = by_count("flat", frames_in(one), settings)
    age_verdict, why_age = by_age("flat", days, settings)
    stale_verdict, why_stale = _staleness(lights, one, span, changes)
    level_verdict, why_level = _level(one)
    verdict = worst(count_verdict, age_verdict, stale_verdict, level_verdict)
    if candidate.unknown or candidate.doubts or not own:
        verdict = worst(verdict, Verdict.USABLE)
    same_readout = _same_readout(lights, one)
    reasons = candidate.unknown + why_stale
    if not own:
        reasons += (_other_night(lights, one),)
    reasons += why_age + why_level + why_count + candidate.doubts
    if not same_readout:
        text = "The flats were shot at another gain, ISO or offset than the lights; flats may be."
        reasons += (Reason("other_readout", text),)
    choice = Choice(
        verdict,
        one,
        age_days=days,
        recipe=Recipe(candidate.form),
        stale=bool(why_stale or why_age),
        reasons=reasons,
    )
    key = (
        float(bool(candidate.unknown)),
        float(RANK[verdict]),
        float(choice.stale),
        float(not own),
        math.inf if days is None else float(days),
        float(candidate.form == "merged"),
        _half_days(span, lights.span),
        float(not same_readout),
        -float(date.fromisoformat(one.last_night).toordinal()) if one.last_night else 0.0,
        -float(frames_in(one) or 0),
        one.id,
    )
    return Judged(candidate, choice, key, verdict)


def _staleness(
    lights: Target, one: CalibrationSet, span: Span | None, changes: Sequence[TrainChange]
) -> tuple[Verdict, tuple[Reason, ...]]:
    """What happened to the train between flats and lights, the strongest first."""
    verdict = Verdict.GOOD
    reasons: list[Reason] = []
    if span is not None and lights.span is not None:
        low, high = min(span[0], lights.span[0]), max(span[1], lights.span[1])
        between = [change for change in changes if low < change.at < high]
        if between:
            note = f": {between[-1].note}" if between[-1].note else ""
            text = f"The train was changed on {between[-1].at:%Y-%m-%d}, between flats and lights{note}."
            reasons.append(Reason("train_changed", text, {"changes": len(between)}))
            verdict = Verdict.POOR
    turned_deg = _turned_deg(_known("rotator_deg", lights.frames), _known("rotator_deg", one.frames))
    if turned_deg is not None and turned_deg > TURNED_DEG:
        text = f"The camera was turned by {turned_deg:.1f} degrees between flats and lights."
        reasons.append(Reason("rotated", text, {"turned_deg": round(turned_deg, 3)}))
        verdict = Verdict.POOR
    here, there = _known("focuser_position", lights.frames), _known("focuser_position", one.frames)
    if here and there:
        moved = abs(median(here) - median(there))
        if moved > FOCUS_STEPS:
            text = f"The focuser moved by {moved:.0f} steps between flats and lights."
            reasons.append(Reason("focus_moved", text, {"moved_steps": moved}))
            verdict = worst(verdict, Verdict.USABLE)
    return verdict, tuple(reasons)


def _level(one: CalibrationSet) -> tuple[Verdict, tuple[Reason, ...]]:
    shares = _known("saturated_fraction", one.frames)
    if not shares or median(shares) <= SATURATED:
        return Verdict.GOOD, ()
    share = float(median(shares))
    text = f"{100 * share:.0f} percent of the flats' pixels are saturated; expose shorter."
    return (Verdict.POOR if share > 0.5 else Verdict.USABLE), (
        Reason("over_exposed", text, {"saturated_fraction": share}),
    )


def _other_night(lights: Target, one: CalibrationSet) -> Reason:
    if lights.night is None or one.first_night is None:
        return Reason("other_night", "It is not known for which night the flats were shot.")
    apart = nights_apart(lights.night, one.first_night) or 0
    if apart == 0:
        return Reason("other_night", "The flats belong to lights of another night.", {"nights_apart": 0})
    nights = "1 night" if apart == 1 else f"{apart} nights"
    when = "earlier" if one.first_night < lights.night else "later"
    return Reason("other_night", f"The flats were shot {nights} {when} than the lights.", {"nights_apart": apart})


def _turned_deg(a: Sequence[float], b: Sequence[float]) -> float | None:
    """How far two middle angles are apart, 0 to 180 degrees."""
    if not a or not b:
        return None
    return abs((_middle_deg(a) - _middle_deg(b) + 180.0) % 360.0 - 180.0)


def _middle_deg(angles_deg: Sequence[float]) -> float:
    """Median of angles that lie together, whichever side of 0 degrees they are on."""
    first = angles_deg[0]
    return first + float(median((angle - first + 180.0) % 360.0 - 180.0 for angle in angles_deg))


def _known(name: str, frames: Sequence[Frame]) -> list[float]:
    return [value for frame in frames if (value := getattr(frame, name)) is not None]


def _same_readout(lights: Target, one: CalibrationSet) -> bool:
    a, b = lights.readout, one.readout
    return (a.gain, a.iso, a.offset, a.readout_mode) == (b.gain, b.iso, b.offset, b.readout_mode)


def _one_night(nights: Mapping[str, Span]) -> Callable[[CalibrationSet, CalibrationSet], bool]:
    """Whether two sets of flats are one but for their exposure, as flats shot in a changing twilight are."""

    def fit(a: CalibrationSet, b: CalibrationSet) -> bool:
        span_a, span_b = span_of(a.frames), span_of(b.frames)
        if span_a is None or span_b is None or a.readout.key != b.readout.key or a.train != b.train:
            return False
        if plain_name(a.filter) != plain_name(b.filter):
            return False
        # Evening and morning flats of a night are not combined: something may have moved during the night.
        apart = max(span_a[0], span_b[0]) - min(span_a[1], span_b[1])
        return nights_served(span_a, nights) == nights_served(span_b, nights) and apart <= ONE_GO

    return fit


def _half_days(a: Span | None, b: Span | None) -> float:
    if a is None or b is None:
        return math.inf
    return float(max(a[0] - b[1], b[0] - a[1], timedelta(0)) // timedelta(hours=12))


def _both(a: Span | None, b: Span) -> Span:
    return b if a is None else (min(a[0], b[0]), max(a[1], b[1]))
