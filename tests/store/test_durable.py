"""Publishing: whole or not there, never over something, and what was written is what was read back."""

from __future__ import annotations

import errno
import hashlib
import os
import threading
from concurrent.futures import ThreadPoolExecutor
from io import FileIO
from pathlib import Path

import pytest
from breaking_seam import BitFlippingSeam, BreakingSeam, LinklessSeam, PoorestSeam, WindowsSeam

from darklib.facts.errors import DarklibError
from darklib.store import durable
from darklib.store.durable import Published
from darklib.store.hashing import PIECE
from darklib.store.seam import Buffer, Seam, StrPath

DATA = b"SIMPLE  =                    T" + bytes(range(256)) * 20
OTHER = b"another frame" + bytes(5000)


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def names(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir()) if folder.exists() else []


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "card" / "IMG_0001.DNG"
    path.parent.mkdir()
    path.write_bytes(DATA)
    return path


ALL_DISKS = [Seam(), LinklessSeam(), LinklessSeam(errno.ENOTSUP), PoorestSeam(), WindowsSeam()]
disks = pytest.mark.parametrize("seam", ALL_DISKS, ids=["links", "fat", "share", "poorest", "windows"])


@disks
def test_a_file_is_published_whole_with_its_hash(seam: Seam, tmp_path: Path, source: Path) -> None:
    with seam.open_read(source) as handle:
        done = durable.publish(seam, handle, tmp_path / "a" / "b", "x.fits", sha(DATA))
    assert done == Published(tmp_path / "a" / "b" / "x.fits", sha(DATA), len(DATA))
    assert done.path.read_bytes() == DATA
    assert names(tmp_path / "a" / "b") == ["x.fits"]
    assert source.read_bytes() == DATA


@disks
def test_a_known_file_is_copied_in(seam: Seam, tmp_path: Path, source: Path) -> None:
    done = durable.copy_in(seam, source, tmp_path / "a", "x.dng", sha(DATA))
    assert done == Published(tmp_path / "a" / "x.dng", sha(DATA), len(DATA))
    assert done.path.read_bytes() == DATA


@disks
def test_a_taken_name_becomes_the_next_free_one(seam: Seam, tmp_path: Path) -> None:
    folder = tmp_path / "a"
    paths = [durable.publish(seam, data, folder, "x.fits.gz").path.name for data in (DATA, OTHER, b"third")]
    assert paths == ["x.fits.gz", "x-2.fits.gz", "x-3.fits.gz"]
    assert [(folder / name).read_bytes() for name in paths] == [DATA, OTHER, b"third"]
    assert names(folder) == ["x-2.fits.gz", "x-3.fits.gz", "x.fits.gz"]


@disks
def test_the_same_content_under_the_name_is_already_there(seam: Seam, tmp_path: Path, source: Path) -> None:
    folder = tmp_path / "a"
    first = durable.publish(seam, DATA, folder, "x.dng")
    again = durable.publish(seam, DATA, folder, "x.dng")
    copied = durable.copy_in(seam, source, folder, "x.dng", sha(DATA))
    assert not first.already_there
    assert again == copied == Published(first.path, sha(DATA), len(DATA), already_there=True)
    durable.publish(seam, OTHER, folder, "x.dng")
    assert durable.publish(seam, OTHER, folder, "x.dng").path.name == "x-2.dng"
    assert names(folder) == ["x-2.dng", "x.dng"]


@pytest.mark.parametrize("offset", [0, len(DATA) - 1])
def test_a_spoiled_copy_is_refused_and_the_source_kept(tmp_path: Path, source: Path, offset: int) -> None:
    seam = BitFlippingSeam(offset=offset)
    with seam.open_read(source) as handle, pytest.raises(DarklibError, match="differs from what was written") as told:
        durable.publish(seam, handle, tmp_path / "a", "x.dng")
    assert told.value.code == "copy_differs"
    seam = BitFlippingSeam(offset=offset)
    with pytest.raises(DarklibError, match="differs from what was written") as told:
        durable.copy_in(seam, source, tmp_path / "a", "x.dng", sha(DATA))
    assert told.value.code == "copy_differs"
    assert seam.flipped == 1
    assert names(tmp_path / "a") == []
    assert source.read_bytes() == DATA


def test_the_source_of_a_spoiled_copy_of_bytes_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DarklibError, match="differs from what was written"):
        durable.publish(BitFlippingSeam(), DATA, tmp_path, "x.dng")
    assert names(tmp_path) == []


def test_a_source_that_is_no_longer_what_was_hashed_is_refused(tmp_path: Path, source: Path) -> None:
    seam = Seam()
    source.write_bytes(OTHER)
    with seam.open_read(source) as handle, pytest.raises(DarklibError, match="not what was read before") as told:
        durable.publish(seam, handle, tmp_path / "a", "x.dng", sha(DATA))
    assert told.value.code == "source_changed"
    with pytest.raises(DarklibError, match="not what was read before") as told:
        durable.copy_in(seam, source, tmp_path / "a", "x.dng", sha(DATA))
    assert told.value.code == "source_changed"
    assert told.value.path == str(source)
    assert names(tmp_path / "a") == []


