"""What the user states of all files of one ingest."""

from darklib.facts.frame import Statement
from darklib.jobs.asked import Stated
from darklib.jobs.library import Opened


def statements_of(stated: Stated) -> tuple[Statement, ...]:
    """What the user states about a whole ingest, as statements of the journal."""
    named: tuple[tuple[str, str | float | None], ...] = (
        ("kind", stated.kind.value if stated.kind else None),
        ("train", stated.train),
        ("body", stated.body),
        ("temperature_c", stated.temperature_c),
        ("clock_shift_s", stated.clock_shift_s),
    )
    return tuple(Statement(name, value) for name, value in named if value is not None)


def new_camera(opened: Opened, stated: str | None) -> str | None:
    """The camera stated for a whole ingest, where the library knows none of that id or label."""
    name = " ".join((stated or "").split())
    rows = opened.catalogue.bodies() if name else []
    known = {text.casefold() for row in rows for text in (row.ref.id, row.ref.label, *row.joined)}
    return name if name and name.casefold() not in known else None
