"""Recorded temperatures: offset and lag are the camera's own, a value beside them is a contradiction."""

import numpy as np
import pytest

from darklib.sensor.board import contradicted


@pytest.mark.parametrize("offset_c", [0.0, 4.0, -3.0])
@pytest.mark.parametrize("lag_min", [0.0, 12.0])
def test_offset_and_lag_are_no_contradiction_and_a_wrong_value_is(offset_c: float, lag_min: float) -> None:
    rng = np.random.default_rng(1)
    rate = np.where(np.arange(40) < 20, 0.25, -0.05)
    true_c = 5.0 + np.cumsum(rate * 5.0)
    told_c = np.rint(true_c + offset_c - lag_min * rate)
    inferred_c = true_c + 0.2 * rng.standard_normal(40)
    error_c = np.full(40, 0.2)
    assert not contradicted(told_c, inferred_c, error_c, rate).any()
    told_c[[7, 30]] += [6.0, -3.0]
    assert np.flatnonzero(contradicted(told_c, inferred_c, error_c, rate)).tolist() == [7, 30]


def test_a_few_frames_tell_no_contradiction() -> None:
    told_c, zero = np.array([5.0, 5.0, 20.0]), np.zeros(3)
    assert not contradicted(told_c, np.full(3, 5.0), np.full(3, 0.1), zero).any()
    assert contradicted(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0)).size == 0


def test_what_hot_pixels_hardly_know_contradicts_nothing() -> None:
    told_c = np.full(20, 5.0)
    told_c[3] = 9.0
    assert not contradicted(told_c, np.full(20, 5.0), np.full(20, 2.0), np.zeros(20)).any()
    assert contradicted(told_c, np.full(20, 5.0), np.full(20, 0.3), np.zeros(20)).sum() == 1
