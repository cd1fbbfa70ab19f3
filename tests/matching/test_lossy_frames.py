"""Frames compressed with loss: lights are matched like others, calibration frames are never chosen."""

from roll import biases, darks, flats, lights

from darklib.facts.frame import FrameWarning
from darklib.facts.match import Verdict
from darklib.facts.settings import Settings
from darklib.matching.batches import batches_of
from darklib.matching.choose import match_all
from darklib.matching.stock import MemoryStock

LOSSY = (FrameWarning("lossy", ""),)


def only(*cards):
    everything = [frame for card in cards for frame in card]
    (one,) = match_all(batches_of(everything), MemoryStock(everything), Settings())
    return one


def failed(choice):
    return {miss.failed for miss in choice.near_misses}


def test_a_lossy_dark_is_refused_with_its_reason():
    one = only(lights(), darks(warnings=LOSSY))
    assert one.darks.verdict is Verdict.MISSING
    assert failed(one.darks) == {"lossy"}
    assert only(lights(), darks()).darks.verdict is Verdict.GOOD


def test_a_lossy_flat_and_bias_are_refused():
    one = only(lights(), flats(warnings=LOSSY), biases(warnings=LOSSY), darks())
    assert one.flats.verdict is Verdict.MISSING
    assert failed(one.flats) == {"lossy"}
    assert not any(frame.warnings for frame in (one.biases.set.frames if one.biases.set else ()))


def test_lossy_lights_are_matched():
    assert only(lights(warnings=LOSSY), darks()).darks.verdict is Verdict.GOOD


def test_a_lossy_frame_does_not_spoil_the_others_of_its_series():
    good, bad = darks(19), darks(1, start="2026-03-01T23:00", warnings=LOSSY)
    one = only(lights(), good, bad)
    assert one.darks.set is not None
    assert {frame.id for frame in one.darks.set.frames} == {frame.id for frame in good}
