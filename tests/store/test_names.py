"""Names made from any text stay in their folder, on three systems."""

from __future__ import annotations

import os
import tempfile
import unicodedata
from pathlib import Path, PureWindowsPath

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pathvalidate import validate_filename

from darklib.store.names import LONGEST, folder_name, numbered, shown, split_suffix, stored_name, unshown

ANY = st.text(max_size=300) | st.binary(max_size=300).map(lambda raw: raw.decode("utf-8", "surrogateescape"))
# Made of what hurts: separators, dots, blanks, devices, controls, marks that compose, wide characters.
MARKS = ["..", ".", "/", "\\", " ", ":", '"', "*", "~", "-", "a", ".fits", ".gz", "CON", "nul", "com1", "LPT\u00b9"]
CONTROLS = ["\0", "\n", "\t", "\x1b[31m", "\u202e", "\ufeff", "\u00a0"]
WIDE = ["e\u0301", "\udcff", "\ud800", "\U0001f52d", "x" * 130, "\u6697" * 70]
HOSTILE = st.lists(st.sampled_from([*MARKS, *CONTROLS, *WIDE]), max_size=12).map("".join)


@given(ANY | HOSTILE)
@example("")
@example("..")
@example("../../etc/passwd")
@example("C:\\Windows\\win.ini")
@example("CON .txt")
@example("con.tar.gz")
@example("COM\u00b9")
@example(" .hidden")
@example("x" * 119 + ". .fits")
@example("\u00c5" * 120)
@example("A\u030a" * 120)
def test_a_name_from_any_text_is_one_safe_name(text: str) -> None:
    name = folder_name(text)
    assert name
    assert name not in (".", "..")
    assert not set(name) & set('/\\:*?"<>|')
    assert not any(ord(char) < 32 or ord(char) == 127 for char in name)
    assert name == name.strip(" .")
    assert unicodedata.normalize("NFC", name) == name
    assert len(name) <= LONGEST
    assert len(name.encode("utf-8")) <= 200  # strict: no lone surrogate is left
    assert folder_name(name) == name
    folder = Path("/library/frames")
    assert (folder / name).parent == folder
    assert Path(os.path.normpath(folder / name)) == folder / name
    assert PureWindowsPath("C:/library", name).parent == PureWindowsPath("C:/library")
    validate_filename(name, platform="universal")


@given(HOSTILE)
def test_a_file_of_that_name_can_be_made_and_listed(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        name = folder_name(text)
        (Path(folder) / name).write_bytes(b"x")
        assert [unicodedata.normalize("NFC", found) for found in os.listdir(folder)] == [name]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("M 31", "M 31"),
        ("NGC 7000: wall", "NGC 7000_ wall"),
        ("2026-10-03T21:04:05", "2026-10-03T21_04_05"),
        ("../../etc", "_.._etc"),
        ("CON", "CON_"),
        ("lpt1.fits", "lpt1_.fits"),
        ("conin$", "_conin$"),
        ("", "unnamed"),
        ("...", "unnamed"),
        ("H\u03b1", "H\u03b1"),
        ("e\u0301toile", "\u00e9toile"),
        ("a\udcffb", "a_xffb"),
        ("a\x1b[31mb", "a_[31mb"),
        (" spaces ", "spaces"),
    ],
)
def test_examples(text: str, name: str) -> None:
    assert folder_name(text) == name


def test_another_word_for_nothing() -> None:
    assert folder_name(" ", otherwise="undated") == "undated"


def test_a_cut_name_keeps_its_suffix() -> None:
    name = folder_name("\u6697" * 200 + ".fits.gz")
    assert name.endswith("\u6697.fits.gz")
    assert len(name.encode("utf-8")) <= 200


@given(ANY)
def test_shown_text_is_valid_and_what_the_system_gave_comes_back(text: str) -> None:
    shown(text).encode("utf-8")
    assert shown(shown(text)) == shown(text)


@given(st.binary(max_size=40))
def test_undecodable_names_come_back(raw: bytes) -> None:
    text = raw.decode("utf-8", "surrogateescape")
    if "\\x" not in text:
        assert unshown(shown(text)) == text


def test_undecodable_bytes_are_shown_in_hexadecimal() -> None:
    assert shown("IMG_\udcff\udc80.NEF") == "IMG_\\xff\\x80.NEF"
    assert shown("lone \ud83d") == "lone \\ud83d"
    assert unshown("IMG_\\xff.NEF") == "IMG_\udcff.NEF"
    assert unshown("\\x41") == "\\x41"


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("a.fits", ("a", ".fits")),
        ("a.fits.gz", ("a", ".fits.gz")),
        ("a.b.FITS.FZ", ("a.b", ".FITS.FZ")),
        ("v1.2 final.gz", ("v1.2 final", ".gz")),
        ("none", ("none", "")),
        (".hidden", (".hidden", "")),
        ("..x", ("..x", "")),
        (".gz.gz", (".gz", ".gz")),
        ("dot.", ("dot", ".")),
    ],
)
def test_suffixes(name: str, parts: tuple[str, str]) -> None:
    assert split_suffix(name) == parts
    assert "".join(parts) == name


def test_numbers_go_before_the_suffix() -> None:
    assert [numbered("a.fits.gz", number) for number in (1, 2, 10)] == ["a.fits.gz", "a-2.fits.gz", "a-10.fits.gz"]
    assert numbered("a", 2) == "a-2"


@given(
    st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=60), st.integers(1, 99), st.integers(1, 99)
)
def test_different_numbers_are_different_names(name: str, first: int, second: int) -> None:
    assert (numbered(name, first) == numbered(name, second)) == (first == second)


def test_the_parent_stays_in_a_stored_name() -> None:
    assert stored_name("100XXXXX", "IMG_0001.DNG") == "100XXXXX_IMG_0001.DNG"
    assert stored_name("", "IMG_0001.DNG") == "IMG_0001.DNG"
    assert stored_name("..", "IMG_0001.DNG") == "_IMG_0001.DNG"
    assert stored_name("a\udcff", "b\udcfe.NEF") == "a_xff_b_xfe.NEF"
