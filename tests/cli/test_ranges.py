"""Ranges as people write them, worked out by hand, and refusals that say how to write them."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.cli import ranges
from darklib.facts.errors import DarklibError, Exit
from darklib.facts.units import same_series_exposure
from darklib.jobs.asked import Nights, Span


@pytest.mark.parametrize(
    ("text", "nights"),
    [
        (None, Nights()),
        ("2026-10-03", Nights("2026-10-03", "2026-10-03")),
        ("2026-10-01:2026-10-05", Nights("2026-10-01", "2026-10-05")),
        ("2026-10-01:", Nights("2026-10-01", None)),
        (":2026-10-05", Nights(None, "2026-10-05")),
        ("last", Nights(last=True)),
        ("LAST", Nights(last=True)),
    ],
)
def test_nights(text: str | None, nights: Nights) -> None:
    assert ranges.nights(text) == nights


@pytest.mark.parametrize("text", ["yesterday", "2026-13-01", "2026-02-30", "", ":", "a:b:c", "2026-10-05:2026-10-01"])
def test_what_is_no_night_is_refused(text: str) -> None:
    with pytest.raises(DarklibError) as caught:
        ranges.nights(text)
    assert caught.value.status == Exit.USAGE
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("10:300", 10.0, 300.0),
        ("1/60:1/30", 1 / 60, 1 / 30),
        ("0.5:", 0.5, None),
        (":2s", None, 2.0),
        ("2 s:4 s", 2.0, 4.0),
    ],
)
def test_ranges_of_exposures(text: str, low: float | None, high: float | None) -> None:
    assert ranges.exposures(text) == Span(low, high)


@given(st.floats(1e-5, 5e3))
def test_one_exposure_finds_the_same_setting_of_the_shutter(value: float) -> None:
    span = ranges.exposures(repr(value))
    assert span.low is not None
    assert span.high is not None
    assert span.low < value < span.high
    inside, outside = value + (span.high - value) * 0.95, value + (span.high - value) * 1.05
    assert same_series_exposure(value, inside)
    if not 19.0 < value < 21.0:
        assert not same_series_exposure(value, outside)


@pytest.mark.parametrize("text", ["long", "1/0", "-5", "nan", "inf", "5:1", "1/2/3", "1:2:3", ""])
def test_what_is_no_exposure_is_refused(text: str) -> None:
    with pytest.raises(DarklibError):
        ranges.exposures(text)


@pytest.mark.parametrize(
    ("text", "span"),
    [("-12:-8", Span(-12.0, -8.0)), (":0", Span(None, 0.0)), ("-5:", Span(-5.0, None)), ("-10C:5 c", Span(-10.0, 5.0))],
)
def test_ranges_of_temperatures(text: str, span: Span) -> None:
    assert ranges.temperatures(text) == span


def test_one_temperature_finds_what_is_shown_as_it() -> None:
    span = ranges.temperatures("-10")
    assert span.low == pytest.approx(-10.05)
    assert span.high == pytest.approx(-9.95)
    assert ranges.temperature("-10.5") == -10.5
    assert ranges.temperature(None) is None


@pytest.mark.parametrize("text", ["cold", "-300", "nan", "-8:-12"])
def test_what_is_no_temperature_is_refused(text: str) -> None:
    with pytest.raises(DarklibError):
        ranges.temperatures(text)


@pytest.mark.parametrize("text", ["cold", "-300", "nan", "-8:-12", "100", "285.3"])
def test_what_is_no_temperature_of_a_sensor_is_refused(text: str) -> None:
    """A temperature in kelvin is the usual mistake."""
    with pytest.raises(DarklibError, match=text):
        ranges.temperature(text)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("+1:30", 5400.0),
        ("-0:00:45", -45.0),
        ("1:00:00.5", 3600.5),
        ("90", 90.0),
        ("-90s", -90.0),
        ("2min", 120.0),
        ("-1h", -3600.0),
        ("1 d", 86400.0),
        ("+1h02m", 3720.0),
        ("-1h02m", -3720.0),
        ("1h 2min 3.5s", 3723.5),
        ("1d2h", 93600.0),
        ("+62m", 3720.0),
        (None, None),
    ],
)
def test_shifts_of_a_clock(text: str | None, seconds: float | None) -> None:
    assert ranges.clock_shift(text) == seconds


@pytest.mark.parametrize("text", ["late", "1:2:3:4", "--1h", "1 month", "", "+", "h", "1h2h", "2m1h", "1h02"])
def test_what_is_no_shift_is_refused(text: str) -> None:
    with pytest.raises(DarklibError, match="no shift of a clock"):
        ranges.clock_shift(text)


def test_moments_are_checked_and_given_on() -> None:
    # ISO 8601-1:2019, section 5.4: calendar date, T, time of day, and Z for UTC.
    for text in ("2026-10-03", "2026-10-03T21:30", "2026-10-03T21:30:00Z", "2026-10-03T21:30:00+02:00"):
        assert ranges.moment(text) == text
    assert ranges.moment(None) is None
    assert ranges.moment("") == ""
    with pytest.raises(DarklibError, match="no date and time"):
        ranges.moment("half past nine")


@pytest.mark.parametrize(("text", "share"), [("0.1", 0.1), ("10%", 0.1), ("1", 1.0), (None, None)])
def test_shares(text: str | None, share: float | None) -> None:
    assert ranges.share(text) == share


@pytest.mark.parametrize("text", ["0", "-0.1", "2", "150%", "some"])
def test_what_is_no_share_is_refused(text: str) -> None:
    with pytest.raises(DarklibError):
        ranges.share(text)


@given(st.text(max_size=12))
def test_no_text_does_more_than_be_refused(text: str) -> None:
    for parse in (
        ranges.nights, ranges.exposures, ranges.temperatures, ranges.temperature, ranges.exposure, ranges.clock_shift,
        ranges.moment, ranges.share,
    ):  # fmt: skip
        with suppress(DarklibError):
            parse(text)
