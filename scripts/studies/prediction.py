"""Prediction against truth: what `darklib/sensor/cost` says a set costs, against the noise of real stacks of it.

Invented nights (`prediction_nights`): a camera is measured from its own frames by `darklib/sensor/measuring`; then
lights and a set are shot, the set's price is predicted from the frames alone, and the stacks are made.
"""

from __future__ import annotations

import numpy as np

from darklib.facts.sensor import SensorModel
from darklib.sensor.cost import DarkSet, Lights, price, sensor_of
from darklib.sensor.cost_rejection import KAPPA
from darklib.sensor.exposure import sky_rate_e_s
from scripts.studies.prediction_nights import SHAPE, Night, Seen, body_of, measured, night_of, read_c, shot

A_BODY = 5
"""Nights of each camera."""

FORMS = ("exact", "merged", "scaled", "exact", "scaled")
LOW, HIGH, NEAR, SMALL = 0.02, 2.0, 0.15, 0.005
WAYS = (("fixed", False), ("fixed", True), ("dithered", False), ("dithered", True))
STEPS = ((0.0, 0.5), (0.5, 2.0), (2.0, 5.0), (5.0, 9.0))


def predicted(model: SensorModel, night: Night, seen: Seen) -> dict[tuple[str, bool], float]:
    """q in each pointing, without and with rejection, from what frames and files tell."""
    light_c, dark_c = read_c(night.light_c), float(np.mean([read_c(c) for c in night.dark_c]))
    sensor = sensor_of(model, light_c)
    if sensor is None or model.gain_e_per_dn is None:
        raise RuntimeError(f"a camera could not be measured: {model.troubles}")
    e_per_dn = model.gain_e_per_dn.value
    rates = sensor.rates.at(light_c)
    usual = float(np.average(rates[: sensor.rates.first_hot], weights=sensor.rates.shares[: sensor.rates.first_hot]))
    sky = sky_rate_e_s(seen.above_bias_dn * e_per_dn, night.light_s, usual, level_held=sensor.level_held)
    lights = Lights(night.light_s, light_c, night.lights, sky)
    biases = night.biases if night.form == "scaled" else None
    dark = DarkSet(night.dark_s, dark_c, night.darks, night.scale, biases)
    found = {}
    for rejecting in (False, True):
        told = price(sensor, lights, dark, kappa=KAPPA if rejecting else None)
        found["fixed", rejecting], found["dithered", rejecting] = told.fixed, told.dithered
    return found


def nights(seed: int, count: int) -> list[tuple[Night, dict[tuple[str, bool], float], dict[tuple[str, bool], float]]]:
    """Night, measured q, predicted q."""
    found = []
    for camera in range(-(-count // A_BODY)):
        rng = np.random.default_rng([seed, camera])
        body = body_of(rng)
        model = measured(body)
        for number in range(min(A_BODY, count - camera * A_BODY)):
            night = night_of(rng, FORMS[number])
            seen = shot(body, night)
            found.append((night, seen.q, predicted(model, night, seen)))
    return found


def holds(measured_q: float, predicted_q: float) -> bool | None:
    """Whether a prediction is as near as is asked; None where the cost lies beyond what is asked of it."""
    if measured_q > HIGH:
        return None
    if measured_q < LOW:
        return abs(predicted_q - measured_q) <= SMALL
    return abs(predicted_q / measured_q - 1.0) <= NEAR


def run(seed: int, count: int) -> str:
    """The table."""
    found = nights(seed, count)
    what = (
        f"Seed {seed}, {count} nights of {SHAPE[0] * SHAPE[1] / 1e6:.2f} megapixels, {A_BODY} a camera. Measured cost: "
        "the variance of a stack calibrated with the set over that of the same stack calibrated with the camera's true "
        "dark, less 1; predicted from frames alone. Near: within 15 percent where the measured cost lies between 0.02 "
        "and 2, within 0.005 where it is below. Mismatch: dark against light, degrees C. On fixed pixels those that "
        "are left standing out by more than five sigma of a light are not averaged, on either side. No pixel saturates "
        "in a dark of 300 s at 13 C; no two lights are dithered to the same place."
    )
    head = (
        "| pointing | outliers rejected | mismatch | below 0.02 | near | 0.02 to 2 | near | above 2 | "
        'predicted / measured, median (5th to 95th percentile) | "no cost" near |'
    )
    lines = ["# Prediction against truth", "", what, "", head, "|---|---|---|---|---|---|---|---|---|---|"]
    lines += [_row(found, way, step) for way in WAYS for step in (None, *STEPS)]
    return "\n".join(lines) + "\n"


def _row(
    found: list[tuple[Night, dict[tuple[str, bool], float], dict[tuple[str, bool], float]]],
    way: tuple[str, bool],
    step: tuple[float, float] | None,
) -> str:
    pairs = [
        (truth[way], told[way])
        for night, truth, told in found
        if step is None or step[0] <= abs(float(np.mean(night.dark_c)) - night.light_c) + 1e-9 < step[1] + 1e-9
    ]
    low = [(t, p) for t, p in pairs if t < LOW]
    mid = [(t, p) for t, p in pairs if LOW <= t <= HIGH]
    ratio = ""
    if mid:
        low_r, middle_r, high_r = np.quantile([p / t for t, p in mid], (0.05, 0.5, 0.95))
        ratio = f"{middle_r:.3f} ({low_r:.2f} to {high_r:.2f})"
    trivial = [holds(t, 0.0) for t, _ in low + mid]
    name = "all" if step is None else f"{step[0]:g} to {step[1]:g} C"
    cells = [way[0], "yes" if way[1] else "no", name, str(len(low)), _share(low), str(len(mid)), _share(mid)]
    cells += [str(len(pairs) - len(low) - len(mid)), ratio, _percent(sum(map(bool, trivial)), len(trivial))]
    return "| " + " | ".join(cells) + " |"


def _share(pairs: list[tuple[float, float]]) -> str:
    return _percent(sum(bool(holds(t, p)) for t, p in pairs), len(pairs))


def _percent(part: int, whole: int) -> str:
    return f"{100.0 * part / whole:.0f} %" if whole else ""
