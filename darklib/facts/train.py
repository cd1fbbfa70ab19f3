"""The optical train a light or flat came through, and its fingerprint; the filter is kept apart."""

import hashlib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

FOCAL_LENGTH_TOLERANCE = 0.01
"""Share by which two written lengths may differ and be one: 479.9 against 480 mm is a habit of writing."""


@dataclass(frozen=True, slots=True)
class TrainFacts:
    """What a file says of its optics. telescope: name of telescope or lens. stated: the user's own name for it.

    stop: the f-number a lens was set to, of lenses alone: its vignetting changes with it. reducer: what stands between.
    """

    telescope: str | None = None
    focal_length_mm: float | None = None
    aperture_mm: float | None = None
    stated: str | None = None
    stop: float | None = None
    reducer: str | None = None

    @property
    def known(self) -> bool:
        """Whether anything at all is known; a train of which nothing is known is no train."""
        return any((self.telescope, self.focal_length_mm, self.stated))


NO_TRAIN = TrainFacts()
"""Nothing is known of the optics."""


@dataclass(frozen=True, slots=True)
class TrainRef:
    """A train as frames refer to it."""

    fingerprint: str
    label: str


def plain_name(name: str | None) -> str:
    """A name without differences of case, spacing, punctuation and of how systems compose letters, for comparison."""
    composed = unicodedata.normalize("NFKC", name or "")
    return re.sub(r"[\W_]+", " ", composed).strip().casefold()


def label(facts: TrainFacts) -> str:
    """A readable label: the user's name, else telescope, reducer, focal length unless its name has it, and stop."""
    if facts.stated:
        return facts.stated.strip()
    parts = [part.strip() for part in (facts.telescope, facts.reducer) if part]
    if facts.focal_length_mm and f"{facts.focal_length_mm:.0f}" not in re.findall(r"\d+", facts.telescope or ""):
        parts.append(f"{facts.focal_length_mm:.0f} mm")
    if facts.stop:
        parts.append(f"f/{facts.stop:g}")
    return " ".join(parts) or "unknown train"


def same_train(a: TrainFacts, b: TrainFacts) -> bool:
    """Whether two descriptions are one train. Compare a frame with the train's own facts, never with the last frame's:
    tolerances must not chain.

    Apertures count where no name tells telescopes apart, and only where both are known: many headers leave them out.
    """
    if a.stated or b.stated:
        return plain_name(a.stated) == plain_name(b.stated)
    if (plain_name(a.telescope), plain_name(a.reducer)) != (plain_name(b.telescope), plain_name(b.reducer)):
        return False
    if _stop(a) != _stop(b):
        return False
    if not plain_name(a.telescope) and a.aperture_mm and b.aperture_mm and not _alike(a.aperture_mm, b.aperture_mm):
        return False
    if a.focal_length_mm is None or b.focal_length_mm is None:
        return a.focal_length_mm is b.focal_length_mm
    return _alike(a.focal_length_mm, b.focal_length_mm)


def nearest_train(facts: TrainFacts, trains: Iterable[tuple[TrainFacts, TrainRef]]) -> TrainRef | None:
    """Which of some trains, each with its own first description, those facts describe; the nearest in focal length of
    several. A description that makes a train's own fingerprint is that train.
    """
    name = fingerprint(facts)
    alike = []
    for place, (own, ref) in enumerate(trains):
        if ref.fingerprint == name:
            return ref
        if same_train(facts, own):
            apart = abs((own.focal_length_mm or 0.0) - (facts.focal_length_mm or 0.0))
            alike.append((apart, place, ref))
    return min(alike, key=lambda one: one[:2])[2] if alike else None


def fingerprint(facts: TrainFacts) -> str:
    """Eight hexadecimal digits made from the train's first description; the same on every run and platform."""
    if facts.stated:
        text = f"{plain_name(facts.stated)}||"
    else:
        text = f"|{plain_name(facts.telescope)}|" + _whole(facts.focal_length_mm)
        if not plain_name(facts.telescope) and facts.aperture_mm:
            text += f"|a{_whole(facts.aperture_mm)}"
        if plain_name(facts.reducer):
            text += f"|r{plain_name(facts.reducer)}"
        if facts.stop:
            text += f"|f{_stop(facts):g}"
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def _whole(length_mm: float | None) -> str:
    return "" if length_mm is None else f"{length_mm:.0f}"


def _alike(a_mm: float, b_mm: float) -> bool:
    return abs(a_mm - b_mm) <= FOCAL_LENGTH_TOLERANCE * max(a_mm, b_mm)


def _stop(facts: TrainFacts) -> float:
    return round(facts.stop or 0.0, 1)
