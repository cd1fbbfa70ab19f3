"""Cards as they are found: every odd name, link and sort of file through a whole `ingest`; nothing is lost by it."""

from __future__ import annotations

import errno
import json
import os
import socket
import stat
import sys
import unicodedata
from pathlib import Path

import pytest
from small_library import FixedSeam, fits, put, sha

from darklib.cli.main import perform
from darklib.jobs.ingest import ingest
from darklib.jobs.library import init, open_library
from darklib.jobs.ports import Silent
from darklib.jobs.results import IngestResult
from darklib.jobs.verify import verify
from darklib.readers import contents
from darklib.readers import open as reading
from darklib.store import durable, hashing
from darklib.store.seam import Seam, StrPath

pytestmark = pytest.mark.usefixtures("in_process")


@pytest.fixture
def library(tmp_path: Path) -> Path:
    init(str(tmp_path / "library"), timezone="Etc/UTC", seam=FixedSeam())
    return tmp_path / "library"


@pytest.fixture
def card(tmp_path: Path) -> Path:
    (tmp_path / "card").mkdir()
    return tmp_path / "card"


class Heard(Silent):
    """Keeps what is said meanwhile."""

    def __init__(self) -> None:
        self.notes: list[str] = []

    def note(self, text: str) -> None:
        self.notes.append(text)


def take_in(
    library: Path, card: Path, *, move: bool = False, seam: Seam | None = None, heard: Heard | None = None
) -> IngestResult:
    """Ingests the card; the sums are right, the stored files are those of the card, and `verify` is content."""
    with open_library(library, seam=seam or FixedSeam()) as opened:
        result = ingest(opened, [str(card)], move=move, copiers=0, progress=heard)
        counts = result.counts
        assert counts.seen == counts.stored + counts.duplicates + counts.set_aside + counts.passed_over
        for frame in result.stored:
            assert sha(Path(opened.absolute(frame.path)).read_bytes()) == frame.sha256
        found = verify(opened)
        assert (found.differing, found.missing, found.unknown_files) == ((), (), ())
        assert found.catalogue == "ok"
    return result


def passed(result: IngestResult, card: Path) -> dict[str, str]:
    return {os.path.relpath(item.path, card): item.code for item in result.passed_over}


_opened: list[str] | None = None


def _hear(event: str, arguments: tuple[object, ...]) -> None:
    if _opened is not None and event == "open":
        _opened.append(os.fsdecode(arguments[0]) if isinstance(arguments[0], (str, bytes)) else str(arguments[0]))


