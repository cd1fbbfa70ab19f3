"""Where a library is found, how it is made, and where frames go."""

from __future__ import annotations

from pathlib import Path

import pytest
from breaking_seam import BreakingSeam
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.errors import DarklibError, Exit
from darklib.store import layout
from darklib.store.durable import hash_file
from darklib.store.layout import Library, find, frame_folder, make, put_aside
from darklib.store.seam import Seam

SEAM = Seam()
NONE = Path("/nowhere/at/all")


def library(root: Path) -> Library:
    root.mkdir(parents=True, exist_ok=True)
    (root / "darklib.toml").write_text("", encoding="utf-8")
    return Library(root)


def test_the_order_of_finding(tmp_path: Path) -> None:
    """Named, then the environment's, then the nearest upwards, then the user's own (contract, Conventions)."""
    named, env, near, far, own = (library(tmp_path / name) for name in ("named", "env", "far/a/near", "far", "own"))
    cwd = near.root / "b" / "c"
    cwd.mkdir(parents=True)
    arguments = (str(named.root), str(env.root), cwd, own.root)
    assert find(SEAM, *arguments) == named
    assert find(SEAM, None, *arguments[1:]) == env
    assert find(SEAM, None, None, cwd, own.root) == near
    assert find(SEAM, "", "", cwd, own.root) == near
    near.config.unlink()
    assert find(SEAM, None, None, cwd, own.root) == far
    far.config.unlink()
    assert find(SEAM, None, None, cwd, own.root) == own
    own.config.unlink()
    assert find(SEAM, None, None, cwd, own.root) is None
    assert find(SEAM, None, None, cwd, NONE) is None


@pytest.mark.parametrize("by", ["--library", "DARKLIB_LIBRARY"])
def test_a_named_folder_that_is_no_library_is_wrong_usage(by: str, tmp_path: Path) -> None:
    library(tmp_path)  # the nearest one is not taken instead
    name = str(tmp_path / "empty")
    explicit, env = (name, None) if by == "--library" else (None, name)
    with pytest.raises(DarklibError, match="There is no library") as told:
        find(SEAM, explicit, env, tmp_path, NONE)
    assert told.value.status is Exit.USAGE
    assert by in told.value.text
    assert "darklib init" in told.value.remedy


def test_relative_names_are_taken_from_the_current_folder(tmp_path: Path) -> None:
    wanted = library(tmp_path / "a" / "lib")
    assert find(SEAM, "lib", None, tmp_path / "a", NONE) == wanted
    assert find(SEAM, "../a/lib/", None, tmp_path / "a", NONE) == wanted


def test_a_new_library(tmp_path: Path) -> None:
    made = make(SEAM, tmp_path / "x" / "lib", "# mine\n")
    assert made.root == tmp_path / "x" / "lib"
    assert made.config.read_bytes() == b"# mine\n"
    assert sorted(path.name for path in made.root.iterdir()) == [
        "backups",
        "cache",
        "darklib.toml",
        "frames",
        "inbox",
        "journal",
        "set-aside",
    ]
    assert made.config.stat().st_mode & 0o200, "the user edits it"
    assert find(SEAM, None, None, made.inbox, NONE) == made


def test_the_marker_comes_last(tmp_path: Path) -> None:
    """Whatever is interrupted is no library yet."""
    quiet = BreakingSeam()
    make(quiet, tmp_path / "q", "")
    made = [path for name, path in quiet.calls if name in ("mkdir", "link")]
    assert made[-1] == str(tmp_path / "q" / "darklib.toml")
    assert made.count(made[-1]) == 1


def test_an_existing_library_is_not_touched(tmp_path: Path) -> None:
    made = make(SEAM, tmp_path / "lib", "# first\n")
    before = made.config.stat().st_mtime_ns
    with pytest.raises(DarklibError, match="is a library already") as told:
        make(SEAM, tmp_path / "lib", "# second\n")
    assert told.value.code == "library_exists"
    assert (made.config.read_bytes(), made.config.stat().st_mtime_ns) == (b"# first\n", before)


def test_no_library_inside_a_library_nor_among_other_files(tmp_path: Path) -> None:
    make(SEAM, tmp_path / "lib", "")
    with pytest.raises(DarklibError, match="lies in the library") as told:
        make(SEAM, tmp_path / "lib" / "frames" / "deep", "")
    assert told.value.code == "inside_library"
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "holiday.jpg").touch()
    with pytest.raises(DarklibError, match=r"is not empty: it holds holiday\.jpg") as told:
        make(SEAM, tmp_path / "photos", "")
    assert told.value.code == "folder_not_empty"
    assert [path.name for path in (tmp_path / "photos").iterdir()] == ["holiday.jpg"]
    with pytest.raises(DarklibError, match="is a file"):
        make(SEAM, tmp_path / "photos" / "holiday.jpg", "")
    # An empty folder, one with a system's hidden file, and one an interrupted run left, will do.
    (tmp_path / "new" / "inbox").mkdir(parents=True)
    (tmp_path / "new" / ".DS_Store").touch()
    make(SEAM, tmp_path / "new", "")


def test_paths_go_in_relative_and_come_back_absolute(tmp_path: Path) -> None:
    lib = Library(tmp_path / "lib")
    stored = lib.frames / "dark" / "x.fits"
    assert lib.relative(stored) == "frames/dark/x.fits"
    assert lib.absolute("frames/dark/x.fits") == stored
    outside = tmp_path / "elsewhere" / "x.fits"
    assert lib.relative(outside) == str(outside)
    assert lib.absolute(str(outside)) == outside
    assert lib.relative(tmp_path / "lib2" / "x") == str(tmp_path / "lib2" / "x")


