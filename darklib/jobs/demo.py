"""The demo: a library and, beside it, folders that stand for memory cards of an invented scenario."""

from pathlib import Path

from darklib.jobs.library import init
from darklib.jobs.ports import Progress, Silent
from darklib.jobs.results import DemoResult
from darklib.store.durable import write_new
from darklib.store.seam import Seam


def make(
    folder: str | None, *, dry_run: bool = False, progress: Progress | None = None, seam: Seam | None = None
) -> DemoResult:
    """Makes `folder` (default: ./darklib-demo) with a new library and the cards; takes nothing in."""
    from darklib.scenario.nights import scenario

    seam = seam or Seam()
    progress = progress or Silent()
    root = Path(seam.absolute(folder)) if folder else seam.cwd() / "darklib-demo"
    story = scenario()
    library = root / "library"
    cards = [(card, root / "cards" / card.name) for card in story.cards]
    init(str(library), timezone=story.zone, seam=seam, dry_run=dry_run)
    if not dry_run:
        files = [(base, file) for card, base in cards for file in card.files]
        progress.start(len(files), None)
        for base, file in files:
            data = file.make()
            write_new(seam, base / Path(file.path), data)
            progress.advance(file.path, len(data))
        progress.finish()
    return DemoResult(
        str(library),
        tuple(str(path) for _, path in cards),
        str(root / "for-stacking"),
        dry_run,
        tuple(tuple(card.ingest_options) for card, _ in cards),
    )
