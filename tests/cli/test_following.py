"""`gaps --follow` as a process: JSON Lines, and Ctrl-C."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from published_schemas import one_document

from darklib.jobs.ingest import ingest
from darklib.jobs.library import init, open_library
from darklib.scenario.trio import trio
from scripts.studies.watching import WATCHER

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent to one process alone, as POSIX has it")


def test_a_document_an_event_and_ctrl_c(tmp_path: Path, repository: Path) -> None:
    """The light of 300 s lacks darks; the dark that belongs to it arrives in the inbox and is counted, not taken in."""
    root = tmp_path / "library"
    init(str(root), timezone="Etc/UTC")
    dark, _, light = (file.make() for file in trio(20261003))
    (tmp_path / "light.fits").write_bytes(light)
    with open_library(root) as opened:
        ingest(opened, [str(tmp_path / "light.fits")])
    command = [sys.executable, "-c", WATCHER, "0.1", "--library", str(root), "--json", "gaps", "--follow"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=repository
    ) as process:  # fmt: skip
        assert process.stdout is not None
        began = one_document(process.stdout.readline())
        (root / "inbox" / "d.fits").write_bytes(dark)
        frame = one_document(process.stdout.readline())
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert (began["schema"], began["event"], began["now"]) == ("darklib/gaps-follow/1", "began", 1)
    assert (frame["event"], frame["steps"][0]["counted"], frame["reading_c"]) == (
        "frame",
        1,
        pytest.approx(-10.0, abs=1),
    )
    assert process.returncode == 130
    assert one_document(out)["code"] == "stopped"
    assert "Traceback" not in err
    assert (root / "inbox" / "d.fits").exists()
