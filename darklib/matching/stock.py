"""Where matching finds calibration frames: a catalogue behind this protocol, or frames in memory."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, Protocol, TypeVar

from darklib.facts.frame import Frame, Kind
from darklib.facts.grouping import seconds_of, temperatures_of
from darklib.facts.match import BodyChange, Series, TrainChange, Wanted
from darklib.matching.batches import grouped

K = TypeVar("K")
V = TypeVar("V")


class Stock(Protocol):
    """What there is to choose from. Retired frames are never given."""

    def wanted(self, w: Wanted) -> Sequence[Series]:
        """Series that answer `w`; those whose body, train, exposure or temperature is not known answer as well."""

    def series_frames(self, ids: Collection[str]) -> Mapping[str, tuple[Frame, ...]]:
        """The frames of some series by the series' id."""

    def train_changes(self, fingerprint: str) -> Sequence[TrainChange]:
        """When that train was taken apart, rotated or cleaned."""

    def body_changes(self, body_id: str) -> Sequence[BodyChange]:
        """When that body was changed."""

    def light_series(self, train: str | None, body_id: str | None) -> Sequence[Series]:
        """Series of lights through that train with that body; None: any."""


class MemoryStock:
    """A stock of frames in memory: for files looked at without being taken in, and for tests."""

    def __init__(
        self,
        frames: Iterable[Frame],
        train_changes: Iterable[TrainChange] = (),
        body_changes: Iterable[BodyChange] = (),
    ) -> None:
        self._frames = grouped(frame for frame in frames if not frame.retired)
        self._series = [series_of(name, members) for name, members in self._frames.items()]
        self._train_changes = tuple(train_changes)
        self._body_changes = tuple(body_changes)

    def wanted(self, w: Wanted) -> Sequence[Series]:
        found = [series for series in self._series if _answers(series, w)]
        found.sort(key=lambda series: (_distance(series, w.near), series.id))
        return found[: w.limit]

    def series_frames(self, ids: Collection[str]) -> Mapping[str, tuple[Frame, ...]]:
        return {name: self._frames[name] for name in ids if name in self._frames}

    def train_changes(self, fingerprint: str) -> Sequence[TrainChange]:
        return [change for change in self._train_changes if change.fingerprint == fingerprint]

    def body_changes(self, body_id: str) -> Sequence[BodyChange]:
        return [change for change in self._body_changes if change.body_id == body_id]

    def light_series(self, train: str | None, body_id: str | None) -> Sequence[Series]:
        return [
            series
            for series in self._series
            if series.kind is Kind.LIGHT
            and (train is None or (series.train is not None and series.train.fingerprint == train))
            and (body_id is None or (series.body is not None and series.body.id == body_id))
        ]


class Remembered:
    """A stock that asks the one behind it each question once: batches of one night share most of them."""

    def __init__(self, behind: Stock) -> None:
        self._behind = behind
        self._wanted: dict[Wanted, Sequence[Series]] = {}
        self._frames: dict[str, tuple[Frame, ...]] = {}
        self._trains: dict[str, Sequence[TrainChange]] = {}
        self._bodies: dict[str, Sequence[BodyChange]] = {}
        self._lights: dict[tuple[str | None, str | None], Sequence[Series]] = {}
        self._parted: dict[str, Any] = {}

    def parted(self, series: str, part: Callable[[], V]) -> V:
        """What `part` makes of a series' frames, made once."""
        if series not in self._parted:
            self._parted[series] = part()
        found: V = self._parted[series]
        return found

    def wanted(self, w: Wanted) -> Sequence[Series]:
        return _once(self._wanted, w, lambda: self._behind.wanted(w))

    def series_frames(self, ids: Collection[str]) -> Mapping[str, tuple[Frame, ...]]:
        unseen = [name for name in ids if name not in self._frames]
        if unseen:
            self._frames.update(self._behind.series_frames(unseen))
        return {name: self._frames[name] for name in ids if name in self._frames}

    def train_changes(self, fingerprint: str) -> Sequence[TrainChange]:
        return _once(self._trains, fingerprint, lambda: self._behind.train_changes(fingerprint))

    def body_changes(self, body_id: str) -> Sequence[BodyChange]:
        return _once(self._bodies, body_id, lambda: self._behind.body_changes(body_id))

    def light_series(self, train: str | None, body_id: str | None) -> Sequence[Series]:
        return _once(self._lights, (train, body_id), lambda: self._behind.light_series(train, body_id))


def series_of(name: str, members: tuple[Frame, ...]) -> Series:
    """The series that some frames of one group are. members: at least one, in order of time; none of them retired."""
    first = members[0]
    moments = [frame.taken_at for frame in members if frame.taken_at is not None]
    optical = first.kind not in (Kind.DARK, Kind.BIAS)
    return Series(
        id=name,
        kind=first.kind,
        body=first.body,
        readout=first.readout,
        exposure_s=first.exposure_s,
        night=first.night,
        filter=first.filter if optical else None,
        train=first.train if optical else None,
        target=first.target if first.kind in (Kind.LIGHT, None) else None,
        count=len(members),
        retired_count=0,
        temperatures=temperatures_of(frame.temperature_c for frame in members),
        first_at=min(moments, default=None),
        last_at=max(moments, default=None),
        seconds=seconds_of(members),
    )


def _answers(series: Series, w: Wanted) -> bool:
    if series.kind is not w.kind:
        return False
    if w.body_id is not None and series.body is not None and series.body.id != w.body_id:
        return False
    if w.train is not None and series.train is not None and series.train.fingerprint != w.train:
        return False
    if w.filter is not None and series.filter is not None and series.filter != w.filter:
        return False
    t = series.temperatures
    return _overlap(series.exposure_s, series.exposure_s, w.exposure_low_s, w.exposure_high_s) and (
        t.unknown > 0 or _overlap(t.min_c, t.max_c, w.temperature_low_c, w.temperature_high_c)
    )


def _overlap(low: float | None, high: float | None, wanted_low: float | None, wanted_high: float | None) -> bool:
    if low is None or high is None:
        return True
    return (wanted_low is None or high >= wanted_low) and (wanted_high is None or low <= wanted_high)


def _distance(series: Series, near: datetime | None) -> float:
    """Seconds from `near`, else seconds before the year 10000: the newest first. Series without a time come last."""
    if series.first_at is None or series.last_at is None:
        return float("inf")
    if near is None:
        return 2.6e11 - series.last_at.timestamp()
    return max(near.timestamp() - series.last_at.timestamp(), series.first_at.timestamp() - near.timestamp(), 0.0)


def _once(known: dict[K, V], question: K, answer: Callable[[], V]) -> V:
    if question not in known:
        known[question] = answer()
    return known[question]
