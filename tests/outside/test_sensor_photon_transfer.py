"""Gain and read noise against published worked examples, an independent simulator and a real frame."""

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from darklib.facts.sensor import Value
from darklib.pixels.mosaic import MONO
from darklib.sensor.dark_set import without_noise
from darklib.sensor.photon_transfer import FlatPair, gain_of, pairs_of, read_noise, two_and_two
from darklib.sensor.pile import core_variance, levels_of, pile_of


def test_two_flats_and_two_biases_by_the_formula() -> None:
    # Janesick's method, IRAF obsutil.findgain help, example: gain 5, read noise 10 e-, flats of 1000 ADU above zeros of
    # 0: var(F1-F2) = 2 (1000/5 + 4) = 408, var(B1-B2) = 8.
    assert two_and_two(2000.0, 0.0, 408.0, 8.0) == pytest.approx(5.0, rel=1e-12)
    noise_dn, noise_e = read_noise(4.0 + 1.0 / 12.0, 0.01, Value(5.0), 1.0)
    assert noise_dn is not None
    assert noise_e is not None
    assert noise_e.value == pytest.approx(10.0, rel=1e-9)
    with pytest.raises(ValueError, match="no more than the biases"):
        two_and_two(2000.0, 0.0, 8.0, 8.0)


def test_the_findgain_example_with_cosmic_rays() -> None:
    # The same example as frames of 512 x 512 with 100 cosmic rays each: the help gives 5.01 and 10.00 with clipping,
    # 2.86 and 189.5 without. Here a pedestal of 500 keeps the numbers positive.
    rng = np.random.default_rng(20261003)

    def frame(mean: float) -> np.ndarray:
        electrons = rng.poisson(np.full((512, 512), mean * 5.0)) + 10.0 * rng.standard_normal((512, 512))
        rays = rng.integers(0, 512, (2, 100))
        electrons[rays[0], rays[1]] += rng.uniform(1e3, 3e4, 100)
        return np.clip(np.rint(electrons / 5.0 + 500.0), 0, 65535).astype(np.uint16)

    biases = pile_of([frame(0.0), frame(0.0)], MONO)
    pairs = pairs_of([frame(1000.0), frame(1000.0)], MONO, 16, biases, None)
    gain = gain_of(pairs)
    assert gain is not None
    assert gain.e_per_dn.value == pytest.approx(5.0, rel=0.01)
    variance = core_variance(biases)
    assert variance is not None
    _, noise = read_noise(*variance, gain.e_per_dn, 1.0)
    assert noise is not None
    assert noise.value == pytest.approx(10.0, rel=0.015)


def test_the_slope_of_variance_against_mean() -> None:
    # Lab exercise of the ugastro course, UC Berkeley: slope 0.6662 of variance against mean is 1.5 e- per DN, and the
    # converter's 65535 are 98,300 electrons.
    pairs = [FlatPair("", mean, 0.6662 * mean, 0.01 * mean) for mean in (500.0, 2000.0, 8000.0, 20000.0)]
    gain = gain_of(pairs)
    assert gain is not None
    assert gain.e_per_dn.value == pytest.approx(1.501, abs=5e-4)
    assert gain.e_per_dn.value * 65535 == pytest.approx(98_300, rel=2e-3)


def test_unequal_flats_are_scaled_to_one_level() -> None:
    # Levels of 28,073 and 27,036 ADU as in Richmond's photon transfer exercise (RIT), which scales before subtracting.
    rng = np.random.default_rng(4)
    truth = 1.4
    response = 1.0 + 0.02 * rng.standard_normal((240, 320))
    flats = [
        np.rint(rng.poisson(level * truth * response) / truth + 1000.0).astype(np.uint16) for level in (28_073, 27_036)
    ]
    biases = [np.rint(1000.0 + 4.0 * rng.standard_normal((240, 320))).astype(np.uint16) for _ in range(2)]
    gain = gain_of(pairs_of(flats, MONO, 12, pile_of(biases, MONO), None))
    assert gain is not None
    assert abs(gain.e_per_dn.value - truth) < 4.0 * (gain.e_per_dn.error or 0.0)
    assert gain.e_per_dn.error is not None
    assert gain.e_per_dn.error < 0.01 * truth
    # Left as they are the two levels' fixed pattern (2 percent of 1,037 ADU) adds to the variance.
    plain = np.var(flats[0].astype(float) - flats[1])
    assert plain > 1.009 * np.var(flats[0] * (27_036 / 28_073) - flats[1])


