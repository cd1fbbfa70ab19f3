"""What lights lack, and a plan for shooting it."""

from darklib.facts.night import night_of
from darklib.facts.plan import Gap
from darklib.jobs.asked import Nights
from darklib.jobs.library import Opened
from darklib.jobs.match import batches_asked, matches_of
from darklib.jobs.results import GapsResult
from darklib.planning.cautions import cautions
from darklib.planning.gaps import gaps_of
from darklib.planning.stabbing import plan_of


def gaps(opened: Opened, *, nights: Nights = Nights(), want_plan: bool = False) -> GapsResult:  # noqa: B008 (frozen)
    """What the lights of some nights lack; with `want_plan` the order in which to shoot it."""
    found = gaps_found(opened, nights)
    plan = plan_of(found, opened.settings) if want_plan else None
    return GapsResult(tuple(found), plan, tuple(cautions(found, plan, opened.settings)))


def gaps_found(opened: Opened, nights: Nights) -> list[Gap]:
    """The gaps of the batches of some nights."""
    batches = batches_asked(opened, nights=nights).batches
    trains = {batch.train.fingerprint for batch in batches if batch.train}
    changes = [change for train in sorted(trains) for change in opened.catalogue.train_changes(train)]
    tonight = night_of(opened.seam.now(), opened.settings.site.timezone)
    matches = matches_of(opened, batches)
    return gaps_of(matches, opened.settings, train_changes=changes, tonight=tonight)
