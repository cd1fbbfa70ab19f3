"""The seam: one gate for every call, and the only place in the room that touches the system."""

from __future__ import annotations

import ast
import errno
import inspect
import os
import sys
from collections.abc import Callable
from datetime import timedelta
from io import FileIO
from pathlib import Path
from typing import TypeVar

import pytest

from darklib.store import noreplace
from darklib.store import seam as seam_module
from darklib.store.durable import copy_in, hash_file, publish
from darklib.store.locking import Lock
from darklib.store.mishap import in_words, told
from darklib.store.seam import Seam, for_system

T = TypeVar("T")


class Listening(Seam):
    def __init__(self) -> None:
        self.heard: list[str] = []

    def _call(self, name: str, path: str, func: Callable[[], T]) -> T:
        self.heard.append(name)
        return func()


def test_every_method_goes_through_the_gate_once_under_its_own_name(tmp_path: Path) -> None:
    seam = Listening()
    path = tmp_path / "x"
    path.write_bytes(b"12345678")
    link = tmp_path / "link"
    link.symlink_to(path)
    (tmp_path / "empty").mkdir()
    (tmp_path / "old").touch()
    (tmp_path / "old2").touch()
    with path.open("rb", buffering=0) as reading, (tmp_path / "w").open("xb", buffering=0) as writing:
        assert isinstance(reading, FileIO)
        assert isinstance(writing, FileIO)
        arguments: dict[str, tuple[object, ...]] = {
            "now": (),
            "monotonic": (),
            "sleep": (0.0,),
            "token": (5,),
            "environment": ("PATH",),
            "cwd": (),
            "user_data_folder": (),
            "absolute": (path,),
            "real": (link,),
            "open_read": (path,),
            "read": (reading, 2),
            "readinto": (reading, bytearray(2)),
            "seek": (reading, 0),
            "create_exclusive": (tmp_path / "new",),
            "write": (writing, b"abc"),
            "transfer": (reading, writing, 2),
            "flush": (writing,),
            "truncate": (writing, 1),
            "fsync": (writing,),
            "fsync_folder": (tmp_path,),
            "link": (path, tmp_path / "second"),
            "symlink": (path, tmp_path / "soft"),
            "readlink": (link,),
            "unlink": (tmp_path / "old",),
            "rename_new": (tmp_path / "old2", tmp_path / "old3"),
            "replace": (tmp_path / "old3", tmp_path / "old4"),
            "mkdir": (tmp_path / "folder",),
            "rmdir": (tmp_path / "empty",),
            "stat": (path,),
            "lstat": (link,),
            "fstat": (reading,),
            "exists": (path,),
            "is_folder": (tmp_path,),
            "scandir": (tmp_path,),
            "disk_free": (tmp_path,),
            "make_read_only": (path,),
            "make_writable": (path,),
            "lock": (tmp_path / "lock",),
        }
        named: dict[str, dict[str, object]] = {"lock": {"shared": True, "wait_s": 0.0}}
        methods = {name for name, _ in inspect.getmembers(Seam, inspect.isfunction) if not name.startswith("_")}
        assert methods - {"read_bytes"} == set(arguments), "a new method of the seam is tried here too"
        for name, values in arguments.items():
            seam.heard.clear()
            result = getattr(seam, name)(*values, **named.get(name, {}))
            assert seam.heard == [name]
            if isinstance(result, FileIO):
                result.close()
            if isinstance(result, Lock):
                result.release()
    assert (tmp_path / "old4").exists()
    assert (tmp_path / "w").read_bytes() == b"a"


