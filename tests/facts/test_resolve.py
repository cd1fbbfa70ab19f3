"""Stated before read before inferred: the one place that ranks the sources of a fact."""

from dataclasses import replace
from datetime import UTC, datetime

from darklib.facts.frame import (
    Combined,
    FrameFacts,
    FrameRecord,
    Kind,
    KindDecision,
    KindFrom,
    PixelFacts,
    Readout,
    Statement,
    TemperatureFrom,
)
from darklib.facts.resolve import body_of, frame_of
from darklib.facts.train import TrainFacts
from darklib.facts.units import exposures_equal

READ = FrameFacts(
    format="dng",
    make="Maker",
    model="Pellwick P4",
    serial="P4-1",
    exposure_s=120.0,
    iso=800,
    width=400,
    height=300,
    sensor_temperature_c=12.0,
    train=TrainFacts("Newtonian", 600.0),
    taken_at=datetime(2026, 10, 3, 23, 30),
    filter="L",
    target="NGC 7331",
)
RECORD = FrameRecord(
    sha256="0123456789abcdef" * 4,
    size=10,
    path="frames/light/x.dng",
    in_place=False,
    read=READ,
    measured=None,
    decision=KindDecision(Kind.LIGHT, KindFrom.PATH, 0.95),
    zone="Etc/GMT-2",
    source_path="/card/x.dng",
    modified=datetime(2026, 10, 4, tzinfo=UTC),
)


def test_what_the_file_says_holds_where_nobody_says_otherwise() -> None:
    frame = frame_of(RECORD)
    assert (frame.kind, frame.kind_from, frame.kind_confidence) == (Kind.LIGHT, KindFrom.PATH, 0.95)
    assert (frame.temperature_c, frame.temperature_from) == (12.0, TemperatureFrom.HEADER)
    assert frame.taken_at == datetime(2026, 10, 3, 21, 30, tzinfo=UTC)
    assert (frame.time_from, frame.night) == ("header_in_zone", "2026-10-03")
    assert frame.id == "0123456789abcdef"
    assert frame.body is not None
    assert frame.body.label == "Pellwick P4 (P4-1)"


def test_the_last_statement_on_a_field_wins_and_none_takes_it_back() -> None:
    said = [
        Statement("temperature_c", 5.0),
        Statement("kind", "dark"),
        Statement("temperature_c", -3.5),
        Statement("filter", "Ha"),
    ]
    frame = frame_of(RECORD, said)
    assert (frame.temperature_c, frame.temperature_from) == (-3.5, TemperatureFrom.USER)
    assert (frame.kind, frame.kind_from, frame.kind_confidence) == (Kind.DARK, KindFrom.USER, 1.0)
    assert frame.filter == "Ha"
    back = frame_of(RECORD, [*said, Statement("temperature_c", None), Statement("kind", None)])
    assert (back.temperature_c, back.kind) == (12.0, Kind.LIGHT)


def test_a_wrong_clock_moves_the_night() -> None:
    frame = frame_of(RECORD, [Statement("clock_shift_s", -12 * 3600.0)])
    assert frame.night == "2026-10-02"
    assert frame.time_from == "header_in_zone+clock"


def test_a_stated_time_is_read_in_the_zone_of_the_library() -> None:
    frame = frame_of(RECORD, [Statement("taken_at", "2026-10-05T01:00:00")])
    assert frame.taken_at == datetime(2026, 10, 4, 23, 0, tzinfo=UTC)
    assert (frame.night, frame.time_from) == ("2026-10-04", "user")


def test_a_frame_without_a_time_says_so() -> None:
    frame = frame_of(replace(RECORD, read=replace(READ, taken_at=None)))
    assert frame.taken_at is None
    assert frame.night is None
    assert [warning.code for warning in frame.warnings] == ["time_missing"]


def test_air_is_never_taken_for_the_sensor() -> None:
    """AmbientTemperature is the air where the camera was held: EXIF 2.31, tag 0x9400."""
    read = replace(READ, sensor_temperature_c=None, ambient_temperature_c=6.0)
    frame = frame_of(replace(RECORD, read=read))
    assert frame.temperature_c is None
    assert frame.temperature_from is None


