"""The cards of the scenario: what is on them, and that they hold the traps they are meant to hold."""

import gzip
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import pytest

from darklib.facts.frame import Kind
from darklib.scenario.expected import expected_batches
from darklib.scenario.nights import scenario, scrambled
from darklib.scenario.trio import trio, trio_shots

S = scenario()
FRAMES = [(place, file) for place, file in S.placed() if file.truth is not None]
STORED = {place: file for place, file in FRAMES if file.outcome == "stored"}
WORDS = (b"dark", b"flat", b"light", b"bias")


def test_the_demo_stays_small():
    assert 250 <= len(S.placed()) <= 350


def test_places_are_unique_but_names_collide_between_cards_and_folders():
    assert len({place for place, _ in S.placed()}) == len(S.placed())
    names = Counter(file.path.rsplit("/", 1)[-1] for _, file in S.placed())
    assert names["IMG_0001.DNG"] == 4
    assert max(Counter(file.path for _, file in S.placed()).values()) > 1


def test_no_two_sound_frames_are_the_same_and_the_copy_is():
    small = scenario(scale=0.2)
    made = [(file.outcome, file.make()) for card in small.cards for file in card.files if file.truth is not None]
    stored = {data for outcome, data in made if outcome == "stored"}
    copies = [data for outcome, data in made if outcome == "duplicate"]
    assert len(stored) == sum(outcome == "stored" for outcome, _ in made)
    assert len(copies) == 1
    assert copies[0] in stored


def test_rendering_twice_gives_the_same_bytes_and_another_seed_other_ones():
    for index in (0, 100, 250, 330):
        first, again = S.placed()[index], scenario().placed()[index]
        assert first[0] == again[0]
        assert first[1].make() == again[1].make()
    assert S.placed()[0][1].make() != scenario(seed=1).placed()[0][1].make()


def test_there_is_one_of_each_awkward_file():
    odd = Counter(file.outcome for _, file in S.placed())
    assert odd["passed_over"] == 1
    assert odd["duplicate"] == 1
    assert odd["set_aside"] == 3
    sizes = {place.rsplit("/", 1)[-1]: len(file.make()) for place, file in S.placed() if file.outcome == "set_aside"}
    assert sizes["NGC6946_H-alpha_300s_0010.fits"] == 0
    assert 100_000 < sizes["NGC6946_H-alpha_300s_0009.fits"] < 307_200
    assert sizes["IMG_0001.JPG"] > 100


def test_the_packed_frame_unpacks_to_fits():
    (packed,) = [file for file in STORED.values() if file.path.endswith(".gz")]
    assert gzip.decompress(packed.make()).startswith(b"SIMPLE  =                    T")


def test_raw_files_never_say_what_they_are():
    for place, file in scenario(scale=0.01).placed():
        if file.shot is None or file.shot.camera.cfa is None:
            continue
        assert not any(word.decode() in file.path.lower() for word in WORDS), place
        data = file.make()
        pixels = file.shot.expose().tobytes()
        assert pixels in data
        rest = data.replace(pixels, b"").lower()
        assert not any(word in rest for word in WORDS)


def test_one_target_spans_two_nights_and_one_night_has_a_meridian_flip():
    nights = {file.truth.night for file in STORED.values() if file.truth.target == "NGC 7331"}
    assert {"2026-09-12", "2026-09-13"} < nights
    flipped = [file for file in STORED.values() if file.truth.flipped]
    assert {file.truth.night for file in flipped} == {"2026-09-13"}
    assert {file.shot.pier_side for file in flipped} == {"west"}
    assert {file.truth.angle_deg for file in flipped} == {0.0}


def test_twins_share_a_model_and_not_a_serial_number():
    bodies = {(f.truth.make, f.truth.model, f.truth.body_serial) for f in STORED.values()}
    assert len({body[:2] for body in bodies}) == 2
    assert len(bodies) == 3