def test_nothing_else_in_the_room_calls_the_system() -> None:
    """No import of a module that reaches files, clock or chance, and no open(), outside the seam and its rename."""
    folder = Path(seam_module.__file__).parent
    forbidden = {"shutil", "tempfile", "random", "secrets", "uuid", "time", "glob", "io.open", "subprocess"}
    allowed_os = {"stat_result", "PathLike"}
    for path in folder.glob("*.py"):
        if path.name in ("seam.py", "noreplace.py", "locking.py"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                assert not {alias.name for alias in node.names} & forbidden, path.name
            if isinstance(node, ast.ImportFrom):
                assert node.module not in forbidden | {"os", "os.path"}, path.name
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id != "open", path.name
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                if node.value.id == "os":
                    assert node.attr in allowed_os, path.name
                assert (node.value.id, node.attr) not in (("datetime", "now"), ("Path", "cwd"), ("Path", "home"))
            if isinstance(node, ast.Attribute):
                assert node.attr not in ("write_text", "write_bytes", "read_text", "iterdir", "utcnow", "touch"), (
                    path.name
                )


def test_now_is_aware_and_in_utc() -> None:
    assert Seam().now().utcoffset() == timedelta(0)


def test_tokens_differ_and_fit_any_file_name() -> None:
    tokens = {Seam().token() for _ in range(1000)}
    assert len(tokens) == 1000
    assert all(len(token) == 8 and token.isalnum() and token == token.lower() for token in tokens)


def test_an_empty_environment_variable_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DARKLIB_LIBRARY", "")
    assert Seam().environment("DARKLIB_LIBRARY") is None
    monkeypatch.setenv("DARKLIB_LIBRARY", "/x")
    assert Seam().environment("DARKLIB_LIBRARY") == "/x"


@pytest.mark.parametrize(
    ("path", "wanted"),
    [
        ("C:\\short", "C:\\short"),
        ("C:\\" + "a" * 300, "\\\\?\\C:\\" + "a" * 300),
        ("C:/" + "a/" * 150 + "x", "\\\\?\\C:\\" + "a\\" * 150 + "x"),
        ("\\\\server\\share\\" + "a" * 300, "\\\\?\\UNC\\server\\share\\" + "a" * 300),
        ("\\\\?\\C:\\" + "a" * 300, "\\\\?\\C:\\" + "a" * 300),
        ("relative\\" + "a" * 300, "relative\\" + "a" * 300),
    ],
)
def test_long_paths_on_windows(path: str, wanted: str) -> None:
    """The prefix is that of Microsoft, "Maximum Path Length Limitation" (value from memory)."""
    assert for_system(path, windows=True) == wanted
    assert for_system(path, windows=False) == path


def test_a_file_shorter_than_it_says_is_no_whole_file(tmp_path: Path) -> None:
    class Ends(Seam):
        def read(self, handle: FileIO, count: int) -> bytes:
            return b""

    (tmp_path / "x").write_bytes(b"abc")
    assert Seam().read_bytes(tmp_path / "x") == b"abc"
    with pytest.raises(OSError, match=os.strerror(errno.EIO)):
        Ends().read_bytes(tmp_path / "x")


def test_a_folder_without_fsync_is_the_disks_promise_and_not_an_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(number: int) -> Callable[[int], None]:
        def fsync(descriptor: int) -> None:
            raise OSError(number, os.strerror(number))

        return fsync

    monkeypatch.setattr(os, "fsync", refuse(errno.EINVAL))
    Seam().fsync_folder(tmp_path)
    monkeypatch.setattr(os, "fsync", refuse(errno.EIO))
    with pytest.raises(OSError, match=os.strerror(errno.EIO)):
        Seam().fsync_folder(tmp_path)


def test_a_rename_that_refuses_a_taken_name(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "b").write_bytes(b"b")
    try:
        with pytest.raises(FileExistsError):
            noreplace.rename_new(str(tmp_path / "a"), str(tmp_path / "b"))
        noreplace.rename_new(str(tmp_path / "a"), str(tmp_path / "\u6697 c"))
    except OSError as error:
        if error.errno in (errno.ENOSYS, errno.EINVAL, errno.ENOTSUP):
            pytest.skip("this system or disk has no such rename")
        raise
    assert (tmp_path / "b").read_bytes() == b"b"
    assert (tmp_path / "\u6697 c").read_bytes() == b"a"
    assert not (tmp_path / "a").exists()
    with pytest.raises(FileNotFoundError):
        noreplace.rename_new(str(tmp_path / "none"), str(tmp_path / "d"))


def test_where_there_is_no_such_rename_it_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if os.name == "nt":
        pytest.skip("Windows always has it")
    monkeypatch.setattr(noreplace, "_system", lambda name: None)
    with pytest.raises(OSError, match=os.strerror(errno.ENOSYS)):
        noreplace.rename_new(str(tmp_path / "a"), str(tmp_path / "b"))


def test_publishing_through_a_real_small_disk(tmp_path: Path) -> None:
    """A real full disk, where one can be had: Linux's /dev/full answers every write with ENOSPC."""
    if sys.platform != "linux" or not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")

    class Full(Seam):
        def create_exclusive(self, path: object) -> FileIO:  # type: ignore[override]
            super().create_exclusive(str(path)).close()
            return FileIO("/dev/full", "wb")

    source = tmp_path / "x"
    source.write_bytes(b"abc")
    for act in (
        lambda: publish(Full(), b"abc", tmp_path / "a", "x"),
        lambda: copy_in(Full(), source, tmp_path / "a", "x", hash_file(Seam(), source)[0]),
    ):
        with pytest.raises(Exception, match="the disk is full"):
            act()
    assert list((tmp_path / "a").iterdir()) == []


# Errors in words


@pytest.mark.parametrize(
    ("number", "code", "words"),
    [
        (errno.ENOSPC, "disk_full", "the disk is full"),
        (errno.EROFS, "read_only", "the disk is read-only"),
        (errno.EACCES, "no_permission", "permission denied"),
        (errno.EPERM, "no_permission", "permission denied"),
        (errno.ENOENT, "vanished", "it is not there"),
        (errno.EIO, "disk_error", "the disk reports an error"),
        (errno.ENAMETOOLONG, "name_too_long", "the name or path is too long"),
        (errno.EFBIG, "file_too_large", "the file is too large for that disk"),
        (errno.EMFILE, "too_many_open", "too many files are open"),
        (errno.EDOM, "file_trouble", os.strerror(errno.EDOM)),
    ],
)
def test_what_the_system_refuses_is_said_in_words(number: int, code: str, words: str) -> None:
    error = in_words(OSError(number, os.strerror(number)), "/lib/IMG_\udcff.NEF", "cannot write")
    assert error.code == code
    assert error.text == f"Cannot write /lib/IMG_\\xff.NEF: {words}."
    assert error.path == "/lib/IMG_\\xff.NEF"
    assert error.remedy.endswith(".")


def test_an_error_without_a_number_and_one_that_is_none_of_the_systems() -> None:
    assert in_words(OSError("odd"), "x", "cannot read").text == "Cannot read x: OSError."
    with pytest.raises(KeyError, match="mine"), told("x", "cannot read"):
        raise KeyError("mine")
