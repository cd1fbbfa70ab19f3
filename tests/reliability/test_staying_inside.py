"""Whatever headers and names say, files are written in the library and in the hand-over's folder and nowhere else."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Sequence
from pathlib import Path, PureWindowsPath
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pathvalidate import is_valid_filename
from small_library import put

from darklib.catalogue.catalogue import FrameQuery
from darklib.cli.main import perform
from darklib.jobs.asked import Nights, Stated
from darklib.jobs.export import export
from darklib.jobs.ingest import ingest
from darklib.jobs.library import init, open_library
from darklib.scenario.fits_file import fits_bytes

pytestmark = pytest.mark.usefixtures("in_process")

# What a header's text would have to be to climb out of a folder, to be a device, or to speak to the terminal.
EVIL = (
    "../../etc", "..\\..\\etc", "/etc/passwd", "C:\\Windows", "\\\\host\\share", "~/x", "..", ".", "CON", "nul.fits",
    "LPT1", "a:stream", "what?*<>|", " lead", "trail. .", "-rf", "$(id)", "`id`", ";id", "%2e%2e%2f", "a" * 60, "''",
    "   ",
)  # fmt: skip
ESCAPES = ("\x1b[2J\x1b[1;1H", "\x1b]0;title\x07", "\r\noverwritten", "\x9b31m", "a\x00b", "\x08\x08")


def frame(kind: str, number: int, text: str) -> bytes:
    """A frame whose every text says the same."""
    level = {"Light": 1100, "Dark": 520, "Flat": 22000, "Bias": 500}[kind]
    pixels = np.random.default_rng([number, level]).normal(level, 12.0, (24, 32)).round().astype(np.uint16)
    printable = "".join(letter if " " <= letter <= "~" else "@" for letter in text)
    lines: list[tuple[str, Any, str]] = [
        *((name, printable, "") for name in ("INSTRUME", "SERIALNO", "TELESCOP", "FILTER", "OBJECT", "READOUTM")),
        ("IMAGETYP", kind, ""),
        ("EXPTIME", 2.0 if kind == "Flat" else 60.0, ""),
        ("DATE-OBS", "2026-10-03T22:00:00", ""),
    ]
    data = fits_bytes(pixels, lines)
    # The standard allows printable ASCII only; files in the wild hold what they hold.
    written = printable.replace("'", "''").encode()
    return data.replace(b"'" + written, b"'" + text.replace("'", "''").encode("latin-1")) if written else data


def tree(folder: Path) -> dict[str, bytes | None]:
    return {str(path): path.read_bytes() if path.is_file() else None for path in sorted(folder.rglob("*"))}


def safe(part: str) -> bool:
    """By another project's rules for names that every system takes, and by eye for what terminals obey."""
    return is_valid_filename(part, platform="universal", max_len=255) and not re.search(r"[\x00-\x1f\x7f-\x9f]", part)


@pytest.fixture
def library(tmp_path: Path) -> Path:
    (tmp_path / "world" / "here").mkdir(parents=True)
    init(str(tmp_path / "world" / "here" / "library"), timezone="Etc/UTC")
    return tmp_path / "world" / "here" / "library"


def take_in(library: Path, files: dict[str, bytes], stated: Stated = Stated()) -> None:  # noqa: B008
    card = library.parent / "card"
    put(card, files)
    with open_library(library) as opened:
        result = ingest(opened, [str(card)], stated, copiers=0)
        assert result.counts.stored + result.counts.set_aside == len(files)


def nothing_outside(library: Path, handed: Path) -> None:
    world = library.parent.parent
    expected = {library, library.parent, library.parent / "card", handed}
    for path in world.rglob("*"):
        assert path in expected or any(folder in path.parents for folder in (library, library.parent / "card", handed))
    for folder in (library / "frames", library / "set-aside", handed):
        for path in folder.rglob("*"):
            for part in path.relative_to(folder).parts:
                assert safe(part), part
                assert not PureWindowsPath(part).is_reserved(), part


def frames_saying(texts: Sequence[str]) -> dict[str, bytes]:
    return {
        f"{number}/{kind}.fits": frame(kind, number, text)
        for number, text in enumerate(texts)
        for kind in ("Light", "Flat")
    }


def hand_over(library: Path, form: str, *, many: int) -> Path:
    """Exports every batch; returns where to."""
    to = library.parent / "handed" / form
    with open_library(library) as opened:
        result = export(opened, to=str(to), describe=lambda batch: {"id": batch.id}, nights=Nights(), form=form)
    assert len(result.batches) == many
    for path in (*result.written, result.manifest):
        assert to in Path(os.path.abspath(path)).parents
    return to


@pytest.mark.parametrize("texts", [EVIL, ESCAPES], ids=["paths", "escapes"])
def test_texts_of_a_header(texts: tuple[str, ...], library: Path) -> None:
    take_in(library, frames_saying(texts))
    before = tree(library / "frames")
    with open_library(library) as opened:
        frames = opened.catalogue.frames(FrameQuery()).frames
        assert len(frames) == 2 * len(texts)
        targets = {frame.target for frame in frames}
        for one in frames:
            assert (library / "frames") in opened.layout.absolute(one.path).resolve().parents
    for form in ("list", "copies", "links"):
        hand_over(library, form, many=len(targets - {None}) + (None in targets))
    nothing_outside(library, library.parent / "handed")
    assert tree(library / "frames") == before


@pytest.mark.parametrize("text", ["../../etc", "CON", "\x1b[2J", "a/b\\c:d", "." * 40], ids=ascii)
def test_what_the_user_states(text: str, library: Path) -> None:
    """Names of bodies and trains become folders."""
    take_in(library, {"F.fits": frame("Flat", 1, "x"), "D.fits": frame("Dark", 2, "x")}, Stated(body=text, train=text))
    nothing_outside(library, library.parent / "none")


@pytest.mark.skipif(os.name == "nt", reason="Windows itself refuses these names")
@pytest.mark.parametrize(
    "name", ["CON", "aux.fits", "a\nb.fits", "\x1b[2J.fits", "x..\\..\\x.fits", "x. .fits", "\udcff\udcfe.fits"]
)
@pytest.mark.parametrize("whole", [True, False], ids=["stored", "set aside"])
def test_names_of_files_and_folders(name: str, whole: bool, library: Path) -> None:
    data = frame("Dark", 3, "x")
    take_in(library, {f"100{name}/{name}": data if whole else data[:4000]})
    nothing_outside(library, library.parent / "none")


def test_the_screen_gets_no_orders(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No control character of a header or a name reaches a terminal (ECMA-48: C0 and C1), in no form of output."""
    files = {f"a\x1b[31m{number}.fits": frame("Light", number, text) for number, text in enumerate(ESCAPES)}
    take_in(library, files)
    for arguments in (["frames"], ["bodies"], ["batches"], ["trains"], ["status"], ["match"], ["gaps"]):
        for extra in ([], ["--json"]):
            perform(["--library", str(library), *arguments, *extra])
            out, err = capsys.readouterr()
            assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", out + err), (arguments, out + err)
            if extra and out:
                json.loads(out)


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(st.text(st.characters(max_codepoint=255), min_size=1, max_size=40), min_size=1, max_size=4))
def test_any_text_of_a_header(texts: list[str], library: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    root = tmp_path_factory.mktemp("any") / "world" / "here" / "library"
    shutil.copytree(library, root)
    take_in(root, frames_saying(texts))
    nothing_outside(root, root.parent / "none")
