"""What the scenario hands over: cards of files made when asked for, and the truth about each."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from darklib.facts.frame import Kind
from darklib.scenario.shot import Shot

Outcome = Literal["stored", "duplicate", "set_aside", "passed_over"]


@dataclass(frozen=True, slots=True)
class Truth:
    """What a frame really is, whether or not its file says so.

    temperature_c: of the sensor at the exposure; setting: gain or ISO; night: local date on which the night began;
    angle_deg: mechanical angle of the camera, None where no train is involved; flipped: after the meridian flip;
    group: the name of the frames shot together, as the answer key calls them.
    """

    kind: Kind
    make: str
    model: str
    body_serial: str
    exposure_s: float
    temperature_c: float
    setting: int
    filter: str | None
    target: str | None
    night: str
    taken_at: datetime
    angle_deg: float | None
    flipped: bool
    group: str


@dataclass(frozen=True, slots=True)
class ScenarioFile:
    """One file on a card.

    path: below the card, with forward slashes; make: renders the bytes, the same every time; truth: None for what is
    no frame or can't be read as one; modified: the file's time of change; outcome: what taking it in should come to;
    shot: how the frame came about, None where there is no truth.
    """

    path: str
    make: Callable[[], bytes]
    truth: Truth | None
    modified: datetime
    outcome: Outcome = "stored"
    shot: Shot | None = None


@dataclass(frozen=True, slots=True)
class Card:
    """What one call of `ingest` takes in: a folder, and the options its owner would state with it."""

    name: str
    ingest_options: tuple[str, ...]
    files: tuple[ScenarioFile, ...]

    def place(self, file: ScenarioFile) -> str:
        """The file's path with the card's name in front: unique in the scenario."""
        return f"{self.name}/{file.path}"


@dataclass(frozen=True, slots=True)
class Scenario:
    """All cards in the order in which their owner empties them; zone: the site's time zone."""

    cards: tuple[Card, ...]
    zone: str
    seed: int

    def placed(self) -> tuple[tuple[str, ScenarioFile], ...]:
        """Every file with its place, in order."""
        return tuple((card.place(file), file) for card in self.cards for file in card.files)

    def group(self, name: str) -> frozenset[str]:
        """The places of the frames shot together under this name. KeyError: there are none."""
        found = frozenset(
            place
            for place, file in self.placed()
            if file.truth is not None and file.truth.group == name and file.outcome == "stored"
        )
        if not found:
            raise KeyError(name)
        return found
