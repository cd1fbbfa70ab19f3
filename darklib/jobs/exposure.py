"""How well batches of lights were exposed: levels from the catalogue, the sensor as it was measured."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean, median, stdev

from darklib.facts.frame import Frame, Kind, PixelFacts
from darklib.facts.match import Batch, Choice
from darklib.facts.sensor import SensorModel, Value
from darklib.facts.train import plain_name
from darklib.facts.units import exposures_equal
from darklib.jobs.asked import Nights
from darklib.jobs.library import Opened
from darklib.jobs.match import batches_asked, matches_of
from darklib.jobs.sensor import sensor_models
from darklib.matching.pricing import model_of
from darklib.matching.target import lights_of
from darklib.sensor.cost import middle, sensor_of
from darklib.sensor.exposed import (
    LIGHTS_COLOUR,
    LIGHTS_FILTER,
    LIGHTS_LUMINANCE,
    Exposed,
    Light,
    judged,
    sky_value,
)

MOST_READ = 12
"""So many frames of a batch and of its darks, evenly spread, are looked up for their levels by colour."""

NEAR_C = 1.0
"""Darks within this many degrees show what lies under the sky; farther off the sensor's law is the better guide."""

LUMINANCE = frozenset({"", "l", "lum", "luminance", "clear"})


@dataclass(frozen=True, slots=True)
class BatchExposure:
    """A batch and how well it was exposed. measured: whether the camera's gain and noise are measured; gain_from:
    sensor, file or None; zero_from: what the sky was told from: darks, bias or None.
    """

    batch: Batch
    exposed: Exposed
    measured: bool
    gain_from: str | None
    zero_from: str | None


@dataclass(frozen=True, slots=True)
class ExposureResult:
    """Batches by time, then id."""

    batches: tuple[BatchExposure, ...]


def exposure(
    opened: Opened,
    *,
    nights: Nights = Nights(),  # noqa: B008 (frozen)
    batch: str | None = None,
    signal_e_s: float | None = None,
    wished: float | None = None,
) -> ExposureResult:
    """The batches of some nights, or one, judged. signal_e_s, wished: a source and signal-to-noise wished for it."""
    batches = batches_asked(opened, nights=nights, batch=batch).batches
    models = sensor_models(opened)
    darks = {one.batch.id: one.darks for one in reversed(matches_of(opened, batches))}
    found = []
    for one in batches:
        model = model_of(models, one.body, one.readout)
        found.append(_judged(opened, one, model, darks.get(one.id), signal_e_s, wished))
    return ExposureResult(tuple(found))


def _judged(
    opened: Opened,
    batch: Batch,
    model: SensorModel | None,
    darks: Choice | None,
    signal_e_s: float | None,
    wished: float | None,
) -> BatchExposure:
    levels = _pixels(opened, batch.frames)
    gain, gain_from = _gain(opened, batch, model)
    temperature_c = lights_of(batch).median_c
    dark_e_s = _dark(model, temperature_c)
    sky: dict[str, Value] = {}
    zero_from = None
    if gain is not None and batch.exposure_s and levels:
        zero, zero_from = _zero(opened, batch, model, darks, dark_e_s, gain)
        for colour, (level, error) in _by_colour(levels).items():
            if colour in zero:
                own = _own_gain(model, colour, gain)
                sky[colour] = sky_value(level, error, *zero[colour], own, batch.exposure_s)
    black_dn = model.bias_dn.value if model is not None and model.bias_dn is not None else batch.readout.black_dn
    saturated = [frame.saturated_fraction for frame in batch.frames if frame.saturated_fraction is not None]
    light = Light(
        exposure_s=batch.exposure_s,
        lights=batch.count,
        sky_e_s=sky,
        dark_e_s=dark_e_s,
        read_noise_e=model.read_noise_e.value if model is not None and model.read_noise_e is not None else None,
        step_e=gain.value * (batch.readout.dn_step or 1) if gain is not None else 0.0,
        level_dn=_usual(frame.median_dn for frame in batch.frames),
        mad_dn=_usual(frame.mad_dn for frame in batch.frames),
        black_dn=black_dn,
        white_dn=_white(batch),
        saturated_fraction=fmean(saturated) if saturated else None,
        of_target=_of_target(opened, batch),
        wanted=_wanted(batch),
    )
    exposed = judged(light, signal_e_s=signal_e_s, wished=wished)
    measured = model is not None and model.gain_e_per_dn is not None and model.read_noise_e is not None
    return BatchExposure(batch, exposed, measured, gain_from, zero_from)


