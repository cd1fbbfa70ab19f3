"""One frame to be decided on, and which camera and readout it is of."""

from dataclasses import dataclass

from darklib.facts.frame import FrameFacts, Kind, PixelFacts
from darklib.facts.naming import body_key


@dataclass(frozen=True, slots=True)
class Candidate:
    """parts: the folders below the ingested one, outermost first; stated: what the user says it is."""

    facts: FrameFacts
    pixels: PixelFacts | None
    parts: tuple[str, ...]
    file_name: str
    stated: Kind | None = None

    @property
    def camera(self) -> str:
        """Equal for frames whose levels can be compared: one body, gain, offset, size, binning and scale of values."""
        facts = self.facts
        step = None if self.pixels is None else self.pixels.dn_step
        settings = (facts.gain, facts.iso, facts.offset, *facts.binning, facts.readout_mode, facts.bits)
        size = (facts.width, facts.height, facts.cfa, facts.format, step)
        return "|".join((body_key(facts.make, facts.model, facts.serial), *map(str, settings + size)))
