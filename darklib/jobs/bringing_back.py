"""A frame whose stored file is gone comes along again on a card: its file is put back where it was."""

from pathlib import Path

from darklib.jobs.library import Opened
from darklib.store.durable import Batch, copy_in
from darklib.store.mishap import told


def bring_back(opened: Opened, source: Path, sha256: str, batch: Batch) -> bool:
    """Copies `source`, which has the content of a known frame, to where the frame was stored, if nothing is there now;
    whether it did. A stored file that is there is never touched, be it damaged. DarklibError as of `copy_in`.
    """
    frames = opened.catalogue.frames_by_id([sha256])
    if not frames or frames[0].in_place:
        return False
    with told(frames[0].path, "cannot see"):
        path = opened.layout.reached(opened.seam, frames[0].path)
        if opened.seam.exists(path):
            return False
    copy_in(opened.seam, source, path.parent, path.name, sha256, batch=batch, exact=True)
    return True