def test_two_bodies_of_one_model_are_two() -> None:
    """BodySerialNumber tells bodies apart: EXIF 2.3, tag 0xA431 (value from memory)."""
    one, two = body_of(READ), body_of(replace(READ, serial="P4-2"))
    assert one is not None
    assert two is not None
    assert one.id != two.id
    assert body_of(replace(READ, model=None)) is None


def test_levels_of_black_and_white_do_not_part_readouts() -> None:
    """LibRaw's black level of a file with masked areas is that frame's own mean: it must not be compared."""
    one, other = Readout(iso=800, black_dn=256.0, white_dn=16383.0), Readout(iso=800, black_dn=258.0, white_dn=14018.0)
    assert one.key == other.key
    assert one.key != Readout(iso=1600).key
    assert Readout(gain=100.0).key != Readout(offset=100.0).key


def test_whether_a_combined_flat_was_brought_to_one_is_seen_in_its_pixels() -> None:
    read = replace(READ, kind=Kind.FLAT, combined=Combined(20, "median", True))
    flat = replace(RECORD, read=read, decision=KindDecision(Kind.FLAT, KindFrom.HEADER, 1.0))

    def normalised(median_dn: float, exact: bool) -> bool | None:
        pixels = PixelFacts(1, 4, 4, median_dn, 0.1, median_dn, 0.1, 0.5, 2 * median_dn, 0.0, None, 0, exact=exact)
        combined = frame_of(replace(flat, measured=pixels)).combined
        assert combined is not None
        return combined.normalised

    assert normalised(1.02, False) is True
    assert normalised(21000.5, False) is False
    assert normalised(30000.0, True) is False
    assert frame_of(flat).combined == Combined(20, "median", True, None)


def test_a_shutters_dial_and_bulb_times_are_kept_as_read() -> None:
    """A dial's 30 s is 32 s and bulb times wobble: common practice, no single source."""
    for exposure_s in (30.0, 32.0, 300.7):
        assert frame_of(replace(RECORD, read=replace(READ, exposure_s=exposure_s))).exposure_s == exposure_s
    assert exposures_equal(30.0, 30.9)
    assert exposures_equal(300.0, 301.0)
    assert exposures_equal(30.0, 32.0)
    assert not exposures_equal(300.0, 320.0)


def test_only_a_cameras_clock_goes_on_through_the_night_the_clocks_change() -> None:
    """Summer time ends at 01:00 UTC on 25 October 2026: Directive 2000/84/EC."""
    at = datetime(2026, 10, 25, 4, 0)
    moments = [
        frame_of(replace(RECORD, zone="Europe/Berlin", read=replace(READ, format=one, taken_at=at))).taken_at
        for one in ("dng", "fits")
    ]
    assert moments == [datetime(2026, 10, 25, 2, 0, tzinfo=UTC), datetime(2026, 10, 25, 3, 0, tzinfo=UTC)]


def test_the_longitude_of_the_file_goes_before_that_of_the_configuration() -> None:
    # 13:00 UTC is 05:40 by the Sun at 110 degrees west: the night that began on the day before is not over.
    utc = replace(RECORD, zone="Etc/UTC", read=replace(READ, taken_at=datetime(2026, 10, 4, 1, 0, tzinfo=UTC)))
    assert frame_of(utc).night == "2026-10-03"
    noon = replace(utc, read=replace(utc.read, taken_at=datetime(2026, 10, 4, 13, 0, tzinfo=UTC)))
    assert frame_of(noon).night == "2026-10-04"
    assert frame_of(replace(noon, longitude_deg=-110.0)).night == "2026-10-03"
    assert (
        frame_of(replace(noon, longitude_deg=-110.0, read=replace(noon.read, longitude_deg=5.0))).night == "2026-10-04"
    )
    assert frame_of(noon, night="2026-10-01").night == "2026-10-01"
