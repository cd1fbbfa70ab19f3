"""The kinds of all frames of an ingested folder together: stated before header before path before pixels."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log2

from darklib.facts.frame import FrameFacts, Kind, KindDecision, KindFrom, PixelFacts
from darklib.facts.naming import body_key
from darklib.kinds.evidence import UNDECIDED, kind_from_pixels
from darklib.kinds.words import kind_from_names


@dataclass(frozen=True, slots=True)
class Candidate:
    """One frame to be decided on. parts: folders below the ingested one; stated: what the user says it is."""

    facts: FrameFacts
    pixels: PixelFacts | None
    parts: tuple[str, ...]
    file_name: str
    stated: Kind | None = None


def decide(members: Sequence[Candidate]) -> list[KindDecision]:
    """One decision for each candidate, in the order given."""
    targets = {member.facts.target for member in members if member.facts.target}
    out = []
    for member in members:
        if member.stated is not None:
            out.append(KindDecision(member.stated, KindFrom.USER, 1.0, "stated by the user"))
            continue
        if member.facts.kind is not None:
            out.append(KindDecision(member.facts.kind, KindFrom.HEADER, 0.99, "the header says so"))
            continue
        words = kind_from_names(member.parts, member.file_name, targets)
        if words is not None:
            out.append(KindDecision(words[0], KindFrom.PATH, 0.95, f"the name {words[1]!r} says so"))
            continue
        out.append(kind_from_pixels(member.facts, member.pixels) if member.pixels is not None else UNDECIDED)
    return out


def group_key(candidate: Candidate) -> str:
    """Text that is the same for frames the user is asked about once: one folder, camera, size, exposure, level."""
    facts, pixels = candidate.facts, candidate.pixels
    exposure = "" if facts.exposure_s is None else f"{log2(max(facts.exposure_s, 1e-6)):.0f}"
    level = "" if pixels is None else f"{2 * log2(max(pixels.median_dn, 0.0) + 1):.0f}"
    body = body_key(facts.make, facts.model, facts.serial)
    size = f"{facts.width}x{facts.height}"
    return "\n".join(("/".join(candidate.parts), body, size, f"{facts.gain}|{facts.iso}", exposure, level))
