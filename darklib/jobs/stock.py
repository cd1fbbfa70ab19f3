"""The catalogue as the stock that matching chooses from; what was fetched once is kept while one command runs."""

from collections.abc import Collection, Mapping, Sequence

from darklib.catalogue.catalogue import Catalogue
from darklib.facts.frame import Frame
from darklib.facts.match import BodyChange, Series, TrainChange, Wanted


class CatalogueStock:
    """Implements `matching.stock.Stock` over a catalogue. Not to be kept across writes."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._wanted: dict[Wanted, Sequence[Series]] = {}
        self._made: dict[int, Series] = {}
        self._frames: dict[str, tuple[Frame, ...]] = {}
        self._trains: dict[str, Sequence[TrainChange]] = {}
        self._bodies: dict[str, Sequence[BodyChange]] = {}

    def wanted(self, wanted: Wanted) -> Sequence[Series]:
        """Series as wanted."""
        if wanted not in self._wanted:
            self._wanted[wanted] = self._catalogue.wanted(wanted, self._made)
        return self._wanted[wanted]

    def series_frames(self, ids: Collection[str]) -> Mapping[str, tuple[Frame, ...]]:
        """The frames of some series that are not retired, by series."""
        lacking = [item for item in ids if item not in self._frames]
        if lacking:
            self._frames.update(self._catalogue.series_frames(lacking))
        return {item: self._frames.get(item, ()) for item in ids}

    def train_changes(self, fingerprint: str) -> Sequence[TrainChange]:
        """When that train was changed."""
        if fingerprint not in self._trains:
            self._trains[fingerprint] = self._catalogue.train_changes(fingerprint)
        return self._trains[fingerprint]

    def body_changes(self, body_id: str) -> Sequence[BodyChange]:
        """When that body was changed."""
        if body_id not in self._bodies:
            self._bodies[body_id] = self._catalogue.body_changes(body_id)
        return self._bodies[body_id]

    def light_series(self, train: str | None, body_id: str | None) -> Sequence[Series]:
        """The series of lights of a body on a train."""
        return self._catalogue.light_series(train, body_id)