def test_files_of_every_awkward_size_survive(tmp_path: Path) -> None:
    seam = Seam()
    for size in (0, 1, PIECE - 1, PIECE, PIECE + 1, 2 * PIECE + 7):
        data = os.urandom(size)
        path = tmp_path / f"source{size}"
        path.write_bytes(data)
        done = durable.copy_in(seam, path, tmp_path / "a", f"{size}.bin", sha(data))
        with seam.open_read(path) as handle:
            also = durable.publish(seam, handle, tmp_path / "b", f"{size}.bin")
        assert done.path.read_bytes() == also.path.read_bytes() == data
        assert done.size == also.size == size
        assert durable.publish(seam, memoryview(data), tmp_path / "c", f"{size}.bin").sha256 == sha(data)


def test_a_handle_is_read_from_its_beginning(tmp_path: Path, source: Path) -> None:
    seam = Seam()
    with seam.open_read(source) as handle:
        seam.read(handle, 100)
        assert durable.publish(seam, handle, tmp_path / "a", "x.dng").sha256 == sha(DATA)


def test_a_disk_that_takes_a_few_bytes_at_a_time_is_served(tmp_path: Path, source: Path) -> None:
    class Sips(Seam):
        def write(self, handle: FileIO, data: Buffer) -> int:
            return super().write(handle, memoryview(data)[:1000])

    done = durable.copy_in(Sips(), source, tmp_path / "a", "x.dng", sha(DATA))
    assert done.path.read_bytes() == DATA


def test_a_disk_that_takes_nothing_is_an_error_and_no_endless_loop(tmp_path: Path, source: Path) -> None:
    class Blocked(PoorestSeam):
        def write(self, handle: FileIO, data: Buffer) -> int:
            return 0

    with pytest.raises(DarklibError, match="the disk reports an error"):
        durable.copy_in(Blocked(), source, tmp_path / "a", "x.dng", sha(DATA))
    assert names(tmp_path / "a") == []


def test_stored_files_are_read_only_and_exports_are_not(tmp_path: Path) -> None:
    seam = Seam()
    stored = durable.publish(seam, DATA, tmp_path, "stored.fits").path
    exported = durable.write_new(seam, tmp_path / "list.txt", b"a\n").path
    assert stored.stat().st_mode & 0o222 == 0
    assert exported.stat().st_mode & 0o200


def test_a_disk_without_permissions_is_no_obstacle(tmp_path: Path) -> None:
    class NoModes(Seam):
        def make_read_only(self, path: StrPath) -> None:
            raise PermissionError(errno.EPERM, "no modes here")

    assert durable.publish(NoModes(), DATA, tmp_path, "x.fits").path.read_bytes() == DATA


def test_order_of_the_steps(tmp_path: Path, source: Path) -> None:
    """fsync of the file comes before the re-read, that before the name, that before fsync of the folder."""
    seam = BreakingSeam()
    durable.copy_in(seam, source, tmp_path, "x.dng", sha(DATA))
    steps = [
        name for name, path in seam.calls if path.endswith(".part") or path in (str(tmp_path), str(tmp_path / "x.dng"))
    ]
    kept = [
        name for name in steps if name in ("create_exclusive", "fsync", "open_read", "link", "unlink", "fsync_folder")
    ]
    assert kept == ["create_exclusive", "fsync", "open_read", "link", "unlink", "fsync_folder"]


def test_a_new_folders_name_is_made_durable_too(tmp_path: Path) -> None:
    seam = BreakingSeam()
    durable.publish(seam, DATA, tmp_path / "a" / "b", "x.fits")
    synced = [path for name, path in seam.calls if name == "fsync_folder"]
    assert synced == [str(tmp_path), str(tmp_path / "a"), str(tmp_path / "a" / "b")]


@disks
def test_two_publishers_of_one_name_both_survive(seam: Seam, tmp_path: Path) -> None:
    """The name is taken between the copy and its naming: neither content is lost."""
    taken = threading.Event()

    class Late(type(seam)):  # type: ignore[misc]
        def _call(self, name, path, func):  # type: ignore[no-untyped-def]
            if name in ("link", "rename_new", "create_exclusive") and path.endswith("x.fits") and not taken.is_set():
                taken.set()
                Path(path).write_bytes(OTHER)
            return super()._call(name, path, func)

        def link(self, old: StrPath, new: StrPath) -> None:
            if not taken.is_set():
                taken.set()
                Path(new).write_bytes(OTHER)
            super().link(old, new)

    done = durable.publish(Late(), DATA, tmp_path, "x.fits")
    assert taken.is_set()
    assert done.path.name == "x-2.fits"
    assert (tmp_path / "x.fits").read_bytes() == OTHER
    assert done.path.read_bytes() == DATA
    assert names(tmp_path) == ["x-2.fits", "x.fits"]


