"""The kind of a single frame from its pixels and its exposure; undecided in doubt."""

from darklib.facts.frame import FrameFacts, Kind, KindDecision, KindFrom, PixelFacts
from darklib.kinds.signs import LIT_SIGMA, MOST_BLACK_SHARE, UNLIT_SIGMA, Signs, signs_of

DECIDED = 0.8
"""Confidence below which a frame stays undecided."""

BIAS_S = 0.00105
"""Longest exposure of a bias: a millisecond, and a little for rounding (common practice, no single source)."""
SHORT_S, TWILIGHT_S, FLAT_S, LONG_FLAT_S = 1.0, 3.0, 20.0, 60.0
"""Flats are exposed up to about a minute, hardly ever longer; lights of the deep sky hardly ever under a second."""

FLAT_SHARE = 0.08
"""Least share of the range to which a flat is exposed on purpose."""
STAR_CONTRAST = 0.25
"""Over the sky's level the stars of a light stand out by more than this; those of a twilight flat by less."""
MANY_STARS = 30
SKYLESS_S = 10.0
"""A sky that stands out of the noise after so short a time comes with stars, or is a flat's and far brighter."""
FLAT_OVER_NOISE = 30.0
"""A flat of more than 20 s has to stand so many standard deviations above black, as no clouded sky does."""
COLOURLESS_SHARE = 0.05
"""No sky and no panel lights all colours of a pattern alike; dark current does."""


NO_BLACK = "perhaps dark: "
"""What is told of frames that only lack a black level begins so."""


def kind_from_pixels(facts: FrameFacts, pixels: PixelFacts, black_dn: float | None = None) -> KindDecision:
    """What the frame is by its pixels and its exposure.

    black_dn: level of unlit frames of the same camera and readout, where there are any; else the file's own is used.
    A kind is given with a confidence of 0.8 or more; else `kind` is None and `why` says what stood against it.
    """
    signs = signs_of(facts, pixels, black_dn)
    if signs is None:
        return _undecided(0.0, "too small a frame to tell")
    return kind_from_signs(facts, signs)


def kind_from_signs(facts: FrameFacts, signs: Signs) -> KindDecision:
    """As `kind_from_pixels`, from the signs."""
    if signs.lit:
        return _lit(facts, signs)
    if signs.perhaps_lit:
        return _undecided(0.5, f"perhaps light: {_named(signs)}")
    return _unlit(facts, signs)


def _unlit(facts: FrameFacts, signs: Signs) -> KindDecision:
    why = "no stars, no fall-off, no colour"
    exposure = facts.exposure_s
    if signs.above_sigma is None:
        most = signs.most_above_sigma
        if signs.certain_share > 0:
            return _undecided(0.5, "level neither black nor bright, and no black level to compare with")
        if most is not None and most <= UNLIT_SIGMA:
            confidence = 0.93
            why += f"; its noise leaves room for {most:.1f} sigma of light at most"
        elif exposure is not None and exposure <= SKYLESS_S and _no_flat(exposure, signs):
            confidence = 0.9
            why += "; too short for a sky without stars; black level not known"
        elif facts.cfa is not None:
            confidence = 0.85
            why += "; black level not known"
        elif signs.sloping:
            # A leak of light keeps as still as an amplifier glows: a run of such frames settles nothing.
            return _undecided(0.6, "level differs over the frame, and no black level to compare with")
        else:
            return _undecided(0.6, NO_BLACK + "no sign of light, but no black level to compare with either")
    elif signs.above_sigma <= UNLIT_SIGMA:
        confidence = 0.97 if signs.above_sigma <= UNLIT_SIGMA / 2 else 0.92
        why += f", {signs.above_sigma:.1f} sigma above black"
    elif signs.colour_share is not None and facts.cfa is not None and signs.colour_share < COLOURLESS_SHARE:
        confidence = 0.9
        why += f", {signs.above_sigma:.1f} sigma above black in all colours alike"
    else:
        return _undecided(0.5, f"{signs.above_sigma:.1f} sigma above black: dark current or a clouded sky")
    if facts.exposure_s is None:
        return _undecided(0.5, "dark or bias: the exposure is not known")
    if facts.exposure_s <= BIAS_S:
        return KindDecision(Kind.BIAS, KindFrom.PIXELS, confidence, f"{why}; exposed for a millisecond or less")
    return KindDecision(Kind.DARK, KindFrom.PIXELS, confidence, why)


def _no_flat(exposure_s: float, signs: Signs) -> bool:
    """Whether a short frame without any sign of light is no even flat of a camera with a narrow range either."""
    dim = signs.most_above_sigma is not None and signs.most_above_sigma <= LIT_SIGMA
    return exposure_s <= BIAS_S or signs.share <= FLAT_SHARE - MOST_BLACK_SHARE or dim