def test_the_standards_worked_results() -> None:
    # Results of the EMVA 1288 reference implementation's documentation (package emva1288, datasets_results): K 0.280769
    # DN/e-, sigma_y.dark 3.073418 DN -> sigma_d 10.898 e-; s2_measured.dark 0.213952 and sigma2_stack.dark 9.497495
    # with L = 50 -> s2_y.dark 0.024002, DSNU 0.551788 e-. K is the inverse of the gain here. (Its two figures in dB
    # use 20 lg of a ratio of signals squared and are not compared.)
    k = 0.280769280926
    noise_dn, noise_e = read_noise(3.07341849276**2, 0.0, Value(1.0 / k), 1.0)
    assert noise_dn is not None
    assert noise_e is not None
    assert noise_e.value == pytest.approx(10.8980275235, rel=1e-9)
    own2 = without_noise(0.213951679236, 9.49749533243 / 50)
    assert own2 == pytest.approx(0.0240017725878, rel=1e-9)
    assert own2**0.5 / k == pytest.approx(0.551787767644, rel=1e-9)


def test_the_standards_simulator_gives_back_its_gain_and_noise() -> None:
    # The camera of the package emva1288: K 0.5 DN/e-, dark noise 5 e- about 50 e- (below none it clips electrons). It
    # adds uniform rounding noise and rounds as well, 1/6 DN^2 together, of which the standard takes 1/12 off.
    from emva1288.camera.camera import Camera

    camera = Camera(
        width=200, height=144, bit_depth=12, K=0.5, blackoffset=60, dark_signal_0=50.0, sigma2_dark_0=25.0,
        dark_current_ref=0.0, u_esat=7500.0, exposure=1_000_000, seed=5,
    )  # fmt: skip
    half = camera.get_radiance_for(mean=1500)
    quarter = camera.get_radiance_for(mean=700)
    biases = pile_of([np.asarray(camera.grab(0.0), dtype=np.uint16) for _ in range(6)], MONO)
    pairs = []
    for radiance in (quarter, half):
        flats = [np.asarray(camera.grab(radiance), dtype=np.uint16) for _ in range(4)]
        pairs += pairs_of(flats, MONO, 12, biases, None)
    gain = gain_of(pairs)
    assert gain is not None
    assert gain.e_per_dn.value == pytest.approx(1.0 / camera.K, rel=0.02)
    variance = core_variance(biases)
    assert variance is not None
    _, noise = read_noise(*variance, gain.e_per_dn, 1.0)
    assert noise is not None
    assert noise.value == pytest.approx((25.0 + (1 / 12) / camera.K**2) ** 0.5, rel=0.03)


def test_the_noise_of_a_real_frame() -> None:
    # A frame of the SAAO 1.0 m telescope in the wheel of ccdproc: GAIN 1.9 e-/ADU, overscan BIASSEC [4:13,1:520], mean
    # 214.04, sd 3.03 ADU. Sky above it and gain predict 7.38 ADU of noise in the sky; neighbours differ by 7.34.
    found = find_spec("ccdproc")
    assert found is not None
    assert found.origin is not None
    path = Path(found.origin).parent / "tests" / "data" / "a8280271.fits"
    if not path.exists():
        pytest.skip("the wheel of ccdproc has no test frames here")
    from darklib.readers.open import sensor_array

    data = sensor_array(path).data
    assert data.dtype == np.uint16
    overscan = levels_of(np.ascontiguousarray(data[:520, 3:13]).astype(np.uint16), MONO)
    assert overscan.mean_dn == pytest.approx(214.04, abs=0.05)
    assert overscan.sd_dn == pytest.approx(3.03, rel=0.03)
    sky = levels_of(np.ascontiguousarray(data[:520, 16:528]).astype(np.uint16), MONO)
    predicted = ((sky.mean_dn - overscan.mean_dn) / 1.9 + overscan.sd_dn**2) ** 0.5
    assert predicted == pytest.approx(7.38, rel=0.03)
    inner = data[:520, 16:528].astype(float)
    steps = inner[:, 1:] - inner[:, :-1]
    observed = 1.4826 * float(np.median(np.abs(steps - np.median(steps)))) / 2**0.5
    assert observed == pytest.approx(predicted, rel=0.03)
