"""Taking a file away whose content is stored elsewhere in the library: the source with `--move`, a copy made twice."""

from pathlib import Path

from darklib.facts.errors import DarklibError
from darklib.jobs.library import Opened
from darklib.store.durable import remove_source
from darklib.store.mishap import told


def take_away(opened: Opened, path: Path, sha256: str, stored: str, *, verified: bool) -> str | None:
    """Removes the file at `path`; None, or in words what forbade it and left it where it is.

    stored: where the catalogue says that its content is. verified: that copy was read back by this run.
    """
    try:
        with told(path, "cannot remove"):
            kept = opened.layout.reached(opened.seam, stored)
        remove_source(opened.seam, path, sha256, kept, verified=verified)
    except DarklibError as error:
        return f"{error.text} {error.remedy}".strip()
    return None
