"""How often the kind of a frame is told rightly from its pixels and its exposure, with header, name and path withheld.

The corpus is `kinds_sensors` and `kinds_scenes`: series of ten frames, each series of a camera and a sky of its own.
Seeds up to 99 are for development: figures may be looked at and limits in `darklib/kinds` set by them. Seeds from 100
are for the table alone: no limit may be changed after such a run but for a reason found elsewhere. The committed
table says which seed it was made with.

`run` walks the corpus once; each frame is measured once by `pixels/measure` and decided on twice: alone, and with the
nine others of its series in one folder.
"""

from __future__ import annotations

from dataclasses import dataclass

from darklib.facts.frame import KindDecision, PixelFacts
from darklib.kinds.candidate import Candidate
from darklib.kinds.groups import decide
from darklib.pixels.measure import MEASUREMENT_VERSION, measure
from scripts.studies.kinds_scenes import FRAMES, Shown, series_of
from scripts.studies.kinds_tally import Told, tables

GOLDEN = (5.0**0.5 - 1.0) / 2.0
FINAL_FROM = 100
"""The first seed that is for the table alone."""


@dataclass(frozen=True)
class Looked:
    """One frame without its pixels: the truth, what was measured, and both decisions."""

    shown: Shown
    pixels: PixelFacts
    single: KindDecision
    series: KindDecision


def measured(shown: Shown) -> PixelFacts:
    """The frame's figures by the real measurement."""
    facts = shown.facts
    return measure(
        shown.data,
        cfa=facts.cfa,
        cfa_rows=facts.cfa_rows,
        cfa_columns=facts.cfa_columns,
        black_dn=facts.black_dn,
        white_dn=facts.white_dn,
        bits=facts.bits,
    )


def look(number: int, seed: int, share: float) -> list[Looked]:
    """One series of the corpus, measured and decided on."""
    frames, figures = [], []
    for shown in series_of(number, seed, share):
        figures.append(measured(shown))
        frames.append(without_pixels(shown))
    members = [
        Candidate(shown.facts, pixels, ("x1",), f"{place}.fits")
        for place, (shown, pixels) in enumerate(zip(frames, figures, strict=True))
    ]
    together = decide(members)
    alone = [decide([member])[0] for member in members]
    return [Looked(*one) for one in zip(frames, figures, alone, together, strict=True)]


def share_of(number: int) -> float:
    """Multiples of the golden section fill 0 to 1 evenly, however many there are: any beginning is a fair corpus."""
    return number * GOLDEN % 1.0


def without_pixels(shown: Shown) -> Shown:
    """The frame's truth, its array given back."""
    return Shown(
        shown.sort, shown.series, shown.facts, shown.data[:0], shown.family, shown.star_sigma, shown.sky_sigma,
        shown.capped,
    )  # fmt: skip


def run(seed: int, count: int) -> str:
    """The tables for `count` frames, in whole series of ten."""
    number_of_series = max(1, count // FRAMES)
    single, series = [], []
    for number in range(number_of_series):
        for one in look(number, seed, share_of(number)):
            single.append(Told(one.shown, one.single))
            series.append(Told(one.shown, one.series))
    use = "for the table alone" if seed >= FINAL_FROM else "for development: limits may have been set by it"
    head = (
        f"# Kinds told from pixels and exposure\n\nSeed {seed} ({use}), {len(single):,} frames in {number_of_series} "
        f"series, measurement version {MEASUREMENT_VERSION}.\n"
    )
    return head + tables(single, series)
