"""From a price to a verdict: how much of it can be avoided, and the limits that are set for it."""

from dataclasses import dataclass

from darklib.facts.match import Verdict
from darklib.facts.settings import PriceLimits


@dataclass(frozen=True, slots=True)
class Priced:
    """What a verdict rests on. avoidable: q less that of an exact set of the number of frames aimed at, in the pointing
    that applies; worse_than_none: it costs more than no dark at all.
    """

    verdict: Verdict
    avoidable: float
    worse_than_none: bool


def verdict_of(
    q: float,
    q_exact: float,
    q_none: float,
    hot_left_per_megapixel: float,
    flat_residual: float,
    *,
    fixed_pointing: bool,
    limits: PriceLimits,
) -> Priced:
    """The verdict of a price. q, q_exact, q_none: of the set, of an exact one, of no dark, in the pointing that
    applies; flat_residual: share of the sky.
    """
    avoidable = q - q_exact
    worse = q > q_none
    good = limits.good_fixed_percent if fixed_pointing else limits.good_dithered_percent
    usable = limits.usable_fixed_percent if fixed_pointing else limits.usable_dithered_percent

    def within(cost: float, hot: float, residual: float) -> bool:
        return (
            100.0 * avoidable <= cost + 1e-9
            and hot_left_per_megapixel <= hot + 1e-9
            and 100.0 * flat_residual <= residual + 1e-9
        )

    if worse:
        verdict = Verdict.POOR
    elif within(good, limits.good_hot_pixels_per_megapixel, limits.good_flat_residual_percent):
        verdict = Verdict.GOOD
    elif within(usable, limits.usable_hot_pixels_per_megapixel, limits.usable_flat_residual_percent):
        verdict = Verdict.USABLE
    else:
        verdict = Verdict.POOR
    return Priced(verdict, avoidable, worse)