@pytest.mark.parametrize("text", ["../x", "frames/../../x", ".."])
def test_a_recorded_path_cannot_climb_out(text: str, tmp_path: Path) -> None:
    with pytest.raises(DarklibError, match="leads out of the library") as told:
        Library(tmp_path).absolute(text)
    assert told.value.code == "outside_library"


def test_an_undecodable_name_outside_is_reached_again(tmp_path: Path) -> None:
    lib = Library(tmp_path / "lib")
    raw = tmp_path / "IMG_\udcff.NEF"
    try:
        raw.touch()
    except OSError:
        pytest.skip("this file system takes no undecodable names")
    text = lib.relative(raw)
    assert text.endswith("IMG_\\xff.NEF")
    assert lib.reached(SEAM, text) == raw
    literal = tmp_path / "IMG_\\xff.NEF"
    literal.touch()
    assert lib.reached(SEAM, text) == literal


@pytest.mark.parametrize(
    ("arguments", "folder"),
    [
        (("dark", "north-5", 300.0, -10.2, "2026-10-03", "t", "R"), "dark/north-5/300s/-10C/2026-10-03"),
        (
            ("dark", None, None, None, None, None, None),
            "dark/unknown-body/unknown-exposure/unknown-temperature/undated",
        ),
        (("bias", "north-5", 0.00025, -10, "2026-10-03", None, None), "bias/north-5/2026-10-03"),
        (("light", "north-5", 300, -10, "2026-10-03", "t", "R"), "light/2026-10-03"),
        (
            ("flat", "north-5", 1.2, None, "2026-10-03", "short-refractor", "H\u03b1"),
            "flat/short-refractor/H\u03b1/2026-10-03",
        ),
        (("flat", None, None, None, None, None, None), "flat/unknown-train/no-filter/undated"),
        ((None, None, None, None, "2026-10-03", None, None), "undecided/2026-10-03"),
        (("flat", None, None, None, "2026-10-03", "../..", "O/III"), "flat/_/O_III/2026-10-03"),
    ],
)
def test_the_folder_of_a_frame(arguments: tuple[object, ...], folder: str) -> None:
    assert frame_folder(*arguments) == folder  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(300.0, "300s"), (0.5, "0.5s"), (1 / 8000, "0.000125s"), (0.0, "0s"), (1200, "1200s"), (2.999999999, "3s")],
)
def test_exposures_as_folders(seconds: float, text: str) -> None:
    assert layout.exposure_text(seconds) == text


@pytest.mark.parametrize(("degrees", "text"), [(-0.4, "0C"), (-10.6, "-11C"), (4.4, "4C"), (0.0, "0C")])
def test_temperatures_as_folders(degrees: float, text: str) -> None:
    assert layout.temperature_text(degrees) == text


ANY_TEXT = st.none() | st.text(max_size=80) | st.sampled_from(["../..", "..", "/", "a/b", "CON", ""])


@given(
    st.sampled_from(["dark", "bias", "light", "flat", None, "other"]),
    ANY_TEXT,
    st.none() | st.floats(0, 1e6),
    st.none() | st.floats(-100, 100),
    ANY_TEXT,
    ANY_TEXT,
    ANY_TEXT,
)
def test_no_header_leads_a_frame_out_of_its_folder(
    kind: str | None,
    body: str | None,
    exposure_s: float | None,
    temperature_c: float | None,
    night: str | None,
    train: str | None,
    filter_name: str | None,
) -> None:
    parts = frame_folder(kind, body, exposure_s, temperature_c, night, train, filter_name).split("/")
    assert len(parts) == {"dark": 5, "bias": 3, "light": 2, "flat": 4}.get(kind or "", 2)
    assert all(part and part not in (".", "..") and "\\" not in part for part in parts)
    assert parts[0] == (kind if kind in ("dark", "bias", "light", "flat") else "undecided")


def test_what_is_set_aside_stands_beside_its_reason(tmp_path: Path) -> None:
    lib = make(SEAM, tmp_path / "lib", "")
    source = tmp_path / "bad.fits"
    source.write_bytes(b"not a frame")
    digest, _ = hash_file(SEAM, source)
    kept = put_aside(SEAM, lib, "20261125T093015Z-ab1c2d3", source, "100XXXXX_bad.fits", "It is damaged.\n", digest)
    assert kept.path == lib.set_aside / "20261125T093015Z-ab1c2d3" / "100XXXXX_bad.fits"
    assert kept.path.read_bytes() == source.read_bytes()
    reason = kept.path.with_name("100XXXXX_bad.fits.txt")
    assert reason.read_text(encoding="utf-8") == "It is damaged.\n"
    source.write_bytes(b"another")
    digest, _ = hash_file(SEAM, source)
    second = put_aside(SEAM, lib, "20261125T093015Z-ab1c2d3", source, "100XXXXX_bad.fits", "Empty.\n", digest)
    assert second.path.name == "100XXXXX_bad-2.fits"
    assert second.path.with_name("100XXXXX_bad-2.fits.txt").read_text(encoding="utf-8") == "Empty.\n"


@pytest.mark.parametrize("name", ["../../../escape.fits", "/etc/escape.fits", "..", "NUL"])
def test_what_is_set_aside_stays_in_its_folder(name: str, tmp_path: Path) -> None:
    lib = make(SEAM, tmp_path / "lib", "")
    source = tmp_path / "bad.fits"
    source.write_bytes(b"x")
    kept = put_aside(SEAM, lib, "../../up", source, name, "why", hash_file(SEAM, source)[0])
    assert kept.path.resolve().parent.parent == lib.set_aside.resolve()
