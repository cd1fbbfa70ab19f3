"""Reading that hangs or crashes: the worker is replaced, its file refused, the rest goes on."""

import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
from fits_writing import frame

from darklib.readers.guard import Guard
from darklib.readers.open import look

TASK = "guard_tasks:by_name"


def refused(answers: list) -> dict[str, str | None]:
    return {one.path: one.refusal.code if one.refusal else None for one in answers}


def test_real_files_come_back_in_order_and_equal(tmp_path: Path) -> None:
    paths = []
    for number in range(6):
        path = tmp_path / f"{number}.fits"
        path.write_bytes(frame(f"EXPTIME = {number + 1}.0"))
        paths.append(str(path))
    (tmp_path / "a.jpg").write_bytes(b"\xff\xd8\xff\xe0" + b"\0" * 50)
    paths.append(str(tmp_path / "a.jpg"))
    with Guard(2) as guard:
        answers = list(guard.map(paths))
    assert [answer.path for answer in answers] == paths
    assert answers == [look(path) for path in paths]


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse or translate such names")
def test_a_name_that_cannot_be_decoded_is_read_like_any_other(tmp_path: Path) -> None:
    path = os.fsdecode(os.fsencode(tmp_path) + b"/dark\xff.fits")
    Path(path).write_bytes(frame())
    with Guard(1) as guard:
        (found,) = guard.map([path])
    assert (found.path, found.refusal) == (path, None)


def test_a_hung_worker_is_replaced(tmp_path: Path) -> None:
    with Guard(1, timeout_s=2.0, task=TASK) as guard:
        answers = list(guard.map(["a", "hang", "b"]))
    assert refused(answers) == {"a": None, "hang": "reading_hung", "b": None}
    assert answers[0].sha256 != answers[2].sha256  # the process ids
    assert answers[1].refusal is not None
    assert "2 seconds" in answers[1].refusal.text


@pytest.mark.parametrize("name", ["exit", "killed", "raise"])
def test_a_crashed_worker_is_replaced(name: str) -> None:
    with Guard(1, task=TASK) as guard:
        answers = list(guard.map(["a", name, "b"]))
    assert refused(answers) == {"a": None, name: "reading_crashed", "b": None}


def test_many_crashes_in_a_row_and_files_beside_them() -> None:
    names = [f"{'exit' if number % 3 == 0 else 'fine'}-{number}" for number in range(9)]
    with Guard(2, task=TASK) as guard:
        answers = list(guard.map(names, ahead=4))
    assert [answer.path for answer in answers] == names
    assert [answer.refusal is not None for answer in answers] == [number % 3 == 0 for number in range(9)]


def test_a_worker_that_died_idle_costs_no_file() -> None:
    with Guard(1, task=TASK) as guard:
        first = next(iter(guard.map(["a"])))
        os.kill(int(first.sha256), signal.SIGTERM)
        assert gone(int(first.sha256))
        assert refused(list(guard.map(["b"]))) == {"b": None}


def test_paths_are_taken_only_as_far_ahead_as_asked() -> None:
    taken: list[str] = []

    def source() -> Iterator[str]:
        for number in range(12):
            taken.append(str(number))
            yield str(number)

    with Guard(2, task=TASK) as guard:
        for done, _ in enumerate(guard.map(source(), ahead=3)):
            assert len(taken) <= done + 3


def test_workers_start_only_when_needed_and_end_with_the_block() -> None:
    with Guard(2, task=TASK) as guard:
        mine = psutil.Process()
        before = {child.pid for child in mine.children()}
        answer = next(iter(guard.map(["only one"])))
        assert int(answer.sha256) not in before
        workers = [child for child in mine.children() if child.pid == int(answer.sha256)]
        assert len(workers) == 1
    assert not psutil.pid_exists(int(answer.sha256))


def test_submit_and_results_in_any_order() -> None:
    with Guard(2, task=TASK) as guard:
        for name in ("slow-1", "b", "c"):
            guard.submit(name)
        answers = list(guard.results())
        assert {answer.path for answer in answers} == {"slow-1", "b", "c"}
        assert list(guard.results()) == []


def test_an_error_in_the_block_ends_busy_workers_at_once() -> None:
    started = time.monotonic()

    def fails() -> None:
        with Guard(1, task=TASK) as guard:
            guard.submit("hang")
            raise KeyError("something else")

    with pytest.raises(KeyError, match="something else"):
        fails()
    assert time.monotonic() - started < 30


def run_script(body: str, folder: Path) -> subprocess.Popen[str]:
    here = Path(__file__).resolve()
    script = folder / "script.py"
    script.write_text(
        f"import signal, sys\nsys.path[:0] = [{str(here.parent)!r}, {str(here.parents[2])!r}]\n"
        # A shell starts what runs in the background deaf to Ctrl-C.
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n" + textwrap.dedent(body),
        encoding="utf-8",
    )
    return subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


ONE_BUSY = """
    from darklib.readers.guard import Guard
    if __name__ == "__main__":
        with Guard(2, task="guard_tasks:by_name") as guard:
            first = next(iter(guard.map(["a"])))
            print(first.sha256, flush=True)
            for _ in guard.map(["hang"]):
                pass
"""


def gone(pid: int) -> bool:
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        if not psutil.pid_exists(pid) or psutil.Process(pid).status() == psutil.STATUS_ZOMBIE:
            return True
        time.sleep(0.05)
    return False


def test_workers_end_when_their_parent_is_killed(tmp_path: Path) -> None:
    parent = run_script(ONE_BUSY, tmp_path)
    assert parent.stdout is not None
    worker = int(parent.stdout.readline())
    assert psutil.pid_exists(worker)
    parent.kill()
    parent.wait(10)
    assert gone(worker)
    parent.communicate()


@pytest.mark.skipif(os.name == "nt", reason="Windows sends Ctrl-C to a whole console, which would reach this test too")
def test_ctrl_c_stops_the_parent_and_its_workers_without_their_words(tmp_path: Path) -> None:
    parent = run_script(ONE_BUSY, tmp_path)
    assert parent.stdout is not None
    worker = int(parent.stdout.readline())
    time.sleep(0.2)
    # As a terminal does: to the parent and to its workers.
    os.kill(worker, signal.SIGINT)
    parent.send_signal(signal.SIGINT)
    _, errors = parent.communicate(timeout=30)
    assert gone(worker)
    assert errors.count("Traceback") == 1
    assert "KeyboardInterrupt" in errors


def test_decoders_that_print_are_not_heard(tmp_path: Path) -> None:
    body = """
        from darklib.readers.guard import Guard
        if __name__ == "__main__":
            with Guard(1, task="guard_tasks:by_name") as guard:
                print([one.path for one in guard.map(["noise"])])
    """
    out, errors = run_script(body, tmp_path).communicate(timeout=60)
    assert (out, errors) == ("['noise']\n", "")
