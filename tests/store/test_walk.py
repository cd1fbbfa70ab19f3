"""The walk: one order, no loops, nothing outside, nothing silently left out."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest
from breaking_seam import BreakingSeam

from darklib.facts.codes import PASSED_OVER
from darklib.facts.errors import DarklibError
from darklib.store.layout import make
from darklib.store.seam import Entry, Seam, StrPath
from darklib.store.walk import Found, Passed, walk

SEAM = Seam()


def put(path: Path, data: bytes = b"x") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return path


def found(root: Path, *paths: Path, library_root: Path | None = None, seam: Seam = SEAM) -> list[str]:
    out = []
    for item in walk(seam, paths or [root], library_root):
        name = item.path.relative_to(root).as_posix()
        out.append(name if isinstance(item, Found) else f"{name} {item.code}")
        if isinstance(item, Passed):
            assert item.code in PASSED_OVER
            assert item.text
    return out


def test_files_come_depth_first_in_the_order_of_names(tmp_path: Path) -> None:
    for name in ("b/2.fits", "b/10.fits", "a.fits", "c.fits", "b/a/1.fits", "B.fits", "empty"):
        put(tmp_path / name)
    (tmp_path / "nothing").mkdir()
    wanted = ["B.fits", "a.fits", "b/10.fits", "b/2.fits", "b/a/1.fits", "c.fits", "empty"]
    assert found(tmp_path) == wanted
    assert found(tmp_path) == wanted


def test_what_is_told_of_a_file(tmp_path: Path) -> None:
    path = put(tmp_path / "card" / "DCIM" / "100XXXXX" / "IMG_0001.DNG", b"12345")
    [item] = walk(SEAM, [tmp_path / "card"])
    facts = path.stat()
    assert item == Found(path, tmp_path / "card", 5, facts.st_mtime_ns, ("DCIM", "100XXXXX", "IMG_0001.DNG"))
    [item] = walk(SEAM, [path])
    assert item == Found(path, path.parent, 5, facts.st_mtime_ns, ("IMG_0001.DNG",))


def test_hidden_system_and_unfinished_names_are_passed_over(tmp_path: Path) -> None:
    names = {
        "._IMG_0001.DNG": "hidden",
        ".DS_Store": "hidden",
        "Thumbs.db": "hidden",
        "DESKTOP.INI": "hidden",
        ".x.fits.abcdefgh.part": "unfinished",
        "x.fits.PART": "unfinished",
        "x.fits.tmp": "unfinished",
        "x.fits~": "unfinished",
    }
    for name in names:
        put(tmp_path / name)
    put(tmp_path / ".Trashes" / "x.fits")
    put(tmp_path / "System Volume Information" / "x.fits")
    put(tmp_path / "part.fits")
    wanted = {f"{name} {code}" for name, code in names.items()}
    assert set(found(tmp_path)) == wanted | {".Trashes hidden", "System Volume Information hidden", "part.fits"}


def test_a_hidden_file_or_folder_that_was_named_is_taken(tmp_path: Path) -> None:
    put(tmp_path / ".hidden" / "x.fits")
    assert found(tmp_path, tmp_path / ".hidden") == [".hidden/x.fits"]
    put(tmp_path / ".x.fits")
    assert found(tmp_path, tmp_path / ".x.fits") == [".x.fits"]


def test_links_lead_neither_in_circles_nor_out(tmp_path: Path) -> None:
    tree = tmp_path / "tree"
    put(tree / "a" / "1.fits")
    outside = put(tmp_path / "outside" / "2.fits")
    (tree / "a" / "loop").symlink_to(tree)
    (tree / "a" / "self").symlink_to("self")
    (tree / "out-folder").symlink_to(outside.parent)
    (tree / "out.fits").symlink_to(outside)
    (tree / "in.fits").symlink_to("a/1.fits")
    (tree / "broken.fits").symlink_to("a/none.fits")
    (tree / "sneaky.fits").symlink_to("a/../../outside/2.fits")
    assert found(tree) == [
        "a/1.fits",
        "a/loop not_a_file",
        "a/self unreadable",
        "broken.fits not_a_file",
        "in.fits",
        "out-folder link_outside",
        "out.fits link_outside",
        "sneaky.fits link_outside",
    ]


def test_a_given_path_may_be_a_link(tmp_path: Path) -> None:
    put(tmp_path / "real" / "1.fits")
    (tmp_path / "card").symlink_to(tmp_path / "real")
    assert found(tmp_path, tmp_path / "card") == ["card/1.fits"]


def test_a_folder_under_two_names_is_read_once(tmp_path: Path) -> None:
    """A mount of a folder below itself cannot be made here; the seam imitates it."""

    class Mounted(Seam):
        def scandir(self, path: StrPath) -> list[Entry]:
            return [*super().scandir(path), Entry("zz", Path(path) / "zz", False, True, False)]

        def stat(self, path: StrPath) -> os.stat_result:
            return super().stat(tmp_path if Path(path).name == "zz" else path)

    put(tmp_path / "1.fits")
    assert found(tmp_path, seam=Mounted()) == ["1.fits", "zz not_a_file"]


def test_special_files_are_passed_over(tmp_path: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no named pipes on this system")
    os.mkfifo(tmp_path / "pipe.fits")
    assert found(tmp_path) == ["pipe.fits not_a_file"]
    assert found(tmp_path, tmp_path / "pipe.fits") == ["pipe.fits not_a_file"]


def test_undecodable_names_and_both_unicode_forms_are_found(tmp_path: Path) -> None:
    names = ["IMG_\udcff.NEF", "\u00e9.fits", "e\u0301.fits", " blank .fits", "new\nline.fits"]
    try:
        for name in names:
            put(tmp_path / name)
    except OSError:
        pytest.skip("this file system does not take such names")
    assert found(tmp_path) == sorted(names)


def test_folders_deeper_than_pythons_stack(tmp_path: Path) -> None:
    if os.name == "nt":
        pytest.skip("paths are shorter on Windows")
    deepest = tmp_path
    for _ in range(1200):
        deepest /= "a"
        deepest.mkdir()
    put(deepest / "1.fits")
    try:
        [item] = walk(SEAM, [tmp_path])
        assert isinstance(item, Found)
        assert item.relative_parts == (*["a"] * 1200, "1.fits")
    finally:  # pytest would take it down by recursion
        (deepest / "1.fits").unlink()
        (tmp_path / "kept").touch()
        os.removedirs(deepest)


def test_a_path_too_long_to_be_opened_is_told(tmp_path: Path) -> None:
    """What other programs made by way of folder handles may have no path that can be opened."""
    if os.mkdir not in os.supports_dir_fd:
        pytest.skip("this system cannot make such a folder")
    fd = os.open(tmp_path, os.O_RDONLY)
    for _ in range(25):
        os.mkdir("n" * 200, dir_fd=fd)
        inner = os.open("n" * 200, os.O_RDONLY, dir_fd=fd)
        os.close(fd)
        fd = inner
    os.close(fd)
    [item] = walk(SEAM, [tmp_path])
    assert isinstance(item, Passed)
    assert item.code == "folder_unreadable"
    assert "too long" in item.text


def test_a_folder_that_cannot_be_read_is_told_and_the_rest_goes_on(tmp_path: Path) -> None:
    class Locked(Seam):
        def scandir(self, path: StrPath) -> list[Entry]:
            if Path(path).name == "locked":
                raise PermissionError(errno.EACCES, "no", os.fspath(path))
            return super().scandir(path)

        def stat(self, path: StrPath) -> os.stat_result:
            if Path(path).name == "bad.fits":
                raise OSError(errno.EIO, "bad", os.fspath(path))
            if Path(path).name == "gone.fits":
                raise FileNotFoundError(errno.ENOENT, "gone", os.fspath(path))
            return super().stat(path)

    for name in ("a.fits", "bad.fits", "gone.fits", "locked/b.fits", "z.fits"):
        put(tmp_path / name)
    assert found(tmp_path, seam=Locked()) == [
        "a.fits",
        "bad.fits unreadable",
        "gone.fits not_a_file",
        "locked folder_unreadable",
        "z.fits",
    ]


def test_every_call_broken_hides_nothing(tmp_path: Path) -> None:
    """With one call failing, every file is still either found, or it or a folder above it is told."""
    for name in ("a/1.fits", "a/b/2.fits", "3.fits"):
        put(tmp_path / name)
    (tmp_path / "link.fits").symlink_to("a/1.fits")
    quiet = BreakingSeam()
    whole = found(tmp_path, seam=quiet)
    assert whole == ["3.fits", "a/1.fits", "a/b/2.fits", "link.fits"]
    for n in range(1, quiet.count + 1):
        seam = BreakingSeam(n, "EIO")
        try:
            items = list(walk(seam, [tmp_path]))
        except (DarklibError, OSError):
            continue
        told = {item.path for item in items}
        for name in whole:
            path = tmp_path / name
            assert path in told or any(parent in told for parent in path.parents), (seam.broke, name)


def test_paths_inside_others_and_twice_the_same_are_walked_once(tmp_path: Path) -> None:
    put(tmp_path / "a" / "1.fits")
    put(tmp_path / "b" / "2.fits")
    a = tmp_path / "a"
    assert found(tmp_path, a / "1.fits", a, tmp_path / "b", a, tmp_path / "b" / ".." / "a") == ["a/1.fits", "b/2.fits"]
    assert found(tmp_path, a / "1.fits", a / "1.fits") == ["a/1.fits"]
    assert found(tmp_path, tmp_path / "b", a) == ["b/2.fits", "a/1.fits"]


def test_a_path_that_is_not_there_is_refused_before_anything_is_done(tmp_path: Path) -> None:
    put(tmp_path / "1.fits")
    with pytest.raises(DarklibError, match="it is not there") as told:
        walk(SEAM, [tmp_path, tmp_path / "none"])
    assert told.value.code == "vanished"


def test_a_library_does_not_take_in_itself(tmp_path: Path) -> None:
    lib = make(SEAM, tmp_path / "lib", "")
    put(lib.frames / "dark" / "1.fits")
    put(lib.inbox / "card" / "2.fits")
    put(tmp_path / "3.fits")
    assert found(tmp_path) == ["3.fits", "lib library"]
    assert found(tmp_path, lib.inbox, library_root=lib.root) == ["lib/inbox/card/2.fits"]
    assert found(tmp_path, lib.inbox / "card", library_root=lib.root) == ["lib/inbox/card/2.fits"]
    (tmp_path / "alias").symlink_to(lib.frames)
    for inside in (lib.frames, lib.frames / "dark" / "1.fits", lib.journal, tmp_path / "alias", lib.root):
        with pytest.raises(DarklibError, match="only its inbox") as told:
            walk(SEAM, [inside], lib.root)
        assert told.value.code == "inside_library"
        assert str(lib.inbox) in told.value.remedy


def test_another_library_is_taken_in_by_its_frames(tmp_path: Path) -> None:
    lib, other = make(SEAM, tmp_path / "lib", ""), make(SEAM, tmp_path / "other", "")
    put(other.frames / "1.fits")
    with pytest.raises(DarklibError, match="is itself a library") as told:
        walk(SEAM, [other.root], lib.root)
    assert told.value.code == "is_a_library"
    assert found(tmp_path, other.frames, library_root=lib.root) == ["other/frames/1.fits"]