def _pixels(opened: Opened, frames: Sequence[Frame]) -> list[PixelFacts]:
    """What was measured of some of the frames, evenly spread."""
    step = max(1, -(-len(frames) // MOST_READ))
    records = (opened.catalogue.record(frame.sha256) for frame in frames[::step])
    return [record.measured for record in records if record.measured is not None]


def _by_colour(pixels: Sequence[PixelFacts]) -> dict[str, tuple[float, float]]:
    """Level of each colour, the mean over frames, and its error, DN. Clipped means: a median knows whole steps only."""
    values: dict[str, list[float]] = {}
    for one in pixels:
        planes = one.planes or ()
        for colour, level in [(plane.colour, plane.mean_dn) for plane in planes] or [("", one.mean_dn)]:
            values.setdefault(colour, []).append(level)
    return {
        # A single frame does not show how levels scatter: half a percent, as a lamp or sky may wander.
        colour: (fmean(some), stdev(some) / len(some) ** 0.5 if len(some) > 1 else 0.005 * fmean(some))
        for colour, some in values.items()
    }


def _gain(opened: Opened, batch: Batch, model: SensorModel | None) -> tuple[Value | None, str | None]:
    if model is not None and model.gain_e_per_dn is not None:
        return model.gain_e_per_dn, "sensor"
    if batch.frames:
        stated = opened.catalogue.record(batch.frames[0].sha256).read.e_per_dn
        if stated is not None and stated > 0.0:
            return Value(stated), "file"
    return None, None


def _own_gain(model: SensorModel | None, colour: str, gain: Value) -> Value:
    return gain if model is None else model.gain_by_colour.get(colour, gain)


def _dark(model: SensorModel | None, temperature_c: float | None) -> float | None:
    if model is None or temperature_c is None:
        return None
    sensor = sensor_of(model, temperature_c)
    if sensor is None:
        return None
    return middle(sensor.rates.at(temperature_c), sensor.rates.shares)


def _zero(
    opened: Opened,
    batch: Batch,
    model: SensorModel | None,
    darks: Choice | None,
    dark_e_s: float | None,
    gain: Value,
) -> tuple[dict[str, tuple[float, float]], str | None]:
    """What such a light shows without a sky, by colour: level and error, DN; and from what that is known."""
    if darks is not None and darks.set is not None and darks.recipe is not None:
        own_s, exposure_s = darks.set.exposure_s, batch.exposure_s
        near = darks.temperature_mismatch_c is not None and abs(darks.temperature_mismatch_c) <= NEAR_C
        plain = darks.recipe.form in ("exact", "merged") and not darks.recipe.needs_bias
        if near and plain and own_s and exposure_s and exposures_equal(own_s, exposure_s):
            return _by_colour(_pixels(opened, darks.set.frames)), "darks"
    if model is None or not model.black_by_colour:
        return {}, None
    above = 0.0
    if not model.level_held:
        if dark_e_s is None:
            return {}, None
        above = dark_e_s * (batch.exposure_s or 0.0) / gain.value
    return {
        colour: (black.value + above, black.error or 0.0) for colour, black in model.black_by_colour.items()
    }, "bias"


def _white(batch: Batch) -> float | None:
    """Where the numbers end: as the file says, else at the most its bits can hold."""
    if batch.readout.white_dn is not None:
        return batch.readout.white_dn
    bits = batch.readout.bits
    return float((1 << bits) - 1) if bits is not None and bits <= 16 else None


def _usual(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(median(known)) if known else None


def _of_target(opened: Opened, batch: Batch) -> int:
    """Lights of the batch's target, camera and filter, of all nights."""
    if batch.target is None:
        return batch.count
    body = batch.body.id if batch.body else None
    found = 0
    for series in opened.catalogue.series(Kind.LIGHT, target=batch.target):
        own = series.body.id if series.body else None
        if own == body and plain_name(series.filter) == plain_name(batch.filter):
            found += series.count - series.retired_count
    return max(found, batch.count)


def _wanted(batch: Batch) -> int:
    if batch.readout.cfa:
        return LIGHTS_COLOUR
    return LIGHTS_LUMINANCE if plain_name(batch.filter) in LUMINANCE else LIGHTS_FILTER
