"""What a set of darks costs some lights, where the sensor is measured: from frames to `sensor/cost` and back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import fmean, median
from types import MappingProxyType

from darklib.facts.frame import BodyRef, Frame, Readout
from darklib.facts.match import CalibrationSet, Reason, Verdict
from darklib.facts.sensor import SensorModel
from darklib.facts.settings import Settings
from darklib.matching.target import Target
from darklib.sensor.cost import (
    ASSUMED_DOUBLING_C,
    ASSUMED_HOT_DOUBLING_C,
    ASSUMED_SKY_E_S,
    HOT_LAW_SCATTER,
    DarkSet,
    Lights,
    Price,
    Sensor,
    exact_set,
    middle,
    over_temperatures,
    price,
    sensor_of,
)
from darklib.sensor.cost_flats import ASSUMED_FLAT_DEPTH, flat_residual
from darklib.sensor.cost_verdict import verdict_of
from darklib.sensor.exposure import sky_rate_e_s

Models = Mapping[tuple[str, str], SensorModel]
"""What is known of cameras, by body id and readout key."""

NO_MODELS: Models = MappingProxyType({})

NOT_SCALED = frozenset({"black_clipped", "glow_not_scaling", "hot_pixels_filtered", "bias_drifts"})
"""Troubles of a sensor whose darks must not be scaled: what they hold does not follow exposure and temperature."""

ONE_PRICE_C = 0.5
"""Lights that span no more are priced at their median; others in groups, each at its own mean temperature."""

MOST_GROUPS = 5


@dataclass(frozen=True, slots=True)
class Pricing:
    """What prices the darks of one batch. stack: lights that are stacked together; pointing: of the batch; assumed:
    what is not measured and which value stands in; linear: whether darks may be scaled.
    """

    sensor: Sensor
    exposure_s: float
    stack: int
    sky_e_s: float
    pointing: str
    assumed: tuple[Reason, ...]
    linear: bool
    hot_doubling_c: float
    gain_e_per_dn: float
    black_dn: float | None

    @property
    def fixed(self) -> bool:
        """Whether the sky stayed on its pixels; where nobody knows it is taken as dithered."""
        return self.pointing == "fixed"


@dataclass(frozen=True, slots=True)
class Worth:
    """A set priced for some lights. none: price of no dark at all; exact: of an exact set of the number aimed at."""

    verdict: Verdict
    price: Price
    none: Price
    avoidable: float
    flat_residual: float
    worse_than_none: bool


def model_of(models: Models, body: BodyRef | None, readout: Readout) -> SensorModel | None:
    """What is known of a camera in a readout. A step of the values that one side does not know is no difference."""
    if body is None or not models:
        return None
    found = models.get((body.id, readout.key))
    if found is not None:
        return found
    loose = replace(readout, dn_step=None).key
    for (own, _), model in models.items():
        if own != body.id or replace(model.readout, dn_step=None).key != loose:
            continue
        if readout.dn_step is None or model.readout.dn_step is None:
            return model
    return None


def pricing_of(target: Target, models: Models, pointing: str = "unknown") -> Pricing | None:
    """What prices the darks of a batch; None where its sensor is not measured or its exposure not known."""
    model = model_of(models, target.body, target.readout)
    sensor = sensor_of(model, target.median_c) if model is not None else None
    if model is None or sensor is None or model.gain_e_per_dn is None or not target.exposure_s:
        return None
    assumed = []
    sky = sky_of(target.frames, model, sensor, target.exposure_s, target.median_c)
    if sky is None:
        sky = ASSUMED_SKY_E_S
        text = f"The level of the sky is not known; {sky:g} electrons a second and pixel are assumed."
        assumed.append(Reason("sky_unknown", text, {"sky_e_s": sky}))
    if model.doubling_c is None or model.hot_doubling_c is None:
        usual = model.doubling_c.value if model.doubling_c else ASSUMED_DOUBLING_C
        hot = model.hot_doubling_c.value if model.hot_doubling_c else ASSUMED_HOT_DOUBLING_C
        text = (
            "How dark current grows with temperature is not measured in full: a doubling every "
            f"{usual:.1f} C, of hot pixels every {hot:.1f} C, is reckoned with. Darks of two temperatures tell."
        )
        assumed.append(Reason("assumed_sensor", text, {"doubling_c": usual, "hot_doubling_c": hot}))
    return Pricing(
        sensor,
        target.exposure_s,
        len(target.frames),
        sky,
        pointing,
        tuple(assumed),
        not NOT_SCALED & set(model.troubles),
        sensor.rates.hot_doubling_c,
        model.gain_e_per_dn.value,
        model.bias_dn.value if model.bias_dn is not None else None,
    )


def sky_of(
    frames: Sequence[Frame], model: SensorModel, sensor: Sensor, exposure_s: float, temperature_c: float | None
) -> float | None:
    """The sky, electrons a second and pixel, from the lights' levels; None where levels or black are not known."""
    levels = [frame.median_dn for frame in frames if frame.median_dn is not None]
    if not levels or model.bias_dn is None or model.gain_e_per_dn is None:
        return None
    if temperature_c is None and not sensor.level_held:
        return None
    dark = 0.0 if temperature_c is None else middle(sensor.rates.at(temperature_c), sensor.rates.shares)
    above = (median(levels) - model.bias_dn.value) * model.gain_e_per_dn.value
    return sky_rate_e_s(above, exposure_s, dark, level_held=sensor.level_held)


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """Lights that ask for a price: as they are priced, with what an exact set of the number aimed at would cost them
    and what no dark at all.
    """

    pricing: Pricing
    lights: tuple[Lights, ...]
    exact: Price
    none: Price


