"""What a set's errors make of the stack's variance: with the sky fixed to its pixels, and dithered, nothing rejected.

One set is subtracted from every light, so that its errors are shared by all of them. q is the share by which the
variance of the stack exceeds that with a perfect dark. r: what is left of the dark current in each bin of pixels, e-;
m: variance of the set; v: variance of one light, e-^2; shares: of the pixels, adding to 1.
"""

from collections.abc import Sequence

HOT_SIGMA = 5.0
"""Residuals beyond so many sigma of a light are hot pixels left, counted and not averaged."""

Floats = Sequence[float]


def sharing(places: Floats) -> float:
    """How many times a shared error counts: sum n_j^2 / n for n_j lights at place j; n where all are at one place."""
    total = sum(places)
    return sum(count * count for count in places) / total


def fixed(r: Floats, m: Floats, v: Floats, shares: Floats, sigma: float, sharing_: float) -> float:
    """q with the sky on the same pixels: the errors stay as they are while the lights' noise averages down.

    Over the pixels whose residual is within HOT_SIGMA. sharing_: of `sharing`. sigma: of an ordinary pixel of a light.
    """
    errors = noise = 0.0
    most = HOT_SIGMA * sigma
    for residual, of_set, of_light, share in zip(r, m, v, shares, strict=True):
        if -most <= residual <= most:
            errors += share * (residual * residual + of_set)
            noise += share * of_light
    return sharing_ * errors / noise if noise else float("inf")


def fixed_with_hot(r: Floats, m: Floats, v: Floats, shares: Floats, sigma: float, sharing_: float) -> float:
    """The same over all pixels, residuals beyond HOT_SIGMA counted as that much: for comparing sets.

    `fixed` falls where a worse set pushes more pixels over the limit; this only rises.
    """
    most = (HOT_SIGMA * sigma) ** 2
    errors = noise = 0.0
    for residual, of_set, of_light, share in zip(r, m, v, shares, strict=True):
        errors += share * (min(residual * residual, most) + of_set)
        noise += share * of_light
    return sharing_ * errors / noise


def dithered(r: Floats, m: Floats, v: Floats, shares: Floats) -> float:
    """q with every light on other pixels and nothing rejected: errors average down like noise, hot pixels included."""
    errors = noise = 0.0
    for residual, of_set, of_light, share in zip(r, m, v, shares, strict=True):
        errors += share * (residual * residual + of_set)
        noise += share * of_light
    return errors / noise


def hot_left(r: Floats, shares: Floats, sigma: float) -> float:
    """Pixels per megapixel whose residual is beyond HOT_SIGMA of a light."""
    most = HOT_SIGMA * sigma
    return 1e6 * sum(share for residual, share in zip(r, shares, strict=True) if abs(residual) > most)


def lights_factor(q: float, *, fixed_pointing: bool) -> float | None:
    """By how many times the lights win q back; None where no number of them does.

    Dithered 1 + q. Fixed: the set's error does not shrink with more lights; with F = q / n of one light's variance it
    takes 1 / (1 - n F) times as many, and none will do from n F = 1 on.
    """
    if not fixed_pointing:
        return 1.0 + q
    return 1.0 / (1.0 - q) if q < 1.0 else None
