"""What the workers of the guard's tests do, by the file's name."""

import os
import signal
import time
from datetime import UTC, datetime

from darklib.readers.answers import Look

NEVER = 3600.0


def by_name(path: str) -> Look:
    name = os.path.basename(path)
    if name.startswith("hang"):
        time.sleep(NEVER)
    if name.startswith("exit"):
        os._exit(3)
    if name.startswith("killed"):
        os.kill(os.getpid(), signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
    if name.startswith("noise"):
        os.write(1, b"on standard output\n")
        os.write(2, b"on standard error\n")
    if name.startswith("raise"):
        raise RuntimeError("a bug in a reader")
    if name.startswith("slow"):
        time.sleep(0.2)
    return Look(path, str(os.getpid()), 0, datetime.fromtimestamp(0, UTC), not_an_image=True)
