"""The noise of single frames and of combined sets, electrons squared."""

from math import pi

MEDIAN_VARIANCE = (
    1.0, 1.0, 1.34601, 1.1928, 1.43417, 1.28847, 1.47313, 1.34547, 1.49491, 1.3833,
    1.50879, 1.41025, 1.51839, 1.43043, 1.52542, 1.44611, 1.53079, 1.45865, 1.53503, 1.46892,
    1.53845, 1.47748, 1.54128, 1.48472, 1.54366, 1.49095, 1.54568, 1.49635, 1.54742, 1.50108,
    1.54893, 1.50527, 1.55026, 1.50901, 1.55144, 1.51236, 1.55249, 1.51539, 1.55343, 1.51814,
)  # fmt: skip
"""Variance of the median of N Gaussian values times N, for N = 1 to 40: own integration over the order statistics. Of
an even number the median is the mean of the middle two, which is why it is lower there."""


def median_factor(count: int) -> float:
    """Variance of the median of so many Gaussian values over that of their mean; pi/2 for ever more of them.

    Beyond the table the next term of the expansion in 1/N, from its last entries: 0.432 / N of it for odd numbers, and
    1.345 / N for even ones.
    """
    if count <= len(MEDIAN_VARIANCE):
        return MEDIAN_VARIANCE[max(count, 1) - 1]
    return pi / 2 * (1.0 - (0.432 if count % 2 else 1.345) / count)


def reading_variance(read_noise_e: float, step_e: float) -> float:
    """Variance of one reading: read noise and rounding to whole steps of step_e electrons (EMVA 1288: 1/12 step^2)."""
    return read_noise_e**2 + step_e**2 / 12.0


def set_variance(
    dark_e: float, reading_e2: float, count: int, *, scale: float = 1.0, biases: int | None = None, median: bool = False
) -> float:
    """Variance of one pixel of a combined set of darks with dark_e electrons of dark current each.

    scale: the factor its dark current is multiplied by; the bias under it is then taken from `biases` frames, which
    count (1 - scale) times. median: combined by the median instead of the mean.
    """
    variance = scale**2 * (reading_e2 + dark_e) / count * (median_factor(count) if median else 1.0)
    if scale != 1.0 and biases:
        variance += (1.0 - scale) ** 2 * reading_e2 / biases * (median_factor(biases) if median else 1.0)
    return variance
