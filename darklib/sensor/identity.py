"""Hot pixels as an identity card: whether a frame was shot with the sensor whose darks are at hand.

Looked for are the hot pixels that should be seen: those of the darks whose predicted excess lies above what the frame
shows at all. Twenty of them settle it. Before a frame is taken for another body's, the four flips and a shift (another
crop) are tried. Bodies of one model may share bad columns and clusters of defects, so single pixels alone count, each
column and row once, and those alone that are as bright against each other as in the darks.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from darklib.pixels.hot import HotPixels
from darklib.sensor.reference import lookup

LEAST_EXPECTED = 20
"""Fewer that should be seen tell nothing."""
LEAST_SINGLE = 14
"""Of twenty at least so many stand in columns and rows of their own and apart from each other."""
SAME_SHARE, OTHER_SHARE = 0.6, 0.05
"""From this share on that is found it is the same sensor, if chance cannot make it; under that share it is another."""
ALIKE = 0.35
"""Two ratios that differ by a factor of no more than e to this power are alike: at twelve degrees the pixels' own laws
scatter by a sixth, and the noise near the limit by as much. Rates of different pixels differ by much more."""
ALIKE_BY_CHANCE, CHANCE_OF_TWINS = 0.38, 1e-5
"""Defects that two bodies share are at the same places, but each as bright as it happens to be: of such pairs this
share is alike at most (the rates' tail falls with a power of 1.3 or so). It has to be less likely than this."""
CHANCE = 1e-12
"""Chance has to be less likely than this: pairs, flips, shifts and brightness limits are many."""
APART, COARSE = 12, 4
"""Pixels nearer to each other, in both directions, than APART may have one cause. They are compared in squares of
COARSE."""
LOOKED_FOR = 150
"""Brightest pixels whose distances are compared to find a shift."""
LEAST_VOTES = 8

Places = NDArray[np.int64]


class Sameness(StrEnum):
    """What the hot pixels say. TURNED and CROPPED: the same sensor, its picture flipped, or cut out elsewhere."""

    SAME = "same"
    TURNED = "turned"
    CROPPED = "cropped"
    OTHER = "other"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Identity:
    """expected: hot pixels that should be seen, found: of these. flip: left_right, up_down or both, where turned.
    shift: rows and columns to add to the darks' places, where cropped.
    """

    verdict: Sameness
    expected: int
    found: int
    flip: str | None = None
    shift: tuple[int, int] | None = None


def identified(frame: HotPixels, reference: HotPixels, least_ratio: float | None = None) -> Identity:
    """Whether a frame shows the hot pixels of some darks.

    least_ratio: the dark ratio that the frame has at least, by its exposure and how cold it may have been; without it
    nothing is called another body's, for nobody knows what should be seen.
    """
    shape = (frame.height, frame.width)
    order = np.argsort(-reference.excess_dn, kind="stable")
    y, x = np.divmod(reference.positions.astype(np.int64)[order], reference.width)
    single = _single(y, x, reference.height, reference.width)
    y, x, bright = y[single], x[single], reference.excess_dn[order][single].astype(np.float64)
    flips: dict[str | None, tuple[Places, Places]] = {}
    if (reference.height, reference.width) == shape:
        flips = {
            None: (y, x),
            "left_right": (y, shape[1] - 1 - x),
            "up_down": (shape[0] - 1 - y, x),
            "both": (shape[0] - 1 - y, shape[1] - 1 - x),
        }
        for flip, (fy, fx) in flips.items():
            found = _found(frame, fy, fx, bright)
            if found is not None:
                return Identity(Sameness.SAME if flip is None else Sameness.TURNED, *found, flip=flip)
    shift = _shift(frame, y, x)
    if shift is not None:
        found = _found(frame, y + shift[0], x + shift[1], bright)
        if found is not None:
            return Identity(Sameness.CROPPED, *found, shift=shift)
    if least_ratio is None or (reference.height, reference.width) != shape:
        return Identity(Sameness.UNKNOWN, 0, 0)
    places = y * frame.width + x
    expected = places[least_ratio * bright >= frame.at(frame.floor_dn, places)]
    seen = int(np.isin(expected, frame.positions).sum())
    other = expected.size >= LEAST_EXPECTED and seen < OTHER_SHARE * expected.size
    if other and any(_hints(frame, fy, fx) for fy, fx in flips.values()):
        other = False
    return Identity(Sameness.OTHER if other else Sameness.UNKNOWN, int(expected.size), seen)


def _single(y: Places, x: Places, height: int, width: int) -> NDArray[np.bool_]:
    """Which pixels, taken in the order given, stand apart from those before and in a column and row of their own; the
    latter where the sensor is large enough for that.
    """
    alone = np.ones(y.size, dtype=bool)
    taken = np.zeros((height // COARSE + 1, width // COARSE + 1), dtype=bool)
    columns, rows = np.zeros(width, dtype=np.int32), np.zeros(height, dtype=np.int32)
    most = 1 + 2 * y.size // min(height, width)
    reach = APART // COARSE
    for number, (row, column) in enumerate(zip(y.tolist(), x.tolist(), strict=True)):
        down, across = row // COARSE, column // COARSE
        if taken[down, across] or columns[column] >= most or rows[row] >= most:
            alone[number] = False
            continue
        columns[column] += 1
        rows[row] += 1
        taken[max(0, down - reach) : down + reach + 1, max(0, across - reach) : across + reach + 1] = True
    return alone


def _found(frame: HotPixels, y: Places, x: Places, bright: NDArray[np.float64]) -> tuple[int, int] | None:
    """Of the darks' pixels, the brightest first: how many and how many of them found, where that is no chance.

    How far down the frame shows them is not known beforehand: the longest list counts of which enough is found.
    """
    inside = (y >= 0) & (y < frame.height) & (x >= 0) & (x < frame.width)
    y, x, bright = y[inside], x[inside], bright[inside]
    if y.size < LEAST_SINGLE:
        return None
    places, there = lookup(frame.positions, y * frame.width + x)
    if int(there.sum()) < LEAST_SINGLE * SAME_SHARE:
        return None
    ratio = np.zeros(y.size)
    ratio[there] = np.log(frame.excess_dn[places] / bright[there])
    alike = there & (np.abs(ratio - np.median(ratio[there])) <= ALIKE)
    counts = np.arange(1, y.size + 1)
    hits = np.cumsum(alike)
    enough = np.flatnonzero((counts >= LEAST_SINGLE) & (hits >= SAME_SHARE * counts))
    if enough.size == 0:
        return None
    expected, found = int(counts[enough[-1]]), int(hits[enough[-1]])
    if _by_chance(expected, found, frame.count / (frame.width * frame.height)) > CHANCE:
        return None
    if _by_chance(expected, found, ALIKE_BY_CHANCE) > CHANCE_OF_TWINS:
        return None
    return expected, found


def _by_chance(count: int, found: int, chance: float) -> float:
    """The probability that of so many at least those found are there by chance, each with that probability."""
    chance = min(max(chance, 1e-9), 1.0 - 1e-9)
    log_factorial = np.concatenate(([0.0], np.cumsum(np.log(np.arange(1, count + 1)))))
    k = np.arange(found, count + 1)
    log_ways = log_factorial[count] - log_factorial[k] - log_factorial[count - k]
    return float(np.exp(log_ways + k * np.log(chance) + (count - k) * np.log(1.0 - chance)).sum())


def _hints(frame: HotPixels, y: Places, x: Places) -> bool:
    """Whether the brightest look found more often than chance has it, though not often enough to say so."""
    y, x = y[:LEAST_EXPECTED], x[:LEAST_EXPECTED]
    hits = int(np.isin(y * frame.width + x, frame.positions).sum())
    return hits >= 4 and _by_chance(int(y.size), hits, frame.count / (frame.width * frame.height)) < 1e-3


def _shift(frame: HotPixels, y: Places, x: Places) -> tuple[int, int] | None:
    """By how much the darks' pixels have to be moved to fall on the frame's: the distance that most pairs share."""
    mine = frame.positions[np.argsort(-frame.excess_dn, kind="stable")[:LOOKED_FOR]].astype(np.int64)
    if mine.size == 0 or y.size == 0:
        return None
    my, mx = np.divmod(mine, frame.width)
    dy = (my[:, np.newaxis] - y[np.newaxis, :LOOKED_FOR]).ravel()
    dx = (mx[:, np.newaxis] - x[np.newaxis, :LOOKED_FOR]).ravel()
    base = 2 * max(frame.width, int(x.max()) + 1) + 1
    votes, counts = np.unique(dy * base + dx + base // 2, return_counts=True)
    top = int(counts.argmax())
    if counts[top] < LEAST_VOTES:
        return None
    row, column = divmod(int(votes[top]), base)
    shift = (row, column - base // 2)
    return None if shift == (0, 0) else shift
