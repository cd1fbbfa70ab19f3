"""One darklib among several: `process.py LIBRARY GO ingest CARD` or `process.py LIBRARY GO look DONE`.

Waits for the file GO, so that several begin at once. `ingest` takes the card in and records often, so that processes
take many turns. `look` opens the library, matches and lists again and again until the file DONE is there. Prints one
JSON document.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent.parent)]

from small_library import InProcessGuard  # noqa: E402

from darklib.catalogue.catalogue import FrameQuery  # noqa: E402
from darklib.jobs import intake, record  # noqa: E402
from darklib.jobs.asked import Nights  # noqa: E402
from darklib.jobs.ingest import ingest  # noqa: E402
from darklib.jobs.library import open_library  # noqa: E402
from darklib.jobs.match import match  # noqa: E402
from darklib.readers import guard  # noqa: E402


def take_in(root: Path, card: str) -> dict[str, int]:
    with open_library(root) as opened:
        counts = ingest(opened, [card]).counts
    return {"seen": counts.seen, "stored": counts.stored, "duplicates": counts.duplicates}


def look(root: Path, done: Path) -> dict[str, int]:
    looks = replayed = frames = fewer = 0
    last = False
    while not last:
        last = done.exists()
        with open_library(root) as opened:
            replayed += opened.replayed
            match(opened, nights=Nights())
            now = len(opened.catalogue.frames(FrameQuery(retired=None)).frames)
        fewer += now < frames
        frames = now
        looks += 1
    return {"looks": looks, "replayed": replayed, "frames": frames, "fewer": fewer}


if __name__ == "__main__":
    library, go, what, argument = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], sys.argv[4]
    intake.Guard = guard.Guard = InProcessGuard  # type: ignore[assignment, misc]
    record.FRAMES_AT_ONCE, record.SECONDS_AT_ONCE, record.SECONDS_BETWEEN_TURNS = 3, 0.02, 0.02
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    while not go.exists():
        time.sleep(0.001)
    outcome = take_in(library, argument) if what == "ingest" else look(library, Path(argument))
    sys.stdout.write(json.dumps(outcome) + "\n")
