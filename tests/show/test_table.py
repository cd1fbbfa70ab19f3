"""Tables and wrapped text: as wide as the screen, and nothing cut."""

import io

import pytest
from any_result import hostile_text
from hypothesis import given
from hypothesis import strategies as st

from darklib.show.out import Out, cells, standard_out, wrap
from darklib.show.table import Column, table
from darklib.show.text import harmless

COLUMNS = (Column("id"), Column("path", keep=2), Column("count", right=True), Column("remark", keep=1))

rows = st.lists(st.tuples(hostile_text, hostile_text, st.integers(0, 10**6).map(str), hostile_text), max_size=4)
widths = st.one_of(st.none(), st.integers(20, 200))


def drawn(width: int | None, items: list[tuple[str, ...]], columns: tuple[Column, ...] = COLUMNS) -> str:
    stream = io.StringIO()
    table(Out(stream, width), columns, items)
    return stream.getvalue()


@given(widths, rows)
def test_a_table_keeps_to_the_width_and_steers_nothing(width: int | None, items: list[tuple[str, ...]]) -> None:
    shown = drawn(width, items)
    assert "\x1b" not in shown
    assert "\u2026" not in "".join(set(shown) - set("".join("".join(row) for row in items)))
    if width is not None:
        assert all(cells(line) <= width for line in shown.splitlines())


@given(rows)
def test_without_a_width_every_cell_is_whole(items: list[tuple[str, ...]]) -> None:
    shown = drawn(None, items)
    for row in items:
        for cell in row:
            assert harmless(cell).strip() in shown


def squashed(text: str) -> str:
    return "".join(text.split())


@given(st.integers(20, 60), st.text("abc [/]é", min_size=1, max_size=80), st.text("xyz ", min_size=1, max_size=80))
def test_a_narrow_table_wraps_and_loses_no_letter(width: int, first: str, second: str) -> None:
    shown = drawn(width, [(first, second)], (Column("one"), Column("two")))
    for letter in "abc[/]é":
        assert shown.count(letter) >= first.count(letter)
    for letter in "xyz":
        assert shown.count(letter) >= second.count(letter)


def test_columns_that_can_be_missed_go_first_and_are_named() -> None:
    shown = drawn(40, [("0123456789abcdef", "/cards/" + "x" * 60, "12", "short")])
    assert "/cards/" not in shown
    assert "short" in shown
    assert "left out at this width: path" in shown
    assert "--json" in shown


def test_a_column_comes_back_where_a_wider_one_made_room() -> None:
    columns = (Column("id"), Column("wide", keep=1), Column("narrow", keep=2))
    shown = drawn(30, [("0123456789", "w" * 40, "here")], columns)
    assert "here" in shown
    assert "left out at this width: wide" in " ".join(shown.split())


def test_empty_columns_are_not_shown() -> None:
    assert "remark" not in drawn(80, [("a", "b", "1", "")])


def test_wide_letters_take_two_columns() -> None:
    # Unicode, UAX 11: east Asian wide letters take two columns.
    assert cells("望遠鏡") == 6
    lines = drawn(None, [("望遠鏡", "p", "1", "r"), ("abcdef", "q", "2", "s")]).splitlines()
    assert lines[1].index("p") + 3 == lines[2].index("q")


@given(hostile_text.map(harmless), st.integers(1, 60), st.integers(1, 60))
def test_wrapping_keeps_every_word_in_order(text: str, room: int, first: int) -> None:
    lines = wrap(text, room, first)
    assert squashed("".join(lines)) == squashed(text)
    assert cells(lines[0]) <= max(first, 2)
    assert all(cells(line) <= max(room, 2) for line in lines[1:])


@pytest.mark.parametrize("variable", ["NO_COLOR"])
def test_no_colour_where_it_is_not_wanted(variable: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # no-color.org: NO_COLOR present and not empty prevents colour, whatever its value.
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr("sys.stdout", Terminal())
    assert standard_out(quiet=False, verbose=False, no_colour=False).colour
    assert not standard_out(quiet=False, verbose=False, no_colour=True).colour
    monkeypatch.setenv("TERM", "dumb")
    assert not standard_out(quiet=False, verbose=False, no_colour=False).colour
    monkeypatch.delenv("TERM")
    monkeypatch.setenv(variable, "1")
    assert not standard_out(quiet=False, verbose=False, no_colour=False).colour


def test_colour_is_only_around_words_that_are_there_without_it() -> None:
    plain, coloured = io.StringIO(), io.StringIO()
    for stream, colour in ((plain, False), (coloured, True)):
        Out(stream, 80, colour).line("verdict ", ("[missing] :sun:", "red"), " end")
    assert plain.getvalue() == "verdict [missing] :sun: end\n"
    assert coloured.getvalue().replace("\x1b[31m", "").replace("\x1b[0m", "") == plain.getvalue()
    assert "\x1b[31m" in coloured.getvalue()


def test_a_pipe_has_no_width_and_columns_sets_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout", io.StringIO())
    assert standard_out(quiet=False, verbose=False, no_colour=False).width is None
    monkeypatch.setenv("COLUMNS", "120")
    assert standard_out(quiet=False, verbose=False, no_colour=False).width == 120
