"""The sets of darks of one body and readout as its hot pixels part them, and their places on its scale."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from darklib.catalogue.findings import Finding, inputs_hash
from darklib.catalogue.inferences import HotRow
from darklib.facts.frame import Kind
from darklib.jobs.hot_evidence import fetched, made_anew
from darklib.jobs.library import Opened
from darklib.jobs.ports import Silent
from darklib.pixels.hot import HotPixels
from darklib.sensor.ageing import aged
from darklib.sensor.identity import Sameness, identified
from darklib.sensor.reference import Reference, combined
from darklib.sensor.thermometer import LEAST_PIXELS, Place, Ratio, dark_ratio, laid_out

MOST_COMBINED = 24
"""Frames of a set that are combined, spread evenly over it: more tell no more."""

GAP = 0.2
"""Darks of one series that lie further apart, in doublings, are sets of their own: more than a degree."""

READ_AT_ONCE = 100
"""So many darks without evidence are read for it on the way; more are left to `rebuild`."""

AGEING_DAYS, AGEING = 60, 0.02
"""Ageing is looked for between darks so many days apart, and told from this share on."""

FAR_COLDER = 15.0 / 6.5
"""No frame is taken to be colder than other darks of its camera by more doublings, when it is asked whose it is."""


@dataclass(slots=True)
class DarkSet:
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
        """The series it lies in."""
        return self.key.partition("#")[0]

    @property
    def at(self) -> float:
        """Where it lies, in doublings; 0 where that is not known."""
        return 0.0 if self.place is None else self.place.doublings


class DarkSets:
    """The sets of one group of frames. by_key: the sets; set_of: which one a dark is in; hashes: of each series.

    before: what was kept of them last time; a series of the same frames is not looked at again. remarks: what looked
    odd. fresh: whether any set is new or changed.
    """

    def __init__(self, opened: Opened, rows: Sequence[HotRow], before: Finding | None) -> None:
        self._opened = opened
        self._references: dict[str, Reference | None] = {}
        self.by_key: dict[str, DarkSet] = {}
        self.set_of: dict[str, str] = {}
        self.hashes: dict[str, str] = {}
        self.remarks: list[str] = []
        darks: dict[str, list[HotRow]] = defaultdict(list)
        for row in rows:
            if row.kind is Kind.DARK and not row.retired and row.plain:
                darks[row.series].append(row)
        kept = before.result["series"] if before else {}
        for series, members in darks.items():
            self.hashes[series] = _hash(members)
            old = kept.get(series)
            if old is not None and old["hash"] == self.hashes[series]:
                self._as_before(members, old["sets"])
            else:
                for one in self._parted(series, members):
                    self._add(one)
        self.fresh = set(kept) != set(darks) or any(one.fresh for one in self.by_key.values())
        if self.fresh:
            self._place(members=[row for some in darks.values() for row in some])

    @property
    def placed(self) -> list[DarkSet]:
        """The sets that have their place, coldest first."""
        return sorted((one for one in self.by_key.values() if one.place is not None), key=lambda one: one.at)

    def reference(self, one: DarkSet) -> Reference | None:
        """The hot pixels of a set; None where no evidence is left."""
        if one.key not in self._references:
            step = max(1, -(-len(one.rows) // MOST_COMBINED))
            shas = [row.sha256 for row in one.rows[::step]]
            evidence = [hot for _, hot in fetched(self._opened, shas) if hot is not None]
            self._references[one.key] = combined(evidence, one.exposure_s)
        return self._references[one.key]

    def ratio(self, hot: HotPixels, one: DarkSet) -> Ratio | None:
        """A frame's dark ratio against a set."""
        reference = self.reference(one)
        return None if reference is None else dark_ratio(hot, reference)

    def whose(self, hot: HotPixels, exposure_s: float) -> Sameness:
        """Whether a frame that cannot be measured shows this camera's hot pixels at all."""
        if not self.placed:
            return Sameness.UNKNOWN
        one = min(self.placed, key=lambda other: abs(other.at))
        reference = self.reference(one)
        if reference is None:
            return Sameness.UNKNOWN
        return identified(hot, reference.hot, exposure_s / one.exposure_s * 2.0**-FAR_COLDER).verdict

    def _add(self, one: DarkSet) -> None:
        self.by_key[one.key] = one
        self.set_of.update((row.sha256, one.key) for row in one.rows)

    def _as_before(self, members: Sequence[HotRow], sets: Sequence[dict[str, object]]) -> None:
        for one in sets:
            chosen = set(one["frames"])  # type: ignore[call-overload]
            rows = [row for row in members if row.sha256[:16] in chosen]
            place = None if one["doublings"] is None else Place(one["doublings"], one["error"])  # type: ignore[arg-type]
            self._add(DarkSet(str(one["key"]), _exposure(rows), rows, _hash(rows), place, fresh=False))

    def _place(self, members: Sequence[HotRow]) -> None:
        self._see_to_evidence(members)
        sets = [one for one in self.by_key.values() if self.reference(one) is not None]
        places = laid_out([reference for one in sets if (reference := self.reference(one)) is not None])
        for one in self.by_key.values():
            one.place = None
        for one, place in zip(sets, places, strict=True):
            one.place = place
        for one in sets:
            reference = self.reference(one)
            if one.place is None and one.fresh and reference is not None and reference.hot.count >= LEAST_PIXELS:
                self._strange(one, reference)
        self._tell_ageing()

    def _tell_ageing(self) -> None:
        """Told when the newest darks are new: what share of the hot pixels changed since the oldest ones."""
        dated = sorted(
            (one.rows[0].taken_at, one.key) for one in self.placed if one.rows and one.rows[0].taken_at is not None
        )
        if len(dated) < 2 or (dated[-1][0] - dated[0][0]).days < AGEING_DAYS:
            return
        old, new = self.by_key[dated[0][1]], self.by_key[dated[-1][1]]
        before, after = self.reference(old), self.reference(new)
        if not new.fresh or before is None or after is None:
            return
        found = aged(before, after)
        if found is None or found.share.error is None or found.share.value < max(AGEING, 3.0 * found.share.error):
            return
        self.remarks.append(
            f"Of the hot pixels {found.share.value:.0%} +- {found.share.error:.0%} came or went between the darks "
            f"{old.series} and {new.series}: darks from before leave them in newer lights."
        )

    def _strange(self, one: DarkSet, reference: Reference) -> None:
        verdict = self.whose(reference.hot, one.exposure_s)
        if verdict is Sameness.OTHER:
            first = min(self.placed, key=lambda other: abs(other.at)).series
            self.remarks.append(
                f"The darks {one.series} show none of the hot pixels of the darks {first}, recorded as of the same "
                "camera: they are of another one, or its pixels were remapped in between (`darklib bodies changed`)."
            )
        elif verdict in (Sameness.TURNED, Sameness.CROPPED):
            self.remarks.append(f"The darks {one.series} are {verdict.value} against others of the same camera.")

    def _see_to_evidence(self, members: Sequence[HotRow]) -> None:
        """Reads darks whose evidence is gone, where they are not too many."""
        lacking = {sha256 for sha256, hot in fetched(self._opened, (row.sha256 for row in members)) if hot is None}
        if 0 < len(lacking) <= READ_AT_ONCE:
            paths = {row.sha256: self._opened.absolute(row.path) for row in members if row.sha256 in lacking}
            made_anew(self._opened, paths, Silent())

    def _parted(self, series: str, members: Sequence[HotRow]) -> list[DarkSet]:
        """The sets of a series: darks shot at several temperatures in one night lie apart on its own scale."""
        self._see_to_evidence(members)
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
            return [DarkSet(series, _exposure(members), list(members), _hash(members))]
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
            sets.append(DarkSet(key, _exposure(part), part, _hash(part)))
        return sets


def _exposure(rows: Sequence[HotRow]) -> float:
    return float(np.median([row.exposure_s for row in rows]))


def _hash(rows: Sequence[HotRow]) -> str:
    return inputs_hash([f"{_exposure(rows):.6f}", *(row.sha256 for row in rows)])
