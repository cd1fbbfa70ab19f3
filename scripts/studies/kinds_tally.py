"""Counting decisions against the truth, and the tables of the study of the kinds."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from darklib.facts.frame import Kind, KindDecision
from scripts.studies.kinds_scenes import SORTS, Shown

BINS = ((0.8, 0.85), (0.85, 0.9), (0.9, 0.95), (0.95, 1.0001))
COLUMNS = ("light", "flat", "dark", "bias", "undecided")
TRUTHS = ("light", "flat", "dark", "bias", "leak", "cap on", "shows nothing")
CAP_CODE = "light_is_black"


@dataclass(frozen=True)
class Told:
    """One frame and what was decided on it."""

    shown: Shown
    decision: KindDecision

    @property
    def truth(self) -> str:
        """What the frame is; `shows nothing`: a light or leak with neither star nor sky to be seen."""
        if self.shown.capped:
            return "cap on"
        kind = SORTS[self.shown.sort][0] or (Kind.LIGHT if self.shown.sort == "cap_on" else None)
        if kind is Kind.LIGHT or kind is None:
            if self.shown.empty:
                return "shows nothing"
            return "light" if kind is Kind.LIGHT else "leak"
        return kind.value

    @property
    def called(self) -> str:
        return self.decision.kind.value if self.decision.kind is not None else "undecided"

    @property
    def corner(self) -> str:
        return SORTS[self.shown.sort][1]

    @property
    def right(self) -> bool:
        """Whether a decision is right; a leak has no kind, so every decision on it is wrong."""
        if self.truth == "cap on":
            return self.called in ("dark", "undecided")
        if self.truth == "shows nothing":
            # Frames together may show what one does not: a light is a light.
            return self.called in ("dark", "undecided") or (self.called == "light" and self.shown.sort != "leak")
        return self.called == self.truth or (self.truth == "leak" and self.called == "undecided")

    @property
    def lost(self) -> bool:
        """The mistake that must not be: something lit taken for a dark or a bias."""
        return self.truth in ("light", "flat", "leak") and self.called in ("dark", "bias")


def tables(single: Sequence[Told], series: Sequence[Told]) -> str:
    """All tables in Markdown."""
    parts = [_targets(single, series)]
    for name, told in (("Single frames", single), ("Series of ten", series)):
        parts.append(f"\n## {name}\n\n{_confusion(told)}\n{_reliability(told)}\n{_corners(told)}\n{_sorts(told)}")
    return "\n".join(parts)


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.2f} %" if whole else "none"


def undecided_share(told: Sequence[Told]) -> tuple[int, int]:
    """Undecided among those that are of a kind and show it."""
    own = [one for one in told if one.truth in ("light", "flat", "dark", "bias")]
    return sum(one.called == "undecided" for one in own), len(own)


def _targets(single: Sequence[Told], series: Sequence[Told]) -> str:
    lines = [
        "",
        "| asked | single | series of ten |",
        "|---|---|---|",
    ]

    def line(what: str, figure: Callable[[Sequence[Told]], str]) -> None:
        lines.append(f"| {what} | {figure(single)} | {figure(series)} |")

    def lost(told: Sequence[Told]) -> str:
        lit = sum(one.truth in ("light", "flat", "leak") for one in told)
        return f"{sum(one.lost for one in told)} of {lit:,}"

    def right(told: Sequence[Told]) -> str:
        decided = [one for one in told if one.called != "undecided"]
        return _share(sum(one.right for one in decided), len(decided))

    def undecided(told: Sequence[Told]) -> str:
        return _share(*undecided_share(told))

    def sure(told: Sequence[Told]) -> str:
        high = [one for one in told if one.called != "undecided" and one.decision.confidence >= 0.95]
        return f"{_share(sum(one.right for one in high), len(high))} of {len(high):,}"

    def cap(told: Sequence[Told]) -> str:
        capped = [one for one in told if one.truth == "cap on" and one.called != "undecided"]
        warned = sum(any(w.code == CAP_CODE for w in one.decision.warnings) for one in capped)
        return f"{warned} of {len(capped):,}"

    line("lights, flats and leaks called dark or bias (none)", lost)
    line("right among the decided (99 %)", right)
    line("undecided (8 % single, 3 % in series)", undecided)
    line("right of those given 0.95 or more (95 %)", sure)
    line("decided frames with the cap on that carry the warning", cap)
    return "\n".join(lines)


def _confusion(told: Sequence[Told]) -> str:
    counts = Counter((one.truth, one.called) for one in told)
    lines = ["| in truth | " + " | ".join(COLUMNS) + " |", "|---|" + "---|" * len(COLUMNS)]
    lines += [
        f"| {truth} | " + " | ".join(f"{counts[truth, called]:,}" for called in COLUMNS) + " |" for truth in TRUTHS
    ]
    return "\n".join(lines) + "\n"


def _reliability(told: Sequence[Told]) -> str:
    lines = ["| confidence stated | frames | mean stated | right |", "|---|---|---|---|"]
    for low, high in BINS:
        inside = [one for one in told if one.called != "undecided" and low <= one.decision.confidence < high]
        mean = sum(one.decision.confidence for one in inside) / len(inside) if inside else 0.0
        right = _share(sum(one.right for one in inside), len(inside))
        lines.append(f"| {low:.2f} to {min(high, 1.0):.2f} | {len(inside):,} | {mean:.3f} | {right} |")
    return "\n".join(lines) + "\n"


def _row(name: str, told: Sequence[Told]) -> str:
    decided = [one for one in told if one.called != "undecided"]
    own = undecided_share(told)
    return (
        f"| {name} | {len(told):,} | {sum(one.lost for one in told)} "
        f"| {_share(sum(one.right for one in decided), len(decided))} | {_share(*own)} |"
    )


HEADING = "frames | lit called dark or bias | right of the decided | undecided |\n|---|---|---|---|---|"


def _corners(told: Sequence[Told]) -> str:
    names = dict.fromkeys(corner for _, corner, _ in SORTS.values() if corner)
    rows = [_row(name, [one for one in told if one.corner == name]) for name in names]
    return f"| corner | {HEADING}\n" + "\n".join(rows) + "\n"


def _sorts(told: Sequence[Told]) -> str:
    names = dict.fromkeys(one.shown.sort for one in told)
    rows = [_row(name.replace("_", " "), [one for one in told if one.shown.sort == name]) for name in names]
    return f"| sort | {HEADING}\n" + "\n".join(rows)
