"""Bias, dark and flat frames of another simulator, told apart by their pixels and exposure alone.

Source: the camera model of EMVA Standard 1288 (release 4.0, section 2) as implemented in the package emva1288: thermal
and light electrons Poisson, electronics' noise Gaussian, quantisation, offset, spatial non-uniformity. It shares no
code with this project. The light is even, as the standard asks for, so a flat has no fall-off towards its corners.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from darklib.facts.frame import FrameFacts, Kind
from darklib.kinds.candidate import Candidate
from darklib.kinds.groups import decide
from darklib.pixels.measure import measure

SHAPE = (300, 400)
OFFSET = 200.0
START = datetime(2026, 5, 2, 9, tzinfo=UTC)


def camera(seed, **more):
    from emva1288.camera.camera import Camera

    rng = np.random.default_rng(seed)
    settings = {
        "bit_depth": 14, "height": SHAPE[0], "width": SHAPE[1], "K": 0.8, "K_min": 0.8, "K_max": 0.8, "K_steps": 1,
        "blackoffset": OFFSET, "blackoffset_min": OFFSET, "blackoffset_max": OFFSET, "blackoffset_steps": 1,
        # below about six deviations of noise the model clips electrons at none, which no sensor does
        "dark_signal_0": 60.0, "sigma2_dark_0": 25.0, "u_esat": 19_000.0,
        "exposure_min": 1_000, "exposure_max": 10**12, "temperature": 20.0, "dark_current_ref": 0.2, "seed": seed,
        "dsnu": rng.normal(0.0, 2.0, SHAPE), "prnu": 1.0 + rng.normal(0.0, 0.008, SHAPE),
    }  # fmt: skip
    return Camera(**{**settings, **more})


def shots(kind, seed):
    """Three frames of one kind, their exposure, and where black lies in DN."""
    exposure_s = {Kind.BIAS: 0.0005, Kind.DARK: 120.0, Kind.FLAT: 0.4}[kind]
    made = camera(seed, exposure=exposure_s * 1e9)
    light = 0.0
    if kind is Kind.FLAT:
        light = made.get_radiance_for(mean=6000.0)
    return [np.asarray(made.grab(light)).astype(np.uint16) for _ in range(3)], exposure_s


def told(kind, seed, *, black_told):
    frames, exposure_s = shots(kind, seed)
    out = []
    for number, data in enumerate(frames):
        facts = FrameFacts(
            format="fits", exposure_s=exposure_s, width=SHAPE[1], height=SHAPE[0], model=f"Reference {seed}", bits=14,
            black_dn=OFFSET + 0.8 * 60.0 if black_told else None,
            taken_at=START + timedelta(seconds=number * (exposure_s + 3.0)),
        )  # fmt: skip
        pixels = measure(
            data, cfa=None, cfa_rows=None, cfa_columns=None, black_dn=facts.black_dn, white_dn=None, bits=14
        )
        out.append(Candidate(facts, pixels, ("x",), f"{number}.fits"))
    return out


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("kind", [Kind.BIAS, Kind.DARK, Kind.FLAT])
def test_single_frames_of_the_reference_camera_are_told_apart(kind, seed):
    for member in told(kind, seed, black_told=True):
        assert decide([member])[0].kind is kind


@pytest.mark.parametrize("seed", [4])
def test_without_a_black_level_the_biases_beside_them_tell(seed):
    members, truth = [], []
    for hour, kind in enumerate((Kind.BIAS, Kind.DARK, Kind.FLAT)):
        for member in told(kind, seed, black_told=False):
            later = replace(member.facts, taken_at=member.facts.taken_at + timedelta(hours=hour), model="Reference")
            members.append(replace(member, facts=later))
            truth.append(kind)
    assert [decision.kind for decision in decide(members)] == truth


def test_a_frame_that_shows_a_little_even_light_is_not_called_dark():
    # Some 16 standard deviations above black, no structure at all: a clouded sky, or dark current that nobody measured.
    made = camera(6, exposure=120e9)
    light = made.get_radiance_for(mean=OFFSET + 0.8 * (60.0 + 360.0 + 100.0))
    data = np.asarray(made.grab(light)).astype(np.uint16)
    facts = FrameFacts(format="fits", exposure_s=120.0, width=SHAPE[1], height=SHAPE[0], bits=14, black_dn=248.0)
    pixels = measure(data, cfa=None, cfa_rows=None, cfa_columns=None, black_dn=248.0, white_dn=None, bits=14)
    decision = decide([Candidate(facts, pixels, (), "x.fits")])[0]
    assert decision.kind is None
    assert "neither stars nor bright" in decision.why
