"""From a ranking to a choice: the best, what came after it, and what just misses."""

from collections.abc import Sequence
from dataclasses import replace

from darklib.facts.match import Choice, Reason, Verdict
from darklib.matching.darks import Judged
from darklib.matching.pool import Pool
from darklib.matching.pricing import percent
from darklib.matching.rules import sentence

MOST_RUNNERS_UP = 3


def chosen(judged: Sequence[Judged], found: Pool) -> Choice:
    """The best of what was judged, or that nothing fits."""
    if not judged:
        return Choice(
            Verdict.MISSING,
            reasons=(Reason("nothing_fits", sentence("nothing_fits")),),
            near_misses=found.misses,
        )
    runners = tuple(_with_why(one, judged[0]) for one in judged[1 : 1 + MOST_RUNNERS_UP])
    best = judged[0].choice
    reasons = (*best.reasons, *judged[0].candidate.notes)
    return replace(best, reasons=reasons, runners_up=runners, near_misses=found.misses)


def _with_why(one: Judged, best: Judged) -> Choice:
    """A runner-up with the reason why it lost, where both have a price."""
    if one.worth is None or best.worth is None:
        return one.choice
    more = 100.0 * (one.worth.avoidable - best.worth.avoidable)
    hot = one.worth.price.hot_left_per_megapixel - best.worth.price.hot_left_per_megapixel
    if bool(one.candidate.unknown) != bool(best.candidate.unknown):
        text = "Not everything is known of it; of the set chosen it is."
    elif more > 0.0 and round(more, 1) > 0.0:
        text = f"It costs {percent(more / 100.0)} of exposure time more than the set chosen."
    elif hot > 0.5:
        text = f"It leaves {hot:.0f} more hot pixels in a million than the set chosen."
    else:
        text = "It costs the same within the accuracy of the price; the set chosen is newer, larger or not scaled."
    return replace(
        one.choice, reasons=(Reason("costs_more", text, {"more_percent": round(more, 3)}), *one.choice.reasons)
    )
