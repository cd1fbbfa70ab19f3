"""Whether hot pixels tell bodies apart: pairs of one body, of strangers, of twins that share columns and clusters."""

from dataclasses import replace

import numpy as np

from darklib.pixels.hot import HotPixels
from darklib.sensor.identity import Sameness, identified
from darklib.sensor.reference import Reference, combined
from scripts.studies.hot_sensor import HEIGHT, WIDTH, HotSensor, drawn

DARK_S = 180.0
DARKS = 4
BODIES = 80
FRAMES = 4


def run(seed: int, count: int) -> str:
    """count: how many pairs of different bodies."""
    rng = np.random.default_rng(seed)
    bodies = _bodies(rng)
    shot = [_shot(rng, body) for body in bodies]
    lines = [
        f"Seed {seed}, {BODIES} bodies, half of them twins of one model with the same three bad columns and twelve",
        "clusters of defects beside their own hot pixels.",
        "",
        f"30 to 3,000 hot pixels on {WIDTH} x {HEIGHT}; {FRAMES} frames a body, two darks and two lights under sky and",
        "stars, up to 10 degrees colder or warmer than its set of darks.",
        "",
        "| pairs | same | turned or cropped | another body | can't tell |",
        "|---|---|---|---|---|",
    ]
    true = [(frame, ref, ratio) for ref, frames in shot for frame, ratio in frames]
    visible = [(f, r, k) for f, r, k in true if _visible(f, r, k) >= 20]
    few = [(f, r, k) for f, r, k in true if _visible(f, r, k) < 20]
    lines.append(_row("of one body, 20 or more should be seen", visible))
    lines.append(_row("of one body, fewer than 20 should be seen", few))
    turned = [(_flipped(frame), ref, ratio) for frame, ref, ratio in visible]
    lines.append(_row("of one body, the picture flipped left to right", turned))
    lines.append(_row("of one body, another crop", [(_cropped(f), r, k) for f, r, k in visible]))
    others: list[tuple[HotPixels, Reference, float]] = []
    twins: list[tuple[HotPixels, Reference, float]] = []
    while len(others) + len(twins) < count:
        a, b = rng.integers(0, BODIES, 2)
        if a == b:
            continue
        frame, ratio = shot[a][1][int(rng.integers(0, FRAMES))]
        pair = frame, shot[b][0], ratio
        (twins if a // 2 == b // 2 or (a >= BODIES // 2 and b >= BODIES // 2) else others).append(pair)
    lines.append(_row("of two bodies", others))
    lines.append(_row("of two twins of one model", twins))
    return "\n".join(lines)


Pair = tuple[HotPixels, Reference, float]


def _row(name: str, pairs: list[Pair]) -> str:
    told = dict.fromkeys(Sameness, 0)
    for frame, reference, _ in pairs:
        told[identified(frame, reference.hot, least_ratio=2.0 ** (-10 / 6.0)).verdict] += 1
    moved = told[Sameness.TURNED] + told[Sameness.CROPPED]
    figures = (told[Sameness.SAME], moved, told[Sameness.OTHER], told[Sameness.UNKNOWN])
    return f"| {name}: {len(pairs)} | " + " | ".join(map(str, figures)) + " |"


def _visible(frame: HotPixels, reference: Reference, ratio: float) -> int:
    hot = reference.hot
    return int(np.sum(ratio * hot.excess_dn >= frame.at(frame.floor_dn, hot.positions)))


def _bodies(rng: np.random.Generator) -> list[HotSensor]:
    """The first half are strangers; the second twins of one model: shared columns and clusters beside their own."""
    strangers = [drawn(rng) for _ in range(BODIES // 2)]
    model = drawn(rng)
    shared = _shared_defects(rng)
    twins = []
    for _ in range(BODIES // 2):
        one = drawn(rng, round(10 ** rng.uniform(np.log10(30), np.log10(3000))), twin_of=model)
        place = np.unique(np.concatenate([one.place, shared]))
        rate = rng.uniform(0.5, 2.0) * (1.0 + rng.pareto(1.3, place.size))
        rate[np.isin(place, shared)] *= 6.0
        doubling = one.mean_doubling_c * (1.0 + 0.1 * np.clip(rng.standard_normal(place.size), -3, 3))
        twins.append(replace(one, place=place, rate_e_s=rate, doubling_c=doubling))
    return strangers + twins


def _shared_defects(rng: np.random.Generator) -> np.ndarray:
    places = [np.arange(20, HEIGHT - 20, 2) * WIDTH + column for column in rng.integers(20, WIDTH - 20, 3)]
    for _ in range(12):
        y, x = int(rng.integers(20, HEIGHT - 20)), int(rng.integers(20, WIDTH - 20))
        spots = rng.integers(-5, 6, (6, 2))
        places.append((y + spots[:, 0]) * WIDTH + x + spots[:, 1])
    return np.unique(np.concatenate(places))


def _shot(rng: np.random.Generator, body: HotSensor) -> tuple[Reference, list[tuple[HotPixels, float]]]:
    dark_c = float(rng.uniform(0, 20))
    reference = combined([body.evidence(body.array(rng, DARK_S, dark_c)) for _ in range(DARKS)], DARK_S)
    assert reference is not None
    frames = []
    for number in range(FRAMES):
        off_c = float(rng.uniform(-10, 10))
        sky, stars = (float(10 ** rng.uniform(0.5, 3)), int(rng.integers(0, 200))) if number % 2 else (0.0, 0)
        frame = body.evidence(body.array(rng, DARK_S, dark_c + off_c, sky, stars, float(rng.uniform(1.8, 4.0))))
        frames.append((frame, 2.0 ** (off_c / body.mean_doubling_c)))
    return reference, frames


def _flipped(frame: HotPixels) -> HotPixels:
    y, x = np.divmod(frame.positions.astype(np.int64), frame.width)
    places = y * frame.width + frame.width - 1 - x
    order = np.argsort(places)
    return replace(
        frame,
        positions=places[order].astype(np.uint32),
        excess_dn=frame.excess_dn[order],
        saturated=frame.saturated[order],
    )


def _cropped(frame: HotPixels) -> HotPixels:
    top, left = 12, 20
    y, x = np.divmod(frame.positions.astype(np.int64), frame.width)
    inside = (y >= top) & (x >= left)
    width, height = frame.width - left, frame.height - top
    places = (y[inside] - top) * width + x[inside] - left
    return replace(
        frame,
        width=width,
        height=height,
        positions=places.astype(np.uint32),
        excess_dn=frame.excess_dn[inside],
        saturated=frame.saturated[inside],
    )
