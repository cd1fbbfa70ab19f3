"""The other side of `guard`: a process that looks at one file after the other and can be killed at any moment.

It writes nothing anywhere. It ends when its pipe closes or its parent is gone, whatever it is doing then.
"""

import os
import signal
import threading
from collections.abc import Callable
from contextlib import suppress
from importlib import import_module
from multiprocessing import parent_process
from multiprocessing.connection import Connection, wait


def run(connection: "Connection[object, object]", task: str) -> None:
    """Answer each path that comes through the pipe. task: `module:function` taking a path and giving the answer."""
    # Ctrl-C goes to every process of the terminal; the parent decides what it means.
    with suppress(ValueError, OSError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _silence_c_libraries()
    module, _, function = task.partition(":")
    work: Callable[[str], object] = getattr(import_module(module), function)
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            path = connection.recv()
            if path is None:
                return
            connection.send(work(str(path)))


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(0)


def _silence_c_libraries() -> None:
    """Decoders print to the C library's standard output and error, past Python; here nobody reads either."""
    with suppress(OSError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        os.close(nowhere)
