"""The optical train a light or flat came through, and its fingerprint; the filter is kept apart."""

import hashlib
import re
from dataclasses import dataclass

FOCAL_LENGTH_TOLERANCE = 0.01
"""Share by which two stated focal lengths may differ and be one: 479.9 against 480 mm is a habit of writing."""


@dataclass(frozen=True, slots=True)
class TrainFacts:
    """What a file says of its optics. telescope: name of telescope or lens. stated: the user's own name for it."""

    telescope: str | None = None
    focal_length_mm: float | None = None
    aperture_mm: float | None = None
    stated: str | None = None

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
    """A name without differences of case, spacing and punctuation, for comparison."""
    return re.sub(r"[\W_]+", " ", name or "").strip().casefold()


def label(facts: TrainFacts) -> str:
    """A readable label: the user's name, else telescope and focal length, unless its name has it already."""
    if facts.stated:
        return facts.stated.strip()
    parts = []
    if facts.telescope:
        parts.append(facts.telescope.strip())
    if facts.focal_length_mm and f"{facts.focal_length_mm:.0f}" not in re.findall(r"\d+", facts.telescope or ""):
        parts.append(f"{facts.focal_length_mm:.0f} mm")
    return " ".join(parts) or "unknown train"


def same_train(a: TrainFacts, b: TrainFacts) -> bool:
    """Whether two descriptions are one train. Compare a frame with the train's own facts, never with the last frame's:
    tolerances must not chain.
    """
    if a.stated or b.stated:
        return plain_name(a.stated) == plain_name(b.stated)
    if plain_name(a.telescope) != plain_name(b.telescope):
        return False
    if (a.focal_length_mm is None) != (b.focal_length_mm is None):
        return False
    if a.focal_length_mm is None or b.focal_length_mm is None:
        return True
    return abs(a.focal_length_mm - b.focal_length_mm) <= FOCAL_LENGTH_TOLERANCE * max(
        a.focal_length_mm, b.focal_length_mm
    )


def fingerprint(facts: TrainFacts) -> str:
    """Eight hexadecimal digits made from the train's first description; the same on every run and platform."""
    if facts.stated:
        text = f"{plain_name(facts.stated)}||"
    else:
        focal = "" if facts.focal_length_mm is None else f"{facts.focal_length_mm:.0f}"
        text = f"|{plain_name(facts.telescope)}|{focal}"
    return hashlib.sha256(text.encode()).hexdigest()[:8]
