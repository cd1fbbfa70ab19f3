"""Local noon to local noon, named by the date on which the night began."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.night import Shot, localised, night_of, nights_of


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


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Pago_Pago", "Pacific/Auckland", "Pacific/Honolulu"])
def test_a_night_on_either_side_of_the_date_line_has_one_name(zone: str) -> None:
    # Time zone database: 14 h ahead and 11 h behind UTC are 25 h apart, and both have nights of one local date.
    dusk, dawn = (localised(datetime.fromisoformat(one), zone) for one in ("2026-10-03T19:00", "2026-10-04T05:00"))
    assert night_of(dusk, zone) == night_of(dawn, zone) == "2026-10-03"
    assert (dusk.astimezone(UTC).date(), dawn.astimezone(UTC).date()) != (date(2026, 10, 3), date(2026, 10, 4))


def test_the_hour_that_comes_twice_does_not_tear_a_run_apart() -> None:
    """Summer time ends in the EU at 01:00 UTC on the last Sunday of October (Directive 2000/84/EC, articles 2 and 3).

    A camera's clock does not change over in the night: frames ten minutes apart by it are ten minutes apart.
    """
    by_the_camera = [datetime(2026, 10, 25, 1, 30) + timedelta(minutes=10 * n) for n in range(16)]
    moments = [localised(one, "Europe/Berlin", steady=True) for one in by_the_camera]
    assert {b - a for a, b in pairwise(moments)} == {timedelta(minutes=10)}
    assert moments[0] == datetime(2026, 10, 24, 23, 30, tzinfo=UTC)
    assert {night_of(one, "Europe/Berlin") for one in moments} == {"2026-10-24"}
    # The next evening its clock has been set.
    evening = localised(datetime(2026, 10, 25, 20, 0), "Europe/Berlin", steady=True)
    assert evening == datetime(2026, 10, 25, 19, 0, tzinfo=UTC)


def test_a_computers_clock_changes_over() -> None:
    for at, utc in (
        ("2026-10-25T01:30", (24, 23, 30)),
        ("2026-10-25T03:30", (25, 2, 30)),
        ("2026-10-25T20:00", (25, 19, 0)),
    ):
        moment = localised(datetime.fromisoformat(at), "Europe/Berlin")
        assert moment == datetime(2026, 10, *utc, tzinfo=UTC)


def test_the_hour_that_is_missing_is_there_by_the_cameras_clock() -> None:
    by_the_camera = [datetime(2026, 3, 29, 1, 30) + timedelta(minutes=10 * n) for n in range(16)]
    moments = [localised(one, "Europe/Berlin", steady=True) for one in by_the_camera]
    assert {b - a for a, b in pairwise(moments)} == {timedelta(minutes=10)}
    evening = localised(datetime(2026, 3, 29, 21, 0), "Europe/Berlin", steady=True)
    assert evening == datetime(2026, 3, 29, 19, 0, tzinfo=UTC)


def test_a_site_far_from_the_zone_has_nights_of_its_own() -> None:
    # 70 degrees west is 4 h 40 min behind Greenwich by the Sun; noon in Berlin is before sunrise there.
    for hours, night in ((-4, "2026-10-02"), (4, "2026-10-03"), (12, "2026-10-03"), (27, "2026-10-03")):
        moment = datetime(2026, 10, 3, 12, 40, tzinfo=UTC) + timedelta(hours=hours)
        assert night_of(moment, "Europe/Berlin", -70.0) == night
    # Near the zone, or with the sign the wrong way round, or across the date line, the zone's noon holds.
    noon = datetime(2026, 10, 3, 10, 0, tzinfo=UTC)
    for longitude in (None, 13.0, -13.0, 45.0, -6.0):
        assert night_of(noon, "Europe/Berlin", longitude) == "2026-10-03"
        assert night_of(noon - timedelta(seconds=1), "Europe/Berlin", longitude) == "2026-10-02"
    there = localised(datetime(2026, 10, 3, 12, 0), "Pacific/Kiritimati")
    assert night_of(there, "Pacific/Kiritimati", -157.4) == "2026-10-03"


def shot(name: str, hours: float, *, light: bool = True, camera: str = "A", exposure_s: float = 300.0) -> Shot:
    """Hours from noon on 4 October."""
    night, early = ("2026-10-03" if hours < 0 else "2026-10-04"), 0 <= hours < 3
    return Shot(name, camera, light, round(hours * 3.6e9), round(exposure_s * 1e6), night, early)


def test_a_run_has_the_night_of_its_first_light() -> None:
    run = [shot(f"l{n}", -1 + n * 0.2) for n in range(12)]
    assert set(nights_of(run).values()) == {"2026-10-03"}
    assert nights_of(run) == nights_of(reversed(run))
    assert nights_of([*run, shot("later", 5)])["later"] == "2026-10-04"
    assert nights_of([*run, shot("other", 0.1, camera="B")])["other"] == "2026-10-04"


def test_the_pause_counts_from_the_end_of_an_exposure() -> None:
    for exposure_s, night in ((300.0, "2026-10-04"), (1200.0, "2026-10-03")):
        assert nights_of([shot("a", -0.2, exposure_s=exposure_s), shot("b", 1.0)])["b"] == night


@pytest.mark.parametrize(
    ("lights", "flat", "night"),
    [
        ([-8.0], 1.5, "2026-10-03"),  # 13:30
        ([-8.0], 2.9, "2026-10-03"),
        ([-8.0], 3.1, "2026-10-04"),  # past 15:00: of the evening to come
        ([-13.0], 1.5, "2026-10-04"),  # too long after
        ([-8.0, 4.0], 1.5, "2026-10-04"),  # lights soon after: shot for those
        ([-8.0, 5.0], 1.5, "2026-10-03"),
        ([], 1.5, "2026-10-04"),
        ([-8.0], -4.0, "2026-10-03"),
    ],
)
def test_morning_flats_belong_to_the_night_they_were_shot_for(lights: list[float], flat: float, night: str) -> None:
    shots = [shot(f"l{n}", hours) for n, hours in enumerate(lights)] + [shot("flat", flat, light=False)]
    assert nights_of(shots)["flat"] == night
