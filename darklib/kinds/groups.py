"""The kinds of all frames of an ingested folder together: stated before header before path before pixels."""

from collections.abc import Sequence
from dataclasses import replace
from math import log2
from statistics import median

from darklib.facts.frame import Kind, KindDecision, KindFrom
from darklib.facts.naming import body_key
from darklib.kinds.candidate import Candidate
from darklib.kinds.contradictions import contradictions
from darklib.kinds.evidence import BIAS_S, kind_from_signs
from darklib.kinds.odd_readout import odd_readouts
from darklib.kinds.runs import beside_lights, in_time, runs_of, settle
from darklib.kinds.signs import Signs, signs_of
from darklib.kinds.subtraction import subtractions
from darklib.kinds.together import told_together
from darklib.kinds.warned import warned
from darklib.kinds.words import is_target, kind_from_names

__all__ = ["Candidate", "decide", "group_key"]

NOTHING = KindDecision(None, None, 0.0, "nothing tells what it is")
BELIED = 0.85
"""A name in the path does not stand against pixels that speak as surely as this."""


def decide(members: Sequence[Candidate]) -> list[KindDecision]:
    """One decision for each candidate, in the order given, never with a confidence under 0.8 for a kind.

    What the header says stays, with a warning where the pixels belie it. A name in the path that the pixels belie
    leaves the frame undecided. By pixels a frame is compared with the biases and darks of the same camera among the
    members, and with the frames of its run.
    """
    named = _named(members)
    black = _black_levels(members, named)
    signs = [_signs(member, black.get(member.camera)) for member in members]
    by_pixels = {
        place: NOTHING if (found := signs[place]) is None else kind_from_signs(member.facts, found)
        for place, member in enumerate(members)
        if named[place] is None or named[place].source is KindFrom.PATH  # type: ignore[union-attr]
    }
    free = [place for place in by_pixels if named[place] is None]
    for run in runs_of(members, free):
        by_pixels.update(told_together(run, members, signs, by_pixels))
        by_pixels.update(settle(run, by_pixels))
    out = [
        by_pixels[place]
        if (given := named[place]) is None
        else _checked(member, given, signs[place], by_pixels.get(place))
        for place, member in enumerate(members)
    ]
    capped = {place for order in in_time(members) for place in beside_lights(order, members, out)}
    for place, member in enumerate(members):
        decision = out[place]
        if named[place] is not None or decision.kind is None:
            continue
        more = contradictions(decision.kind, member.facts, member.pixels, None)
        aimed = member.facts.target is not None and is_target(member.facts.target)
        if decision.kind is Kind.DARK and (place in capped or aimed):
            more.append(warned("light_is_black"))
        out[place] = replace(decision, warnings=(*decision.warnings, *more))
    for told in (subtractions(members, out), odd_readouts(members, out)):
        for place, warning in told.items():
            out[place] = replace(out[place], warnings=(*out[place].warnings, warning))
    return out


def group_key(candidate: Candidate) -> str:
    """Text that is the same for frames the user is asked about once: one folder, camera, size, exposure, level."""
    facts, pixels = candidate.facts, candidate.pixels
    exposure = "" if facts.exposure_s is None else f"{log2(max(facts.exposure_s, 1e-6)):.0f}"
    level = "" if pixels is None else f"{2 * log2(max(pixels.median_dn, 0.0) + 1):.0f}"
    body = body_key(facts.make, facts.model, facts.serial)
    size = f"{facts.width}x{facts.height}"
    return "\n".join(("/".join(candidate.parts), body, size, f"{facts.gain}|{facts.iso}", exposure, level))


def _named(members: Sequence[Candidate]) -> list[KindDecision | None]:
    targets = {member.facts.target for member in members if member.facts.target}
    out: list[KindDecision | None] = []
    for member in members:
        if member.stated is not None:
            out.append(KindDecision(member.stated, KindFrom.USER, 1.0, "stated by the user"))
        elif member.facts.kind is not None:
            out.append(KindDecision(member.facts.kind, KindFrom.HEADER, 0.99, "the header says so"))
        elif (words := kind_from_names(member.parts, member.file_name, targets)) is not None:
            out.append(KindDecision(words[0], KindFrom.PATH, 0.95, f"the name {words[1]!r} says so"))
        else:
            out.append(None)
    return out


def _signs(member: Candidate, black_dn: float | None) -> Signs | None:
    return None if member.pixels is None else signs_of(member.facts, member.pixels, black_dn)


def _black_levels(members: Sequence[Candidate], named: Sequence[KindDecision | None]) -> dict[str, float]:
    """Level of unlit frames by camera, DN: of biases, else the least of known darks, else of seen ones."""
    levels: dict[str, tuple[list[float], list[float], list[float]]] = {}
    for member, given in zip(members, named, strict=True):
        if member.pixels is None or member.facts.combined is not None:
            continue
        signs = signs_of(member.facts, member.pixels, None)
        if signs is None or signs.lit:
            continue
        found = levels.setdefault(member.camera, ([], [], []))
        level = member.pixels.structure["level_dn"]
        kind = given.kind if given is not None else None
        if kind is None:
            own = kind_from_signs(member.facts, signs).kind
            if own is Kind.BIAS:
                found[0].append(level)
            elif own is Kind.DARK:
                found[2].append(level)
        elif kind is Kind.BIAS and (member.facts.exposure_s or 0.0) <= 100 * BIAS_S:
            found[0].append(level)
        elif kind in (Kind.BIAS, Kind.DARK):
            found[1].append(level)
    return {
        camera: float(median(biases)) if biases else min(darks or seen)
        for camera, (biases, darks, seen) in levels.items()
        if biases or darks or seen
    }


def _checked(
    member: Candidate, given: KindDecision, signs: Signs | None, by_pixels: KindDecision | None
) -> KindDecision:
    assert given.kind is not None
    warnings = contradictions(given.kind, member.facts, member.pixels, signs)
    if given.source is KindFrom.PATH and by_pixels is not None and member.facts.combined is None:
        seen = by_pixels.kind
        if given.kind in (Kind.DARK, Kind.BIAS) and seen in (Kind.LIGHT, Kind.FLAT) and by_pixels.confidence >= BELIED:
            why = f"{given.why}, but its pixels show a {seen.value}: {by_pixels.why}"
            return KindDecision(None, None, 0.5, why, (*warnings, warned("kind_disagrees")))
    return replace(given, warnings=tuple(warnings))
