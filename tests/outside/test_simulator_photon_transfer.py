"""The simulated camera against the published methods that measure a real one."""

import numpy as np
import pytest
from astropy.stats import sigma_clip
from scipy import stats

from darklib.scenario.camera import BiasStructure, Camera, DarkLaw, Readout
from darklib.scenario.pattern import fixed_pattern

PLAIN = BiasStructure(0.0, 0.0, 0.0)
NO_DARK = DarkLaw(0.0, hot_fraction=0.0)


def camera(side=256, **given):
    words = {"readouts": (Readout(1, 0.25, 1.7, 800.0),), "dark": NO_DARK, "dn_step": 4, "cosmic_rays_per_cm2_s": 0.0}
    return Camera("make", "model", "serial", side, side, **(words | given))


def janesick(first, second, bias, other):
    """Gain in e-/DN and read noise in e- from two flats and two biases.

    "Janesick's method" in the help page of IRAF's obsutil.findgain; also Howell, Handbook of CCD Astronomy, 2nd
    edition (2006), section 4.3: G = [(F1+F2) - (B1+B2)] / [var(F1-F2) - var(B1-B2)], RN = G sd(B1-B2) / sqrt(2).
    """
    f1, f2, b1, b2 = (np.asarray(a, float) for a in (first, second, bias, other))
    gain = (f1.mean() + f2.mean() - b1.mean() - b2.mean()) / (np.var(f1 - f2) - np.var(b1 - b2))
    return gain, gain * np.std(b1 - b2) / np.sqrt(2)


def exposed(cam, rate, seconds, rng, temperature_c=0.0):
    light = None if rate is None else np.full((cam.height, cam.width), float(rate))
    return cam.expose(seconds, temperature_c, cam.readouts[0].setting, rng, light)


def test_two_flats_and_two_biases_give_back_gain_and_read_noise():
    # With 65,536 pixels a variance is known to 0.55 percent; the bound is four times that.
    cam, rng = camera(bias=BiasStructure(), nonuniformity=0.01), np.random.default_rng(11)
    frames = [exposed(cam, rate, 1.0, rng) for rate in (8000, 8000, None, None)]
    gain, noise = janesick(*frames)
    assert gain == pytest.approx(0.25, rel=0.022)
    # The converter's steps of 4 DN are 1 e- wide: rounding adds 1/12 e-^2 (EMVA Standard 1288, section 2.2).
    assert noise == pytest.approx(np.hypot(1.7, 1 / np.sqrt(12)), rel=0.025)


def test_the_worked_example_of_the_findgain_help_page():
    # IRAF obsutil.findgain, help page, example: 512 by 512 pixels, gain 5, read noise 10, flat mean 1000, zero mean 0,
    # 100 cosmic rays: 5.01 and 10.00 with clipping at 4 sigma. Rounding to whole DN adds 25/12 e-^2 here.
    cam = camera(512, readouts=(Readout(1, 5.0, 10.0, 100.0),), dn_step=1, bits=16, bias=PLAIN, nonuniformity=0.0)
    rng = np.random.default_rng(12)
    f1, f2, b1, b2 = (exposed(cam, rate, 1.0, rng).astype(float) for rate in (5000, 5000, None, None))
    for frame in (f1, f2, b1, b2):
        frame[tuple(rng.integers(0, 512, (2, 100)))] += rng.uniform(200, 5000, 100)
    keep = ~(sigma_clip(f1 - f2, sigma=4, maxiters=3).mask | sigma_clip(b1 - b2, sigma=4, maxiters=3).mask)
    gain, noise = janesick(f1[keep], f2[keep], b1[keep], b2[keep])
    assert gain == pytest.approx(5.0, rel=0.015)
    assert noise == pytest.approx(np.hypot(10.0, 5 / np.sqrt(12)), rel=0.015)


def test_variance_rises_with_the_mean_at_one_over_the_gain():
    # EMVA Standard 1288, section 2.2: temporal variance is a straight line over the mean with slope K in DN/e-.
    cam, rng = camera(200, nonuniformity=0.01, bias=PLAIN), np.random.default_rng(13)
    means, variances = [], []
    for rate in (0, 500, 1500, 3000, 5000, 7500, 10_000):
        a, b = (exposed(cam, rate, 1.0, rng).astype(float) for _ in range(2))
        means.append((a.mean() + b.mean()) / 2 - 800)
        variances.append(np.var(a - b) / 2)
    slope, intercept = np.polyfit(means, variances, 1, w=1 / np.array(variances))
    assert slope == pytest.approx(1 / 0.25, rel=0.02)
    assert intercept == pytest.approx((1.7**2 + 1 / 12) / 0.25**2, rel=0.03)


