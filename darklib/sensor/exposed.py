"""A batch of lights judged by its exposure: from levels and the measured sensor to figures and advice. Plain Python."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, inf

from darklib.facts.match import Reason
from darklib.facts.sensor import Value
from darklib.sensor.exposure import (
    GAP_LEAST,
    GAP_MOST,
    READ_SHARE,
    histogram_gap,
    lights_for,
    read_share,
    signal_to_noise,
    sub_exposure_s,
)

ASSUMED_READ_NOISE_E = 3.0
"""Electrons rms, until biases and flats tell: recent sensors have 1 to 8 (common practice, no single source)."""

SIGNAL_OF_SKY = 0.1
"""The signal that signal-to-noise is told for where none is asked for: a nebula a tenth as bright as the sky."""

SATURATED = 0.001
"""A light with more than this share of saturated pixels loses the colours of its stars (common practice, no single
source)."""

LIGHTS_COLOUR, LIGHTS_LUMINANCE, LIGHTS_FILTER = 10, 20, 10
"""Lights of a target at least: one-shot colour; luminance; each other filter (common practice, no single source)."""


@dataclass(frozen=True, slots=True)
class Light:
    """What is known of a batch for judging it; each None where it is not.

    sky_e_s: electrons a second and pixel by colour, "" for mono. dark_e_s: the median pixel's dark current at the
    lights' temperature. level_dn, mad_dn: of a usual light; black_dn, white_dn: the ends of its numbers. of_target:
    lights of target, camera and filter over all nights; wanted: what the rule of thumb asks for.
    """

    exposure_s: float | None
    lights: int
    sky_e_s: Mapping[str, Value]
    dark_e_s: float | None
    read_noise_e: float | None
    step_e: float
    level_dn: float | None
    mad_dn: float | None
    black_dn: float | None
    white_dn: float | None
    saturated_fraction: float | None
    of_target: int
    wanted: int


@dataclass(frozen=True, slots=True)
class SignalToNoise:
    """Of a source of signal_e_s electrons a second and pixel, on one pixel: of one light, of all lights of the batch.

    wished: what was asked for; lights_wished: how many lights make it, lights_to_go: how many more.
    """

    signal_e_s: float
    of_one: float
    of_all: float
    wished: float | None
    lights_wished: int | None
    lights_to_go: int | None


@dataclass(frozen=True, slots=True)
class Exposed:
    """How well a batch was exposed. colour: that whose sky is faintest, by which the exposure is judged.

    read_share_percent: what reading adds to the noise. sub_exposure_s: from where it adds no more than 5 percent, by
    the sky alone and with the dark current. histogram_gap: foot of the sky's peak on the tone-curved axis, a share.
    """

    sky_e_s: Mapping[str, Value]
    colour: str | None
    read_share_percent: float | None
    saturated_fraction: float | None
    histogram_gap: float | None
    sub_exposure_s: float | None
    sub_exposure_with_dark_s: float | None
    signal_to_noise: SignalToNoise | None
    advice: tuple[Reason, ...]


def sky_value(
    level_dn: float, level_error_dn: float, zero_dn: float, zero_error_dn: float, gain: Value, exposure_s: float
) -> Value:
    """The sky from a light's level above its zero, electrons a second.

    0 where it is not above 2 sigma; its error then is half of the upper bound.
    """
    above = level_dn - zero_dn
    value = above * gain.value / exposure_s
    relative = (gain.error or 0.0) / gain.value
    error = hypot(hypot(level_error_dn, zero_error_dn) * gain.value / exposure_s, value * relative)
    if value > 2.0 * error:
        return Value(value, error)
    return Value(0.0, (max(value, 0.0) + 2.0 * error) / 2.0)


def judged(light: Light, *, signal_e_s: float | None = None, wished: float | None = None) -> Exposed:
    """Figures and advice for a batch. signal_e_s: of the source wished for, electrons a second and pixel."""
    advice: list[Reason] = []
    noise_e = light.read_noise_e
    if noise_e is None:
        noise_e = ASSUMED_READ_NOISE_E
        text = (
            f"The read noise is not measured; {noise_e:g} electrons are assumed. Twenty biases and a few pairs of "
            "flats tell it: `darklib sensor`."
        )
        advice.append(Reason("read_noise_assumed", text, {"read_noise_e": noise_e}))
    colour = min(light.sky_e_s, key=lambda one: light.sky_e_s[one].value, default=None)
    sky = light.sky_e_s[colour] if colour is not None else None
    share = least_s = with_dark_s = None
    told = None
    if light.exposure_s is None:
        advice.append(Reason("exposure_unknown", "The exposure of the lights is not known."))
    elif sky is None:
        text = (
            "The sky cannot be told in electrons: the gain of this camera is not known. Two pairs of flats and ten "
            "biases tell it: `darklib sensor`."
        )
        advice.append(Reason("gain_unknown", text))
    else:
        dark = light.dark_e_s or 0.0
        share = read_share(sky.value, dark, light.exposure_s, noise_e)
        least_s = sub_exposure_s(sky.value, noise_e)
        with_dark_s = sub_exposure_s(sky.value + dark, noise_e)
        advice += _on_reading(light.exposure_s, share, least_s, with_dark_s, sky, colour or "")
        if light.dark_e_s is None:
            text = "Dark current at the lights' temperature is not known and left out; darks tell it: `darklib sensor`."
            advice.append(Reason("dark_unknown", text))
        elif dark > sky.value:
            text = (
                f"Dark current ({dark:.2g} electrons a second) makes more noise than the sky ({sky.value:.2g}): a "
                "colder camera gains more than a longer exposure."
            )
            advice.append(Reason("dark_above_sky", text, {"dark_e_s": dark, "sky_e_s": sky.value}))
        told = _signal(light, sky.value, dark, noise_e, signal_e_s, wished)
        if told is not None and told.lights_to_go is not None and told.wished is not None:
            advice.append(_on_wish(told, light))
    gap = None
    known = (light.level_dn, light.mad_dn, light.black_dn, light.white_dn)
    if all(one is not None for one in known):
        level_dn, mad_dn, black_dn, white_dn = (one or 0.0 for one in known)
        if white_dn > black_dn:
            gap = histogram_gap(level_dn, mad_dn, black_dn, white_dn)
            advice.append(_on_gap(gap))
    if light.saturated_fraction is not None and light.saturated_fraction > SATURATED:
        text = (
            f"{100 * light.saturated_fraction:.2g}% of the pixels are saturated: bright stars lose their colour; some "
            "shorter lights bring it back."
        )
        advice.append(Reason("saturated", text, {"saturated_percent": 100 * light.saturated_fraction}))
    advice.append(_on_number(light))
    return Exposed(
        dict(light.sky_e_s),
        colour,
        None if share is None or share == inf else round(100.0 * share, 3),
        light.saturated_fraction,
        gap,
        least_s,
        with_dark_s,
        told,
        tuple(advice),
    )


def _on_reading(
    exposure_s: float, share: float, least_s: float | None, with_dark_s: float | None, sky: Value, colour: str
) -> list[Reason]:
    of_colour = f" ({colour}, where it is faintest)" if colour else ""
    if least_s is None:
        text = (
            f"The sky is too faint to be told from the darks: less than {2.0 * (sky.error or 0.0):.2g} electrons a "
            f"second{of_colour}. The longer the lights are, the less reading counts."
        )
        return [Reason("sky_below_error", text, {"sky_most_e_s": 2.0 * (sky.error or 0.0)})]
    figures = {"read_share_percent": 100.0 * share, "least_s": least_s, "exposure_s": exposure_s}
    if with_dark_s is not None:
        figures["with_dark_s"] = with_dark_s
    dark = ""
    if with_dark_s is not None and _seconds(with_dark_s) != _seconds(least_s):
        dark = f"; dark current counted, from {_seconds(with_dark_s)} on"
    if share <= READ_SHARE:
        text = (
            f"Reading adds {100 * share:.2g}% to the noise: long enough. By the sky alone{of_colour} it adds no more "
            f"than {100 * READ_SHARE:.0f}% from {_seconds(least_s)} on{dark}."
        )
        return [Reason("long_enough", text, figures)]
    text = (
        f"Reading adds {100 * share:.2g}% to the noise. By the sky alone{of_colour} it adds no more than "
        f"{100 * READ_SHARE:.0f}% from {_seconds(least_s)} on{dark}."
    )
    return [Reason("too_short", text, figures)]


def _seconds(value: float | None) -> str:
    if value is None:
        return "?"
    return f"{value:.0f} s" if value >= 10.0 else f"{value:.1f} s"


def _signal(
    light: Light, sky_e_s: float, dark_e_s: float, noise_e: float, signal_e_s: float | None, wished: float | None
) -> SignalToNoise | None:
    rate = SIGNAL_OF_SKY * sky_e_s if signal_e_s is None else signal_e_s
    t = light.exposure_s
    if not t or rate <= 0.0:
        return None
    of_one = signal_to_noise(rate * t, sky_e_s * t, dark_e_s * t, noise_e, step_e=light.step_e)
    need = to_go = None
    if wished is not None:
        # A hair less than a whole number of lights is that number.
        need = int(-(-(lights_for(wished, of_one) - 1e-9) // 1))
        to_go = max(0, need - light.of_target)
    return SignalToNoise(rate, of_one, of_one * light.lights**0.5, wished, need, to_go)


def _on_wish(told: SignalToNoise, light: Light) -> Reason:
    figures = {
        "signal_e_s": told.signal_e_s,
        "wished": told.wished or 0.0,
        "lights_wished": float(told.lights_wished or 0),
        "lights_to_go": float(told.lights_to_go or 0),
    }
    text = (
        f"A signal-to-noise of {told.wished:g} a pixel for {told.signal_e_s:.2g} electrons a second takes "
        f"{told.lights_wished} such lights"
    )
    if told.lights_to_go:
        text += (
            f"; {told.lights_to_go} are still to shoot ({told.lights_to_go * (light.exposure_s or 0.0) / 60:.0f} min)."
        )
    else:
        text += "; they are there."
    return Reason("signal_to_noise", text, figures)


def _on_gap(gap: float) -> Reason:
    figures = {"gap_percent": 100 * gap, "least_percent": 100 * GAP_LEAST, "most_percent": 100 * GAP_MOST}
    shown = (
        f"On a camera's tone-curved axis (the sRGB curve is applied) the sky begins at {100 * gap:.0f}% of the width"
    )
    wanted = f"{100 * GAP_LEAST:.0f} to {100 * GAP_MOST:.0f}% is the rule of thumb"
    if gap < GAP_LEAST:
        return Reason("gap_small", f"{shown}; {wanted}: expose longer, as far as the guiding allows.", figures)
    if gap > GAP_MOST:
        return Reason("gap_large", f"{shown}; {wanted}: shorter would do and save stars from saturation.", figures)
    return Reason("gap_right", f"{shown}, as the rule of thumb wants it ({100 * GAP_LEAST:.0f} to "
                  f"{100 * GAP_MOST:.0f}%).", figures)  # fmt: skip


def _on_number(light: Light) -> Reason:
    figures = {"lights": float(light.of_target), "wanted": float(light.wanted)}
    have = f"{light.of_target} light{'s' if light.of_target != 1 else ''} of this target and filter"
    if light.of_target < light.wanted:
        text = f"There are {have}; the rule of thumb is {light.wanted} at least: {light.wanted - light.of_target} more."
        text = text.replace("There are 1 light ", "There is 1 light ")
        return Reason("few_lights", text, figures)
    return Reason("enough_lights", f"There are {have}, {light.wanted} being the least by the rule of thumb.", figures)
