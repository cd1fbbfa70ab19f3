"""The choice fixed by cases worked by hand: each docstring reasons the answer on paper, from the rules of the
trade.

The counts and limits are rules of thumb (common practice, no single source): 10 darks at least and 20 are good; the
same exposure, gain or ISO; within 2 degrees good and within 5 usable until a sensor is measured.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from roll import READOUT, at, biases, body, darks, flats, lights, train

from darklib.facts.frame import Combined, Frame, FrameWarning, Kind, Readout
from darklib.facts.match import BodyChange, Choice, Match, TrainChange, Use, Verdict
from darklib.facts.settings import Settings
from darklib.matching.batches import batches_of
from darklib.matching.choose import match, match_all
from darklib.matching.stock import MemoryStock


def matches(*shot: list[Frame], **changes: object) -> list[Match]:
    stock = [frame for frames in shot for frame in frames]
    return match_all(batches_of(stock), MemoryStock(stock, **changes), Settings())  # type: ignore[arg-type]


def only(*shot: list[Frame], **changes: object) -> Match:
    (one,) = matches(*shot, **changes)
    return one


def chose(choice: Choice, expected: list[Frame]) -> bool:
    assert choice.set is not None
    return {frame.id for frame in choice.set.frames} == {frame.id for frame in expected}


def codes(choice: Choice) -> set[str]:
    return {reason.code for reason in choice.reasons} - {"assumed_sensor"}


def failed(choice: Choice) -> set[str]:
    return {miss.failed for miss in choice.near_misses}


def test_a_plain_night():
    """Lights at 5.0 C, 300 s; 20 darks at 5.0 C, 300 s, nine nights older; 20 flats of the morning after through
    the same train and filter, 0.5 s; 20 biases. Everything agrees: all good. The dark holds its bias, so no bias
    goes off the lights. The flats are shorter than 2 s: biases do for them, dark flats aren't needed. A morning
    belongs to the night before: the flats are 0 days old.
    """
    stock = darks(), flats(), biases()
    one = only(lights(), *stock)
    assert [one.darks.verdict, one.flats.verdict, one.biases.verdict] == [Verdict.GOOD] * 3
    assert one.dark_flats.verdict is Verdict.NOT_NEEDED
    assert [chose(choice, frames) for choice, frames in zip((one.darks, one.flats, one.biases), stock, strict=True)]
    assert (one.darks.use, one.biases.use, one.flats.use) == (Use.SUBTRACT, Use.WITH_FLATS, None)
    assert (one.darks.age_days, one.flats.age_days, one.darks.temperature_mismatch_c) == (9, 0, 0.0)
    assert one.darks.recipe is not None
    assert (one.darks.recipe.form, one.darks.recipe.needs_bias) == ("exact", False)
    assert "assumed_sensor" in {reason.code for reason in one.darks.reasons}
    assert one.darks.time_cost_percent is None


def test_two_bodies_of_one_model():
    """Two cameras of one model, serials A1 and B2. B2's darks agree in all settings and temperature, A1's are 3
    degrees off. Hot pixels are a camera's own, so B2's darks cannot serve A1's lights: A1's are taken, usable (3
    lies between 2 and 5), and B2's are shown as a near miss for their body.
    """
    own = darks(temperature_c=8.0)
    one = only(lights(), own, darks(body=body("B2")))
    assert chose(one.darks, own)
    assert one.darks.verdict is Verdict.USABLE
    assert one.darks.temperature_mismatch_c == 3.0
    assert codes(one.darks) == {"temperature_mismatch"}
    assert "3.0 C warmer than the lights" in one.darks.reasons[0].text
    assert failed(one.darks) == {"other_body"}


def test_gain_differs():
    """Darks at gain 200 for lights at gain 100: twice the DN per electron, all hot pixels come out twice too
    bright. Nothing else is there: missing, with the gain as the reason of the near miss.
    """
    one = only(lights(), darks(readout=replace(READOUT, gain=200.0)))
    assert one.darks.verdict is Verdict.MISSING
    assert one.darks.set is None
    assert failed(one.darks) == {"other_gain"}
    assert codes(one.darks) == {"nothing_fits"}


def test_offset_unknown_comes_after_all_known():
    """The nearer darks don't tell their offset (a wrong one leaves a pedestal); the others, 4 degrees off, agree in
    all that is known. Unknown against known: a candidate after all known ones. So the known darks are chosen,
    usable for their 4 degrees, and the others are the runner-up, usable at most although nothing else speaks
    against them.
    """
    known = darks(temperature_c=1.0)
    unknown = darks(start="2026-03-02T20:00", readout=replace(READOUT, offset=None))
    one = only(lights(), known, unknown)
    assert chose(one.darks, known)
    assert one.darks.verdict is Verdict.USABLE
    (runner,) = one.darks.runners_up
    assert chose(runner, unknown)
    assert runner.verdict is Verdict.USABLE
    assert codes(runner) == {"offset_unknown"}


def test_temperature_between_two_sets():
    """Lights at 5.0 C; darks at 4.0 and at 7.5 C. 1.0 against 2.5 degrees: the colder, within 2, is good; the
    warmer would be usable. (It is also 2.5 degrees too warm, and takes off too much.)
    """
    colder, warmer = darks(temperature_c=4.0), darks(start="2026-03-02T20:00", temperature_c=7.5)
    one = only(lights(), warmer, colder)
    assert chose(one.darks, colder)
    assert one.darks.verdict is Verdict.GOOD
    assert [runner.verdict for runner in one.darks.runners_up] == [Verdict.USABLE]
    assert one.darks.temperature_mismatch_c == -1.0


def test_a_difference_is_judged_as_it_is_shown():
    """Differences are told in tenths, so they are judged in tenths: what is told as 5.0 C is within the 5 C of usable
    whatever its hundredths, what is told as 5.1 C is not; the same at the 2 C of good. Common practice in giving
    results (rounded to the figures shown), no single source.
    """
    for temperature_c, told, verdict in (
        (9.96, "5.0 C warmer", Verdict.USABLE),
        (10.0, "5.0 C warmer", Verdict.USABLE),
        (10.04, "5.0 C warmer", Verdict.USABLE),
        (10.06, "5.1 C warmer", Verdict.POOR),
        (-0.04, "5.0 C colder", Verdict.USABLE),
        (-0.06, "5.1 C colder", Verdict.POOR),
        (7.06, "2.1 C warmer", Verdict.USABLE),
    ):
        one = only(lights(), darks(temperature_c=temperature_c))
        assert one.darks.verdict is verdict, temperature_c
        assert [told in reason.text for reason in one.darks.reasons if reason.code == "temperature_mismatch"] == [True]
    near = only(lights(), darks(temperature_c=7.04))
    assert near.darks.verdict is Verdict.GOOD
    assert "temperature_mismatch" not in codes(near.darks)


def test_equally_far_the_colder():
    """Darks at 3.5 and 6.5 C for lights at 5.0: both 1.5 off. Too warm a dark takes off more than there is; the
    colder is taken, although the warmer is newer.
    """
    colder, warmer = darks(temperature_c=3.5), darks(start="2026-03-05T20:00", temperature_c=6.5)
    assert chose(only(lights(), warmer, colder).darks, colder)


def test_too_few_but_nearer_against_enough_but_farther():
    """6 darks at the lights' own 5.0 C against 20 at 6.5 C. Six are fewer than the ten of a good set: usable.
    Twenty within 2 degrees: good. The twenty are chosen; the six say why they lost.
    """
    few, enough = darks(6), darks(start="2026-03-02T20:00", temperature_c=6.5)
    one = only(lights(), few, enough)
    assert chose(one.darks, enough)
    assert one.darks.verdict is Verdict.GOOD
    (runner,) = one.darks.runners_up
    assert codes(runner) == {"too_few"}
    assert "only 6" in runner.reasons[0].text


def test_too_few_twice_make_one_set():
    """6 and 7 darks of two nights at one set-point of a cooled camera, 5.0 C. Neither is enough; together they are
    13, at one temperature, same settings: good, as a merged set. It is as old as its older half: 2026-02-18 to
    2026-03-10 is 20 days.
    """
    first = darks(6, start="2026-02-18T20:00", set_c=5.0)
    second = darks(7, start="2026-03-01T20:00", set_c=5.0)
    one = only(lights(set_c=5.0), first, second)
    assert chose(one.darks, first + second)
    assert one.darks.verdict is Verdict.GOOD
    assert one.darks.recipe is not None
    assert one.darks.recipe.form == "merged"
    assert one.darks.age_days == 20


def test_three_darks_are_poor():
    """Three darks add a third to the noise of dithered lights where the dark current is all there is; over a
    quarter is poor. Still better shown than nothing.
    """
    one = only(lights(), darks(3))
    assert one.darks.verdict is Verdict.POOR
    assert codes(one.darks) == {"too_few"}


def test_newest_of_equals():
    """Three sets of 20 darks at 5.0 C, 40, 9 and 4 days before the lights: a sensor grows new hot pixels with time,
    so of equal sets the newest is taken.
    """
    old, newer, newest = darks(start="2026-01-29T20:00"), darks(), darks(start="2026-03-06T20:00")
    one = only(lights(), newest, old, newer)
    assert chose(one.darks, newest)
    assert [runner.age_days for runner in one.darks.runners_up] == [9, 40]


def test_aged_darks_are_usable_at_most():
    """Darks of the lights' own temperature, shot on 2024-03-01: 739 days before 2026-03-10 (365 + 366 - 1 + 9 =
    739, the leap day of 2024 lying before). Past a year: usable, with the age as the reason.
    """
    one = only(lights(), darks(start="2024-03-01T20:00"))
    assert one.darks.verdict is Verdict.USABLE
    assert one.darks.age_days == 739
    assert codes(one.darks) == {"aged"}


def test_flats_of_half_past_one_belong_to_the_night_before():
    """Lights end at 2026-03-11 04:00; flats at 13:30 that day: after noon, so their own date is the night of the
    11th. The next lights on the train begin on the 11th at 21:00 and end at 04:00. From the flats it is 9.5 hours
    back to one end and 14.5 hours on to the other: they belong to the night of the 10th, good there, age 0; for the
    11th they are another night's, usable.
    """
    tenth = lights(84, "2026-03-10T21:00")
    eleventh = lights(84, "2026-03-11T21:00")
    shot = flats(start="2026-03-11T13:30")
    first, second = matches(tenth, eleventh, shot)
    assert chose(first.flats, shot)
    assert (first.flats.verdict, first.flats.age_days) == (Verdict.GOOD, 0)
    assert (second.flats.verdict, second.flats.stale) == (Verdict.USABLE, False)
    assert codes(second.flats) == {"other_night"}


def test_flats_at_dusk_belong_to_the_coming_night():
    """Lights end at 04:00 and begin again at 21:00; flats at 19:30, an hour and a half before. Dusk flats are for
    the night that follows.
    """
    first, second = matches(
        lights(84, "2026-03-10T21:00"), lights(84, "2026-03-11T21:00"), flats(start="2026-03-11T19:30")
    )
    assert codes(first.flats) == {"other_night"}
    assert second.flats.verdict is Verdict.GOOD


def test_each_night_with_its_own_flats():
    """Two nights, each with flats of the morning after: each takes its own, whatever the other offers."""
    mornings = flats(30), flats(start="2026-03-12T06:00")
    first, second = matches(lights(), lights(start="2026-03-11T21:00"), *mornings)
    assert chose(first.flats, mornings[0])
    assert chose(second.flats, mornings[1])


def test_train_taken_apart_between_lights_and_flats():
    """The camera came off the telescope at 05:00; the flats of 06:00 show other dust: poor and stale. Recorded at
    20:00, before the first light, the same change speaks against nothing.
    """
    from_lights_to_flats = TrainChange(train().fingerprint, at("2026-03-11T05:00"), "camera re-seated")
    before = TrainChange(train().fingerprint, at("2026-03-10T20:00"), "")
    one = only(lights(), flats(), train_changes=[from_lights_to_flats])
    assert (one.flats.verdict, one.flats.stale) == (Verdict.POOR, True)
    assert codes(one.flats) == {"train_changed"}
    assert only(lights(), flats(), train_changes=[before]).flats.verdict is Verdict.GOOD


def test_rotated_train():
    """The rotator stood at 10.0 degrees for the lights and at 55.0 for the evening's flats, back at 10.2 for the
    morning's. 45 degrees put every shadow elsewhere; 0.2 do not. The morning's are taken, good; the evening's are
    poor and stale.
    """
    evening = flats(start="2026-03-10T19:30", rotator_deg=55.0)
    morning = flats(rotator_deg=10.2)
    one = only(lights(rotator_deg=10.0), evening, morning)
    assert chose(one.flats, morning)
    assert (one.flats.verdict, one.flats.stale) == (Verdict.GOOD, False)
    (runner,) = one.flats.runners_up
    assert (runner.verdict, runner.stale) == (Verdict.POOR, True)
    assert codes(runner) == {"rotated"}
    assert runner.reasons[0].figures["turned_deg"] == pytest.approx(45.0)


def test_rotator_angles_either_side_of_north_are_near():
    """359.9 and 0.1 degrees are 0.2 apart, not 359.8."""
    assert only(lights(rotator_deg=359.9), flats(rotator_deg=0.1)).flats.verdict is Verdict.GOOD


def test_filter_and_train_differ():
    """Flats through the red filter, and through another telescope: other dust and other corners. Both miss, each
    for its reason; nothing is left.
    """
    other = train("Short Tube", 400.0)
    one = only(lights(), flats(filter_="R"), flats(train=other, start="2026-03-11T07:00"))
    assert one.flats.verdict is Verdict.MISSING
    assert failed(one.flats) == {"other_filter", "different_train"}


def test_filter_written_differently():
    """ "H-alpha" and "h alpha" are one filter written in two habits."""
    assert only(lights(filter_="H-alpha"), flats(filter_="h alpha")).flats.verdict is Verdict.GOOD


def test_flats_need_not_share_gain():
    """Flats at gain 0, offset 10 for lights at gain 100: a flat is divided by its own mean, so its gain cancels.
    Good; the biases that go with it have to be of gain 0, not of the lights' 100.
    """
    low = replace(READOUT, gain=0.0, offset=10.0)
    for_lights, for_flats = biases(40), biases(readout=low, start="2026-02-01T19:00")
    one = only(lights(), darks(), flats(readout=low), for_lights, for_flats)
    assert one.flats.verdict is Verdict.GOOD
    assert codes(one.flats) == {"other_readout"}
    assert chose(one.biases, for_flats)
    assert one.biases.use is Use.WITH_FLATS


def test_dark_flats_against_biases():
    """Flats of 6 s: longer than 2 s, so they want dark flats. 20 darks of 6 s at the flats' gain exist, and 40
    biases. The dark flats are used and hold the bias; taking biases as well would take it off twice.
    """
    matching = darks(exposure_s=6.0, start="2026-03-11T06:30", temperature_c=8.0)
    one = only(lights(), darks(), flats(exposure_s=6.0), matching, biases(40))
    assert chose(one.dark_flats, matching)
    assert (one.dark_flats.verdict, one.dark_flats.use) == (Verdict.GOOD, Use.WITH_FLATS)
    assert one.biases.verdict is Verdict.NOT_NEEDED


def test_long_flats_without_dark_flats():
    """The same without the 6 s darks: dark flats are missing and biases stand in, usable at most."""
    one = only(lights(), darks(), flats(exposure_s=6.0), biases(40))
    assert one.dark_flats.verdict is Verdict.MISSING
    assert (one.biases.verdict, one.biases.use) == (Verdict.USABLE, Use.WITH_FLATS)


def test_bin_2_against_bin_1():
    """Darks of the full resolution for lights binned 2 x 2: each of the lights' pixels is four of the darks'.
    Missing; the binning is named, not the frame size that follows from it.
    """
    binned = replace(READOUT, binning=(2, 2), width=1504, height=1504)
    one = only(lights(readout=binned), darks())
    assert one.darks.verdict is Verdict.MISSING
    assert failed(one.darks) == {"other_binning"}


def test_drifting_batch_in_two_parts():
    """40 lights cool from 10.0 to 2.2 C in steps of 0.2 (light i at 10 - 0.2 i). Darks at 9.0 and 3.0 C, 20 each.
    Good within 2 degrees: 9.0 serves 11.0..7.0, lights 0 to 15; 3.0 serves 5.0..1.0, lights 25 to 39. Neither
    serves all, so two parts. Between, each light goes where it is nearer: 6.0 C, light 20, is as near to both. So
    lights 0..19 and 21..39 are certain.
    """
    shot = lights(40, temperature_c=[10.0 - 0.2 * place for place in range(40)])
    warm, cold = darks(temperature_c=9.0), darks(start="2026-03-02T20:00", temperature_c=3.0)
    first, second = matches(shot, warm, cold)
    assert chose(first.darks, warm)
    assert chose(second.darks, cold)
    assert [(one.part, one.parts) for one in (first, second)] == [(1, 2), (2, 2)]
    assert {frame.id for frame in shot[:20]} <= {frame.id for frame in first.lights}
    assert {frame.id for frame in shot[21:]} <= {frame.id for frame in second.lights}
    assert len(first.lights) + len(second.lights) == 40


def test_drift_within_one_set_stays_whole():
    """Lights from 6.5 to 3.5 C and darks at 5.0 and at 6.5 C. 5.0 is good for each of them (1.5 at most), so
    nothing is parted, although the warmest lights have a nearer set.
    """
    shot = lights(16, temperature_c=[6.5 - 0.2 * place for place in range(16)])
    middle = darks()
    one = only(shot, middle, darks(start="2026-03-02T20:00", temperature_c=6.5))
    assert chose(one.darks, middle)
    assert one.parts == 1


def test_values_in_steps_of_sixteen():
    """A program shifts the camera's 12 bits to 16: all values are multiples of 16. The same camera's darks in steps
    of 1 are sixteen times too faint.
    """
    one = only(lights(readout=replace(READOUT, dn_step=16)), darks())
    assert failed(one.darks) == {"other_dn_scale"}


def test_cropped_darks():
    """Darks of a region of 1000 x 1000 pixels that begins at (500, 500); the lights' region of equal size at (0,
    0). Pixel for pixel they are different pixels.
    """
    region = replace(READOUT, width=1000, height=1000)
    one = only(lights(readout=region), darks(readout=replace(region, origin_x=500, origin_y=500)))
    assert failed(one.darks) == {"cropped"}


def test_retired_darks_are_never_matched():
    """20 darks that fit, all retired: missing, and not even a near miss."""
    one = only(lights(), darks(retired=True))
    assert one.darks.verdict is Verdict.MISSING
    assert one.darks.near_misses == ()


def test_remapped_camera_ends_older_darks():
    """The camera remapped its hot pixels on 2026-03-05. Darks of the 1st show the old ones; darks of the 7th, 3
    degrees off, are taken. Biases of the 1st stay: a remap touches hot pixels, not the readout.
    """
    old, new = darks(), darks(start="2026-03-07T20:00", temperature_c=8.0)
    change = BodyChange(body().id, "remapped", at("2026-03-05T12:00"))
    one = only(lights(), old, new, flats(), biases(), body_changes=[change])
    assert chose(one.darks, new)
    assert failed(one.darks) == {"body_changed"}
    assert one.biases.verdict is Verdict.GOOD


def test_cleaned_sensor_ends_older_flats():
    """The window was cleaned between the flats of the night before and these lights: that dust is gone."""
    change = BodyChange(body().id, "cleaned", at("2026-03-10T12:00"))
    one = only(lights(), flats(start="2026-03-10T06:00"), darks(), body_changes=[change])
    assert one.flats.verdict is Verdict.MISSING
    assert failed(one.flats) == {"body_changed"}
    assert one.darks.verdict is Verdict.GOOD


def test_a_dark_of_another_exposure_is_scaled_only_with_biases():
    """Darks of 150 s at the right temperature for lights of 300 s. With biases: (dark - bias) x 2, and the
    bias goes off the lights as well, once. The factor is 300/150 = 2. Until the sensor is measured only equal exposures
    are good or usable, so this is poor. Without biases there is no way: a near miss.
    """
    short = darks(exposure_s=150.0)
    bias = biases()
    one = only(lights(), short, bias)
    assert chose(one.darks, short)
    assert (one.darks.verdict, one.darks.use) == (Verdict.POOR, Use.SCALE)
    assert one.darks.recipe is not None
    assert (one.darks.recipe.form, one.darks.recipe.scale, one.darks.recipe.needs_bias) == ("scaled", 2.0, True)
    assert codes(one.darks) == {"scaled", "exposure_mismatch"}
    assert chose(one.biases, bias)
    assert one.biases.use is Use.SUBTRACT
    without = only(lights(), short)
    assert without.darks.verdict is Verdict.MISSING
    assert failed(without.darks) == {"exposure_mismatch"}


def test_a_dial_of_30_seconds():
    """A body whose dial says 30 exposes 32 s, and files say either: the two serve each other, and what lies between.
    Beyond them 1 s or 2 percent count: 33.1 s is 1.1 s from 32, 29.4 s is not the dial's 30.
    """
    dark = darks(exposure_s=32.0)
    for exposure_s in (30.0, 31.2, 32.0, 32.9):
        assert only(lights(exposure_s=exposure_s), dark).darks.verdict is Verdict.GOOD
    for exposure_s in (29.4, 33.1):
        assert only(lights(exposure_s=exposure_s), dark).darks.verdict is Verdict.MISSING


def test_the_camera_took_its_own_dark_off():
    """Lights with the camera's own subtraction need no dark: it is off already, bias and all. Darks shot that way
    are differences of two darks and serve nobody.
    """
    assert only(lights(subtraction=True), darks()).darks.verdict is Verdict.NOT_NEEDED
    one = only(lights(), darks(subtraction=True))
    assert one.darks.verdict is Verdict.MISSING
    assert failed(one.darks) == {"in_camera_subtraction"}


def test_light_got_into_a_dark():
    """19 good darks and one in which the cap leaked: the 19 are the set, the leaky one is shown as a near miss."""
    good = darks(19)
    leaky = darks(1, start="2026-03-01T23:00", warnings=(FrameWarning("light_leak", ""),))
    one = only(lights(), good, leaky)
    assert chose(one.darks, good)
    assert failed(one.darks) == {"light_leak"}


def test_a_combination_of_unknown_making():
    """A combined dark that doesn't tell whether its bias was taken off is not matched by itself. One that tells,
    made of 25 frames with the bias taken off, is good and needs the bias off the lights; made of 25 with the bias
    in, it needs none.
    """
    assert failed(only(lights(), darks(1, combined=Combined(25)), biases()).darks) == {"combined_unknown"}
    one = only(lights(), darks(1, combined=Combined(25, bias_removed=True)), biases(), flats())
    assert one.darks.verdict is Verdict.GOOD
    assert one.biases.use is Use.SUBTRACT
    # The flats need biases as well: they are handed over in the dark flats' place, so that each choice has one use.
    assert (one.dark_flats.use, one.dark_flats.set) == (Use.WITH_FLATS, one.biases.set)
    plain = only(lights(), darks(1, combined=Combined(25, bias_removed=False)), biases())
    assert plain.darks.verdict is Verdict.GOOD
    assert plain.biases.verdict is Verdict.NOT_NEEDED


def test_temperature_unknown():
    """Lights of 300 s that tell no temperature: 300 s gather dark current, and nobody knows how much. Poor, with
    the reason, until a dark ratio is measured.
    """
    one = only(lights(temperature_c=None), darks())
    assert one.darks.verdict is Verdict.POOR
    assert one.darks.temperature_mismatch_c is None
    assert codes(one.darks) == {"temperature_unknown"}


def test_train_unknown():
    """Raw files without a word on the lens: flats of the same morning, body and filter are likely right, and nobody
    can say so. Usable at most; flats that tell their train and agree with nothing known come no better.
    """
    one = only(lights(train=None), flats(train=None))
    assert one.flats.verdict is Verdict.USABLE
    assert "train_unknown" in codes(one.flats)


def test_flats_aged_and_refocused():
    """Flats of 40 nights ago through an unchanged train, focus moved by 2000 steps since: another night's, over 30
    days old, shadows of another size. Usable and stale.
    """
    one = only(lights(focuser=12000.0), flats(start="2026-01-29T06:00", focuser=10000.0))
    assert (one.flats.verdict, one.flats.stale) == (Verdict.USABLE, True)
    assert codes(one.flats) == {"focus_moved", "other_night", "aged"}


def test_twilight_flats_of_changing_exposure():
    """Flats at dawn: 4 each of 4, 2, 1 and 0.5 s as the sky brightens. No exposure has ten, together they are 16 of
    one morning, train and filter; a flat is normalised, so they are combined.
    """
    dawn = [
        flats(4, f"2026-03-11T05:{minute:02d}", exposure_s=exposure_s)
        for minute, exposure_s in ((30, 4.0), (33, 2.0), (36, 1.0), (39, 0.5))
    ]
    one = only(lights(), *dawn)
    assert chose(one.flats, [frame for part in dawn for frame in part])
    assert one.flats.verdict is Verdict.GOOD
    assert one.flats.recipe is not None
    assert one.flats.recipe.form == "merged"


def test_a_raw_body_has_no_offset():
    """An uncooled body tells ISO and neither gain nor offset; its darks too. What no side has cannot differ: good.
    At another ISO they miss.
    """
    raw = Readout(iso=800, width=6000, height=4000, cfa="RGGB", bits=14, dn_step=1)
    assert only(lights(readout=raw), darks(readout=raw)).darks.verdict is Verdict.GOOD
    assert failed(only(lights(readout=raw), darks(readout=replace(raw, iso=1600))).darks) == {"other_gain"}


def test_flipped_rows():
    """One program writes the rows upwards, another downwards: a dark upside down doubles every hot pixel."""
    up, down = replace(READOUT, row_order="BOTTOM-UP"), replace(READOUT, row_order="TOP-DOWN")
    assert failed(only(lights(readout=up), darks(readout=down)).darks) == {"flipped"}


def test_only_the_set_point_is_known():
    """A cooled camera whose files tell the set-point, -10 C, and not what was reached: the same set-point is the
    best that can be said, usable.
    """
    one = only(lights(temperature_c=None, set_c=-10.0), darks(temperature_c=None, set_c=-10.0))
    assert one.darks.verdict is Verdict.USABLE
    assert one.darks.temperature_mismatch_c == 0.0
    assert codes(one.darks) == {"temperature_unknown"}


def test_match_of_one_batch_by_itself():
    """`match` on lights that the stock does not hold (looked at, not taken in) answers as if it did."""
    (batch,) = batches_of(lights())
    stock = MemoryStock(darks() + flats())
    (one,) = match(batch, stock, Settings())
    assert (one.darks.verdict, one.flats.verdict) == (Verdict.GOOD, Verdict.GOOD)
    assert {frame.kind for frame in one.lights} == {Kind.LIGHT}


def test_a_serial_number_not_known_yet() -> None:
    """Darks shot with a program that writes no serial number, of the lights' model: perhaps this camera. Usable, and
    after darks that are known to be of it.
    """
    perhaps = darks(body=body(None))
    one = only(lights(), perhaps)
    assert (one.darks.verdict, codes(one.darks)) == (Verdict.USABLE, {"body_unknown"})
    known = darks(temperature_c=9.0, start="2026-03-02T20:00")
    assert chose(only(lights(), perhaps, known).darks, known)


def test_frames_without_a_time_or_an_exposure() -> None:
    """Lights and flats that tell no time: nobody knows for which night the flats were shot. Without an exposure no dark
    can be chosen.
    """
    undated = [replace(frame, taken_at=None, night=None) for frame in lights() + flats()]
    one = only(undated, darks())
    assert (one.darks.verdict, one.darks.age_days) == (Verdict.GOOD, None)
    assert (one.flats.verdict, codes(one.flats)) == (Verdict.USABLE, {"other_night"})
    unexposed = only(lights(exposure_s=None, every_s=60.0), darks())
    assert (unexposed.darks.verdict, codes(unexposed.darks)) == (
        Verdict.MISSING,
        {"nothing_fits", "exposure_mismatch"},
    )
