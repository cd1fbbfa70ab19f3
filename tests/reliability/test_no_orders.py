"""No header and no name of a file gives orders to a terminal: in no output of any command, as text or JSON, with or
without --verbose and --debug, and in no message of an error.

Orders are ECMA-48's C0 and C1 controls (the line feed is ours), and Unicode's marks that turn the direction of writing
(annex 9) or break lines.
"""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest
from small_library import fits, put
from test_staying_inside import frame

from darklib.cli.index import COMMANDS
from darklib.cli.main import perform
from darklib.jobs.asked import Stated
from darklib.jobs.ingest import ingest
from darklib.jobs.library import init, open_library

pytestmark = [
    pytest.mark.usefixtures("in_process"),
    pytest.mark.skipif(os.name == "nt", reason="Windows itself refuses these names"),
]

ORDERS = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
NASTY = "\x1b]0;owned\x07\x1b[2J\x9b31m\x08\r\u202egpj\u2066\x85"
IN_HEADER = "\x1b[2J\x9b31m\x07\x08\x85"  # one byte a letter: what a header can hold


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """Return a library made of nothing but hostile texts: headers, names of files and folders, statements, notes."""
    root = tmp_path / "library"
    init(str(root), timezone="Etc/UTC")
    card = tmp_path / f"card{NASTY}"
    kinds = ("Light", "Dark", "Flat", "Bias")
    files = {f"{NASTY}{kind}/{number}{NASTY}.fits": frame(kind, number, IN_HEADER + str(number % 2))
             for number, kind in enumerate(kinds * 2)}  # fmt: skip
    short = fits("Dark", 3)[:4000]
    files |= {
        f"short{NASTY}.fits": short,
        f"notes{NASTY}.txt": b"x",
        f"{NASTY}\udcff.jpg": b"\xff\xd8\xff\xe0" + bytes(99),
    }
    # A card whose value cannot be understood is told word by word.
    odd = fits("Dark", 4).replace(
        b"CCD-TEMP=                -10.0", b"CCD-TEMP= \x1b[2J\x9b31m\x07\x08\x85 nonsense".ljust(30)
    )
    files[f"odd{NASTY}.fits"] = odd
    put(card, files)
    (card / f"out{NASTY}.fits").symlink_to("/etc/hosts")
    with open_library(root) as opened:
        ingest(opened, [str(card)], Stated(), copiers=0)
        ingest(opened, [str(card)], Stated(train=f"train{NASTY}", body=f"body{NASTY}"), copiers=0)
    return root


def commands(library: Path, ids: list[str]) -> dict[str, list[list[str]]]:
    """For every command of the index, calls that say as much as they can, and calls that fail over a hostile text."""
    card = str(library.parent / f"card{NASTY}")
    none = f"none{NASTY}"
    return {
        "init": [["init", str(library)], ["init", str(library / "darklib.toml" / NASTY)]],
        "ingest": [["ingest", card, "--dry-run"], ["ingest", none], ["ingest", card],
                   ["ingest", card, "--kind", NASTY]],
        "match": [["match"], ["match", "--target", none], ["match", f"{card}/{NASTY}Light"], ["match", none]],
        "gaps": [["gaps", "--plan"], ["gaps", "--target", none]],
        "export": [["export", "--target", none, "--to", str(library.parent / NASTY)],
                   ["export", "--night", "2026-10-03", "--to", str(library.parent / NASTY), "--as", "copies"],
                   ["export", "--night", "2026-10-03", "--to", str(library.parent / NASTY), "--as", "list"]],
        "status": [["status"]],
        "frames": [["frames"], ["frames", "--filter", none], ["frames", "--body", none], ["frames", "--kind", NASTY]],
        "batches": [["batches"], ["batches", "--target", none]],
        "sets": [["sets"]],
        "bodies": [["bodies"], ["bodies", "name", none, NASTY], ["bodies", "name", none, none]],
        "sensor": [["sensor"], ["sensor", "--body", none]],
        "exposure": [["exposure"], ["exposure", "--batch", none]],
        "trains": [["trains"], ["trains", "changed", none, "--note", NASTY]],
        "explain": [["explain", ids[0]], ["explain", ids[-1]], ["explain", none],
                    ["explain", f"{card}/odd{NASTY}.fits"]],
        "amend": [["amend", ids[0], "--target", NASTY, "--note", NASTY], ["amend", none, "--target", "x"]],
        "retire": [["retire", ids[0], "--note", NASTY], ["retire", none]],
        "restore": [["restore", ids[0]], ["restore", none]],
        "set-aside": [["set-aside"], ["set-aside", "--retry"]],
        "check": [["check", card], ["check", none]],
        "verify": [["verify"], ["verify", "--against", none]],
        "rebuild": [["rebuild"]],
        "demo": [["demo", str(library / "darklib.toml" / NASTY)]],
    }  # fmt: skip


def said(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    status = perform(arguments)
    out, err = capsys.readouterr()
    found = ORDERS.search(out) or ORDERS.search(err)
    assert found is None, (arguments, (out + err)[max(found.start() - 80, 0) : found.end() + 20])
    return status, out, err


@pytest.mark.parametrize(
    "extras",
    [
        pytest.param([[], ["--json"]], id="plain"),
        pytest.param([["--verbose"], ["--debug"], ["--debug", "--json"]], id="wordy", marks=pytest.mark.long),
    ],
)
def test_no_command_hands_on_orders(extras: list[list[str]], library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = said(["--library", str(library), "frames", "--ids"], capsys)
    ids = out.split()
    assert len(ids) >= 8
    calls = commands(library, ids)
    unheard = set(COMMANDS) - set(calls)
    assert unheard <= {"flats"}, "a new command belongs into this test"
    shown = 0
    for call in (one for many in calls.values() for one in many):
        for extra in extras:
            status, out, err = said(["--library", str(library), *call, *extra], capsys)
            assert status in (0, 1, 2, 3), (call, status, err)
            assert "--debug" in extra or "Traceback" not in err, (call, err)
            shown += r"\x1b" in out + err or r"\u001b" in out + err
            if "--json" in extra and out:
                json.loads(out)
    assert shown > 30, "the texts were there, as codes"


def test_other_wrong_words_of_a_command_line(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for call in ([NASTY], ["frames", f"--{NASTY}"], ["frames", "--night", NASTY], ["amend", NASTY, "--kind", NASTY],
                 ["--library", NASTY, "status"], ["frames", "--exposure", NASTY],
                 ["match", "--batch", NASTY]):  # fmt: skip
        for extra in ([], ["--json"]):
            status, _, _ = said(["--library", str(library), *call, *extra], capsys)
            assert status in (1, 2), call


def test_a_hostile_configuration(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for line in (
        f'"{NASTY}" = 1',
        f'[site]\ntimezone = "{NASTY}"',
        f"[{NASTY}]",
        '[site]\ntimezone = "\\u001b[2J\\u202e"',
    ):
        (library / "darklib.toml").write_text(line, encoding="utf-8")
        for extra in ([], ["--json"], ["--debug"]):
            status, _, _ = said(["--library", str(library), "status", *extra], capsys)
            assert status == 2
