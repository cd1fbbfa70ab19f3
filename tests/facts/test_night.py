"""Local noon to local noon, named by the date on which the night began."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.night import localised, night_of


@pytest.mark.parametrize(
    ("local", "night"),
    [
        ("2026-10-03T21:00", "2026-10-03"),
        ("2026-10-04T02:00", "2026-10-03"),
        ("2026-10-04T11:59", "2026-10-03"),
        ("2026-10-04T12:00", "2026-10-04"),
        ("2026-10-25T03:30", "2026-10-24"),  # summer time ended an hour ago in many zones
    ],
)
def test_a_night_runs_from_noon_to_noon(local: str, night: str) -> None:
    moment = localised(datetime.fromisoformat(local), "Etc/GMT-2")
    assert night_of(moment, "Etc/GMT-2") == night


def test_a_zone_in_the_file_counts_before_the_librarys() -> None:
    moment = datetime(2026, 10, 4, 11, 30, tzinfo=UTC)
    assert localised(moment, "Etc/GMT-2") is moment
    assert night_of(moment, "Etc/GMT-2") == "2026-10-04"
    assert night_of(moment, "Etc/UTC") == "2026-10-03"


@given(
    st.datetimes(datetime(2000, 1, 1), datetime(2050, 1, 1), timezones=st.just(UTC)),
    st.sampled_from(["Etc/UTC", "Etc/GMT+11", "Etc/GMT-13", "Pacific/Kiritimati", "America/St_Johns"]),
)
def test_a_night_is_within_a_day_and_a_half_of_the_utc_date(moment: datetime, zone: str) -> None:
    night = date.fromisoformat(night_of(moment, zone))
    assert abs(night - moment.date()) <= timedelta(days=2)


def test_an_unknown_zone_names_the_setting_to_change() -> None:
    with pytest.raises(DarklibError, match="no time zone named 'Nowhere/Atall'") as caught:
        night_of(datetime(2026, 10, 3, tzinfo=UTC), "Nowhere/Atall")
    assert caught.value.status is Exit.USAGE
    assert "timezone" in caught.value.remedy
