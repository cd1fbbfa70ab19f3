"""One body in one readout: where its darks and lights lie on the scale of doublings, and how warm the sensor was."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from darklib.catalogue.findings import Finding, Inference, inputs_hash
from darklib.catalogue.inferences import HotOutcome, HotRow
from darklib.facts.frame import DarkRatio, Kind
from darklib.facts.resolve import inferred_counts
from darklib.facts.sensor import Value
from darklib.jobs.hot_evidence import fetched
from darklib.jobs.library import Opened
from darklib.sensor.reference import Reference, combined
from darklib.sensor.thermometer import (
    ASSUMED_DOUBLING_C,
    Law,
    Place,
    Ratio,
    dark_ratio,
    doublings,
    laid_out,
    law_of,
    relative,
    trend,
)

VERSION = 1
RATIO, SCALE = "dark_ratio", "dark_scale"

MOST_COMBINED = 24
"""Frames of a set that are combined, spread evenly over it: more tell no more."""

NEARER = 0.25
"""A frame is measured anew where another set lies nearer by so many doublings."""

SAME_C, SAME_RATIO = 0.005, 1e-6


GAP = 0.2
"""Darks of one series that lie further apart, in doublings, are sets of their own: more than a degree."""


@dataclass(slots=True)
class _Set:
    """Darks of one series that were equally warm. key: the series, and which of its sets. hash: of what it is made of;
    place: on the scale; fresh: not as it was last time.
    """

    key: str
    exposure_s: float
    rows: list[HotRow]
    hash: str
    place: Place | None = None
    fresh: bool = True

    @property
    def series(self) -> str:
        return self.key.partition("#")[0]


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a frame lies: its dark ratio, the set it was measured against, and its doublings from that."""

    ratio: DarkRatio
    key: str
    doublings: float
    error: float