def asked(pricing: Pricing | None, target: Target, settings: Settings) -> Asked | None:
    """A target's lights asking; None where there is no pricing, or their temperatures are not known."""
    if pricing is None or not target.temperatures_c:
        return None
    lights = tuple(lights_at(pricing, target))
    good = settings.counts.darks_good
    exact = over_temperatures([price(pricing.sensor, one, exact_set(one, good)) for one in lights])
    none = over_temperatures([price(pricing.sensor, one, None) for one in lights])
    return Asked(pricing, lights, exact, none)


def worth(
    asking: Asked,
    one: CalibrationSet,
    own_c: float | None,
    count: int,
    settings: Settings,
    *,
    scale: float | None = None,
    biases: int | None = None,
) -> Worth | None:
    """What a set of so many frames is worth for some lights, or None where its temperature or exposure is not known."""
    if own_c is None or one.exposure_s is None or count < 1:
        return None
    pricing = asking.pricing
    combined = one.frames[0].combined if one.frames else None
    by_median = combined is not None and "median" in (combined.method or "").casefold()
    dark = DarkSet(one.exposure_s, own_c, count, median=by_median)
    if scale is not None:
        by_exposure = pricing.exposure_s / one.exposure_s if one.exposure_s else scale
        warmed = abs(scale / by_exposure - 1.0) > 1e-6
        dark = replace(dark, scale=scale, biases=biases, law_scatter=HOT_LAW_SCATTER if warmed else 0.0)
    prices = [price(pricing.sensor, lights, dark) for lights in asking.lights]
    own = prices[0] if len(prices) == 1 else over_temperatures(prices)
    exact, none = asking.exact, asking.none
    residual = flat_residual(own.level_error_e, own.sky_e) if own.sky_e > 0.0 else 0.0
    found = verdict_of(
        own.fixed if pricing.fixed else own.dithered,
        exact.fixed if pricing.fixed else exact.dithered,
        none.fixed if pricing.fixed else none.dithered,
        own.hot_left_per_megapixel,
        residual,
        fixed_pointing=pricing.fixed,
        limits=settings.prices,
    )
    return Worth(found.verdict, own, none, found.avoidable, residual, found.worse_than_none)


def lights_at(pricing: Pricing, target: Target) -> list[Lights]:
    """The lights of a target as they are priced: at their median, or in groups of neighbouring temperatures."""
    values = sorted(target.temperatures_c)
    count = max(len(target.frames), 1)
    # The rest of the batch is stacked with them and served by other sets: only these lights share the errors.
    places = () if count == pricing.stack else (count,)
    if values[-1] - values[0] <= ONE_PRICE_C:
        groups = [float(median(values))]
    else:
        many = min(MOST_GROUPS, len(values))
        cuts = [round(number * len(values) / many) for number in range(many + 1)]
        groups = [fmean(values[low:high]) for low, high in pairwise(cuts) if high > low]
    return [Lights(pricing.exposure_s, round(at_c, 2), pricing.stack, pricing.sky_e_s, places) for at_c in groups]


def reasons_of(pricing: Pricing, found: Worth, settings: Settings) -> tuple[Reason, ...]:
    """Why a price is what it is, and what can't be mended: reasons beyond the bare figures of a choice."""
    own = found.price
    reasons = []
    dithered, fixed = percent(own.dithered), percent(own.fixed)
    figures = {"time_cost_percent_dithered": 100.0 * own.dithered, "time_cost_percent_fixed": 100.0 * own.fixed}
    if found.worse_than_none:
        text = (
            f"It costs {fixed if pricing.fixed else dithered} of exposure time; with no dark at all it would be "
            f"{percent(found.none.fixed if pricing.fixed else found.none.dithered)}."
        )
        reasons.append(Reason("worse_than_none", text, figures))
    if pricing.pointing == "unknown":
        text = (
            f"Whether the lights were dithered is not known: dithered the darks cost {dithered} more exposure time, "
            f"with the sky on the same pixels {fixed}"
        )
        text += "." if own.factor_fixed is not None else ", and no number of lights makes up for that."
        reasons.append(Reason("pointing_unknown", text, figures))
    elif pricing.fixed and own.factor_fixed is None:
        text = (
            "With the sky on the same pixels no number of lights makes up for these darks; dithering does, or darks of "
            "the lights' own temperature and exposure."
        )
        reasons.append(Reason("cannot_be_won_back", text, figures))
    if own.hot_left_per_megapixel > settings.prices.good_hot_pixels_per_megapixel:
        text = f"They leave {own.hot_left_per_megapixel:.0f} hot pixels in a million that stand out of a single light."
        reasons.append(Reason("hot_pixels_left", text, {"hot_pixels_left_per_megapixel": own.hot_left_per_megapixel}))
    if 100.0 * found.flat_residual > settings.prices.good_flat_residual_percent:
        text = (
            f"Their level is {abs(own.level_error_e):.1f} electrons too {'low' if own.level_error_e > 0 else 'high'}: "
            f"after flats with corners {100 * ASSUMED_FLAT_DEPTH:.0f}% darker (assumed) that leaves "
            f"{percent(found.flat_residual)} of the sky as false vignetting."
        )
        figures = {"level_error_e": own.level_error_e, "flat_residual_percent": 100.0 * found.flat_residual}
        reasons.append(Reason("level_left", text, figures))
    return (*reasons, *pricing.assumed)


def percent(share: float) -> str:
    """A share as percent with two figures that count: `0.72%`, `14%`, `230%`."""
    value = 100.0 * share
    return f"{value:.0f}%" if abs(value) >= 10.0 else f"{value:.2g}%"
