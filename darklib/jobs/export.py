"""Handing over matched files: as lists, a table, links or copies, always with a manifest."""

from collections.abc import Callable
from typing import Any

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.match import Batch
from darklib.handover.folder import FORMS, hand_over
from darklib.jobs.asked import Nights
from darklib.jobs.library import Opened
from darklib.jobs.match import batches_asked, matches_of
from darklib.jobs.ports import Progress, Silent
from darklib.jobs.results import ExportResult
from darklib.store.mishap import told


def export(
    opened: Opened,
    *,
    to: str,
    describe: Callable[[Batch], dict[str, Any]],
    batch: str | None = None,
    nights: Nights | None = None,
    target: str | None = None,
    form: str = "list",
    dry_run: bool = False,
    progress: Progress | None = None,
) -> ExportResult:
    """Hands over the batches asked for into the folder `to`. A target's nights are handed over as one: each night
    with its own flats, a dark set that several batches share written once.

    describe: a batch as the manifest shall show it. Raises DarklibError where nothing is there to hand over, where `to`
    lies in the library, or where a file of that name holds something else.
    """
    if form not in FORMS:
        raise DarklibError(
            "unknown_form", f"{form!r} is no form of hand-over.", remedy=", ".join(FORMS), status=Exit.USAGE
        )
    progress = progress or Silent()
    folder = opened.seam.absolute(to)
    with told(folder, "cannot hand over to"):
        inside = opened.layout.holds(opened.seam.real(folder))
    if inside:
        raise DarklibError(
            "inside_library",
            "Files are not handed over into the library itself.",
            path=str(folder),
            remedy="Give a folder outside it.",
        )
    asked = batches_asked(opened, nights=nights or Nights(), target=target, batch=batch)
    if not asked.batches:
        raise DarklibError(
            "nothing_to_export",
            "There are no lights to hand over for this.",
            remedy="`darklib batches` lists what there is.",
        )
    matches = tuple(matches_of(opened, asked.batches))
    progress.start(0, None)
    written = hand_over(
        opened.seam,
        folder,
        matches,
        form,
        opened.layout.absolute,
        describe,
        dry_run=dry_run,
        told=progress.advance,
    )
    progress.finish()
    ids = tuple(item.id for item in asked.batches)
    return ExportResult(written.paths, written.manifest, ids, matches, dry_run)
