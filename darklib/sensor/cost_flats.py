"""What a set of flats and a wrong level cost: noise of the flats, moved shadows, false vignetting."""

ASSUMED_FLAT_DEPTH = 0.3
"""How much darker a corner is than the middle, where no flat tells: a third of a magnitude is usual for a small
telescope on a large sensor (common practice, no single source)."""


def flat_cost(
    sky_e: float, light_variance_e2: float, flat_e: float, residual: float = 0.0, sharing: float = 1.0
) -> float:
    """q of a set of flats: g (B t)^2 (1/E + rho^2) / v.

    sky_e: electrons of sky in one light; light_variance_e2: of one light; flat_e: electrons of the whole set per pixel;
    residual: rms error of the flat, relative; sharing: g, 1 dithered, n for fixed pointing.
    """
    return sharing * sky_e**2 * (1.0 / flat_e + residual**2) / light_variance_e2


def flat_residual(level_error_e: float, sky_e: float, depth: float = ASSUMED_FLAT_DEPTH) -> float:
    """False vignetting that a level error leaves after the flat, as a share of the sky.

    The error is divided by the flat like the sky is: delta / (B t) times depth / (1 - depth). Infinite without a sky.
    """
    if level_error_e == 0.0:
        return 0.0
    if sky_e <= 0.0:
        return float("inf")
    return abs(level_error_e) / sky_e * depth / (1.0 - depth)
