"""How well lights are exposed: sky, signal-to-noise, the sub-exposure at which reading no longer matters. Plain Python.

The noise of a light is that of the CCD equation (Mortara & Fowler 1981, Proc. SPIE 290, 28; Howell, Handbook of CCD
Astronomy, section 4.4). All levels in electrons unless a name says DN.
"""

from math import inf, sqrt

READ_SHARE = 0.05
"""Reading may add this share to the noise of sky and dark current (common practice, no single source)."""


def sky_rate_e_s(above_black_e: float, exposure_s: float, dark_e_s: float, *, level_held: bool) -> float:
    """Electrons a second and pixel of the sky, from the level of a light above its black; never negative.

    above_black_e: median of the light less the level of a bias. Dark current is in it too, unless the camera holds its
    black level and has taken the median dark current off by itself.
    """
    dark = 0.0 if level_held else dark_e_s
    return max(above_black_e / exposure_s - dark, 0.0)


def read_share(sky_e_s: float, dark_e_s: float, exposure_s: float, read_noise_e: float) -> float:
    """What reading adds to the noise of one light: sqrt(sky + dark + read^2) over sqrt(sky + dark), less 1."""
    collected = (sky_e_s + dark_e_s) * exposure_s
    return sqrt((collected + read_noise_e**2) / collected) - 1.0 if collected > 0.0 else inf


def sub_exposure_s(rate_e_s: float, read_noise_e: float, share: float = READ_SHARE) -> float | None:
    """The exposure from which reading adds no more than `share` to the noise: read^2 / (rate ((1 + share)^2 - 1)).

    rate_e_s: sky, with or without dark current. None where nothing is collected, so that no exposure is long enough.
    """
    if rate_e_s <= 0.0:
        return None
    return read_noise_e**2 / (rate_e_s * ((1.0 + share) ** 2 - 1.0))


def signal_to_noise(
    signal_e: float,
    sky_e: float,
    dark_e: float,
    read_noise_e: float,
    *,
    pixels: float = 1.0,
    background_pixels: float = inf,
    step_e: float = 0.0,
    rounding: float = 0.289,
) -> float:
    """Signal-to-noise of one source in one exposure by the CCD equation.

    S / sqrt(S + n (1 + n / n_B) (sky + dark + read^2 + (step x rounding)^2)), n pixels of the source and n_B of the
    background it stands on; sky and dark per pixel; step: electrons of one DN (Howell 2000, page 55).
    """
    per_pixel = sky_e + dark_e + read_noise_e**2 + (step_e * rounding) ** 2
    return signal_e / sqrt(signal_e + pixels * (1.0 + pixels / background_pixels) * per_pixel)


def lights_for(wished: float, of_one: float) -> float:
    """How many lights make a wished signal-to-noise, where one light has `of_one`: squares of it add up."""
    return (wished / of_one) ** 2


def tone_curved(linear: float) -> float:
    """A linear share of white, 0 to 1, on the axis of the sRGB curve (IEC 61966-2-1) of a camera's histogram."""
    value = min(max(linear, 0.0), 1.0)
    return 12.92 * value if value <= 0.0031308 else float(1.055 * value ** (1.0 / 2.4) - 0.055)


GAP_LEAST, GAP_MOST = 1.0 / 9.0, 1.0 / 6.0
"""Where the foot of the sky should lie on the tone-curved axis: a third to a half of its first third (common practice,
no single source)."""


def histogram_gap(level_dn: float, mad_dn: float, black_dn: float, white_dn: float) -> float:
    """The foot of the sky's peak on the tone-curved axis, as a share of all of it: 0 is the left edge.

    The foot lies three sigma (of the median's MAD) below the peak.
    """
    foot = level_dn - 3.0 * 1.4826 * mad_dn
    return tone_curved((foot - black_dn) / (white_dn - black_dn))
