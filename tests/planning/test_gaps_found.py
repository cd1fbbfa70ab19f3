"""What lights lack, worked by hand."""

from __future__ import annotations

from dataclasses import replace

from roll import READOUT, TRAIN, at, biases, body, darks, flats, lights

from darklib.facts.frame import Frame, Kind
from darklib.facts.match import TrainChange, Verdict
from darklib.facts.plan import Gap, Interval
from darklib.facts.settings import Camera, Settings
from darklib.matching.batches import batches_of
from darklib.matching.choose import match_all
from darklib.matching.stock import MemoryStock
from darklib.planning.gaps import gaps_of


def gaps(*shot: list[Frame], settings: Settings = Settings(), **more: object) -> list[Gap]:  # noqa: B008 (frozen)
    stock = [frame for frames in shot for frame in frames]
    return gaps_of(match_all(batches_of(stock), MemoryStock(stock), settings), settings, **more)  # type: ignore[arg-type]


def by_role(found: list[Gap]) -> dict[str, Gap]:
    roles = {gap.role: gap for gap in found}
    assert len(roles) == len(found)
    return roles


def test_nothing_lacks_where_all_is_good() -> None:
    assert gaps(lights(), darks(), flats(), biases()) == []


def test_darks_that_lack_altogether() -> None:
    """20 lights of 300 s at 5.0 C, flats and biases good, no dark: 20 darks of 300 s between 3 and 7 C, best at 5."""
    found = gaps(lights(), flats(), biases())
    (gap,) = found
    assert (gap.kind, gap.role, gap.exposure_s, gap.have, gap.need) == (Kind.DARK, "dark", 300.0, 0, 20)
    assert gap.interval == Interval(3.0, 7.0, 5.0)
    assert (gap.lights_count, gap.lights_seconds) == (20, 6000.0)
    assert (gap.verdict_now, gap.still_possible, gap.cooled) == (Verdict.MISSING, True, None)
    assert gap.batches == tuple(batch.id for batch in batches_of(lights()))


def test_an_interval_serves_the_coldest_and_the_warmest_light() -> None:
    """Lights from 4.0 to 6.0 C: good for the warmest from 4.0, for the coldest up to 6.0."""
    (gap,) = gaps(lights(temperature_c=[4.0, 5.0, 6.0]), flats(), biases())
    assert gap.interval == Interval(4.0, 6.0, 5.0)


def test_drifting_lights_need_several_sets() -> None:
    """100 lights from 12 down to 2.1 C in tenths: a set serves a span of 4 degrees, 9.9 degrees need three. The
    narrowest three spans hold 34 lights at most, 3.3 degrees: 2.1 to 5.4, 5.5 to 8.8, 8.9 to 12.0. The first is served
    by what is within 2 degrees of both 2.1 and 5.4: 3.4 to 4.1.
    """
    shot = lights(100, temperature_c=[12.0 - 0.1 * place for place in range(100)])
    found = sorted(gaps(shot, flats(), biases()), key=lambda gap: gap.interval.low_c)  # type: ignore[union-attr]
    assert [gap.interval for gap in found] == [
        Interval(3.4, 4.1, 3.75),
        Interval(6.8, 7.5, 7.15),
        Interval(10.0, 10.9, 10.45),
    ]
    assert [gap.lights_count for gap in found] == [34, 34, 32]


def test_too_few_darks_are_topped_up_at_their_own_temperature() -> None:
    """8 darks at 4.2 C for lights at 5.0: 12 more make a good set, and only at 4.2 C do they belong to it."""
    (gap,) = gaps(lights(), darks(8, temperature_c=4.2), flats(), biases())
    assert (gap.have, gap.need, gap.verdict_now) == (8, 20, Verdict.USABLE)
    assert gap.interval == Interval(3.0, 7.0, 4.2)


def test_darks_4_degrees_off_do_not_count() -> None:
    (gap,) = gaps(lights(), darks(20, temperature_c=9.0), flats(), biases())
    assert (gap.have, gap.need, gap.verdict_now) == (0, 20, Verdict.USABLE)


def test_batches_of_two_nights_at_alike_temperatures_are_one_gap() -> None:
    """5.0 and 5.6 C: one set at 3.6 to 7.0 serves both. 9 C is another matter."""
    shot = lights(), lights(10, "2026-03-11T21:00", 5.6), lights(10, "2026-03-12T21:00", 9.0)
    mornings = flats(), flats(start="2026-03-12T06:00"), flats(start="2026-03-13T06:00")
    first, second = gaps(*shot, *mornings, biases())
    assert first.interval == Interval(3.6, 7.0, 5.3)
    assert (first.lights_count, len(first.batches)) == (30, 2)
    assert second.interval == Interval(7.0, 11.0, 9.0)


