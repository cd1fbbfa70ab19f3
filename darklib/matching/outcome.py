"""From a ranking to a choice: the best, what came after it, and what just misses."""

from collections.abc import Sequence
from dataclasses import replace

from darklib.facts.match import Choice, Reason, Verdict
from darklib.matching.darks import Judged
from darklib.matching.pool import Pool
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
    runners = tuple(one.choice for one in judged[1 : 1 + MOST_RUNNERS_UP])
    return replace(judged[0].choice, runners_up=runners, near_misses=found.misses)
