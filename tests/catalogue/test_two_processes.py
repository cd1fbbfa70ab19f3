"""Several processes on one catalogue: no frame is lost, nobody sees half a batch or hears that it is locked."""

import subprocess
import sys
import time
from pathlib import Path

import pytest
from catalogue_material import applied, dump, made, stored

from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.facts.frame import Kind

BATCHES, IN_A_BATCH = 6, 10
ROOT = Path(__file__).parents[2]

WRITER = """
import sys
from pathlib import Path

sys.path.insert(0, sys.argv[1])
from catalogue_material import applied, stored
from test_two_processes import BATCHES, IN_A_BATCH, batch_of
from darklib.catalogue import address
from darklib.catalogue.schema import open_catalogue

path, run = Path(sys.argv[2]), sys.argv[3]
if "on-a-share" in sys.argv:
    address.on_network = lambda _path: True
with open_catalogue(path, path.parent, create=False) as catalogue:
    print("ready", flush=True)
    sys.stdin.readline()
    for number in range(BATCHES):
        applied(catalogue, batch_of(run, number), run=run)
        catalogue.counts()
print("done", flush=True)
"""


def batch_of(run: str, number: int) -> list[object]:
    kind = (Kind.DARK, Kind.LIGHT, Kind.FLAT)[number % 3]
    return [stored((run, number, one), kind, serial=str(number % 2)) for one in range(IN_A_BATCH)]


def writer(path: Path, run: str, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITER, str(Path(__file__).parent), str(path), run, *more]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, cwd=ROOT, stdin=pipe, stdout=pipe, stderr=pipe, text=True)


@pytest.mark.parametrize("place", ["on-a-disk", pytest.param("on-a-share", marks=pytest.mark.long)])
def test_two_writers_and_a_reader(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str) -> None:
    monkeypatch.setattr("darklib.catalogue.address.on_network", lambda _path: place == "on-a-share")
    with made(tmp_path) as reader:
        runs = ["run-1", "run-2"]
        writers = [writer(reader.path, run, place) for run in runs]
        try:
            for process in writers:
                assert process.stdout is not None
                assert process.stdout.readline() == "ready\n", process.communicate()[1]
            for process in writers:
                assert process.stdin is not None
                process.stdin.write("go\n")
                process.stdin.flush()
            counted = watched(reader, writers)
            errors = [process.communicate(timeout=60) for process in writers]
        finally:
            for process in writers:
                process.kill()
                process.wait()
        assert [process.returncode for process in writers] == [0, 0], errors
        assert counted == sorted(counted)
        assert reader.counts()["frames"] == 2 * BATCHES * IN_A_BATCH
        assert reader.integrity() == "ok"
    with made(tmp_path, "rebuilt.sqlite") as rebuilt:
        for run in runs:
            for number in range(BATCHES):
                applied(rebuilt, batch_of(run, number), run=run)
        assert dump(rebuilt.path) == dump(reader.path)


def watched(reader: Catalogue, writers: list[subprocess.Popen[str]]) -> list[int]:
    """How many frames the reader saw while the writers were at work; always whole batches, and as series tell."""
    counted = []
    while any(process.poll() is None for process in writers):
        with reader.reading():
            frames = len(reader.frames(FrameQuery()).frames)
            assert frames == sum(series.count for series in reader.series())
        assert frames % IN_A_BATCH == 0
        counted.append(frames)
        time.sleep(0.02)
    return counted
