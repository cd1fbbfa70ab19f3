import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.readers.cards import Card, parse


def read(text: str | bytes) -> Card:
    raw = text if isinstance(text, bytes) else text.encode("latin-1")
    found = parse(raw.ljust(80))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("EXPTIME =                300.0 / [s]", 300.0),
        ("EXPTIME = 300", 300),
        ("EXPTIME = +3.5", 3.5),
        ("EXPTIME = 0300", 300),
        ("EXPTIME = 3.0D+02", 300.0),
        ("EXPTIME = 3.0d2", 300.0),
        ("EXPTIME = 3.E+02 / s", 300.0),
        ("EXPTIME = .5", 0.5),
        ("EXPTIME = -1.5e-3", -0.0015),
        ("SIMPLE  =                    T", True),
        ("EXTEND  =                    F", False),
        ("OBJECT  = 'M 31    '", "M 31"),
        ("OBJECT  = ''", ""),
        ("OBJECT  = '        '", ""),
        ("OBJECT  = 'O''HARA'", "O'HARA"),
        ("OBJECT  = '  two blanks lead'", "  two blanks lead"),
        ("OBJECT  = 'a / b' / comment", "a / b"),
        ("OBJECT  =", None),
        ("OBJECT  =                      / nothing said", None),
        ("HIERARCH ESO DET TEMP = -10.5 / [degC]", -10.5),
        ("HIERARCH  eso  det   name = 'x'", "x"),
    ],
)
def test_values_as_the_standard_writes_them(text: str, value: object) -> None:
    found = read(text)
    assert found.value == value
    assert type(found.value) is type(value)
    assert not found.fault
    assert not found.odd


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("EXPTIME = NaN", "neither a number"),
        ("EXPTIME = INF", "neither a number"),
        ("EXPTIME = 300,5", "neither a number"),
        ("EXPTIME = 0x1F", "neither a number"),
        ("EXPTIME = (1,2)", "neither a number"),
        ("EXPTIME = 30 0", "neither a number"),
        ("DATE-OBS= 2024-01-02T03:04:05", "neither a number"),
        ("OBJECT  = 'no end", "closing quote"),
        ("OBJECT  = 'one' two", "after the closing quote"),
        (b"OBJECT  = 'with\0nul'", "control characters"),
        (b"EXPTIME = 300\n", "control characters"),
    ],
)
def test_what_cannot_be_understood_is_a_fault_and_keeps_its_text(text: str | bytes, why: str) -> None:
    found = read(text)
    assert why in found.fault
    assert found.text


def test_a_missing_blank_is_read_and_marked() -> None:
    for text in ("EXPTIME =300.0", "EXPTIME=300.0", "EXPTIME=  300.0 / [s]"):
        found = read(text)
        assert (found.keyword, found.value) == ("EXPTIME", 300.0)
        assert "no blank" in found.odd


def test_small_letters_are_read_and_marked() -> None:
    found = read("exptime = 300.0")
    assert (found.keyword, found.value) == ("EXPTIME", 300.0)
    assert found.odd


def test_letters_beyond_ascii_are_read_as_utf8_or_latin_and_marked() -> None:
    assert read("OBJECT  = 'Café'".encode()).value == "Café"
    assert read(b"OBJECT  = 'Caf\xe9'").value == "Café"
    assert "outside the standard" in read("OBJECT  = 'Café'".encode()).odd


def test_continued_strings_are_joined() -> None:
    # FITS registry of conventions, "The CONTINUE long string keyword convention", its own example
    # (FITS Standard 4.0, section 4.2.1.2).
    cards = ["LONGSTR = 'This is a long string value &'", "CONTINUE  'extending&   '", "CONTINUE  ' over 3 lines.'"]
    found = parse(b"".join(text.encode().ljust(80) for text in cards))
    assert found is not None
    assert found.value == "This is a long string value extending over 3 lines."


def test_a_continue_card_without_a_quote_is_a_fault() -> None:
    found = parse(b"LONGSTR = 'long &'".ljust(80) + b"CONTINUE  no quote".ljust(80))
    assert found is not None
    assert found.fault


@pytest.mark.parametrize("text", ["COMMENT = 3", "HISTORY  = 5", "", "END", "CONTINUE  'x'", "HIERARCH no equals sign"])
def test_commentary_has_no_value(text: str) -> None:
    assert parse(text.encode().ljust(80)) is None


@given(st.binary(min_size=80, max_size=240))
def test_no_bytes_at_all_raise(raw: bytes) -> None:
    found = parse(raw)
    assert found is None or isinstance(found.keyword, str)


@given(st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=30))
def test_any_printable_string_comes_back(text: str) -> None:
    found = read("OBJECT  = '" + text.replace("'", "''") + "' / c")
    assert found.value == text.rstrip(" ")
    assert found.comment == "c"