def test_flats_of_a_changed_train_cannot_be_shot_any_more() -> None:
    """Lights of the 10th without flats. While it is still that night or the morning after they can be shot; not two
    nights later, and not once the train was changed.
    """
    stock = lights(), darks(), biases()
    change = TrainChange(TRAIN.fingerprint, at("2026-03-11T09:00"), "")
    before = TrainChange(TRAIN.fingerprint, at("2026-03-09T09:00"), "")
    for more, possible in (
        ({"tonight": "2026-03-10"}, True),
        ({"tonight": "2026-03-11"}, True),
        ({"tonight": "2026-03-12"}, False),
        ({"tonight": "2026-03-10", "train_changes": [change]}, False),
        ({"tonight": "2026-03-10", "train_changes": [before]}, True),
        ({}, True),
    ):
        gap = by_role(gaps(*stock, **more))["flat"]
        assert gap.still_possible is possible, more
        assert (gap.filter, gap.train, gap.need) == ("L", TRAIN, 20)


def test_flats_of_another_night_are_still_a_gap() -> None:
    gap = by_role(gaps(lights(), flats(start="2026-03-05T06:00"), darks(), biases()))["flat"]
    assert (gap.verdict_now, gap.have) == (Verdict.USABLE, 0)


def test_biases_for_the_flats_readout() -> None:
    low = replace(READOUT, gain=0.0)
    gap = by_role(gaps(lights(), darks(), flats(readout=low), biases()))["bias"]
    assert (gap.readout, gap.exposure_s, gap.interval, gap.have, gap.need) == (low, None, None, 0, 20)


def test_biases_that_stand_in_are_no_gap_of_their_own() -> None:
    """Long flats without dark flats: dark flats lack; the 3 biases that stand in do not, whatever their number. Darks
    of another exposure, scaled with 12 biases: the exact darks lack, and no more biases.
    """
    found = by_role(gaps(lights(), darks(), flats(exposure_s=6.0), biases(3)))
    assert set(found) == {"dark_flat"}
    assert (found["dark_flat"].exposure_s, found["dark_flat"].kind) == (6.0, Kind.DARK)
    found = by_role(gaps(lights(), darks(exposure_s=150.0), flats(exposure_s=0.5), biases(12)))
    assert set(found) == {"dark"}


def test_too_few_biases_in_the_dark_flats_place() -> None:
    """No darks at all and 6 biases: they serve the lights for want of darks, and the flats in the dark flats' place.
    Once darks are shot only the flats need biases, 14 more.
    """
    found = by_role(gaps(lights(), flats(), biases(6)))
    assert set(found) == {"dark", "bias"}
    assert (found["bias"].have, found["bias"].need) == (6, 20)


def test_what_the_lights_do_not_tell_new_frames_cannot_mend() -> None:
    """Lights that don't tell their offset: 12 darks that do are usable, and 20 others would be no better: of what can
    be shot nothing lacks. Darks that don't tell it, for lights that do, do not count.
    """
    silent = replace(READOUT, offset=None)
    told = by_role(gaps(lights(readout=silent), darks(12), flats(), biases()))["dark"]
    assert (told.have, told.need, told.verdict_now) == (12, 12, Verdict.USABLE)
    untold = by_role(gaps(lights(), darks(readout=silent), flats(), biases()))["dark"]
    assert (untold.have, untold.need) == (0, 20)


def test_lights_without_a_temperature() -> None:
    """No dark at all: 20 lack, at nobody knows what temperature. With 12 darks, poor for want of the lights'
    temperature, more of them would not help.
    """
    gap = by_role(gaps(lights(temperature_c=None), flats(), biases()))["dark"]
    assert (gap.interval, gap.lights_count, gap.have, gap.need) == (None, 20, 0, 20)
    gap = by_role(gaps(lights(temperature_c=None), darks(12), flats(), biases()))["dark"]
    assert (gap.verdict_now, gap.have, gap.need) == (Verdict.POOR, 12, 12)


def test_a_cooled_camera_is_set_to_the_lights_set_point() -> None:
    """The sensor reads -10.1 to -9.8, the cooler was set to -10: so are the darks."""
    shot = lights(temperature_c=[-10.1, -9.9, -9.8], set_c=-10.0)
    gap = by_role(gaps(shot, flats(), biases()))["dark"]
    assert gap.interval == Interval(-11.8, -8.1, -10.0)


def test_cooled_as_stated_or_as_its_set_point_says() -> None:
    assert gaps(lights(set_c=5.0))[0].cooled is True
    stated = Settings(cameras={body().id: Camera(cooled=False)})
    assert gaps(lights(set_c=5.0), settings=stated)[0].cooled is False
    assert gaps(lights())[0].cooled is None


def test_too_cold_for_the_camera_cannot_be_shot() -> None:
    stated = Settings(cameras={body().id: Camera(lowest_c=0.0)})
    cold = by_role(gaps(lights(temperature_c=-10.0), flats(), biases(), settings=stated))["dark"]
    mild = by_role(gaps(lights(temperature_c=-1.0), flats(), biases(), settings=stated))["dark"]
    assert (cold.still_possible, mild.still_possible) == (False, True)
