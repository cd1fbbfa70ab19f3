"""Reading that may hang or crash, kept in processes of its own that can be killed and replaced.

A maker's note can send a parser round for ever and a damaged raw file can take a decoder down, and a Python thread
cannot be stopped: so each file is looked at in a long-lived worker process, one a core, started when first needed.
"""

import os
import signal
import threading
import time
from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from types import TracebackType

from darklib.facts.codes import SET_ASIDE
from darklib.readers.answers import Look, Refusal
from darklib.readers.worker import run

LOOK = "darklib.readers.open:look"
_SPAWN = get_context("spawn")
# A forked child inherits locks held by threads it has not got, and LibRaw's thread pool deadlocks in it.


@dataclass(slots=True)
class _Worker:
    process: SpawnProcess
    connection: "Connection[object, object]"
    number: int | None = None
    path: str = ""
    deadline: float = 0.0


@dataclass(slots=True)
class Guard:
    """Worker processes that look at files. workers: how many at most; timeout_s: seconds a file may take.

    A hung or crashed worker is killed and replaced; its file comes back refused as reading_hung or reading_crashed.
    task: what a worker does with a path, `module:function`; tests give their own.
    """

    workers: int = 0
    timeout_s: float = 120.0
    task: str = LOOK
    _all: list[_Worker] = field(default_factory=list, init=False, repr=False)
    _waiting: deque[tuple[int, str]] = field(default_factory=deque, init=False, repr=False)
    _count: int = field(default=0, init=False, repr=False)

    def __post_init__(self) -> None:
        if self.workers < 1:
            self.workers = usable_cores()

    def __enter__(self) -> "Guard":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close(at_once=error is not None)

    def begin(self) -> "Guard":
        """Start all workers now: their imports then run while this process does its own."""
        while len(self._all) < self.workers:
            self._all.append(_started(self.task))
        return self

    def submit(self, path: str) -> None:
        """Hand in a file; its answer comes out of `results`."""
        self._waiting.append((self._count, os.fspath(path)))
        self._count += 1
        self._hand_out()

    def results(self) -> Iterator[Look]:
        """Answers of all files handed in, as they are ready, until none is left."""
        while self._waiting or self._busy():
            for _, answer in self._step():
                yield answer

    def map(self, paths: Iterable[str], ahead: int = 8) -> Iterator[Look]:
        """One answer a path, in the order given. Never more than `ahead` files are taken from `paths` beyond the last
        answer, so that neither memory nor the list of files need be whole.
        """
        source = iter(paths)
        ready: dict[int, Look] = {}
        awaited = self._count
        exhausted = False
        while True:
            while not exhausted and self._count - awaited < max(ahead, 1):
                path = next(source, None)
                if path is None:
                    exhausted = True
                else:
                    self.submit(path)
            if awaited == self._count:
                return
            while awaited not in ready:
                ready.update(self._step())
            yield ready.pop(awaited)
            awaited += 1

    def close(self, *, at_once: bool = False) -> None:
        """End the workers: politely, or killed where they do not end by themselves."""
        self._waiting.clear()
        for worker in self._all:
            if at_once or worker.number is not None:
                worker.process.kill()
            else:
                with suppress(OSError):
                    worker.connection.send(None)
        for worker in self._all:
            worker.process.join(5.0)
            if worker.process.is_alive():
                worker.process.kill()
            _closed(worker)
        self._all.clear()

    def _busy(self) -> bool:
        return any(worker.number is not None for worker in self._all)

    def _hand_out(self) -> None:
        for worker in tuple(self._all):
            if not self._waiting:
                return
            if worker.number is None:
                self._give(worker)
        while self._waiting and len(self._all) < self.workers:
            worker = _started(self.task)
            self._all.append(worker)
            self._give(worker)

    def _give(self, worker: _Worker) -> None:
        if wait([worker.process.sentinel], 0):
            # It died idle; the next file is not to blame.
            self._end(worker)
            worker = _started(self.task)
            self._all.append(worker)
        number, path = self._waiting.popleft()
        worker.number, worker.path = number, path
        worker.deadline = time.monotonic() + self.timeout_s
        # A pipe that breaks here is noticed in `_step`, with the death of its worker.
        with suppress(OSError):
            worker.connection.send(path)

    def _step(self) -> list[tuple[int, Look]]:
        """Wait for the next answer, death or deadline."""
        busy = [worker for worker in self._all if worker.number is not None]
        nearest = min(worker.deadline for worker in busy) - time.monotonic()
        handles: list[Connection[object, object] | int] = []
        for worker in busy:
            handles += (worker.connection, worker.process.sentinel)
        fired = set(wait(handles, max(nearest, 0.0)))
        answers: list[tuple[int, Look]] = []
        now = time.monotonic()
        for worker in busy:
            if worker.connection in fired or worker.process.sentinel in fired:
                answers.append(self._answer(worker))
            elif worker.deadline <= now:
                seconds = f"{self.timeout_s:g} seconds"
                answers.append(self._replace(worker, "reading_hung", f"reading did not end within {seconds}"))
        self._hand_out()
        return answers

    def _answer(self, worker: _Worker) -> tuple[int, Look]:
        try:
            answer = worker.connection.recv()
        except Exception:  # noqa: BLE001 - a dying worker may leave half an answer, which unpickles into anything
            return self._replace(worker, "reading_crashed", SET_ASIDE["reading_crashed"])
        number = worker.number
        worker.number = None
        assert number is not None
        assert isinstance(answer, Look)
        return number, answer

    def _replace(self, worker: _Worker, code: str, text: str) -> tuple[int, Look]:
        number, path = worker.number, worker.path
        assert number is not None
        self._end(worker)
        size, modified = _size_and_time(path)
        return number, Look(path, "", size, modified, refusal=Refusal(code, text))

    def _end(self, worker: _Worker) -> None:
        worker.process.kill()
        _closed(worker)
        self._all.remove(worker)


def _closed(worker: _Worker) -> None:
    """Waits for a killed or ended worker and lets go of it."""
    worker.process.join(5.0)
    worker.connection.close()
    with suppress(ValueError):  # the system still has it; it ends with this process at the latest
        worker.process.close()


def usable_cores() -> int:
    """Cores this process may use."""
    with suppress(AttributeError, OSError):
        return max(len(os.sched_getaffinity(0)), 1)
    return os.cpu_count() or 1


def _started(task: str) -> _Worker:
    ours, theirs = _SPAWN.Pipe()
    process = _SPAWN.Process(target=run, args=(theirs, task), daemon=True, name="darklib reader")
    with _ctrl_c_held():
        process.start()
    theirs.close()
    return _Worker(process, ours)


@contextmanager
def _ctrl_c_held() -> Iterator[None]:
    """Ctrl-C waits until the worker is started; the worker inherits that it is held and never sees it."""
    if not hasattr(signal, "pthread_sigmask") or threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _size_and_time(path: str) -> tuple[int, datetime]:
    try:
        found = os.stat(path)
    except OSError:
        return 0, datetime.fromtimestamp(0, UTC)
    return found.st_size, datetime.fromtimestamp(found.st_mtime, UTC)
