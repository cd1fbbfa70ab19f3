"""How well the hot pixels tell the temperature: errors against the truth, and whether the stated errors are honest."""

from dataclasses import dataclass

import numpy as np

from darklib.sensor.reference import combined
from darklib.sensor.thermometer import Place, dark_ratio, doublings, laid_out, law_of, relative
from scripts.studies.hot_sensor import HotSensor, drawn

DARKS = 5
KNOWN_C, WHOLE_C = 0.1, 1.0
"""Temperatures of the darks are known in these steps: a cooler's, and those of a sensor on a board."""


@dataclass(frozen=True)
class Trial:
    """One light. off_c: told less true temperature; stated_c: the error told; None where it can't tell."""

    mismatch_c: float
    hot: int
    between: bool
    assumed: bool
    off_c: float | None
    stated_c: float | None


def run(seed: int, count: int) -> str:
    """count: how many lights, each of a body of its own."""
    rng = np.random.default_rng(seed)
    two = [_trial(rng, sets=2) for _ in range(count)]
    whole = [_trial(rng, sets=2, step_c=WHOLE_C) for _ in range(count // 4)]
    one = [_trial(rng, sets=1) for _ in range(count // 4)]
    lines = [
        f"Seed {seed}, {count} lights of as many bodies with two sets of {DARKS} darks each, {count // 4} whose darks",
        f"are recorded in whole degrees (the others in tenths), and {count // 4} with one set.",
        "",
        "30 to 3,000 hot pixels on 320 x 480, each with a doubling temperature of its own (mean 6 to 8.5 degrees,",
        "scatter 10 percent); gain, read noise, sky, stars, exposure, colour filters and a held black level vary.",
        "Mismatch: to the nearer set of darks. Within two: share of truths within two stated errors.",
        "",
        "| lights | told | median error | 95th percentile | within two |",
        "|---|---|---|---|---|",
    ]
    rows: list[tuple[str, list[Trial]]] = [("two sets, all", two)]
    for low, high in ((0, 3), (3, 6), (6, 9), (9, 12)):
        rows.append((f"two sets, mismatch {low} to {high}", [t for t in two if low <= t.mismatch_c < high]))
    rows.append(("two sets, light between them", [t for t in two if t.between]))
    rows.append(("two sets, under 200 hot pixels", [t for t in two if t.hot < 200]))
    rows.append(("two sets, from 1,000 hot pixels", [t for t in two if t.hot >= 1000]))
    rows.append(("two sets, doubling measured", [t for t in two if not t.assumed]))
    rows.append(("two sets recorded in whole degrees", whole))
    rows.append(("one set, doubling assumed", one))
    for low, high in ((0, 3), (3, 6), (6, 9), (9, 12)):
        rows.append((f"one set, mismatch {low} to {high}", [t for t in one if low <= t.mismatch_c < high]))
    return "\n".join(lines + [_row(name, trials) for name, trials in rows])


def _row(name: str, trials: list[Trial]) -> str:
    told = [(t.off_c, t.stated_c) for t in trials if t.off_c is not None and t.stated_c is not None]
    if not told:
        return f"| {name} | 0 of {len(trials)} | | | |"
    off, stated = np.abs(np.array([one[0] for one in told])), np.array([one[1] for one in told])
    within = float(np.mean(off <= 2 * stated))
    return (
        f"| {name} | {len(told)} of {len(trials)} | {np.median(off):.2f} C | {np.percentile(off, 95):.2f} C | "
        f"{100 * within:.1f} % |"
    )


def _trial(rng: np.random.Generator, *, sets: int, step_c: float = KNOWN_C) -> Trial:
    sensor = drawn(rng)
    dark_s = float(rng.uniform(60, 300))
    light_s = dark_s if rng.random() < 0.5 else float(rng.uniform(60, 300))
    first_c = float(rng.uniform(2, 18))
    temperatures = [first_c] if sets == 1 else [first_c, first_c + float(rng.uniform(5, 12))]
    mismatch = float(rng.uniform(0, 12))
    side = rng.choice(["below", "above", "between"]) if sets == 2 else rng.choice(["below", "above"])
    gap = temperatures[-1] - temperatures[0]
    if side == "between" and mismatch > gap / 2:
        mismatch = float(rng.uniform(0, gap / 2))
    light_c = {"below": temperatures[0] - mismatch, "above": temperatures[-1] + mismatch}.get(
        side, temperatures[0] + mismatch
    )
    sky_e = float(10 ** rng.uniform(0.5, 3.0))
    frame = sensor.array(rng, light_s, light_c, sky_e, int(rng.integers(0, 200)), float(rng.uniform(1.8, 4.0)))
    answer = _told(rng, sensor, dark_s, temperatures, step_c, frame, light_s)
    if answer is None:
        return Trial(mismatch, sensor.place.size, side == "between", False, None, None)
    told_c, stated_c, assumed = answer
    return Trial(mismatch, sensor.place.size, side == "between", assumed, told_c - light_c, stated_c)


def _told(
    rng: np.random.Generator,
    sensor: HotSensor,
    dark_s: float,
    temperatures: list[float],
    step_c: float,
    frame: np.ndarray,
    light_s: float,
) -> tuple[float, float, bool] | None:
    references = []
    for temperature in temperatures:
        darks = [sensor.evidence(sensor.array(rng, dark_s, temperature)) for _ in range(DARKS)]
        made = combined(darks, dark_s)
        assert made is not None
        references.append(made)
    places = laid_out(references)
    light = sensor.evidence(frame)
    found = [
        (place, reference, ratio)
        for place, reference in zip(places, references, strict=True)
        if place is not None and (ratio := dark_ratio(light, reference)) is not None
    ]
    if not found:
        return None
    place, _, ratio = min(found, key=lambda one: abs(doublings(one[2].value, dark_s, light_s)))
    known = [
        Place(one.doublings, one.error, round(temperature / step_c) * step_c, step_c / 12**0.5)
        for one, temperature in zip(places, temperatures, strict=True)
        if one is not None
    ]
    law = law_of(known)
    assert law is not None
    x = place.doublings + doublings(ratio.value, dark_s, light_s)
    told, error = law.temperature(np.array([x]), np.array([relative(ratio)]))
    return float(told[0]), float(error[0]), law.assumed
