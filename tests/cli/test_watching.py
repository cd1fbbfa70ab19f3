"""`ingest --watch` as a process: JSON Lines, Ctrl-C, memory."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import pretend_results as pretend
import pytest
from published_schemas import one_document

from darklib.facts.errors import DarklibError
from darklib.jobs import results
from darklib.jobs.library import init
from darklib.scenario.trio import trio
from darklib.show.out import Out
from darklib.show.watching import ForPeople, ForPrograms
from scripts.studies.watching import WATCHER, growth, watched

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent to one process alone, as POSIX has it")


def test_a_document_a_round_and_ctrl_c(tmp_path: Path, repository: Path) -> None:
    init(str(tmp_path / "library"), timezone="Etc/UTC")
    card = tmp_path / "card"
    card.mkdir()
    dark, _, light = (file.make() for file in trio(20261003))
    command = [sys.executable, "-c", WATCHER, "0.1", "--library", str(tmp_path / "library"), "--json"]
    with subprocess.Popen(
        [*command, "ingest", str(card), "--watch"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=repository,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stderr.readline() == f"Watching {card}\n"
        told = []
        for name, data in (("d.fits", dark), ("l.fits", light)):
            (card / name).write_bytes(data)
            told.append(one_document(process.stdout.readline()))
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert [document["counts"]["stored"] for document in told] == [1, 1]
    assert [document["check"] for document in told] == [None, None]
    assert process.returncode == 130
    assert one_document(out)["code"] == "stopped"
    assert "Traceback" not in err


@pytest.mark.long
@pytest.mark.timeout(300)
@pytest.mark.parametrize("move", [False, True], ids=["files stay", "files are moved"])
def test_memory_does_not_grow_with_the_files(
    move: bool, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """1,500 files in a real process. Once it has warmed up, less than 4 kB a file may come; a frame kept in memory with
    its facts takes more. The figure for 10,000 files is in scripts/studies/watching.md.
    """
    started_s = time.monotonic()
    samples = list(watched(tmp_path, 1, 1500, move=move, portion=150, look_every_s=0.2))
    first = next(one for one in samples if one.files >= 750)
    grown = (samples[-1].resident - first.resident) / (samples[-1].files - first.files)
    record_property(
        "measured",
        f"watch, {'moved' if move else 'staying'}: {samples[-1].files} files, {samples[-1].resident / 1e6:.1f} MB, "
        f"{grown:.0f} bytes a file after the first {first.files}, {time.monotonic() - started_s:.0f} s",
    )
    assert samples[-1].files == 1500
    assert grown < 4096
    assert growth(samples) < 4096


def _people() -> tuple[ForPeople, StringIO]:
    stream = StringIO()
    return ForPeople(Out(stream, width=80), lambda: datetime(2026, 10, 3, 22, 14, 5, tzinfo=UTC)), stream


def test_people_read_a_line_a_round() -> None:
    teller, stream = _people()
    teller.watching(["/cards/one"])
    teller.took_in(pretend.INGEST, Path("/library"))
    teller.failed(DarklibError("disk_full", "The disk is full.", remedy="Make room."), 20.0)
    teller.note("/cards/one: it is not there. Waiting until it comes back.")
    text = stream.getvalue()
    assert text.startswith("Watching /cards/one\n")
    assert f"2026-10-03 22:14:05Z  {pretend.INGEST.counts.stored} frame" in text
    for item in pretend.INGEST.set_aside:
        assert item.path in text
    assert "The disk is full. Make room. Trying again in 20 s." in " ".join(text.split())
    assert "Waiting until it comes back." in text
    assert max(map(len, text.splitlines())) <= 80


def test_a_round_in_which_nothing_could_be_taken_says_so() -> None:
    teller, stream = _people()
    teller.took_in(results.IngestResult("run", False, results.IngestCounts(1, 0, 0, 0, 1, 0, 0)), Path("/library"))
    assert "1 file passed over" in stream.getvalue()


def test_programs_read_documents_and_sentences_go_elsewhere(capsys: pytest.CaptureFixture[str]) -> None:
    class Noted:
        notes: list[str] = []  # noqa: RUF012

        def note(self, text: str) -> None:
            self.notes.append(text)

    teller = ForPrograms(Noted())  # type: ignore[arg-type]
    teller.watching(["/cards/one"])
    teller.note("/cards/one is there again.")
    assert capsys.readouterr().out == ""
    teller.took_in(pretend.INGEST, Path("/library"))
    assert one_document(capsys.readouterr().out)["schema"] == "darklib/ingest/1"
    teller.failed(DarklibError("disk_full", "The disk is full."), 20.0)
    assert one_document(capsys.readouterr().out)["code"] == "disk_full"
    assert len(Noted.notes) == 3
