"""A body's readouts side by side, so that the one to use can be chosen: one row each, and one sentence."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log2

from darklib.facts.frame import BodyRef, Readout
from darklib.facts.sensor import SensorModel

FALLING_SHARE = 0.05
"""Read noise that falls by less than this from one gain to the next has stopped falling."""


@dataclass(frozen=True, slots=True)
class Row:
    """One readout. range_stops: full well over read noise, in powers of two; None where either is not known.
    unity: its gain is that at which one DN is about one electron (within 10 percent).
    """

    readout: Readout
    gain_e_per_dn: float | None
    read_noise_e: float | None
    full_well_e: float | None
    range_stops: float | None
    unity: bool


@dataclass(frozen=True, slots=True)
class Side:
    """A body's readouts, in order of ISO or gain. unity_setting: ISO or gain at which one DN is one electron, by
    interpolation between readouts (of ISO: in proportion); steady_from: setting from which on the read noise in
    electrons falls no further; None where two readouts at least are not there to tell. sentence: all that in words.
    """

    body: BodyRef
    rows: tuple[Row, ...]
    unity_setting: float | None
    steady_from: float | None
    sentence: str


def sides_of(models: Sequence[SensorModel]) -> tuple[Side, ...]:
    """Bodies in the order they are first given in."""
    by_body: dict[str, list[SensorModel]] = {}
    for one in models:
        by_body.setdefault(one.body.id, []).append(one)
    return tuple(_side(members) for members in by_body.values())


def setting_of(readout: Readout) -> float | None:
    """The number on the dial: ISO, else gain."""
    return float(readout.iso) if readout.iso is not None else readout.gain


def _side(members: Sequence[SensorModel]) -> Side:
    ordered = sorted(members, key=lambda one: (setting_of(one.readout) is None, setting_of(one.readout) or 0.0))
    rows = tuple(_row(one) for one in ordered)
    unity, steady = _unity(rows), _steady(rows)
    return Side(ordered[0].body, rows, unity, steady, _sentence(rows, unity, steady))


def _row(one: SensorModel) -> Row:
    gain, noise, well = one.gain_e_per_dn, one.read_noise_e, one.full_well_e
    stops = log2(well.value / noise.value) if well and noise and noise.value > 0.0 < well.value else None
    return Row(
        one.readout,
        gain.value if gain else None,
        noise.value if noise else None,
        well.value if well else None,
        stops,
        gain is not None and abs(gain.value - 1.0) <= 0.1,
    )


def _unity(rows: Sequence[Row]) -> float | None:
    """Where electrons per DN pass 1. Between two settings the gain changes evenly in its logarithm: a dial in
    decibels or stops does. A single ISO is enough, since ISO goes with the gain.
    """
    told = [
        (setting, row.gain_e_per_dn)
        for row in rows
        if (setting := setting_of(row.readout)) is not None
        and row.gain_e_per_dn is not None
        and row.gain_e_per_dn > 0.0
    ]
    for (low, more), (high, less) in pairwise(told):
        if more >= 1.0 >= less and more > less:
            share = log2(more) / (log2(more) - log2(less))
            if rows[0].readout.iso is not None and low > 0.0:
                return float(low * (high / low) ** share)
            return low + share * (high - low)
    iso = [(setting, gain) for (setting, gain) in told if rows[0].readout.iso is not None]
    if iso:
        setting, gain = min(iso, key=lambda item: abs(log2(item[1])))
        return setting * gain
    return None


def _steady(rows: Sequence[Row]) -> float | None:
    told = [
        (setting, row.read_noise_e)
        for row in rows
        if (setting := setting_of(row.readout)) is not None and row.read_noise_e
    ]
    if len(told) < 2:
        return None
    place = len(told) - 1
    while place > 0 and told[place - 1][1] <= told[place][1] * (1.0 + FALLING_SHARE):
        place -= 1
    return told[place][0] if place < len(told) - 1 else None


def _sentence(rows: Sequence[Row], unity: float | None, steady: float | None) -> str:
    word = "ISO" if any(row.readout.iso is not None for row in rows) else "gain"
    noises = [row for row in rows if row.read_noise_e is not None]
    if not noises:
        return "Nothing can be told in electrons yet: biases and pairs of flats are needed."
    best = min(noises, key=lambda row: row.read_noise_e or 0.0)
    said = f"Least read noise: {best.read_noise_e:.2f} e- at {_named(best.readout, word)}"
    ranges = [row for row in rows if row.range_stops is not None]
    if ranges:
        widest = max(ranges, key=lambda row: row.range_stops or 0.0)
        said += f"; widest range: {widest.range_stops:.1f} stops at {_named(widest.readout, word)}"
    if unity is not None:
        said += f"; one DN is one electron near {word} {float(f'{unity:.2g}'):g}"
    if steady is not None:
        said += f"; from {word} {steady:g} on the read noise falls no further"
    elif len(noises) > 1:
        said += f"; the read noise still falls at the highest {word} measured"
    return said + "."


def _named(readout: Readout, word: str) -> str:
    setting = setting_of(readout)
    return "the only setting" if setting is None else f"{word} {setting:g}"
