"""Hot-pixel evidence in `cache/hot/`, one small file a frame. The cache may be deleted at any time, so nothing here is
waited for or insisted on: what cannot be written is made again by reading the frame once more.
"""

from contextlib import suppress
from pathlib import Path

from darklib.store.layout import Library
from darklib.store.seam import Seam

SUFFIX = ".hot"


def place(layout: Library, sha256: str) -> Path:
    """Where the evidence of a frame is kept."""
    return layout.cache / "hot" / sha256[:2] / (sha256[:16] + SUFFIX)


def keep(seam: Seam, layout: Library, sha256: str, evidence: bytes) -> bool:
    """Keeps the evidence of a frame, in place of an earlier one; whether it could be.

    Written under another name first, so that nobody reads half of it; whatever a power cut leaves is told by its CRC.
    """
    path = place(layout, sha256)
    part = path.with_name(f".{path.name}.{seam.token(6)}")
    try:
        for folder in (layout.cache, path.parent.parent, path.parent):
            if not seam.exists(folder):
                with suppress(FileExistsError):
                    seam.mkdir(folder)
        handle = seam.create_exclusive(part)
        try:
            written = 0
            while written < len(evidence):
                written += seam.write(handle, evidence[written:])
        finally:
            handle.close()
        seam.replace(part, path)
    except OSError:
        with suppress(OSError):
            seam.unlink(part)
        return False
    return True


def kept(seam: Seam, layout: Library, sha256: str) -> bytes | None:
    """The evidence of a frame, None where there is none or it cannot be read. Its form is not looked at."""
    try:
        return seam.read_bytes(place(layout, sha256))
    except OSError:
        return None
