"""A frame of another size or readout amid a series of darks, biases or flats: it cannot be combined with the rest."""

from collections import Counter
from collections.abc import Sequence

from darklib.facts.frame import FrameFacts, FrameWarning, Kind, KindDecision
from darklib.facts.naming import body_key
from darklib.kinds.candidate import Candidate
from darklib.kinds.runs import PAUSE_S, by_time, seconds_between
from darklib.kinds.warned import warned

LEAST_FRAMES = 5
MOST_ODD_SHARE = 0.25
"""Where more frames than this differ, two series were shot on purpose."""

_NAMED = ("size", "binning", "gain", "iso", "offset", "readout_mode", "cfa")


def odd_readouts(members: Sequence[Candidate], decisions: Sequence[KindDecision]) -> dict[int, FrameWarning]:
    """The warning of each frame that differs from most of its series, by place.

    A series here: frames of one kind, folder and body, each started soon after the one before.
    """
    groups: dict[tuple[Kind, tuple[str, ...], str], list[int]] = {}
    for place, (member, decision) in enumerate(zip(members, decisions, strict=True)):
        # Lights of one evening may well be of several sizes, one after the other.
        if decision.kind in (None, Kind.LIGHT) or member.facts.combined is not None:
            continue
        facts = member.facts
        body = body_key(facts.make, facts.model, facts.serial)
        groups.setdefault((decision.kind, member.parts, body), []).append(place)
    out: dict[int, FrameWarning] = {}
    for (kind, _, _), places in groups.items():
        for series in _unbroken(places, members):
            out.update(_odd(series, members, kind))
    return out


def _unbroken(places: Sequence[int], members: Sequence[Candidate]) -> list[list[int]]:
    timed = sorted((p for p in places if members[p].facts.taken_at is not None), key=lambda p: by_time(members[p]))
    out: list[list[int]] = [[p for p in places if members[p].facts.taken_at is None]]
    for place in timed:
        before = out[-1][-1] if len(out) > 1 else None
        pause = PAUSE_S + 2 * (members[place].facts.exposure_s or 0.0)
        if before is None or seconds_between(members[before], members[place]) > pause:
            out.append([])
        out[-1].append(place)
    return out


def _odd(series: Sequence[int], members: Sequence[Candidate], kind: Kind) -> dict[int, FrameWarning]:
    if len(series) < LEAST_FRAMES:
        return {}
    looks = {place: _readout(members[place].facts, kind) for place in series}
    (usual, _), *rest = Counter(looks.values()).most_common()
    odd = [place for place in series if looks[place] != usual]
    if not rest or len(odd) > MOST_ODD_SHARE * len(series):
        return {}
    out = {}
    for place in odd:
        differing = {name: 1.0 for name, own, others in zip(_NAMED, looks[place], usual, strict=True) if own != others}
        out[place] = warned("odd_in_series", frames=len(series), **differing)
    return out


def _readout(facts: FrameFacts, kind: Kind) -> tuple[object, ...]:
    # A flat is normalised, so its gain may differ.
    gain = (None, None, None) if kind is Kind.FLAT else (facts.gain, facts.iso, facts.offset)
    return ((facts.width, facts.height), facts.binning, *gain, facts.readout_mode, facts.cfa)
