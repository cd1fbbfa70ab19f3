"""One body in one readout: where its darks and lights lie on the scale of doublings, and how warm the sensor was."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from darklib.catalogue.findings import Finding, Inference, inputs_hash
from darklib.catalogue.inferences import IDENTITY, RATIO, SCALE, HotOutcome, HotRow
from darklib.facts.frame import DarkRatio, Kind
from darklib.facts.resolve import inferred_counts
from darklib.facts.sensor import Value
from darklib.jobs.contradictions import contradictions
from darklib.jobs.dark_sets import DarkSet, DarkSets
from darklib.jobs.hot_evidence import fetched
from darklib.jobs.library import Opened
from darklib.sensor.identity import Sameness
from darklib.sensor.thermometer import (
    ASSUMED_DOUBLING_C,
    Law,
    Place,
    Ratio,
    doublings,
    law_of,
    relative,
    trend,
)

VERSION = 1

NEARER = 0.25
"""A frame is measured anew where another set lies nearer by so many doublings."""

SAME_C, SAME_RATIO = 0.005, 1e-6


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
        doubted: Mapping[str, Inference],
    ) -> None:
        self._doubted = doubted
        self._opened, self._subject, self._rows, self._kept, self._before = opened, subject, rows, kept, before
        self._darks = DarkSets(opened, rows, before)
        self._spots: dict[str, Spot] = {}
        self._strangers: dict[Sameness, list[HotRow]] = defaultdict(list)
        self._counts = dict.fromkeys(Kind, 0)
        self.outcomes: list[HotOutcome] = []
        self.made: list[Inference] = []
        self.finding: Finding | None = None
        self.remarks = self._darks.remarks
        self.lacking = self.lost = self.measured = 0

    def work_out(self) -> None:
        """Everything, in order: the sets, the frames against them, the law, the temperatures."""
        self._measure_frames()
        law = self._law()
        temperatures = self._temperatures(law)
        self._outcomes(temperatures)
        self._keep_scale(law)
        made, remarks = contradictions(self._rows, temperatures, self._doubted)
        self.made += made
        self.remarks += remarks
        self._tell_trends(law)
        self._tell_strangers()

    def count(self, kind: Kind) -> int:
        """Frames of a kind that get a temperature other by a tenth of a degree or more, or one at last."""
        return self._counts[kind]

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
        if not self._darks.placed:
            return
        for sha256, hot in fetched(self._opened, by_sha):
            row = by_sha[sha256]
            if hot is None:
                self._without_evidence(row)
                continue
            found = self._nearest(row, hot)
            if found is None:
                self._remember(row, None)
                self._whose(row, hot)
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
        one = self._darks.by_key.get(kept.value["against"])
        if one is None or one.place is None or kept.inputs_hash != _frame_hash(row, one):
            return None
        away = abs(kept.value["doublings"])
        here = one.place.doublings + kept.value["doublings"]
        for other in self._darks.by_key.values():
            if other.fresh and other.place is not None and abs(other.place.doublings - here) < away - NEARER:
                return None
        ratio = DarkRatio(kept.value["value"], kept.error or 0.0, one.series)
        return Spot(ratio, one.key, kept.value["doublings"], kept.value["error"])

    def _without_evidence(self, row: HotRow) -> None:
        """A frame whose evidence is gone stays where it was, as long as the darks it was measured against are there."""
        value = kept.value if (kept := self._kept.get(row.sha256)) is not None else None
        one = self._darks.by_key.get(value["against"]) if value is not None else None
        if kept is None or value is None or one is None or one.place is None:
            self.lacking += 1
            return
        ratio = DarkRatio(value["value"], kept.error or 0.0, one.series)
        self._spots[row.sha256] = Spot(ratio, one.key, value["doublings"], value["error"])

    def _nearest(self, row: HotRow, hot: Any) -> tuple[DarkSet, Ratio] | None:
        """The set nearest to a frame and its ratio to it: a dark's own set, else by way of the one with most pixels."""
        placed = self._darks.placed
        if row.sha256 in self._darks.set_of:
            own = self._darks.by_key[self._darks.set_of[row.sha256]]
            ratio = self._darks.ratio(hot, own)
            return None if ratio is None else (own, ratio)
        base = min(placed, key=lambda one: abs(one.at))
        # The first set shows most; what is too far from it for that may be near the coldest or the warmest.
        for one in dict.fromkeys((base.key, placed[0].key, placed[-1].key)):
            ratio = self._darks.ratio(hot, self._darks.by_key[one])
            if ratio is None:
                continue
            here = self._darks.by_key[one].at + doublings(
                ratio.value, self._darks.by_key[one].exposure_s, row.exposure_s
            )
            nearest = min(placed, key=lambda other: abs(other.at - here))
            better = None if nearest.key == one else self._darks.ratio(hot, nearest)
            return (self._darks.by_key[one], ratio) if better is None else (nearest, better)
        return None

    def _whose(self, row: HotRow, hot: Any) -> None:
        verdict = self._darks.whose(hot, row.exposure_s)
        if verdict in (Sameness.OTHER, Sameness.TURNED, Sameness.CROPPED):
            self._strangers[verdict].append(row)
            self.made.append(Inference(row.sha256, IDENTITY, verdict.value, None, self._none_hash(row), VERSION))

    def _none_hash(self, row: HotRow) -> str:
        """Of all that a frame was compared with that could tell nothing of it."""
        return inputs_hash((f"{row.exposure_s:.6f}", *(one.hash for one in self._darks.by_key.values())))

    def _remember(self, row: HotRow, found: tuple[DarkSet, Ratio, Spot] | None) -> None:
        if found is None:
            self.made.append(Inference(row.sha256, RATIO, None, None, self._none_hash(row), VERSION))
            return
        self.measured += 1
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
        for one in self._darks.by_key.values():
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
                place = self._darks.by_key[key].place
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

    def _temperatures(self, law: Law | None) -> dict[str, tuple[float, float]]:
        """By frame, the temperature its hot pixels tell, and its error."""
        rows = [row for row in self._rows if row.sha256 in self._spots]
        temperatures: dict[str, tuple[float, float]] = {}
        if law is not None and rows:
            spots = [self._spots[row.sha256] for row in rows]
            x = np.array([self._darks.by_key[spot.key].at + spot.doublings for spot in spots])
            told, error = law.temperature(x, np.array([spot.error for spot in spots]))
            temperatures = {
                row.sha256: (round(float(t), 2), max(round(float(e), 2), 0.01))
                for row, t, e in zip(rows, told, error, strict=True)
            }
        return temperatures

    def _outcomes(self, temperatures: Mapping[str, tuple[float, float]]) -> None:
        for row in self._rows:
            spot = self._spots.get(row.sha256)
            ratio = None
            if spot is not None:
                at = self._darks.by_key[spot.key].at + spot.doublings
                ratio = replace(spot.ratio, doublings=round(at, 4))
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
        series: dict[str, Any] = {key: {"hash": hashed, "sets": []} for key, hashed in self._darks.hashes.items()}
        for one in self._darks.by_key.values():
            series[one.series]["sets"].append(
                {
                    "key": one.key,
                    "frames": sorted(row.sha256[:16] for row in one.rows),
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
            made_of = inputs_hash(self._darks.hashes.values())
            self.finding = Finding(SCALE, self._subject, made_of, VERSION, result, self._opened.seam.now())

    def _tell_strangers(self) -> None:
        """Frames that do not show the hot pixels of their camera's darks: told when they are looked at first."""
        camera = self._subject.partition("\n")[0]
        for verdict, rows in self._strangers.items():
            many = (
                f"{len(rows)} frames of {camera} ({rows[0].sha256[:16]} and others)"
                if len(rows) > 1
                else (f"Frame {rows[0].sha256[:16]} of {camera}")
            )
            if verdict is Sameness.OTHER:
                show = "show" if len(rows) > 1 else "shows"
                self.remarks.append(
                    f"{many} {show} none of the hot pixels of its darks: another camera of that model "
                    "(`darklib amend ID --body`), or its pixels were remapped (`darklib bodies changed`)."
                )
            else:
                how = "flipped" if verdict is Sameness.TURNED else "another crop"
                self.remarks.append(
                    f"{many}: by the hot pixels {how} against its darks, which cannot serve as they are."
                )

    def _tell_trends(self, law: Law | None) -> None:
        """Sets of darks shot while the camera was still warming up or cooling down: told when they are new."""
        degrees = law.doubling_c.value if law is not None else ASSUMED_DOUBLING_C.value
        for one in self._darks.by_key.values():
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


def _frame_hash(row: HotRow, one: DarkSet) -> str:
    return inputs_hash((one.hash, f"{row.exposure_s:.6f}"))


def _same(a: float | None, b: float | None) -> bool:
    return a is b or (a is not None and b is not None and abs(a - b) < SAME_C)


def _close(a: float | None, b: float | None) -> bool:
    return a is b or (a is not None and b is not None and abs(a - b) < 0.1)


def _same_ratio(a: DarkRatio | None, b: DarkRatio | None) -> bool:
    if a is None or b is None:
        return a is b
    same = a.against == b.against and a.doublings == b.doublings
    return same and abs(a.value - b.value) <= SAME_RATIO * a.value