def test_response_differs_by_the_stated_share():
    # EMVA Standard 1288: PRNU = sqrt(s^2_flat - s^2_dark) / (mean_flat - mean_dark), less the temporal noise left.
    cam, rng = camera(160, nonuniformity=0.01, bias=PLAIN), np.random.default_rng(14)
    stack = np.stack([exposed(cam, 10_000, 1.0, rng) for _ in range(16)]).astype(float)
    spatial = np.var(stack.mean(axis=0)) - np.mean(np.var(stack, axis=0, ddof=1)) / 16
    assert np.sqrt(spatial) / (stack.mean() - 800) == pytest.approx(0.01, rel=0.03)


def test_counts_of_a_dim_light_are_poisson():
    cam = camera(200, readouts=(Readout(1, 1.0, 0.0, 0.0),), dn_step=1, bias=PLAIN, nonuniformity=0.0)
    counts = np.bincount(exposed(cam, 0.02, 150.0, np.random.default_rng(15)).ravel(), minlength=12)
    observed = np.append(counts[:9], counts[9:].sum())
    expected = np.append(stats.poisson.pmf(np.arange(9), 3.0), stats.poisson.sf(8, 3.0)) * counts.sum()
    assert stats.chisquare(observed, expected).pvalue > 1e-3


def test_dark_current_halves_every_six_degrees_when_told_so():
    # EMVA Standard 1288, section 3.2 (temperature dependence): mu(T) = mu_ref 2^((T - T_ref)/T_d);
    # 2000 e-/s at 30 degrees, T_d 6, K 0.5 DN/e-, 1 s: 1000, 500 and 250 DN at 30, 24 and 18 degrees.
    law = DarkLaw(2000 / 2**5, 6.0, 0.0, 0.0)
    cam = camera(readouts=(Readout(1, 2.0, 3.0, 100.0),), dark=law, dn_step=1, bias=PLAIN)
    rng = np.random.default_rng(16)
    for temperature_c, expected in ((30.0, 1000.0), (24.0, 500.0), (18.0, 250.0)):
        frame = exposed(cam, None, 1.0, rng, temperature_c).astype(float)
        assert frame.mean() - 100 == pytest.approx(expected, rel=0.002)
        assert frame.var() == pytest.approx(expected * 0.5 + 1.5**2 + 1 / 12, rel=0.03)


def test_dark_variance_tells_the_current_where_the_level_is_held():
    # EMVA Standard 1288: dark current also from the slope of the dark variance over time, over K^2.
    law = DarkLaw(2.0, 6.0, 0.0, 0.0)
    cam = camera(readouts=(Readout(1, 0.5, 3.0, 512.0),), dark=law, dn_step=1, level_held_on_chip=True)
    rng, times = np.random.default_rng(17), np.array([10.0, 60.0, 120.0, 240.0])
    variances = []
    for seconds in times:
        a, b = (exposed(cam, None, seconds, rng).astype(float) for _ in range(2))
        assert np.median(a) == pytest.approx(512.0, abs=2.0)
        variances.append(np.var(a - b) / 2)
    slope = np.polyfit(times, variances, 1, w=1 / np.array(variances))[0]
    assert slope * 0.5**2 == pytest.approx(2.0, rel=0.03)


def test_hot_pixels_have_a_pareto_tail_and_doublings_of_their_own():
    # Widenhorn, Blouke, Weber, Rest & Bodegom 2002, Proc. SPIE 4669: activation energies differ from pixel to pixel,
    # so hot pixels must not be scaled with the median's law.
    law = DarkLaw(0.0, 6.0, 0.3, 0.05, 1.0, 1.3, 7.0, 0.10)
    cam = camera(300, dark=law)
    pattern = fixed_pattern(cam)
    hot = pattern.hot
    assert hot.mean() == pytest.approx(0.05, rel=0.06)
    assert stats.kstest(pattern.dark_e_per_s[hot], "pareto", args=(1.3,)).pvalue > 1e-3
    doublings = 7.0 / np.log2(pattern.dark_rate(7.0)[hot] / pattern.dark_rate(0.0)[hot])
    assert doublings.mean() == pytest.approx(7.0, rel=0.01)
    assert doublings.std() == pytest.approx(0.7, rel=0.06)


def test_ordinary_pixels_are_lognormal_about_the_median():
    pattern = fixed_pattern(camera(300, dark=DarkLaw(0.4, 6.0, 0.3, 0.0)))
    logs = np.log(pattern.dark_e_per_s).ravel()
    assert np.exp(np.median(logs)) == pytest.approx(0.4, rel=0.01)
    assert stats.kstest((logs - np.log(0.4)) / 0.3, "norm").pvalue > 1e-3
