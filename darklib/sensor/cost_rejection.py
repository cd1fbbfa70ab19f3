"""The variance of a dithered stack from which outliers are rejected, by the median and its deviation at kappa sigma.

Dithered, the values that fall on one place of the sky are a mixture: of each bin of pixels a normal distribution about
its residual r with variance v + m. From that the variance of the mean of what is kept follows. Four things that a cut
at a fixed kappa sigma leaves out decide whether the price is right, and are taken in (each checked against stacks made
by chance, see scripts/studies/prediction.md):

- sigma comes from the values themselves, so it contains the set's noise and the spread of residuals;
- of n lights it is known to a factor 1 +- sqrt(1.36 / n) only (the asymptotic variance of the median deviation), so
  that the cut is nearer one time and farther another: three cuts stand for all (Gauss-Hermite quadrature);
- an outlier in the sample lifts the median and its deviation, by 1.25 / n and 1.17 / n sigma less the deviation's own
  bias of 0.8 / n: it is rejected a little later;
- the cut moves with the median, so that part of the median's noise enters the mean (its influence function; Huber,
  Robust Statistics, 1981, chapters 1 and 5).
"""

from collections.abc import Sequence
from math import erf, exp, pi, sqrt

KAPPA = 3.0
"""Rejection of outliers is taken to happen at so many sigma (common practice, no single source)."""

LEAST_TO_REJECT = 12
"""With fewer lights rejection finds few outliers, and none is counted on."""

MAD_TO_SIGMA = 1.482602218505602
"""Sigma of a normal distribution over its median deviation, 1 / Phi^-1(3/4)."""

_ROOT_2, _ROOT_2PI = sqrt(2.0), sqrt(2.0 * pi)
_FAR = 7.0
_CUTS = ((-sqrt(3.0), 1.0 / 6.0), (0.0, 2.0 / 3.0), (sqrt(3.0), 1.0 / 6.0))

Floats = Sequence[float]


def loss(lights: int) -> float:
    """By how much rejection raises the variance of a mean of normal values without any outlier.

    Own simulation of stacks at 3 sigma: 1.131 for 12 lights, 1.085 for 22, 1.061 for 45, 1.035 for ever more.
    """
    return 1.035 + 1.1 / lights


def clipped_variance(r: Floats, m: Floats, v: Floats, shares: Floats, lights: int, kappa: float = KAPPA) -> float:
    """Variance of the stack times the number of lights. r, m, v, shares: of each bin, as in `cost_pointing`."""
    bins = [
        (residual, sqrt(of_light + of_set), share)
        for residual, of_set, of_light, share in zip(r, m, v, shares, strict=True)
    ]
    sigma = scatter(bins)
    wide = sqrt(1.36 / lights)
    cuts = [
        (sigma * kappa * (1.0 + 2.36 / 3.0 / lights) * max(0.2, 1.0 + wide * place), weight) for place, weight in _CUTS
    ]
    kept = slope = 0.0
    middle_inside = 1.0
    for cut, weight in cuts:
        second, inside, density = _within(bins, cut)
        kept += weight * second / (inside * inside)
        slope += weight * cut * density / inside
        if weight > 0.5:
            middle_inside = inside
    at_centre, deviation = _about_centre(bins, cuts[1][0])
    return kept + slope * deviation / (middle_inside * at_centre) + (slope / (2.0 * at_centre)) ** 2


Bins = list[tuple[float, float, float]]


def scatter(bins: Bins) -> float:
    """Sigma of a mixture by its median deviation about zero. bins: residual, sigma, share of each."""
    total = sum(share for _, _, share in bins)
    # Begins at the median of the components' own widths; Newton's method, kept within bounds.
    low, high = 0.0, max(abs(residual) + 2.0 * u for residual, u, _ in bins)
    at = min(sorted(u for _, u, _ in bins)[len(bins) // 2] * 0.6745, high)
    for _ in range(60):
        inside = density = 0.0
        for residual, u, share in bins:
            a, b = (-at - residual) / u, (at - residual) / u
            if a > _FAR or b < -_FAR:
                continue
            inside += share * 0.5 * (erf(b / _ROOT_2) - erf(a / _ROOT_2))
            density += share * (exp(-0.5 * a * a) + exp(-0.5 * b * b)) / (_ROOT_2PI * u)
        lacking = 0.5 * total - inside
        if lacking > 0.0:
            low = at
        else:
            high = at
        following = at + lacking / density if density > 0.0 else 0.5 * (low + high)
        if not low < following < high:
            following = 0.5 * (low + high)
        if abs(following - at) <= 1e-4 * at:
            return MAD_TO_SIGMA * following
        at = following
    return MAD_TO_SIGMA * at


def _within(bins: Bins, cut: float) -> tuple[float, float, float]:
    """Second moment about zero, probability and density at the edges, of what lies within +- cut.

    Of a normal distribution about r: (r^2 + u^2) Z + 2 r u (phi(a) - phi(b)) + u^2 (a phi(a) - b phi(b)), with Z its
    part within (truncated normal; Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, section 10.1).
    """
    second = inside = density = 0.0
    for residual, u, share in bins:
        a, b = (-cut - residual) / u, (cut - residual) / u
        if a > _FAR or b < -_FAR:
            continue
        z = 0.5 * (erf(b / _ROOT_2) - erf(a / _ROOT_2))
        low, high = exp(-0.5 * a * a) / _ROOT_2PI, exp(-0.5 * b * b) / _ROOT_2PI
        square = u * u
        inside += share * z
        density += share * (low + high) / u
        second += share * (
            (residual * residual + square) * z + 2.0 * residual * u * (low - high) + square * (a * low - b * high)
        )
    return second, inside, density


def _about_centre(bins: Bins, cut: float) -> tuple[float, float]:
    """Density at zero, and the mean distance from zero of what lies within +- cut, times its probability."""
    density = distance = 0.0
    for residual, u, share in bins:
        a, b, zero = (-cut - residual) / u, (cut - residual) / u, -residual / u
        if a > _FAR or b < -_FAR:
            continue
        middle = exp(-0.5 * zero * zero) / _ROOT_2PI
        density += share * middle / u
        above = 0.5 * (erf(b / _ROOT_2) - erf(zero / _ROOT_2))
        below = 0.5 * (erf(zero / _ROOT_2) - erf(a / _ROOT_2))
        low, high = exp(-0.5 * a * a) / _ROOT_2PI, exp(-0.5 * b * b) / _ROOT_2PI
        distance += share * (residual * (above - below) + u * (2.0 * middle - low - high))
    return density, distance
