"""The sets that may serve a target, fetched with few questions; and those that just miss."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from darklib.facts.frame import Frame
from darklib.facts.match import CalibrationSet, NearMiss, Reason, Series, Wanted
from darklib.facts.settings import Settings
from darklib.matching.odd import without_odd
from darklib.matching.rules import DOUBTED_AFTER, ENDED_BY, changes_between, hard_rule, rules_broken, unknowns
from darklib.matching.sets import NOT_PLAIN, merged, sets_of_series
from darklib.matching.stock import Remembered, Stock
from darklib.matching.target import Target, span_of_series
from darklib.matching.verdicts import good_of, least_of

LEAST_SERIES, MOST_SERIES = 6, 24
"""So many series of the best rank are looked at frame by frame; the rest lies farther off in every respect. Between
the two as many as hold a given number of frames: small series can only serve together."""

MOST_MISSES = 5

Rank = Callable[[Series], tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A set that breaks no hard rule. form, scale: how it would be used; unknown: what could not be checked, and
    doubts: what else keeps it from being good. biases: how many frames the bias of a scaled one comes from.
    notes: what is worth telling and changes no verdict.
    """

    set: CalibrationSet
    form: str = "exact"
    scale: float | None = None
    unknown: tuple[Reason, ...] = ()
    doubts: tuple[Reason, ...] = ()
    biases: int | None = None
    notes: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Pool:
    """What may serve and what just misses, the nearest first."""

    candidates: tuple[Candidate, ...]
    misses: tuple[NearMiss, ...]


def pool(
    stock: Stock,
    role: str,
    target: Target,
    wanted: Iterable[Wanted],
    rank: Rank,
    settings: Settings,
    *,
    most_frames: int,
) -> Pool:
    """The sets among what the questions `wanted` bring. rank: of a series, least first, before frames are looked at."""
    found = {series.id: series for question in wanted for series in stock.wanted(question)}
    passing: list[Series] = []
    failing: list[tuple[Series, str]] = []
    for series in found.values():
        failed = hard_rule(role, target, series) or _ended(stock, role, target, series)
        if failed is None:
            passing.append(series)
        else:
            failing.append((series, failed))
    passing.sort(key=lambda series: (bool(unknowns(role, target, series)), rank(series), series.id))
    failing.sort(key=lambda miss: (rules_broken(role, target, miss[0]), rank(miss[0]), miss[0].id))
    passing = _first(passing, most_frames)
    failing = _varied(failing)
    frames = stock.series_frames([series.id for series in passing] + [series.id for series, _ in failing])
    candidates: list[Candidate] = []
    misses: list[NearMiss] = []
    for series in passing:
        doubts = _doubts(stock, role, target, series)
        for one, kept, odd, notes in _sets(stock, series.id, frames.get(series.id, ()), settings):
            flaw = _flaw(one)
            if flaw is None:
                candidates.append(Candidate(kept, unknown=unknowns(role, target, kept), doubts=doubts, notes=notes))
                if odd is not None:
                    misses.append(NearMiss(odd, "odd_frame"))
            else:
                misses.append(NearMiss(one, flaw))
    for series, failed in failing:
        sets = _sets(stock, series.id, frames.get(series.id, ()), settings)
        misses += [NearMiss(one, failed) for one, *_ in sets]
    return Pool(tuple(candidates), tuple(misses[:MOST_MISSES]))


Parted = tuple[CalibrationSet, CalibrationSet, CalibrationSet | None, tuple[Reason, ...]]


def _sets(stock: Stock, name: str, members: tuple[Frame, ...], settings: Settings) -> list[Parted]:
    """The sets of a series: each as it is, without its odd frames, those by themselves, and what to tell of them.

    Batches of a night share most series, and looking for odd ones takes its time: parted once.
    """

    def parted() -> list[Parted]:
        return [(one, *without_odd(one)) for one in sets_of_series(name, members, settings)]

    return stock.parted(name, parted) if isinstance(stock, Remembered) else parted()


def _varied(failing: Sequence[tuple[Series, str]]) -> list[tuple[Series, str]]:
    """The nearest misses, the nearest of each reason before the second of any: more of one reason tell nothing new."""
    seen: Counter[str] = Counter()
    turns = []
    for place, (_, failed) in enumerate(failing):
        turns.append((seen[failed], place))
        seen[failed] += 1
    return [failing[place] for _, place in sorted(turns)[:MOST_MISSES]]


def _first(ranked: Sequence[Series], most_frames: int) -> list[Series]:
    taken: list[Series] = []
    frames = 0
    for series in ranked[:MOST_SERIES]:
        if frames >= most_frames and len(taken) >= LEAST_SERIES:
            break
        taken.append(series)
        frames += series.count
    return taken


def with_merged(
    candidates: Sequence[Candidate],
    role: str,
    settings: Settings,
    fit: Callable[[CalibrationSet, CalibrationSet], bool],
) -> tuple[Candidate, ...]:
    """The candidates and, for each that is too small by itself, what it makes together with others that `fit` it.

    Only sets that are too small themselves join, in the order given, until there are frames enough for a good set.
    """
    least, good = least_of(role, settings), good_of(role, settings)
    more: dict[frozenset[str], Candidate] = {}
    small = [one for one in candidates if one.set.count < least and one.set.frames[0].combined is None]
    for anchor in small:
        parts = [anchor]
        for other in small:
            if sum(part.set.count for part in parts) >= good:
                break
            if other is anchor or other.unknown != anchor.unknown:
                continue
            if all(fit(part.set, other.set) for part in parts):
                parts.append(other)
        names = frozenset(part.set.id for part in parts)
        if len(parts) > 1 and names not in more:
            doubts = tuple(dict.fromkeys(doubt.code for part in parts for doubt in part.doubts))
            more[names] = Candidate(
                merged([part.set for part in parts]),
                "merged",
                unknown=anchor.unknown,
                doubts=tuple(next(d for part in parts for d in part.doubts if d.code == code) for code in doubts),
            )
    return tuple(candidates) + tuple(more.values())


def one_temperature(span_c: float) -> Callable[[CalibrationSet, CalibrationSet], bool]:
    """Whether two sets of darks or biases are of one temperature: together they span no more than one set may."""

    def fit(a: CalibrationSet, b: CalibrationSet) -> bool:
        ends = (a.temperatures.min_c, a.temperatures.max_c, b.temperatures.min_c, b.temperatures.max_c)
        known = [end for end in ends if end is not None]
        return len(known) == len(ends) and max(known) - min(known) <= span_c + 1e-9

    return fit


def _ended(stock: Stock, role: str, target: Target, series: Series) -> str | None:
    if target.body is None:
        return None
    changes = stock.body_changes(target.body.id)
    between = changes_between(changes, ENDED_BY[role], span_of_series(series), target.span)
    return "body_changed" if between else None


def _doubts(stock: Stock, role: str, target: Target, series: Series) -> tuple[Reason, ...]:
    if target.body is None or not DOUBTED_AFTER[role]:
        return ()
    changes = stock.body_changes(target.body.id)
    if not changes_between(changes, DOUBTED_AFTER[role], span_of_series(series), target.span):
        return ()
    return (Reason("body_changed", "The camera's firmware was changed in between."),)


def _flaw(one: CalibrationSet) -> str | None:
    """Why the set cannot serve for its own sake, whatever the target."""
    first = one.frames[0]
    if first.in_camera_subtraction:
        return "in_camera_subtraction"
    for warning in first.warnings:
        if warning.code in NOT_PLAIN:
            return warning.code
    if first.combined is not None and first.combined.bias_removed is None:
        return "combined_unknown"
    return None
