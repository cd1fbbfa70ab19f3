"""Each trouble of real cameras recognised, and none seen in a healthy twin. Many more: scripts/studies/sensor.md."""

from dataclasses import replace

import numpy as np
import pytest

from darklib.facts import codes
from darklib.facts.plain import from_plain, to_plain
from darklib.facts.sensor import SensorModel
from scripts.studies.sensor import TROUBLES, drawn, measured


@pytest.mark.parametrize("code", TROUBLES)
def test_a_trouble_is_recognised_and_its_healthy_twin_is_not_accused(code: str) -> None:
    camera = drawn(np.random.default_rng([7, len(code)]), code)
    twin = replace(camera, trouble="", rng=np.random.default_rng(7))
    if code == "black_clipped":
        twin.offset_dn += 20.0 * twin.read_noise_e / twin.e_per_dn
    found, healthy = measured(camera), measured(twin)
    assert code in found.troubles
    assert healthy.troubles == ()
    assert code in codes.TROUBLES
    (told,) = [one for one in found.trouble_details if one.code == code]
    assert told.text.endswith(".")


def test_a_clipped_black_is_never_measured() -> None:
    model = measured(drawn(np.random.default_rng(3), "black_clipped"))
    assert (model.bias_dn, model.read_noise_e, model.dark_current) == (None, None, ())


def test_a_held_level_is_measured_by_its_noise() -> None:
    camera = drawn(np.random.default_rng(11), "level_held")
    model = measured(camera)
    assert model.level_held is True
    for dark in model.dark_current:
        truth = float(np.median(camera.dark * np.exp2(dark.temperature_c / camera.doublings)))
        assert dark.median_e_s.error is not None
        assert abs(dark.median_e_s.value - truth) < 3.0 * dark.median_e_s.error + 0.03 * truth


def test_a_model_goes_through_plain_values_and_back() -> None:
    model = measured(drawn(np.random.default_rng(5)))
    assert model.law is not None
    assert model.dark_rates is not None
    assert from_plain(SensorModel, to_plain(model)) == model
