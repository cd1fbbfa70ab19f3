"""Looking after the library: checking cards, what was set aside, verifying, rebuilding."""

from darklib.jobs.check import check
from darklib.jobs.ingest import retry
from darklib.jobs.library import Opened
from darklib.jobs.ports import Ask, Progress
from darklib.jobs.rebuild import rebuild
from darklib.jobs.results import SetAsideEntry, SetAsideResult
from darklib.jobs.verify import verify
from darklib.store.mishap import told

__all__ = ["check", "rebuild", "retry_set_aside", "set_aside", "verify"]


def set_aside(opened: Opened) -> SetAsideResult:
    """What could not be taken in, where it is kept, and why."""
    entries = tuple(
        SetAsideEntry(
            row.source_path, opened.absolute(row.kept_path), row.text, row.code, row.sha256, row.run, row.version
        )
        for row in opened.catalogue.set_aside()
    )
    return SetAsideResult(entries)


def retry_set_aside(
    opened: Opened, *, dry_run: bool = False, progress: Progress | None = None, ask: Ask | None = None
) -> SetAsideResult:
    """Tries again to take in what was set aside; what is taken in is no longer listed. The kept copies stay."""
    rows = opened.catalogue.set_aside()
    with told(opened.layout.set_aside, "cannot read"):
        paths = {opened.layout.reached(opened.seam, row.kept_path): row.source_path for row in rows}
    retried = retry(opened, paths, dry_run=dry_run, progress=progress, ask=ask)
    return SetAsideResult(set_aside(opened).set_aside, retried)
