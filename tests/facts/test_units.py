"""Units as they are compared, and when two exposures are equal."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts import units

MOMENTS = st.datetimes(min_value=datetime(1990, 1, 1), max_value=datetime(2100, 1, 1), timezones=st.just(UTC))


@given(MOMENTS)
def test_an_instant_survives_storage_to_the_microsecond(moment: datetime) -> None:
    assert units.moment(units.instant_us(moment)) == moment


@given(MOMENTS)
def test_iso_text_is_read_back_by_the_standard_library(moment: datetime) -> None:
    """ISO 8601 as `datetime.fromisoformat` of Python 3.11 reads it."""
    text = units.iso_z(moment)
    assert text.endswith("Z")
    assert datetime.fromisoformat(text) == moment


def test_a_time_without_a_zone_is_no_instant() -> None:
    with pytest.raises(ValueError, match="time zone"):
        units.instant_us(datetime(2026, 10, 3, 21, 0))


def test_other_zones_are_told_in_utc() -> None:
    plus_two = timezone(timedelta(hours=2))
    assert units.iso_z(datetime(2026, 10, 3, 0, 30, 0, 250000, tzinfo=plus_two)) == "2026-10-02T22:30:00.25Z"


@pytest.mark.parametrize(
    ("a_s", "b_s", "equal"),
    [
        (30.0, 32.0, True),  # a dial's 30 s is 32 s on many bodies
        (30.0, 33.0, False),
        (29.0, 32.0, False),
        (60.0, 64.0, False),
        (30.0, 31.0, True),
        (300.0, 306.0, True),
        (300.0, 306.2, False),
        (0.001, 0.9, True),
        (120.0, 180.0, False),
    ],
)
def test_exposures_are_equal_within_a_second_or_two_percent(a_s: float, b_s: float, equal: bool) -> None:
    """The larger of 1 s and 2 percent (common practice, no single source)."""
    assert units.exposures_equal(a_s, b_s) is equal
    assert units.exposures_equal(b_s, a_s) is equal


@pytest.mark.parametrize(("a_s", "b_s", "one"), [(0.5, 1.2, False), (0.5, 0.505, True), (300.0, 301.0, True)])
def test_short_exposures_are_one_setting_within_two_percent(a_s: float, b_s: float, one: bool) -> None:
    assert units.same_series_exposure(a_s, b_s) is one


@given(st.floats(1e-3, 1e5))
def test_an_exposure_equals_itself_after_storage(exposure_s: float) -> None:
    assert units.same_series_exposure(exposure_s, units.seconds(units.microseconds(exposure_s)))


@given(st.floats(1e-3, 1e4), st.floats(1e-3, 1e4))
def test_the_range_of_equal_exposures_holds_all_of_them(a_s: float, b_s: float) -> None:
    low, high = units.equal_exposures_s(a_s)
    if units.exposures_equal(a_s, b_s):
        assert low - 1e-6 <= b_s <= high + 1e-6
    assert units.exposures_equal(a_s, min(a_s, high))
