"""Where the name of a frame and what its pixels and exposure show do not go together: warnings with their figures."""

from darklib.facts.frame import FrameFacts, FrameWarning, Kind, PixelFacts
from darklib.kinds.evidence import FLAT_SHARE, STAR_CONTRAST
from darklib.kinds.signs import BRIGHT_SHARE, UNLIT_SIGMA, Signs
from darklib.kinds.warned import warned

LONG_BIAS_S = 0.1
"""The shortest exposure of a camera with a mechanical shutter; anything longer is no bias (common practice)."""
SATURATED_SHARE = 0.05


def contradictions(kind: Kind, facts: FrameFacts, pixels: PixelFacts | None, signs: Signs | None) -> list[FrameWarning]:
    """What speaks against a kind that the header, a name or the user gives.

    signs: of a single frame; those of a combined one are measured against a noise that combining took away, and say
    nothing. Only sure signs warn.
    """
    found = []
    if facts.combined is not None:
        count = facts.combined.count
        found.append(warned("combined_frame", **({} if count is None else {"frames": count})))
        signs = None
    exposure = facts.exposure_s
    if kind is Kind.BIAS and exposure is not None and exposure > LONG_BIAS_S:
        found.append(warned("bias_is_long", exposure_s=exposure))
    if signs is not None and pixels is not None:
        found += _UNLIKE[kind](pixels, signs)
    if kind in (Kind.LIGHT, Kind.FLAT) and pixels is not None and pixels.saturated_fraction > SATURATED_SHARE:
        found.append(warned("saturated", saturated_fraction=pixels.saturated_fraction))
    return found


def unlit(signs: Signs) -> bool:
    """Whether a frame shows nothing that light does, level included where black is known."""
    if signs.perhaps_lit or signs.certain_share > BRIGHT_SHARE:
        return False
    return signs.above_sigma is None or signs.above_sigma <= UNLIT_SIGMA


def _unlike_dark(pixels: PixelFacts, signs: Signs) -> list[FrameWarning]:
    found = []
    if signs.stars == 2:
        found.append(warned("stars_in_dark", stars=signs.star_count))
    if signs.certain_share > BRIGHT_SHARE:
        found.append(warned("dark_is_bright", level_dn=pixels.median_dn, share_of_range=signs.certain_share))
    elif signs.stars < 2 and signs.lit:
        figures = {} if signs.above_sigma is None else {"above_black_sigma": signs.above_sigma}
        found.append(warned("light_leak", **figures))
    return found


def _unlike_bias(pixels: PixelFacts, signs: Signs) -> list[FrameWarning]:
    return [warned("kind_disagrees", level_dn=pixels.median_dn)] if signs.lit else []


def _unlike_flat(pixels: PixelFacts, signs: Signs) -> list[FrameWarning]:
    if unlit(signs):
        return [warned("flat_is_black", level_dn=pixels.median_dn)]
    if signs.stars == 2 and signs.contrast > 4 * STAR_CONTRAST and signs.star_count >= 3:
        return [warned("kind_disagrees", stars=signs.star_count)]
    return []


def _unlike_light(pixels: PixelFacts, signs: Signs) -> list[FrameWarning]:
    if unlit(signs):
        return [warned("light_is_black", level_dn=pixels.median_dn)]
    if signs.stars == 0 and signs.certain_share > max(FLAT_SHARE, BRIGHT_SHARE) and signs.fall == 2:
        return [warned("kind_disagrees", share_of_range=signs.certain_share)]
    return []


_UNLIKE = {Kind.DARK: _unlike_dark, Kind.BIAS: _unlike_bias, Kind.FLAT: _unlike_flat, Kind.LIGHT: _unlike_light}