def test_truth_agrees_with_the_night_rule_and_the_clock_runs_on():
    mornings = [f for f in STORED.values() if f.truth.kind is Kind.FLAT]
    assert all(f.truth.taken_at.date().isoformat() > f.truth.night for f in mornings)
    for body in {f.truth.body_serial for f in STORED.values()}:
        times = sorted((f.truth.taken_at, f.truth.exposure_s) for f in STORED.values() if f.truth.body_serial == body)
        gaps = [(b[0] - a[0]).total_seconds() - a[1] for a, b in pairwise(times)]
        assert min(gaps) > 0


@pytest.mark.parametrize("scale", [0.05, 0.5, 1.0])
def test_the_answer_key_covers_every_light_once(scale):
    s = scenario(scale=scale)
    lights = [p for p, f in s.placed() if f.truth is not None and f.truth.kind is Kind.LIGHT and f.outcome == "stored"]
    assert sorted(lights) == sorted(place for batch in expected_batches(s) for place in batch.lights)


def test_the_answer_key_keeps_the_hard_rules_of_the_trade():
    for batch in expected_batches(S):
        light = [STORED[place].truth for place in batch.lights]
        assert {truth.body_serial for truth in light} == {batch.body_serial}
        assert {truth.night for truth in light} == {batch.night}
        for place in batch.darks.first:
            dark = STORED[place].truth
            assert (dark.kind, dark.body_serial, dark.setting, dark.exposure_s) == (
                Kind.DARK, batch.body_serial, batch.setting, batch.exposure_s,
            )  # fmt: skip
        flats = [STORED[place].truth for place in batch.flats.first]
        assert {(f.kind, f.body_serial, f.filter) for f in flats} == {(Kind.FLAT, batch.body_serial, batch.filter)}
        same_angle = {f.angle_deg for f in flats} == {truth.angle_deg for truth in light}
        assert same_angle is (batch.flats.state == "served")
        for role, kind in ((batch.dark_flats, Kind.DARK), (batch.biases, Kind.BIAS)):
            for place in role.first:
                truth = STORED[place].truth
                assert (truth.kind, truth.body_serial) == (kind, batch.body_serial)
                assert truth.setting == flats[0].setting
        for place in batch.dark_flats.first:
            assert STORED[place].truth.exposure_s == flats[0].exposure_s
        for role in (batch.darks, batch.flats, batch.dark_flats, batch.biases):
            assert bool(role.first) is (role.state in ("served", "stale"))
            assert not role.first & role.never
            assert not role.first & role.second


def test_scrambling_keeps_every_sound_frame_and_no_word():
    names = scrambled(scale=0.05)
    sound = [f for f in scenario(scale=0.05).placed() if f[1].outcome == "stored"]
    assert len(names) == len(sound)
    assert len({file.path for file in names}) == len(names)
    assert Counter(f.truth.group for f in names) == Counter(f.truth.group for _, f in sound)
    for file in names:
        assert not any(word.decode() in file.path for word in WORDS)
    fits = next(file for file in names if file.path.endswith(".fits"))
    assert b"IMAGETYP" not in fits.make()
    assert b"EXPTIME" in fits.make()


def test_a_group_nobody_shot_is_an_error():
    with pytest.raises(KeyError, match="moon"):
        S.group("moon")


@pytest.mark.parametrize("scale", [0.0, -1.0, 11.0])
def test_a_scale_out_of_range_is_refused(scale):
    with pytest.raises(ValueError, match="scale"):
        scenario(scale=scale)


def test_the_trio_is_a_dark_a_flat_and_a_light_of_one_camera():
    dark, flat, light = trio_shots()
    assert (dark.kind, flat.kind, light.kind) == (Kind.DARK, Kind.FLAT, Kind.LIGHT)
    assert dark.exposure_s == light.exposure_s == 300.0
    assert dark.camera == flat.camera == light.camera
    assert sum(len(file.make()) for file in trio()) < 100_000


def test_a_light_without_a_train_is_refused():
    with pytest.raises(ValueError, match="train"):
        replace(trio_shots()[2], train=None).expose()
