"""Recorded temperatures that hot pixels contradict, once the body's own scale is known: remarked on, never changed."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from darklib.catalogue.findings import Inference
from darklib.catalogue.inferences import DOUBT, HotRow
from darklib.facts.frame import Kind, TemperatureFrom
from darklib.sensor.board import contradicted

VERSION = 1

RECORDED = (TemperatureFrom.HEADER, TemperatureFrom.MAKERNOTE)
"""What the user states of a whole card is not doubted: it is one number for frames that were not equally warm."""


def contradictions(
    rows: Sequence[HotRow], temperatures: Mapping[str, tuple[float, float]], before: Mapping[str, Inference]
) -> tuple[list[Inference], list[str]]:
    """Lights whose recorded temperature disagrees with what their hot pixels tell; what changed of them, and sentences.

    temperatures: by frame, told by hot pixels, with error; before: those contradicted so far. Darks pin the scale and
    cannot contradict it.
    """
    told = [
        row
        for row in rows
        if row.kind is Kind.LIGHT
        and row.temperature_c is not None
        and row.temperature_from in RECORDED
        and row.sha256 in temperatures
    ]
    rates = _rates(told, temperatures)
    wrong = contradicted(
        np.array([row.temperature_c for row in told], dtype=float),
        np.array([temperatures[row.sha256][0] for row in told], dtype=float),
        np.array([temperatures[row.sha256][1] for row in told], dtype=float),
        np.array([rates[row.sha256] for row in told], dtype=float),
    )
    made, fresh = [], []
    for row, doubt in zip(told, wrong, strict=True):
        if doubt:
            value = {"told_c": row.temperature_c, "inferred_c": temperatures[row.sha256][0]}
            known = before.get(row.sha256)
            if known is None or known.value != value:
                made.append(Inference(row.sha256, DOUBT, value, temperatures[row.sha256][1], "", VERSION))
            if known is None:
                fresh.append(row)
    doubted = {row.sha256 for row, doubt in zip(told, wrong, strict=True) if doubt}
    here = {row.sha256 for row in rows}
    made += [Inference(sha, DOUBT, None, None, "", VERSION) for sha in before if sha in here and sha not in doubted]
    return made, _sentences(fresh, temperatures)


def _sentences(rows: Sequence[HotRow], temperatures: Mapping[str, tuple[float, float]]) -> list[str]:
    if not rows:
        return []
    first = rows[0]
    many = f"{len(rows)} lights record temperatures" if len(rows) > 1 else "1 light records a temperature"
    sentence = (
        f"{many} that the hot pixels contradict, such as {first.sha256[:16]}: {first.temperature_c:.1f} C recorded, "
        f"{temperatures[first.sha256][0]:.1f} C by hot pixels. `darklib amend ID --temperature` corrects it."
    )
    return [sentence]


def _rates(rows: Sequence[HotRow], temperatures: Mapping[str, tuple[float, float]]) -> dict[str, float]:
    """How fast the sensor warmed at each frame, degrees a minute: between its neighbours in its series."""
    rates = {row.sha256: 0.0 for row in rows}
    series: dict[str, list[HotRow]] = defaultdict(list)
    for row in rows:
        if row.taken_at is not None:
            series[row.series].append(row)
    for members in series.values():
        if len(members) < 3:
            continue
        minutes = np.array([row.taken_at.timestamp() / 60.0 for row in members if row.taken_at is not None])
        if np.any(np.diff(minutes) <= 0):
            continue
        slopes = np.gradient(np.array([temperatures[row.sha256][0] for row in members]), minutes)
        rates.update({row.sha256: float(slope) for row, slope in zip(members, slopes, strict=True)})
    return rates
