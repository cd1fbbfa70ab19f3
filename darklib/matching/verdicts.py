"""What goes into a verdict besides the physics: frames in the set, its age, what is not known."""

from darklib.facts.match import Reason, Verdict
from darklib.facts.settings import Settings

RANK = {Verdict.GOOD: 0, Verdict.USABLE: 1, Verdict.POOR: 2, Verdict.MISSING: 3, Verdict.NOT_NEEDED: 0}

FEWEST_USABLE = 4
"""A set of N frames adds at most 1/N to the variance of dithered lights, where the dark current is all there is; with
fewer than four frames that is over 25 percent, the limit of what counts as usable."""

LEAST = {"dark": "darks_least", "flat": "flats_least", "bias": "biases_least", "dark_flat": "dark_flats_least"}
GOOD = {"dark": "darks_good", "flat": "flats_good", "bias": "biases_good", "dark_flat": "dark_flats_good"}
NAMES = {"dark": "darks", "flat": "flats", "bias": "biases", "dark_flat": "dark flats"}


def worst(*verdicts: Verdict) -> Verdict:
    """The worst of some verdicts."""
    return max(verdicts, key=RANK.__getitem__)


def least_of(role: str, settings: Settings) -> int:
    """How many frames a set must have to be good."""
    return int(getattr(settings.counts, LEAST[role]))


def good_of(role: str, settings: Settings) -> int:
    """How many frames a gap asks for."""
    return int(getattr(settings.counts, GOOD[role]))


def by_count(role: str, count: int | None, settings: Settings) -> tuple[Verdict, tuple[Reason, ...]]:
    """The best verdict a set of that many frames can have. None: a combination of nobody knows how many."""
    least = least_of(role, settings)
    if count is None:
        text = "It is not known of how many frames this combination was made."
        return Verdict.USABLE, (Reason("too_few", text, {"frames_least": least}),)
    if count >= least:
        return Verdict.GOOD, ()
    are = "is" if count == 1 else "are"
    reason = Reason(
        "too_few",
        f"There {are} only {count} of them; a good set of {NAMES[role]} has at least {least}.",
        {"frames": count, "frames_least": least},
    )
    return (Verdict.USABLE if count >= FEWEST_USABLE else Verdict.POOR), (reason,)


def by_age(role: str, days: int | None, settings: Settings) -> tuple[Verdict, tuple[Reason, ...]]:
    """The best verdict a set can have that was shot so many days from the lights."""
    limit = settings.limits.flats_aged_days if role == "flat" else settings.limits.aged_days
    if days is None or days <= limit:
        return Verdict.GOOD, ()
    text = f"The {NAMES[role]} were shot {days} days from the lights; over {limit} days they may have aged."
    return Verdict.USABLE, (Reason("aged", text, {"age_days": days, "limit_days": limit}),)