@pytest.mark.parametrize("disk", [Seam, LinklessSeam, PoorestSeam, WindowsSeam])
def test_many_threads_lose_nothing(disk: type[Seam], tmp_path: Path) -> None:
    """Twelve contents race for one name; each stands somewhere, whole, under a name of its own."""
    seam = disk()
    contents = [bytes([number]) * 3000 for number in range(12)]
    barrier = threading.Barrier(12)

    def one(data: bytes) -> Published:
        barrier.wait()
        return durable.publish(seam, data, tmp_path / "a", "x.fits")

    with ThreadPoolExecutor(12) as pool:
        done = list(pool.map(one, contents))
    assert len({item.path for item in done}) == 12
    assert [item.path.read_bytes() for item in done] == contents
    assert len(names(tmp_path / "a")) == 12


def test_a_folder_or_link_under_the_name_is_never_touched(tmp_path: Path) -> None:
    seam = Seam()
    (tmp_path / "x.fits").mkdir()
    (tmp_path / "x-2.fits").symlink_to(tmp_path / "elsewhere")
    assert durable.publish(seam, DATA, tmp_path, "x.fits").path.name == "x-3.fits"
    assert not (tmp_path / "elsewhere").exists()


def test_a_link_to_the_same_content_does_not_count_as_stored(tmp_path: Path, source: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "x.dng").symlink_to(source)
    done = durable.copy_in(Seam(), source, tmp_path / "a", "x.dng", sha(DATA))
    assert done.path.name == "x-2.dng"
    assert not done.already_there


def test_a_longest_name_still_has_room_for_the_temporary_one(tmp_path: Path) -> None:
    name = "\u6697" * 83 + ".fits"  # 254 bytes of the 255 that most file systems allow
    assert durable.publish(Seam(), DATA, tmp_path, name).path.name == name


# Exports


def test_an_export_that_stands_there_equal_is_fine_and_different_is_not_touched(tmp_path: Path) -> None:
    seam = Seam()
    path = tmp_path / "to" / "lights.txt"
    assert not durable.write_new(seam, path, b"a\n").already_there
    assert durable.write_new(seam, path, b"a\n").already_there
    with pytest.raises(DarklibError, match="never overwritten") as told:
        durable.write_new(seam, path, b"b\n")
    assert told.value.code == "exists_and_differs"
    assert path.read_bytes() == b"a\n"
    assert names(path.parent) == ["lights.txt"]


def test_copies_for_an_export(tmp_path: Path, source: Path) -> None:
    seam = Seam()
    path = tmp_path / "to" / "dark.dng"
    assert durable.copy_new(seam, source, path, sha(DATA)).path == path
    assert durable.copy_new(seam, source, path, sha(DATA)).already_there
    path.chmod(0o600)
    path.write_bytes(OTHER)
    with pytest.raises(DarklibError, match="never overwritten"):
        durable.copy_new(seam, source, path, sha(DATA))
    assert path.read_bytes() == OTHER


def test_links_for_an_export(tmp_path: Path, source: Path) -> None:
    seam = Seam()
    path = tmp_path / "to" / "dark.dng"
    assert durable.link_new(seam, source, path)
    assert durable.link_new(seam, source, path)
    assert path.read_bytes() == DATA
    with pytest.raises(DarklibError, match="never overwritten"):
        durable.link_new(seam, tmp_path / "other", path)
    (tmp_path / "to" / "flat.dng").write_bytes(b"")
    with pytest.raises(DarklibError, match="never overwritten"):
        durable.link_new(seam, source, tmp_path / "to" / "flat.dng")
    assert not durable.link_new(LinklessSeam(), source, tmp_path / "to" / "none.dng")
    assert not (tmp_path / "to" / "none.dng").exists()


def test_a_text_is_valid_utf8_whatever_is_in_it(tmp_path: Path) -> None:
    done = durable.publish_text(Seam(), "kept: IMG_\udcff.NEF \u00e9\n", tmp_path, "why.txt")
    assert done.path.read_bytes() == "kept: IMG_\\xff.NEF \u00e9\n".encode()


# Hashing


def test_hash_of_a_file(tmp_path: Path, source: Path) -> None:
    assert durable.hash_file(Seam(), source) == (sha(DATA), len(DATA))
    with pytest.raises(DarklibError, match="it is not there") as told:
        durable.hash_file(Seam(), tmp_path / "none")
    assert told.value.code == "vanished"


@pytest.mark.parametrize("fault", ["end", "shrink", "grow", "touch"])
def test_a_file_that_changes_while_it_is_read_has_no_hash(fault: str, tmp_path: Path) -> None:
    path = tmp_path / "growing.fits"
    path.write_bytes(bytes(3 * PIECE))
    quiet = BreakingSeam()
    durable.hash_file(quiet, path)
    reads = [number for number, (name, _) in enumerate(quiet.calls, 1) if name == "readinto"]
    assert len(reads) == 4
    for number in reads[:-1]:
        path.write_bytes(bytes(3 * PIECE))
        with pytest.raises(DarklibError, match="changed while it was read") as told:
            durable.hash_file(BreakingSeam(number, fault), path)
        assert told.value.code == "source_changed"


def test_short_reads_are_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "x"
    data = os.urandom(3 * PIECE)
    path.write_bytes(data)
    for number in range(1, 8):
        assert durable.hash_file(BreakingSeam(number, "short"), path) == (sha(data), len(data))