class BodyScale:
    """Works out one group of frames. Afterwards: outcomes, made, finding, lacking, remarks."""

    def __init__(
        self,
        opened: Opened,
        subject: str,
        rows: Sequence[HotRow],
        kept: Mapping[str, Inference],
        before: Finding | None,
    ) -> None:
        self._opened, self._subject, self._rows, self._kept, self._before = opened, subject, rows, kept, before
        self._sets: dict[str, _Set] = {}
        self._set_of: dict[str, str] = {}
        self._references: dict[str, Reference | None] = {}
        self._spots: dict[str, Spot] = {}
        self._hashes: dict[str, str] = {}
        self._counts = dict.fromkeys(Kind, 0)
        self.outcomes: list[HotOutcome] = []
        self.made: list[Inference] = []
        self.finding: Finding | None = None
        self.remarks: list[str] = []
        self.lacking = self.lost = 0

    def work_out(self) -> None:
        """Everything, in order: the sets, the frames against them, the law, the temperatures."""
        self._place_sets()
        self._measure_frames()
        law = self._law()
        self._outcomes(law)
        self._keep_scale(law)
        self._tell_trends(law)

    def count(self, kind: Kind) -> int:
        """Frames of a kind that get a temperature other by a tenth of a degree or more, or one at last."""
        return self._counts[kind]

    # the sets

    def _place_sets(self) -> None:
        before = self._before.result["series"] if self._before else {}
        darks: dict[str, list[HotRow]] = defaultdict(list)
        for row in self._rows:
            if row.kind is Kind.DARK and not row.retired and row.plain:
                darks[row.series].append(row)
        for series, members in darks.items():
            self._hashes[series] = _hash(members)
            old = before.get(series)
            if old is not None and old["hash"] == self._hashes[series]:
                by_sha = {row.sha256[:16]: row for row in members}
                for one in old["sets"]:
                    rows = [by_sha[sha] for sha in one["frames"]]
                    place = None if one["doublings"] is None else Place(one["doublings"], one["error"])
                    self._add(_Set(one["key"], _exposure(rows), rows, _hash(rows), place, fresh=False))
            else:
                for one in self._parted(series, members):
                    self._add(one)
        if set(before) == set(darks) and not any(one.fresh for one in self._sets.values()):
            return
        sets = [one for one in self._sets.values() if self._reference(one) is not None]
        places = laid_out([reference for one in sets if (reference := self._reference(one)) is not None])
        for one in self._sets.values():
            one.place = None
        for one, place in zip(sets, places, strict=True):
            one.place = place

    def _add(self, one: _Set) -> None:
        self._sets[one.key] = one
        self._set_of.update((row.sha256, one.key) for row in one.rows)

    def _parted(self, series: str, members: Sequence[HotRow]) -> list[_Set]:
        """The sets of a series: darks shot at several temperatures in one night lie apart on its own scale."""
        by_sha = {row.sha256: row for row in members}
        shown = {sha256: hot for sha256, hot in fetched(self._opened, by_sha) if hot is not None}
        step = max(1, -(-len(shown) // MOST_COMBINED))
        whole = combined(list(shown.values())[::step], _exposure(members)) if shown else None
        at = []
        for sha256, hot in shown.items():
            ratio = None if whole is None else dark_ratio(hot, whole)
            if ratio is not None:
                at.append((float(np.log2(ratio.value)), sha256))
        if not at:
            return [_Set(series, _exposure(members), list(members), _hash(members))]
        at.sort()
        parts: list[list[HotRow]] = []
        for place, (doubling, sha256) in enumerate(at):
            if place == 0 or doubling - at[place - 1][0] > GAP:
                parts.append([])
            parts[-1].append(by_sha[sha256])
        sets = []
        for number, part in enumerate(parts, start=1):
            part.sort(key=lambda row: (row.taken_at is None, row.taken_at, row.sha256))
            key = series if len(parts) == 1 else f"{series}#{number}"
            sets.append(_Set(key, _exposure(part), part, _hash(part)))
        return sets

    def _reference(self, one: _Set) -> Reference | None:
        if one.key not in self._references:
            step = max(1, -(-len(one.rows) // MOST_COMBINED))
            shas = [row.sha256 for row in one.rows[::step]]
            evidence = [hot for _, hot in fetched(self._opened, shas) if hot is not None]
            self._references[one.key] = combined(evidence, one.exposure_s)
        return self._references[one.key]

    # the frames

    def _measure_frames(self) -> None:
        again = []
        for row in self._rows:
            kept = self._kept.get(row.sha256)
            spot = self._still_holds(row)
            if spot is not None:
                self._spots[row.sha256] = spot
            elif kept is None or kept.value is not None or kept.inputs_hash != self._none_hash(row):
                again.append(row)
        by_sha = {row.sha256: row for row in again}
        # Without a set that has its place there is nothing to measure against, and no evidence to fetch.
        if not any(one.place is not None for one in self._sets.values()):
            return
        for sha256, hot in fetched(self._opened, by_sha):
            if hot is None:
                self.lacking += 1
                continue
            row = by_sha[sha256]
            found = self._nearest(row, hot)
            if found is None:
                self._remember(row, None)
                continue
            one, ratio = found
            spot = Spot(
                DarkRatio(ratio.value, ratio.error, one.series),
                one.key,
                doublings(ratio.value, one.exposure_s, row.exposure_s),
                relative(ratio),
            )
            self._spots[sha256] = spot
            self._remember(row, (one, ratio, spot))

    def _still_holds(self, row: HotRow) -> Spot | None:
        """The place of a frame as it was worked out before, where its set is as it was and none lies nearer now."""
        kept = self._kept.get(row.sha256)
        if kept is None or kept.value is None:
            return None
        one = self._sets.get(kept.value["against"])
        if one is None or one.place is None or kept.inputs_hash != _frame_hash(row, one):
            return None
        away = abs(kept.value["doublings"])
        here = one.place.doublings + kept.value["doublings"]
        for other in self._sets.values():
            if other.fresh and other.place is not None and abs(other.place.doublings - here) < away - NEARER:
                return None
        ratio = DarkRatio(kept.value["value"], kept.error or 0.0, one.series)
        return Spot(ratio, one.key, kept.value["doublings"], kept.value["error"])

    def _nearest(self, row: HotRow, hot: Any) -> tuple[_Set, Ratio] | None:
        """The set nearest to a frame and its ratio to it: a dark's own set, else by way of the one with most pixels."""
        placed = [one for one in self._sets.values() if one.place is not None]
        if row.sha256 in self._set_of:
            own = self._sets[self._set_of[row.sha256]]
            ratio = self._ratio(hot, own)
            return None if ratio is None else (own, ratio)
        placed.sort(key=_at)
        base = min(placed, key=lambda one: abs(_at(one)))
        # The first set shows most; what is too far from it for that may be near the coldest or the warmest.
        for one in dict.fromkeys((base.key, placed[0].key, placed[-1].key)):
            ratio = self._ratio(hot, self._sets[one])
            if ratio is None:
                continue
            here = _at(self._sets[one]) + doublings(ratio.value, self._sets[one].exposure_s, row.exposure_s)
            nearest = min(placed, key=lambda other: abs(_at(other) - here))
            better = None if nearest.key == one else self._ratio(hot, nearest)
            return (self._sets[one], ratio) if better is None else (nearest, better)
        return None

    def _ratio(self, hot: Any, one: _Set) -> Ratio | None:
        reference = self._reference(one)
        return None if reference is None else dark_ratio(hot, reference)

    def _none_hash(self, row: HotRow) -> str:
        """Of all that a frame was compared with that could tell nothing of it."""
        return inputs_hash((f"{row.exposure_s:.6f}", *(one.hash for one in self._sets.values())))

    def _remember(self, row: HotRow, found: tuple[_Set, Ratio, Spot] | None) -> None:
        if found is None:
            self.made.append(Inference(row.sha256, RATIO, None, None, self._none_hash(row), VERSION))
            return
        one, ratio, spot = found
        value = {
            "value": ratio.value,
            "against": one.key,
            "doublings": spot.doublings,
            "error": spot.error,
            "pixels": ratio.used,
            "found": ratio.found,
        }
        self.made.append(Inference(row.sha256, RATIO, value, ratio.error, _frame_hash(row, one), VERSION))

    # degrees

    def _law(self) -> Law | None:
        """The law by the sets whose temperature was told; where there is none, by lights whose temperature was."""
        known = []
        for one in self._sets.values():
            if one.place is not None:
                level = self._told(one.rows, one.key)
                if level is not None:
                    one.place = Place(one.place.doublings, one.place.error, level.value, level.error or 0.0)
                    known.append(one.place)
        if not known:
            lights: dict[str, list[HotRow]] = defaultdict(list)
            for row in self._rows:
                if row.kind is Kind.LIGHT and row.sha256 in self._spots:
                    lights[self._spots[row.sha256].key].append(row)
            for key, rows in lights.items():
                level = self._told(rows, key)
                place = self._sets[key].place
                if level is not None and place is not None:
                    known.append(Place(place.doublings, place.error, level.value, level.error or 0.0))
        return law_of(known)

    def _told(self, rows: Sequence[HotRow], key: str) -> Value | None:
        """How warm a set was by what was told of some frames; each one's own warmth against the set's is taken off."""
        told = [row for row in rows if row.temperature_c is not None and not inferred_counts(row.temperature_from)]
        if not told:
            return None
        spots = [self._spots.get(row.sha256) for row in told]
        away = [0.0 if spot is None or spot.key != key else spot.doublings for spot in spots]
        degree = ASSUMED_DOUBLING_C.value
        levels = [(row.temperature_c or 0.0) - degree * one for row, one in zip(told, away, strict=True)]
        # A recorded temperature is rounded: its error is the half-width of where the truth lies.
        rounding = float(np.median([row.temperature_error_c or 0.5 for row in told])) / 3**0.5
        spread = float(np.std(levels)) / len(levels) ** 0.5
        far = (ASSUMED_DOUBLING_C.error or 0.0) * abs(float(np.median(away)))
        return Value(float(np.median(levels)), float(np.sqrt(rounding**2 + spread**2 + far**2)))

    def _outcomes(self, law: Law | None) -> None:
        rows = [row for row in self._rows if row.sha256 in self._spots]
        temperatures: dict[str, tuple[float, float]] = {}
        if law is not None and rows:
            spots = [self._spots[row.sha256] for row in rows]
            x = np.array([_at(self._sets[spot.key]) + spot.doublings for spot in spots])
            told, error = law.temperature(x, np.array([spot.error for spot in spots]))
            temperatures = {
                row.sha256: (round(float(t), 2), max(round(float(e), 2), 0.01))
                for row, t, e in zip(rows, told, error, strict=True)
            }
        for row in self._rows:
            spot = self._spots.get(row.sha256)
            ratio = None if spot is None else spot.ratio
            free = inferred_counts(row.temperature_from)
            told_c, error_c = temperatures.get(row.sha256, (None, None)) if free else (None, None)
            same = not free or (_same(row.temperature_c, told_c) and _same(row.temperature_error_c, error_c))
            if same and _same_ratio(row.dark_ratio, ratio):
                continue
            self.outcomes.append(HotOutcome(row.sha256, ratio, told_c, error_c, keep_temperature=same))
            if not same and told_c is None:
                self.lost += 1
            elif not same and not _close(row.temperature_c, told_c):
                self._counts[row.kind] += 1

    # what is kept, and told

    def _keep_scale(self, law: Law | None) -> None:
        series: dict[str, Any] = {key: {"hash": hashed, "sets": []} for key, hashed in self._hashes.items()}
        for one in self._sets.values():
            series[one.series]["sets"].append(
                {
                    "key": one.key,
                    "frames": [row.sha256[:16] for row in one.rows],
                    "exposure_s": one.exposure_s,
                    "doublings": None if one.place is None else one.place.doublings,
                    "error": None if one.place is None else one.place.error,
                    "temperature_c": None if one.place is None else one.place.temperature_c,
                }
            )
        result: dict[str, Any] = {"series": series, "doubling_c": None, "doubling_error_c": None, "assumed": None}
        if law is not None:
            result["doubling_c"] = law.doubling_c.value
            result["doubling_error_c"] = law.doubling_c.error
            result["assumed"] = law.assumed
        if self._before is None or self._before.result != result:
            made_of = inputs_hash(self._hashes.values())
            self.finding = Finding(SCALE, self._subject, made_of, VERSION, result, self._opened.seam.now())

    def _tell_trends(self, law: Law | None) -> None:
        """Sets of darks shot while the camera was still warming up or cooling down: told when they are new."""
        degrees = law.doubling_c.value if law is not None else ASSUMED_DOUBLING_C.value
        for one in self._sets.values():
            dated = [row for row in one.rows if row.taken_at is not None and row.sha256 in self._spots]
            if not one.fresh or len(dated) < 6:
                continue
            spots = [self._spots[row.sha256] for row in dated]
            found = trend(
                [row.taken_at.timestamp() for row in dated if row.taken_at is not None],
                [spot.doublings for spot in spots],
                [spot.error for spot in spots],
            )
            if found is not None:
                way = "warmed up" if found.change > 0 else "cooled down"
                self.remarks.append(
                    f"The camera {way} by {abs(found.change) * degrees:.1f} C while the darks {one.series} were shot."
                )


def _at(one: _Set) -> float:
    return 0.0 if one.place is None else one.place.doublings


def _exposure(rows: Sequence[HotRow]) -> float:
    return float(np.median([row.exposure_s for row in rows]))


def _hash(rows: Sequence[HotRow]) -> str:
    return inputs_hash([f"{_exposure(rows):.6f}", *(row.sha256 for row in rows)])


def _frame_hash(row: HotRow, one: _Set) -> str:
    return inputs_hash((one.hash, f"{row.exposure_s:.6f}"))


def _same(a: float | None, b: float | None) -> bool:
    return a is b or (a is not None and b is not None and abs(a - b) < SAME_C)


def _close(a: float | None, b: float | None) -> bool:
    return a is b or (a is not None and b is not None and abs(a - b) < 0.1)


def _same_ratio(a: DarkRatio | None, b: DarkRatio | None) -> bool:
    if a is None or b is None:
        return a is b
    return a.against == b.against and abs(a.value - b.value) <= SAME_RATIO * a.value
