"""The catalogue against what a replay of the journal makes of the same lines, row by row."""

from collections.abc import Sequence

from darklib.catalogue.catalogue import Catalogue
from darklib.catalogue.contents import WORDS, Difference, compared
from darklib.jobs.library import Opened, replay
from darklib.jobs.ports import Progress, Silent

NAMED_AT_MOST = 5
"""Things named in one sentence."""


def differences(opened: Opened, progress: Progress | None = None) -> list[str]:
    """What the catalogue holds otherwise than the journal, in sentences. Nothing is written in the library; others may
    record meanwhile. DarklibError where the journal cannot be read or the temporary catalogue has no room.
    """
    with Catalogue.temporary() as fresh:
        with opened.catalogue.reading():
            positions = opened.catalogue.positions()
            held = opened.catalogue.contents()
        progress = progress or Silent()
        progress.start(opened.catalogue.counts()["frames"], None)
        replay(opened.seam, opened.layout.journal, fresh, positions, progress.advance)
        progress.finish()
        return in_words(compared(held, fresh.contents()))


def in_words(found: Sequence[Difference], whose: str = "The catalogue") -> list[str]:
    """A sentence for each table that lacks rows of the journal, holds other ones, or some that no journal knows."""
    lines = []
    for one in found:
        both = sorted(set(one.lacking) & set(one.surplus))
        lacking = [name for name in one.lacking if name not in both]
        surplus = [name for name in one.surplus if name not in both]
        for names, what in (
            (lacking, "lacks what the journal holds"),
            (both, "differs from the journal"),
            (surplus, "holds what the journal does not"),
        ):
            if names:
                lines.append(f"{whose} {what}: {WORDS[one.table]} ({_listed(names)}).")
    return lines


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(name[:16] if len(name) == 64 else " ".join(name.split()) for name in names[:NAMED_AT_MOST])
    more = len(names) - NAMED_AT_MOST
    return f"{shown} and {more} more" if more > 0 else shown
