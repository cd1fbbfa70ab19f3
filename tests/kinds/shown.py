"""Facts and figures of a frame as the pixels room would measure them, for tests that need no pixels."""

from datetime import UTC, datetime, timedelta

from darklib.facts.frame import FrameFacts, PixelFacts, PlaneLevel
from darklib.kinds.candidate import Candidate

START = datetime(2026, 9, 12, 21, 0, tzinfo=UTC)


def pixels(level=800.0, noise=8.0, *, top=None, saturated=0.0, step=1, **figures):
    """An unlit frame but for the figures given."""
    structure = {
        "noise_dn": noise, "level_dn": level, "channel_spread_sigma": 0.02, "channel_low_dn": level,
        "fall_least_sigma": -0.1, "fall_mean_sigma": 0.0, "glow_sigma": 0.1, "dip_sigma": 0.1, "uneven_sigma": 0.02,
        "rows_sigma": 0.05, "columns_sigma": 0.05, "stars": 0.0, "stars_by_chance": 0.0, "plain_stars": 0.0,
        "plain_stars_by_chance": 0.0, "hot_pixels": 40.0, "threshold_sigma": 3.5, "star_peak_dn": 0.0,
        "star_median_dn": 0.0, "star_sharpness": 0.0, "pixels": 0.96e6, "soft_stars": 0.0,
        "soft_stars_by_chance": 0.0, "whole_stars": 0.0, "points_low": 0.0, "points_high": 0.0,
        "glow_colour_sigma": 0.0,
    }  # fmt: skip
    assert set(figures) <= set(structure)
    structure.update(figures)
    return PixelFacts(
        1, 1200, 800, level, noise * 0.67, level, noise, level - 5 * noise, top or level + 400, saturated, step, 0,
        (PlaneLevel("", level, noise * 0.67, level, noise),), structure,
    )  # fmt: skip


def starry(count=200.0, peak=4000.0):
    """Figures of a field of stars."""
    return {"stars": count, "plain_stars": count * 0.7, "star_peak_dn": peak, "star_median_dn": peak / 20}


def facts(exposure_s=120.0, *, frame=0, pause_s=5.0, start=START, **more):
    """A frame of a camera with a known black level of 800 in 16 bits; `frame` counts exposures one after the other."""
    told = {
        "format": "fits", "make": "Ostrell", "model": "CM-16", "width": 1200, "height": 800, "bits": 16,
        "black_dn": 800.0, "taken_at": start + timedelta(seconds=frame * (exposure_s + pause_s)),
    }  # fmt: skip
    return FrameFacts(exposure_s=exposure_s, **{**told, **more})


def candidate(facts_, pixels_, path="a1b2/c3.fits", stated=None):
    *parts, name = path.split("/")
    return Candidate(facts_, pixels_, tuple(parts), name, stated)
