"""What a run shows together: faint stars in frame after frame, a level that does not move, a cap that came off."""

import pytest
from shown import candidate, facts, pixels, starry

from darklib.facts.frame import Kind
from darklib.kinds.groups import decide
from darklib.kinds.signs import unlikely

UNTOLD = {"black_dn": None, "bits": None}


def run(figures, count=10, exposure_s=120.0, **told):
    return [candidate(facts(exposure_s, frame=n, **told), figures(n)) for n in range(count)]


def kinds(members):
    return [decision.kind for decision in decide(members)]


@pytest.mark.parametrize("sort", ["whole_stars", "soft_stars", "plain_stars"])
def test_a_star_in_every_frame_is_one_and_in_a_few_frames_may_be_cosmic_rays(sort):
    def one(there):
        return pixels(801, stars=float(there), **{sort: float(there)})

    # Plain ones may be clusters of hot pixels; and four in ten frames are no more than cosmic rays make.
    assert kinds(run(lambda n: one(True))) == [None if sort == "plain_stars" else Kind.LIGHT] * 10
    assert (Kind.DARK in kinds(run(lambda n: one(n % 3 == 0)))) == (sort == "plain_stars")
    assert kinds(run(lambda n: one(False))) == [Kind.DARK] * 10


def test_where_hot_pixels_crowd_only_whole_stars_count():
    crowd = {"stars": 12.0, "stars_by_chance": 11.0, "hot_pixels": 30_000.0}
    assert kinds(run(lambda n: pixels(815, soft_stars=1.0, soft_stars_by_chance=0.5, **crowd))) == [Kind.DARK] * 10
    assert kinds(run(lambda n: pixels(815, soft_stars=1.0, whole_stars=1.0, **crowd))) == [Kind.LIGHT] * 10


def test_a_level_that_keeps_still_settles_frames_without_a_black_level():
    steady = run(lambda n: pixels(800 + 0.05 * n), **UNTOLD)
    assert kinds(steady) == [Kind.DARK] * 10
    assert kinds(steady[:1]) == [None]
    # A sky of three deviations that grows brighter by half a percent a frame.
    assert kinds(run(lambda n: pixels(800 + 24 * (1 + 0.005 * n)), **UNTOLD)) == [None] * 10


def test_stars_in_short_exposures_may_be_those_of_a_flat_at_twilight():
    # Nothing but an exposure longer than flats have makes faint stars in every frame a light.
    assert kinds(run(lambda n: pixels(801, stars=1.0, soft_stars=1.0), exposure_s=2.0)) == [None] * 10


def test_the_noise_bounds_the_light_where_the_electrons_of_one_dn_are_told():
    # Noise of 8 DN: at 0.25 electrons each there is room for 4 electrons, 2 deviations; at 2 for 256, 16 deviations.
    # Poisson's law (EMVA Standard 1288, release 4.0, section 2.2: the variance of a number of electrons is its mean).
    assert kinds(run(lambda n: pixels(), 1, e_per_dn=0.25, **UNTOLD)) == [Kind.DARK]
    assert kinds(run(lambda n: pixels(), 1, e_per_dn=2.0, **UNTOLD)) == [None]


def test_a_short_exposure_without_stars_is_no_sky():
    assert kinds(run(lambda n: pixels(300), 1, exposure_s=5.0, **UNTOLD)) == [Kind.DARK]
    # A fifth of a range of 12 bits, which is the least that holds it, may be an even flat.
    assert kinds(run(lambda n: pixels(), 1, exposure_s=5.0, **UNTOLD)) == [None]
    assert kinds(run(lambda n: pixels(), 1, exposure_s=5.0, e_per_dn=1.0, **UNTOLD)) == [Kind.DARK]
    assert kinds(run(lambda n: pixels(), 1, exposure_s=50.0, **UNTOLD)) == [None]


def test_a_cap_that_came_off_is_told_and_darks_after_the_lights_are_not():
    def codes(members):
        return [[warning.code for warning in decision.warnings] for decision in decide(members)]

    capped = run(lambda n: pixels(801) if n < 4 else pixels(900, **starry()))
    assert codes(capped) == [["light_is_black"]] * 4 + [[]] * 6
    darks_after = run(lambda n: pixels(900, **starry()) if n < 5 else pixels(801))
    assert codes(darks_after) == [[]] * 10


@pytest.mark.parametrize(
    ("count", "expected", "tail"),
    # Upper tails of Poisson's law; scipy.stats.poisson.sf(count - 1, expected).
    [(1, 0.05, 0.0487706), (3, 0.5, 0.0143877), (7, 2.0, 0.00453381), (20, 10.0, 0.00345434)],
)
def test_the_tail_of_poissons_law(count, expected, tail):
    assert unlikely(count, expected, tail * 1.001)
    assert not unlikely(count, expected, tail * 0.999)