def _lit(facts: FrameFacts, signs: Signs) -> KindDecision:
    exposure = facts.exposure_s
    bright = signs.share >= FLAT_SHARE
    plain_sky = signs.fall == 2 and signs.stars < 2 and not signs.leak and signs.certain_share < FLAT_SHARE
    if exposure is not None and exposure > LONG_FLAT_S and plain_sky:
        return _decided(Kind.LIGHT, 0.88, f"sky: {_named(signs)}, exposed longer than flats are")
    if bright and not signs.marked and signs.certain_share < FLAT_SHARE and signs.stars < 2:
        return _undecided(0.5, "lit, but no black level to tell how brightly")
    if signs.leak and signs.stars < 2 and signs.fall == 0 and not bright:
        return _undecided(0.5, "light from one side, no stars: a leak, or a sky with a strong gradient")
    if signs.stars == 2:
        plainly = signs.contrast > STAR_CONTRAST and (signs.star_count >= MANY_STARS or signs.contrast > 1.0)
        few = signs.star_count < MANY_STARS
        if exposure is not None and exposure <= TWILIGHT_S and few:
            if bright and exposure <= SHORT_S and signs.contrast <= 1.0:
                return _decided(Kind.FLAT, 0.9, "bright within a second, with a few faint stars as at twilight")
            if not bright or signs.contrast > STAR_CONTRAST:
                return _undecided(0.6, "a few stars in a short exposure: light or flat at twilight")
        elif not bright and exposure is not None and exposure <= FLAT_S and signs.marked and signs.above_sigma is None:
            if few:
                return _undecided(0.6, "stars, but no black level to tell how bright the sky is")
            return _decided(Kind.LIGHT, 0.9, f"about {signs.star_count:.0f} stars; black level not known")
        if not bright or plainly or (exposure is not None and exposure > LONG_FLAT_S):
            return _decided(Kind.LIGHT, 0.98, f"about {signs.star_count:.0f} stars")
        if not signs.marked or signs.contrast > STAR_CONTRAST:
            if exposure is not None and exposure > FLAT_S:
                return _decided(Kind.LIGHT, 0.9, f"about {signs.star_count:.0f} stars, exposed longer than flats are")
            return _undecided(0.6, "stars, perhaps on a bright sky: light or flat at twilight")
        if signs.star_count < MANY_STARS and (exposure is None or exposure <= FLAT_S):
            return _decided(Kind.FLAT, 0.85, "bright, with a few faint stars as at twilight")
        return _undecided(0.6, "bright and full of faint stars")
    if exposure is None:
        return _undecided(0.6, "light or flat: the exposure is not known")
    if bright:
        if signs.contrast > STAR_CONTRAST:
            return _undecided(0.6, "bright, with something like stars")
        if signs.leak and signs.fall == 0:
            return _undecided(0.6, "bright, and brightest to one side: flat or a leak of light")
        if exposure <= FLAT_S:
            return _decided(Kind.FLAT, 0.96, f"evenly lit to {signs.share:.0%} of the range, no stars")
        if exposure <= LONG_FLAT_S and signs.over_noise > FLAT_OVER_NOISE and not signs.uneven:
            return _decided(Kind.FLAT, 0.85, f"evenly lit to {signs.share:.0%} of the range, no stars, a long exposure")
        return _undecided(0.6, "bright, no stars, exposed for long")
    if exposure <= SHORT_S:
        return _decided(Kind.FLAT, 0.85, f"lit to {signs.share:.0%} of the range in a short exposure, no stars")
    if exposure <= SKYLESS_S and signs.stars == 0 and signs.fall == 2 and not signs.leak:
        return _decided(Kind.FLAT, 0.85, f"darker towards the corners, {exposure:.2g} s, no stars")
    if exposure > FLAT_S and signs.above_sigma is not None and signs.fall + signs.colour // 2 + signs.stars >= 2:
        return _decided(Kind.LIGHT, 0.88, f"sky: {_named(signs)}")
    return _undecided(0.6, f"lit, but neither stars nor bright: {_named(signs)}")


def _named(signs: Signs) -> str:
    named = [
        text
        for there, text in (
            (signs.stars, "something like stars"),
            (signs.colour, "colours differ"),
            (signs.fall, "darker towards the corners"),
            (signs.leak, "brighter to one side"),
            (signs.uneven, "uneven"),
        )
        if there
    ]
    return ", ".join(named) or "bright"


def _decided(kind: Kind, confidence: float, why: str) -> KindDecision:
    return KindDecision(kind, KindFrom.PIXELS, confidence, why)


def _undecided(confidence: float, why: str) -> KindDecision:
    return KindDecision(None, None, confidence, why)
