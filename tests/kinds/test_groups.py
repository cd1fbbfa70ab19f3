"""All frames of a folder together: who is believed, black levels of the same camera, and runs."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shown import START, candidate, facts, pixels, starry

from darklib.facts.frame import Kind, KindFrom
from darklib.kinds.groups import decide, group_key

UNKNOWN = {"black_dn": None, "bits": None}


def kinds(members):
    return [decision.kind for decision in decide(members)]


def codes(decision):
    return [warning.code for warning in decision.warnings]


def test_the_user_is_believed_before_header_path_and_pixels():
    member = candidate(facts(kind=Kind.FLAT), pixels(**starry()), "bias/dark_1.fits", Kind.LIGHT)
    sources = []
    for stated, header, path in (
        (Kind.LIGHT, Kind.FLAT, "lights/dark_1.fits"),
        (None, Kind.FLAT, "lights/light_1.fits"),
        (None, None, "flats/light_1.fits"),
        (None, None, "a1/b2.fits"),
    ):
        one = candidate(replace(member.facts, kind=header), member.pixels, path, stated)
        decision = decide([one])[0]
        sources.append((decision.source, decision.kind))
    assert sources == [
        (KindFrom.USER, Kind.LIGHT),
        (KindFrom.HEADER, Kind.FLAT),
        (KindFrom.PATH, Kind.LIGHT),
        (KindFrom.PIXELS, Kind.LIGHT),
    ]


def test_header_and_path_need_no_pixels():
    assert kinds([candidate(facts(kind=Kind.DARK), None), candidate(facts(), None, "flats/a.fits")]) == [
        Kind.DARK,
        Kind.FLAT,
    ]
    assert kinds([candidate(facts(), None)]) == [None]


def test_a_light_in_a_folder_called_dark_is_not_taken_for_a_dark():
    decision = decide([candidate(facts(), pixels(830, **starry()), "dark/IMG_1.CR2")])[0]
    assert decision.kind is None
    assert "kind_disagrees" in codes(decision)
    assert "dark" in decision.why


def test_a_dark_nobody_can_tell_from_light_stays_what_its_folder_says():
    decision = decide([candidate(facts(**UNKNOWN), pixels(), "darks/IMG_1.CR2")])[0]
    assert (decision.kind, decision.source, decision.warnings) == (Kind.DARK, KindFrom.PATH, ())


def test_biases_of_the_same_camera_lend_their_black_level():
    dark = candidate(facts(300, **UNKNOWN), pixels(806))
    bias = candidate(facts(1 / 4000, frame=9000, **UNKNOWN), pixels(800))
    assert kinds([dark]) == [None]
    assert kinds([dark, bias]) == [Kind.DARK, Kind.BIAS]
    other = replace(bias, facts=replace(bias.facts, gain=200.0))
    assert kinds([dark, other]) == [None, Kind.BIAS]
    sky = candidate(facts(300, **UNKNOWN), pixels(860))
    assert kinds([sky, bias]) == [None, Kind.BIAS]


def test_known_darks_lend_theirs_too():
    known = candidate(facts(300, kind=Kind.DARK, **UNKNOWN), pixels(800))
    assert kinds([candidate(facts(60, **UNKNOWN), pixels(801)), known]) == [Kind.DARK, Kind.DARK]
    leaked = candidate(facts(300, kind=Kind.DARK, **UNKNOWN), pixels(800, **starry()))
    assert kinds([candidate(facts(60, **UNKNOWN), pixels(801)), leaked]) == [None, Kind.DARK]


def run(count, shown, **more):
    return [candidate(facts(frame=number, **more), shown(number), f"x/{number:03d}.fits") for number in range(count)]


def test_a_run_settles_its_undecided_frames():
    lights = run(10, lambda n: pixels(810, **(starry(8, 200) if n % 2 else {"stars": 2.0, "plain_stars": 1.0})))
    assert kinds(lights) == [Kind.LIGHT] * 10
    darks = run(10, lambda n: pixels(stars=1.0, plain_stars=1.0) if n == 4 else pixels())
    assert kinds(darks) == [Kind.DARK] * 10


def test_a_run_in_which_many_frames_may_hold_a_star_is_not_dark():
    faint = run(10, lambda n: pixels(801, stars=1.0, plain_stars=1.0) if n % 2 else pixels(801))
    assert kinds(faint) == [None] * 10


def test_a_frame_without_stars_between_lights_is_no_dark():
    lights = run(10, lambda n: pixels(804) if n == 5 else pixels(806, **starry(12, 200)))
    assert kinds(lights) == [Kind.LIGHT] * 5 + [None] + [Kind.LIGHT] * 4


def test_darks_right_after_the_lights_are_another_run():
    night = run(20, lambda n: pixels(830, **starry()) if n < 10 else pixels(801))
    assert kinds(night) == [Kind.LIGHT] * 10 + [Kind.DARK] * 10


def test_a_capped_frame_among_lights_is_a_dark_with_a_warning():
    night = run(9, lambda n: pixels(800) if n == 4 else pixels(860, **starry()))
    decisions = decide(night)
    assert [decision.kind for decision in decisions] == [Kind.LIGHT] * 4 + [Kind.DARK] + [Kind.LIGHT] * 4
    assert [codes(decision) for decision in decisions] == [[]] * 4 + [["light_is_black"]] + [[]] * 4


def test_a_dark_of_a_target_is_warned_of_and_one_of_an_object_called_dark_is_not():
    assert codes(decide([candidate(facts(target="M 31"), pixels())])[0]) == ["light_is_black"]
    assert codes(decide([candidate(facts(target="Dark"), pixels())])[0]) == []


def test_a_gap_in_time_ends_a_run():
    first = run(5, lambda n: pixels(806, **starry(12, 200)))
    later = [
        replace(one, facts=replace(one.facts, taken_at=START + timedelta(hours=3, minutes=3 * n)))
        for n, one in enumerate(run(5, lambda n: pixels(stars=1.0, plain_stars=1.0)))
    ]
    assert kinds(first + later) == [Kind.LIGHT] * 5 + [None] * 5


def test_frames_without_a_time_run_by_folder_and_order():
    timeless = [
        replace(one, facts=replace(one.facts, taken_at=None))
        for one in run(6, lambda n: pixels(stars=1.0, plain_stars=1.0) if n == 3 else pixels())
    ]
    assert kinds(timeless) == [Kind.DARK] * 6


def test_the_order_of_the_candidates_changes_nothing():
    night = run(20, lambda n: pixels(830, **(starry() if n % 3 else {})) if n < 10 else pixels(801))
    forward, backward = kinds(night), kinds(night[::-1])
    assert forward == backward[::-1]


@given(
    st.lists(
        st.tuples(
            st.sampled_from([None, *Kind]),
            st.sampled_from([None, 0.0, 0.0005, 1.0, 120.0]),
            st.sampled_from([600.0, 800.0, 830.0, 20_000.0, 65_535.0]),
            st.sampled_from([0.0, 1.0, 200.0]),
            st.booleans(),
            st.sampled_from(["a.fits", "dark/a.fits", "light/flat_1.fits"]),
        ),
        max_size=12,
    )
)
def test_every_candidate_gets_one_decision_with_words(given_):
    members = [
        candidate(
            replace(
                facts(exposure or 0.0, frame=n, kind=kind), exposure_s=exposure, taken_at=None if timeless else START
            ),
            pixels(level, stars=stars, plain_stars=stars),
            path,
        )
        for n, (kind, exposure, level, stars, timeless, path) in enumerate(given_)
    ]
    decisions = decide(members)
    assert len(decisions) == len(members)
    for member, decision in zip(members, decisions, strict=True):
        assert decision.why
        assert (decision.kind is None) == (decision.source is None) == (decision.confidence < 0.8)
        if member.facts.kind is not None:
            assert decision.kind is member.facts.kind


def test_a_group_is_asked_about_once():
    flats = [candidate(facts(2.0 + 0.01 * n, frame=n), pixels(30_000 + 40 * n), f"x/{n}.fits") for n in range(40)]
    assert len({group_key(one) for one in flats}) == 1
    keys = {
        group_key(candidate(facts(), pixels())),
        group_key(candidate(facts(), pixels(20_000))),
        group_key(candidate(facts(2.0), pixels())),
        group_key(candidate(facts(model="Other"), pixels())),
        group_key(candidate(facts(), pixels(), "other/c3.fits")),
        group_key(candidate(facts(iso=800), pixels())),
    }
    assert len(keys) == 6


@pytest.mark.parametrize("nothing", [[], ()])
def test_no_candidates_no_decisions(nothing):
    assert decide(nothing) == []
