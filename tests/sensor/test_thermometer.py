"""Dark ratios and temperatures from hot pixels, against frames whose pixels and temperatures are known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from darklib.pixels.hot import HotPixels
from darklib.sensor.ageing import aged
from darklib.sensor.identity import Sameness, identified
from darklib.sensor.reference import Reference, combined
from darklib.sensor.thermometer import Place, dark_ratio, doublings, laid_out, law_of, relative, trend

WIDTH, HEIGHT, NOISE = 1200, 800, 10.0
DOUBLING_C = 7.3


class Body:
    """Hot pixels of one sensor; frames of it as evidence, without an image between."""

    def __init__(self, seed: int, count: int = 600) -> None:
        rng = np.random.default_rng(seed)
        self.places = rng.choice(WIDTH * HEIGHT, count, replace=False)
        self.at_zero = 40.0 * (1.0 + rng.pareto(1.3, count))
        self.doubling_c = DOUBLING_C * (1.0 + 0.1 * np.clip(rng.standard_normal(count), -3, 3))
        self.rng = rng

    def frame(self, temperature_c: float, exposure_s: float = 100.0, noise: float = NOISE) -> HotPixels:
        signal = self.at_zero * np.exp2(temperature_c / self.doubling_c) * exposure_s / 100.0
        seen = signal + noise * self.rng.standard_normal(signal.size)
        kept = (seen >= 6 * noise) & (self.places > 0)
        order = np.argsort(self.places[kept])
        figures = np.full((2, 2), noise, np.float32)
        top = 60_000.0
        excess = np.minimum(seen[kept][order], top).astype(np.float32)
        places = self.places[kept][order].astype(np.uint32)
        return HotPixels(WIDTH, HEIGHT, places, excess, excess >= top, figures, 6 * figures)

    def darks(self, temperature_c: float, count: int = 8, exposure_s: float = 100.0) -> Reference:
        made = combined([self.frame(temperature_c, exposure_s) for _ in range(count)], exposure_s)
        assert made is not None
        return made


@pytest.mark.parametrize("off_c", [-12.0, -6.0, 0.0, 6.0, 12.0])
def test_the_ratio_is_that_of_the_median_pixel(off_c: float) -> None:
    body = Body(1)
    ratio = dark_ratio(body.frame(10.0 + off_c, noise=25.0), body.darks(10.0))
    assert ratio is not None
    truth = 2.0 ** (off_c / DOUBLING_C)
    assert abs(ratio.value - truth) <= 4 * ratio.error
    assert ratio.error < 0.05 * truth


def test_exposure_counts_as_much_as_warmth() -> None:
    body = Body(2)
    ratio = dark_ratio(body.frame(10.0, exposure_s=30.0), body.darks(10.0, exposure_s=120.0))
    assert ratio is not None
    assert ratio.value == pytest.approx(0.25, rel=0.02)
    assert doublings(ratio.value, 120.0, 30.0) == pytest.approx(0.0, abs=0.03)


def test_too_few_pixels_or_another_body_or_a_filtering_camera_tell_nothing() -> None:
    body = Body(3)
    assert dark_ratio(Body(4, 15).frame(10.0), Body(4, 15).darks(10.0)) is None
    assert dark_ratio(Body(5).frame(10.0), body.darks(10.0)) is None
    filtered = body.frame(10.0)
    few = np.arange(filtered.count) % 10 == 0
    sparse = HotPixels(WIDTH, HEIGHT, filtered.positions[few], filtered.excess_dn[few], filtered.saturated[few],
                       filtered.noise_dn, filtered.floor_dn)  # fmt: skip
    assert dark_ratio(sparse, body.darks(10.0)) is None


def test_blinking_and_saturated_pixels_are_left_out_of_a_set() -> None:
    body = Body(6, 300)
    body.at_zero[:20] = 1e6
    frames = []
    for number in range(10):
        body.at_zero[20:40] = 4000.0 if number % 2 else 1500.0
        frames.append(body.frame(10.0))
    made = combined(frames, 100.0)
    assert made is not None
    assert not np.isin(body.places[:40], made.hot.positions).any()
    assert np.isin(body.places[40:], made.hot.positions).mean() > 0.5


def test_a_set_that_warms_up_does_not_blink() -> None:
    body = Body(7)
    made = combined([body.frame(8.0 + 0.5 * number) for number in range(12)], 100.0)
    assert made is not None
    steady = combined([body.frame(10.75) for _ in range(12)], 100.0)
    assert steady is not None
    assert made.hot.count > 0.9 * steady.hot.count


def temperature(places: list[Place], at: float, error: float = 0.01) -> tuple[float, float]:
    law = law_of(places)
    assert law is not None
    told, errors = law.temperature(np.array([at]), np.array([error]))
    return float(told[0]), float(errors[0])


def test_without_a_temperature_sets_are_in_order_one_pins_the_scale_two_measure_it() -> None:
    body = Body(8)
    warmth = [4.0, 16.0, 10.0, -2.0]
    places = laid_out([body.darks(one) for one in warmth])
    assert all(place is not None for place in places)
    at = [place.doublings for place in places if place is not None]
    assert list(np.argsort(at)) == [3, 0, 2, 1]
    assert np.diff(np.sort(at)) == pytest.approx(6.0 / DOUBLING_C, rel=0.05)
    assert law_of([Place(one, 0.01) for one in at]) is None

    one = [Place(value, 0.01, 10.0 if warmth[number] == 10.0 else None, 0.1) for number, value in enumerate(at)]
    pinned = law_of(one)
    assert pinned is not None
    assert pinned.assumed
    told, error = temperature(one, at[0])
    assert told == pytest.approx(4.0, abs=2 * error)
    assert error > 0.5  # the doubling is assumed, and says so

    two = [Place(value, 0.01, warmth[number] if number in (2, 3) else None, 0.1) for number, value in enumerate(at)]
    measured = law_of(two)
    assert measured is not None
    assert not measured.assumed
    assert abs(measured.doubling_c.value - DOUBLING_C) < 2 * (measured.doubling_c.error or 0)
    told, error = temperature(two, at[0])
    assert abs(told - 4.0) < 0.3
    assert error < 0.3


def test_a_light_among_darks_of_known_temperature() -> None:
    body = Body(9)
    warmth = [5.0, 14.0]
    references = [body.darks(one) for one in warmth]
    places = laid_out(references)
    known = [Place(p.doublings, p.error, t, 0.1) for p, t in zip(places, warmth, strict=True) if p is not None]
    for light_c in (-3.0, 5.0, 9.5, 14.0, 22.0):
        ratio = dark_ratio(body.frame(light_c, exposure_s=240.0, noise=20.0), references[0])
        assert ratio is not None
        at = known[0].doublings + doublings(ratio.value, 100.0, 240.0)
        told, error = temperature(known, at, relative(ratio))
        assert abs(told - light_c) < max(3 * error, 0.2)


def test_warming_up_is_told_from_scatter() -> None:
    rng = np.random.default_rng(10)
    at = list(np.arange(20) * 300.0)
    still = list(0.02 * rng.standard_normal(20))
    assert trend(at, still, [0.02] * 20) is None
    warming = list(np.linspace(0.0, 0.6, 20) + np.array(still))
    found = trend(at, warming, [0.02] * 20)
    assert found is not None
    assert found.change == pytest.approx(0.6, abs=4 * found.error)
    assert trend(at[:5], warming[:5], [0.02] * 5) is None


def flipped(frame: HotPixels) -> HotPixels:
    y, x = np.divmod(frame.positions.astype(np.int64), frame.width)
    places = (frame.height - 1 - y) * frame.width + x
    order = np.argsort(places)
    return HotPixels(frame.width, frame.height, places[order].astype(np.uint32), frame.excess_dn[order],
                     frame.saturated[order], frame.noise_dn, frame.floor_dn)  # fmt: skip


def test_the_same_sensor_turned_cropped_or_another() -> None:
    body, other = Body(11), Body(12)
    darks, light = body.darks(10.0), body.frame(4.0, noise=25.0)
    assert identified(light, darks.hot).verdict is Sameness.SAME
    turned = identified(flipped(light), darks.hot, least_ratio=0.2)
    assert (turned.verdict, turned.flip) == (Sameness.TURNED, "up_down")
    y, x = np.divmod(light.positions.astype(np.int64), WIDTH)
    inside = (y >= 40) & (x >= 24)
    cut = HotPixels(
        WIDTH - 24,
        HEIGHT - 40,
        ((y[inside] - 40) * (WIDTH - 24) + x[inside] - 24).astype(np.uint32),
        light.excess_dn[inside],
        light.saturated[inside],
        light.noise_dn,
        light.floor_dn,
    )
    cropped = identified(cut, darks.hot)
    assert (cropped.verdict, cropped.shift) == (Sameness.CROPPED, (-40, -24))
    assert identified(other.frame(10.0), darks.hot, least_ratio=0.3).verdict is Sameness.OTHER
    assert identified(other.frame(10.0), darks.hot).verdict is Sameness.UNKNOWN
    assert (
        identified(Body(13, 12).frame(10.0), Body(13, 12).darks(10.0).hot, least_ratio=0.3).verdict is Sameness.UNKNOWN
    )


def replaced(body: Body, share: float) -> int:
    """Moves a share of the body's hot pixels elsewhere; how many."""
    count = round(share * body.places.size)
    free: NDArray[np.int64] = np.setdiff1d(np.arange(WIDTH * HEIGHT), body.places)
    body.places[body.rng.choice(body.places.size, count, replace=False)] = body.rng.choice(free, count, replace=False)
    return count


@pytest.mark.parametrize("share", [0.0, 0.01, 0.05])
@pytest.mark.parametrize("newer_c", [10.0, 0.0, 20.0])
def test_ageing_is_the_share_that_changed_and_no_difference_of_temperature(share: float, newer_c: float) -> None:
    body = Body(14, 2000)
    before = body.darks(10.0)
    count = replaced(body, share)
    found = aged(before, body.darks(newer_c))
    assert found is not None
    assert found.share.error is not None
    by_lot = (share * (1 - share) / found.compared) ** 0.5  # which of the replaced ones are among those compared
    assert abs(found.share.value - count / 2000) <= max(0.003, 3 * max(found.share.error, by_lot))
    assert found.share.error < 0.015
