"""What lights lack, and a plan for shooting it."""

from collections.abc import Sequence

from darklib.facts.match import Batch
from darklib.facts.night import night_of
from darklib.facts.plan import Gap
from darklib.jobs.asked import Nights
from darklib.jobs.library import Opened
from darklib.jobs.match import batches_asked, matches_of
from darklib.jobs.results import GapsResult
from darklib.planning.cautions import cautions
from darklib.planning.gaps import gaps_of
from darklib.planning.shooting_plan import plan_of


def gaps(opened: Opened, *, nights: Nights = Nights(), want_plan: bool = False) -> GapsResult:  # noqa: B008 (frozen)
    """What the lights of some nights lack; with `want_plan` the order in which to shoot it."""
    batches = batches_asked(opened, nights=nights).batches
    found = _gaps_of(opened, batches)
    plan = plan_of(found, opened.settings) if want_plan else None
    return GapsResult(tuple(found), plan, tuple(cautions(found, plan, opened.settings)), bool(batches))


def gaps_found(opened: Opened, nights: Nights) -> list[Gap]:
    """The gaps of the batches of some nights."""
    return _gaps_of(opened, batches_asked(opened, nights=nights).batches)


def _gaps_of(opened: Opened, batches: Sequence[Batch]) -> list[Gap]:
    trains = {batch.train.fingerprint for batch in batches if batch.train}
    changes = [change for train in sorted(trains) for change in opened.catalogue.train_changes(train)]
    tonight = night_of(opened.seam.now(), opened.settings.site.timezone)
    matches = matches_of(opened, batches)
    return gaps_of(matches, opened.settings, train_changes=changes, tonight=tonight)
