"""Text as it may be shown: data that steers nothing, figures as people write them."""

import re
import unicodedata

import pytest
from any_result import hostile_text
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.match import Temperatures
from darklib.show import text, words

# ECMA-48, sections 5.2 and 5.3: C0 controls are 00 to 1F, C1 controls 80 to 9F.
CONTROLS = re.compile("[\x00-\x1f\x7f\x80-\x9f]")


@given(hostile_text)
def test_nothing_harmless_steers_a_terminal(data: str) -> None:
    shown = text.harmless(data)
    assert not CONTROLS.search(shown)
    shown.encode("utf-8")
    # Unicode, UAX 9: the bidirectional controls that could turn what is read.
    assert not {unicodedata.bidirectional(letter) for letter in shown} & {
        "LRE",
        "RLE",
        "LRO",
        "RLO",
        "PDF",
        "LRI",
        "RLI",
        "FSI",
    }
    assert text.harmless(shown) == shown


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cf", "Cs", "Zl", "Zp"])))
def test_ordinary_text_is_left_alone(data: str) -> None:
    assert text.harmless(data) == data
    assert text.valid(data) == data


@pytest.mark.parametrize(
    ("data", "shown"),
    [
        ("\x1b[2J", "\\x1b[2J"),
        ("a\nb", "a\\x0ab"),
        ("\x9b31m", "\\x9b31m"),
        ("IMG\udce9.CR2", "IMG\\xe9.CR2"),
        ("\u202egnp.exe", "\\u202egnp.exe"),
        ("\ud83d", "\\ud83d"),
        ("/astro/[dark]/x", "/astro/[dark]/x"),
    ],
)
def test_what_would_do_harm_is_shown_as_its_code(data: str, shown: str) -> None:
    assert text.harmless(data) == shown


def test_an_undecodable_name_is_shown_by_its_bytes() -> None:
    # PEP 383: a byte 0x80 to 0xFF that cannot be decoded becomes U+DC80 to U+DCFF.
    for byte in range(0x80, 0x100):
        name = bytes([0x61, byte]).decode("ascii", "surrogateescape")
        assert text.valid(name) == f"a\\x{byte:02x}"


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (None, "?"),
        (300.0, "300 s"),
        (0.5, "0.5 s"),
        (1 / 60, "1/60 s"),
        (0.0005, "1/2000 s"),
        (1 / 8000, "1/8000 s"),
        (0.3, "0.3 s"),
        (0.0, "0 s"),
        (2.5, "2.5 s"),
        (1200.0, "1200 s"),
    ],
)
def test_exposures(seconds: float | None, shown: str) -> None:
    assert text.exposure(seconds) == shown


@given(st.floats(1e-6, 1e6))
def test_an_exposure_is_shown_within_three_percent(seconds: float) -> None:
    shown = text.exposure(seconds).removesuffix(" s")
    above, _, below = shown.partition("/")
    assert float(above) / float(below or 1) == pytest.approx(seconds, rel=0.03)


@pytest.mark.parametrize(("value", "shown"), [(None, "?"), (-10.0, "-10.0 C"), (-0.04, "0.0 C"), (0.0, "0.0 C")])
def test_temperatures(value: float | None, shown: str) -> None:
    assert text.temperature(value) == shown


def test_spreads() -> None:
    assert text.spread(-10.4, -9.6) == "-10.4 to -9.6 C"
    assert text.spread(-10.02, -9.98) == "-10.0 C"
    assert text.spread(None, None) == "?"


@pytest.mark.parametrize(
    ("degrees", "shown"),
    [(0.4, "0.4 C warmer"), (-1.2, "1.2 C colder"), (0.02, "same temperature"), (-0.02, "same temperature")],
)
def test_a_mismatch_says_which_way(degrees: float, shown: str) -> None:
    assert text.signed(degrees) == shown


@pytest.mark.parametrize(
    ("days", "shown"),
    [(None, "?"), (0, "same night"), (1, "1 day"), (59, "59 days"), (365, "12 months"), (1461, "4.0 years")],
)
def test_ages(days: int | None, shown: str) -> None:
    assert text.age(days) == shown


@pytest.mark.parametrize(("value", "shown"), [(0.0, "0 min"), (0.2, "1 min"), (45.0, "45 min"), (200.0, "3 h 20 min")])
def test_minutes(value: float, shown: str) -> None:
    assert text.minutes(value) == shown


def test_small_words() -> None:
    assert text.some(1, "frame") == "1 frame"
    assert text.some(1200, "batch", "batches") == "1,200 batches"
    assert text.percent(3.21) == "3.2%"
    assert text.percent(250.0) == "250%"
    assert text.sentence("shot long ago") == "Shot long ago."
    assert text.sentence("Was the cap on?") == "Was the cap on?"
    assert text.sentence("") == ""
    # IEC 80000-13: kilo, mega and giga are powers of 1000; kibi is not meant.
    assert text.size(24_100_000) == "24.1 MB"


@pytest.mark.parametrize(
    ("spread", "shown"),
    [
        (Temperatures(-10.2, -10.1, -9.9, 0), "-10.1 C"),
        (Temperatures(12.4, 14.0, 15.6, 0), "12.4 to 15.6 C"),
        (Temperatures(-10.2, -10.1, -9.9, 2), "-10.1 C (2 frames unknown)"),
        (Temperatures(None, None, None, 3), "?"),
    ],
)
def test_a_coolers_wobble_is_one_temperature_and_a_drift_is_two(spread: Temperatures, shown: str) -> None:
    assert words.warmth(spread) == shown
