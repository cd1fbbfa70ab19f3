"""The two file writers refuse what their formats can't hold."""

from fractions import Fraction

import numpy as np
import pytest

from darklib.scenario.dng import RawFacts, dng_bytes
from darklib.scenario.fits_card import card
from darklib.scenario.fits_shot import header_lines
from darklib.scenario.raw_shot import raw_shot
from darklib.scenario.trio import trio_shots


@pytest.mark.parametrize("keyword", ["", "lower", "TOOLONGKEY", "A B", "É"])
def test_a_bad_keyword_is_refused(keyword):
    with pytest.raises(ValueError, match="keyword"):
        card(keyword, 1)


@pytest.mark.parametrize(
    ("value", "match"),
    [("é", "printable"), ("a\nb", "printable"), ("x" * 69, "too long"), (float("nan"), "finite"), (10**71, "too long")],
)
def test_a_bad_value_is_refused(value, match):
    with pytest.raises(ValueError, match=match):
        card("KEY", value)


def test_a_comment_too_long_is_cut_and_a_commentary_card_has_no_value():
    assert card("KEY", 1, "c" * 100) == f"KEY     = {1:>20} / {'c' * 47}".encode()
    assert card("COMMENT", "no = value") == b"COMMENT no = value".ljust(80)
    with pytest.raises(ValueError, match="too long"):
        card("HISTORY", "h" * 73)


def test_darks_name_no_target_filter_or_telescope():
    dark, flat, light = ({line[0] for line in header_lines(shot)} for shot in trio_shots())
    assert not dark & {"OBJECT", "FILTER", "TELESCOP"}
    assert "OBJECT" not in flat
    assert {"OBJECT", "FILTER", "TELESCOP", "ROTATANG"} <= light


def test_a_picture_too_small_for_raw_decoders_is_refused():
    facts = RawFacts("m", "n", "s", 100, Fraction(1), "2026:01:01 00:00:00", "RGGB", 0, 100)
    with pytest.raises(ValueError, match="16 by 16"):
        dng_bytes(np.zeros((16, 40), np.uint16), facts)


def test_a_mono_camera_writes_no_raw_file():
    with pytest.raises(ValueError, match="mosaic"):
        raw_shot(trio_shots()[0])
