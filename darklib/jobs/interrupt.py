"""Ctrl-C at a safe point: the first one lets the file in hand be finished, the second one stops at once."""

import signal
import threading
from types import FrameType, TracebackType
from typing import Any


class SafeStop:
    """While in use, the first Ctrl-C only sets `asked`; whoever works looks at it between two files.

    On leaving, an unanswered request is raised as KeyboardInterrupt, so that no Ctrl-C is lost. Outside the main
    thread, where signals cannot be caught, it does nothing.
    """

    def __init__(self) -> None:
        self.asked = False
        self._before: Any = None
        self._caught = False

    def __enter__(self) -> "SafeStop":
        if threading.current_thread() is threading.main_thread():
            self._before = signal.signal(signal.SIGINT, self._note)
            self._caught = True
        return self

    def _note(self, number: int, frame: FrameType | None) -> None:
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._caught:
            signal.signal(signal.SIGINT, self._before)
        if self.asked and error is None:
            raise KeyboardInterrupt
