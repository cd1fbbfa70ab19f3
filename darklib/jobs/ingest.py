"""Taking files in: a card, what was set aside once more, and stored files that no journal knows."""

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from darklib.jobs.asked import Stated
from darklib.jobs.derive import after_ingest
from darklib.jobs.intake import COPIERS, Intake
from darklib.jobs.library import Opened
from darklib.jobs.placing import CopiedIn, LeftWhereItIs, chosen
from darklib.jobs.ports import Ask, NobodyToAsk, Progress, Silent
from darklib.jobs.results import IngestResult
from darklib.readers.guard import Guard
from darklib.store.mishap import in_words
from darklib.store.names import shown
from darklib.store.walk import Found, Passed, walk, walk_own

NOTHING_STATED = Stated()


def ingest(
    opened: Opened,
    paths: Sequence[str],
    stated: Stated = NOTHING_STATED,
    *,
    in_place: bool = False,
    move: bool = False,
    dry_run: bool = False,
    progress: Progress | None = None,
    ask: Ask | None = None,
    guard: Guard | None = None,
    workers: int = 0,
    copiers: int = COPIERS,
) -> IngestResult:
    """Takes in files and folders (none named: the inbox). The source is never changed, except by `move` after a
    verified copy. With `dry_run` everything is looked at and decided, and nothing is written.

    guard: processes that read files and are there already, which stay; else workers of this run's own, so many (0: one
    a core). copiers: threads that copy (0: none of their own). Raises
    DarklibError when the library's disk refuses; a file that cannot be taken is part of the result, not an error.
    """
    placing = chosen(in_place=in_place, move=move)
    roots = [Path(path) for path in paths]
    items = walk(opened.seam, roots, opened.layout.root) if roots else walk_own(opened.seam, opened.layout.inbox)
    intake = Intake(
        opened,
        "ingest",
        placing,
        stated,
        move=move,
        dry_run=dry_run,
        progress=progress or Silent(),
        ask=ask or NobodyToAsk(),
        guard=guard,
        workers=workers,
        copiers=copiers,
    )
    return after_ingest(opened, intake.run(items))


def retry(
    opened: Opened,
    kept: Mapping[Path, str],
    *,
    dry_run: bool = False,
    progress: Progress | None = None,
    ask: Ask | None = None,
) -> IngestResult:
    """Tries files once more that were set aside. kept: where each is kept -> where it came from."""
    intake = Intake(
        opened,
        "set-aside",
        CopiedIn(),
        NOTHING_STATED,
        dry_run=dry_run,
        again=True,
        sources=kept,
        progress=progress or Silent(),
        ask=ask or NobodyToAsk(),
    )
    return after_ingest(opened, intake.run(_found(opened, sorted(kept))))


def adopt(
    opened: Opened, known: Collection[str], *, dry_run: bool = False, progress: Progress | None = None
) -> IngestResult:
    """Records stored files that no journal knows: an interrupted run's, or put into `frames/` by hand.

    known: the paths, relative to the library, of the frames that are recorded. The files stay where they are.
    """
    strangers = [
        item
        for item in walk_own(opened.seam, opened.layout.frames)
        if isinstance(item, Found) and opened.layout.relative(item.path) not in known
    ]
    intake = Intake(
        opened,
        "rebuild",
        LeftWhereItIs(in_place=False),
        NOTHING_STATED,
        dry_run=dry_run,
        progress=progress or Silent(),
        ask=NobodyToAsk(),
    )
    return intake.run(strangers)


def _found(opened: Opened, paths: Sequence[Path]) -> list[Found | Passed]:
    items: list[Found | Passed] = []
    for path in paths:
        try:
            facts = opened.seam.stat(path)
        except FileNotFoundError:
            items.append(Passed(path, "not_a_file", f"The kept copy is not there: {shown(str(path))}."))
        except OSError as error:
            items.append(Passed(path, "unreadable", in_words(error, path, "cannot read").text))
        else:
            items.append(Found(path, path.parent, facts.st_size, facts.st_mtime_ns, (path.name,)))
    return items