@pytest.fixture
def opened_files(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return a list of every file that Python opens from here on (an audit hook, which cannot be taken off)."""
    if not getattr(sys, "_darklib_hears", False):
        sys.addaudithook(_hear)
        sys._darklib_hears = True  # type: ignore[attr-defined]
    heard: list[str] = []
    monkeypatch.setattr(sys.modules[__name__], "_opened", heard)
    return heard


def test_deep_folders(library: Path, card: Path) -> None:
    deep = card.joinpath(*(f"{number:03d}" for number in range(300)))
    put(deep, {"D_1.fits": fits("Dark", 1)})
    result = take_in(library, card)
    assert result.counts.stored == 1
    assert len(result.stored[0].path) < 200, "the library does not get as deep"


def test_links_go_round_and_out(library: Path, card: Path, tmp_path: Path, opened_files: list[str]) -> None:
    put(card, {"a/D_1.fits": fits("Dark", 1)})
    put(tmp_path / "elsewhere", {"secret.fits": fits("Dark", 2)})
    (card / "a" / "round").symlink_to(card)
    (card / "self").symlink_to("self")
    (card / "out").symlink_to(tmp_path / "elsewhere")
    (card / "out.fits").symlink_to(tmp_path / "elsewhere" / "secret.fits")
    (card / "hosts.fits").symlink_to("/etc/hosts")
    (card / "sneaky.fits").symlink_to("a/../../elsewhere/secret.fits")
    (card / "gone.fits").symlink_to("none.fits")
    (card / "within.fits").symlink_to("a/D_1.fits")
    opened_files.clear()
    result = take_in(library, card)
    assert (result.counts.stored, result.counts.duplicates) == (1, 1)
    assert passed(result, card) == {
        "a/round": "not_a_file",
        "out": "link_outside",
        "out.fits": "link_outside",
        "hosts.fits": "link_outside",
        "sneaky.fits": "link_outside",
        "gone.fits": "not_a_file",
    }
    assert {Path(item.path).name: item.code for item in result.set_aside} == {"self": "unreadable"}
    assert any(name.endswith("D_1.fits") for name in opened_files)
    assert not [name for name in opened_files if "secret" in name or "hosts" in name]


def test_pipes_sockets_and_devices_are_never_opened(library: Path, card: Path, opened_files: list[str]) -> None:
    """Opening a pipe waits for somebody to write; opening a tape rewinds it."""
    if not hasattr(os, "mkfifo"):
        pytest.skip("no named pipes on this system")
    put(card, {"D_1.fits": fits("Dark", 1)})
    os.mkfifo(card / "pipe.fits")
    wanted = {"pipe.fits": "not_a_file", "socket.fits": "not_a_file"}
    with socket.socket(socket.AF_UNIX) as held:
        try:
            held.bind(os.fspath(card / "socket.fits"))
        except OSError:  # the path is too long for a socket
            del wanted["socket.fits"]
        try:
            os.mknod(card / "null.fits", stat.S_IFCHR | 0o600, os.makedev(1, 3))
            wanted["null.fits"] = "not_a_file"
        except OSError:  # not root
            pass
        opened_files.clear()
        result = take_in(library, card)
    assert result.counts.stored == 1
    assert passed(result, card) == wanted
    assert not [name for name in opened_files if Path(name).name in wanted]


NAMES = {
    "composed": "\u00e9toile.fits", "decomposed": "e\u0301toile.fits", "emoji": "\U0001f30c\u200d\U0001f52d.fits",
    "right to left": "\u05d0\u05d1\u05d2.fits", "turned round": "gnp\u202estif.fits", "no width": "a\u200bb\ufeff.fits",
    "blanks": " lead and trail .fits", "controls": "a\x1b[2J\r\nb.fits", "bars": "[red]x[/red].fits",
}  # fmt: skip


@pytest.mark.skipif(os.name == "nt", reason="Windows itself refuses some of these names")
def test_any_form_of_unicode(library: Path, card: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(card, {name: fits("Dark", number) for number, name in enumerate(NAMES.values())})
    if len(list(card.iterdir())) < len(NAMES):
        pytest.skip("this file system takes both forms of a letter for one")
    result = take_in(library, card)
    assert result.counts.stored == len(NAMES)
    assert {frame.source_path for frame in result.stored} == {os.fspath(card / name) for name in NAMES.values()}
    perform(["--library", str(library), "check", str(card), "--json"])
    assert json.loads(capsys.readouterr().out)["may_erase"] is True
    for frame in result.stored:
        perform(["--library", str(library), "explain", frame.source_path, "--json"])
        assert json.loads(capsys.readouterr().out)["schema"] == "darklib/explain/1"


@pytest.mark.skipif(os.name == "nt", reason="names of files are text on Windows")
def test_names_that_are_no_text(library: Path, card: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name = os.fsdecode(b"IMG_\xff\xfe.fits")
    try:
        put(card, {f"{os.fsdecode(bytes([0xE9]))}/{name}": fits("Dark", 1), name: fits("Dark", 2)[:4000]})
    except OSError:
        pytest.skip("this file system does not take such names")
    result = take_in(library, card)
    assert (result.counts.stored, result.counts.set_aside) == (1, 1)
    for command in (["frames"], ["set-aside"], ["check", str(card)], ["explain", result.stored[0].id]):
        perform(["--library", str(library), *command, "--json"])
        out = capsys.readouterr().out
        assert r"IMG_\\xff\\xfe" in out
        json.loads(out.encode("utf-8"))
        perform(["--library", str(library), *command])
        assert "\udcff" not in capsys.readouterr().out
    again = take_in(library, card, move=True)
    assert again.counts.duplicates == 1
    assert not list(card.rglob("IMG_*.fits")) or again.counts.passed_over == 1


class LockedCard(FixedSeam):
    """A card whose write protection is on."""

    def __init__(self, card: Path) -> None:
        self.card = card

    def unlink(self, path: StrPath) -> None:
        if Path(path).is_relative_to(self.card):
            raise OSError(errno.EROFS, os.strerror(errno.EROFS), os.fspath(path))
        super().unlink(path)


def test_a_write_protected_card(library: Path, card: Path) -> None:
    """It is taken in as any other; `--move` stores, says that the sources stay, and fails at nothing."""
    put(card, {f"D_{number}.fits": fits("Dark", number) for number in range(3)})
    before = {path.name: path.read_bytes() for path in card.iterdir()}
    for path in card.iterdir():
        path.chmod(0o444)
    card.chmod(0o555)
    heard = Heard()
    result = take_in(library, card, move=True, seam=LockedCard(card), heard=heard)
    card.chmod(0o755)
    assert result.counts.stored == 3
    assert {path.name: path.read_bytes() for path in card.iterdir()} == before
    assert result.removed == 0
    assert len([note for note in heard.notes if "D_" in note]) == 3


def test_names_that_only_differ_in_case(library: Path, card: Path) -> None:
    """On a system that takes both for one, the library can be copied there: no two stored names are alike."""
    names = [
        "100A/IMG_1.fits",
        "100a/img_1.FITS",
        "100A/Img_1.fits",
        "\u00c9/x.fits",
        "\u00e9/X.fits",
        "E\u0301/x.fits",
    ]
    put(card, {name: fits("Dark", number) for number, name in enumerate(names)})
    if len([path for path in card.rglob("*") if path.is_file()]) < len(names):
        pytest.skip("this file system takes them for one")
    result = take_in(library, card)
    assert result.counts.stored == len(names)
    alike = {unicodedata.normalize("NFC", frame.path).casefold() for frame in result.stored}
    assert len(alike) == len(names)


def test_very_long_names(library: Path, card: Path) -> None:
    """255 bytes, the most that file systems take, of letters of one, two and four bytes."""
    names = ["n" * 250 + ".fits", "\u00e9" * 125 + ".fits", "\U0001f30c" * 62 + ".fits"]
    put(card, {f"{'f' * 255}/{name}": fits("Dark", number) for number, name in enumerate(names)})
    result = take_in(library, card)
    assert result.counts.stored == 3
    for frame in result.stored:
        assert all(len(os.fsencode(part)) <= 255 for part in Path(frame.path).parts)


def test_a_path_longer_than_any_call_takes(library: Path, card: Path) -> None:
    """4096 bytes are the most on Linux; what lies deeper was made by way of folder handles. It is told, not taken."""
    if os.mkdir not in os.supports_dir_fd:
        pytest.skip("this system cannot make such a folder")
    put(card, {"a/D_1.fits": fits("Dark", 1)})
    handle = os.open(card, os.O_RDONLY)
    for _ in range(25):
        os.mkdir("n" * 200, dir_fd=handle)
        inner = os.open("n" * 200, os.O_RDONLY, dir_fd=handle)
        os.close(handle)
        handle = inner
    os.close(handle)
    result = take_in(library, card)
    assert result.counts.stored == 1
    assert [item.code for item in result.set_aside] == ["folder_unreadable"], "somebody hears of it"


def test_empty_folders(library: Path, card: Path) -> None:
    (card / "100ABCDE" / "empty").mkdir(parents=True)
    result = take_in(library, card)
    assert result.counts.seen == 0


def test_a_file_nobody_may_read(library: Path, card: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put(card, {"D_1.fits": fits("Dark", 1), "locked.fits": fits("Dark", 777)})
    real = reading.FileIO

    def locked(name: str, mode: str) -> object:
        if name.endswith("locked.fits"):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), name)
        return real(name, mode)

    monkeypatch.setattr(reading, "FileIO", locked)
    result = take_in(library, card)
    assert result.counts.stored == 1
    told = {os.path.basename(item.path): item.code for item in (*result.set_aside, *result.passed_over)}
    assert told == {"locked.fits": "unreadable"}


def test_hard_links(library: Path, card: Path) -> None:
    """Several names of one file are duplicates; one that is the stored file itself is not moved away from under it."""
    put(card, {"D_1.fits": fits("Dark", 1)})
    try:
        os.link(card / "D_1.fits", card / "again.fits")
    except OSError:
        pytest.skip("this file system has no hard links")
    result = take_in(library, card)
    assert (result.counts.stored, result.counts.duplicates) == (1, 1)
    stored = library / result.stored[0].path
    assert not os.path.samefile(stored, card / "D_1.fits")
    os.link(stored, card / "stored_itself.fits")
    again = take_in(library, card, move=True)
    assert again.counts.duplicates == 3
    assert {path.name for path in card.iterdir()} == {"stored_itself.fits"}
    assert stored.read_bytes() == fits("Dark", 1)


def test_files_full_of_holes(library: Path, card: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Holes cost no disk, but reading them costs time and memory: within bounds, and never taken for a frame.

    Real gigabytes are among the damaged files of scripts/studies/mutants.py; these are 16 MB, the limit set to 14.
    """
    monkeypatch.setattr(durable, "PIECE", 1 << 20)
    monkeypatch.setattr(hashing, "PIECE", 1 << 20)
    dark = fits("Dark", 1)
    rows = 80_000
    claim = dark.replace(b"NAXIS2  = " + b"32".rjust(20), b"NAXIS2  = " + str(rows).encode().rjust(20))
    assert claim != dark
    put(card, {"D_1.fits": dark})
    for name, start, size in (
        ("hole.fits", b"", 8 << 20),
        ("header.fits", claim[:2880], 2880 + 48 * 2 * rows),
        ("large.dng", b"II*\0\x08\0\0\0", 16 << 20),
        ("large.fits", claim[:2880], 16 << 20),
    ):
        with (card / name).open("wb") as handle:
            handle.write(start)
            handle.truncate(size)
    monkeypatch.setattr(contents, "LARGEST", 14 << 20)
    result = take_in(library, card)
    assert result.counts.stored == 1
    told = {os.path.basename(item.path): item.code for item in (*result.set_aside, *result.passed_over)}
    assert told == {
        "hole.fits": "damaged",
        "header.fits": "pixels_missing",
        "large.dng": "unsupported",
        "large.fits": "unsupported",
    }
