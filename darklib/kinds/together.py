"""What the frames of a run show together and none of them alone: faint stars, and a level that does not move.

One soft star may be a cosmic ray; in frame after frame it is not, unless hot pixels crowd: they lie where they lie. And
a sky grows brighter or darker while it turns, by a percent in some minutes, which an unlit sensor hardly does.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from darklib.facts.frame import Kind, KindDecision, KindFrom
from darklib.kinds.candidate import Candidate
from darklib.kinds.evidence import FLAT_S, NO_BLACK
from darklib.kinds.signs import Signs, unlikely

LEAST_FRAMES = 5
IN_MOST = 0.6
EACH = 0.05
"""So many of a sort are always allowed for in each frame."""
SURE_CHANCE, PERHAPS_CHANCE = 1e-4, 0.02
STEADY_SIGMA = 0.1
"""The levels of an unlit run lie within a tenth of a pixel's noise; of a sky that can be told from black, 3 sigma or
more, that would be 3 percent."""


@dataclass(frozen=True, slots=True)
class _Sum:
    """Counts of one sort of stars in the frames of a run, and how many each has by chance."""

    found: list[float]
    expected: list[float]

    @property
    def stars(self) -> bool:
        often = sum(count > 0 for count in self.found) >= IN_MOST * len(self.found)
        return often and unlikely(sum(self.found), sum(self.expected), SURE_CHANCE)

    @property
    def perhaps(self) -> bool:
        return unlikely(sum(self.found), sum(self.expected), PERHAPS_CHANCE)


def told_together(
    run: Sequence[int],
    members: Sequence[Candidate],
    signs: Sequence[Signs | None],
    decisions: Mapping[int, KindDecision],
) -> dict[int, KindDecision]:
    """Decisions that the whole run changes, by place. Only frames decided by their pixels, or not at all, are in it."""
    exposure = members[run[0]].facts.exposure_s
    if len(run) < LEAST_FRAMES or exposure is None:
        return {}
    seen = [found for place in run if (found := signs[place]) is not None]
    if len(seen) < len(run) or any(decisions[place].kind in (Kind.LIGHT, Kind.FLAT) for place in run):
        return {}
    if exposure <= FLAT_S:
        # Flats at twilight hold stars, too, and darks so short no cosmic rays to be told from them.
        return _steady(run, members, decisions)
    crowded = any(one.crowded for one in seen)
    whole = _Sum([one.whole for one in seen], [one.whole_expected for one in seen])
    plain = _Sum([one.plain for one in seen], [one.plain_expected + EACH for one in seen])
    soft = _Sum([one.soft for one in seen], [one.soft_expected + EACH for one in seen])
    lined = any(one.lined for one in seen)
    if whole.stars or (soft.stars and not crowded and not lined):
        why = f"faint stars in most of the {len(run)} frames of its run"
        return {place: KindDecision(Kind.LIGHT, KindFrom.PIXELS, 0.9, why) for place in run}
    if whole.perhaps or (not crowded and (plain.perhaps or soft.perhaps)):
        why = f"no sign of light, but something like stars in the {len(run)} frames of its run together"
        return {
            place: KindDecision(None, None, 0.5, why)
            for place in run
            if decisions[place].kind in (Kind.DARK, Kind.BIAS)
        }
    return _steady(run, members, decisions)


def _steady(
    run: Sequence[int], members: Sequence[Candidate], decisions: Mapping[int, KindDecision]
) -> dict[int, KindDecision]:
    """Frames that only lack a black level to compare with, settled where the level of all does not move."""
    lacking = [place for place in run if decisions[place].kind is None]
    if not lacking or not all(decisions[place].why.startswith(NO_BLACK) for place in lacking):
        return {}
    levels, noise = [], 0.0
    for place in run:
        pixels = members[place].pixels
        if pixels is None:
            return {}
        levels.append(pixels.structure["level_dn"])
        noise = max(noise, pixels.structure["noise_dn"])
    moved = (max(levels) - min(levels)) / noise
    if moved > STEADY_SIGMA:
        return {}
    why = f"no sign of light, and the level of the {len(run)} frames of its run stays within {moved:.2f} sigma"
    return {place: KindDecision(Kind.DARK, KindFrom.PIXELS, 0.88, why) for place in lacking}
