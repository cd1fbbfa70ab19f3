"""The whole scenario, autumn 2026: every card, and the same frames with their names taken away."""

from functools import partial

import numpy as np

from darklib.scenario.cast import SITE_ZONE
from darklib.scenario.files import Scenario, ScenarioFile
from darklib.scenario.fits_shot import fits_shot
from darklib.scenario.nights_cooled import cooled_cards
from darklib.scenario.nights_raw import raw_cards

SEED = 20261003


def scenario(seed: int = SEED, scale: float = 1.0) -> Scenario:
    """All cards; scale: share of the frames of each series, at least three. Nothing is rendered yet."""
    if not 0.0 < scale <= 10.0:
        raise ValueError("scale is a share of the frames, above 0 and at most 10")
    return Scenario((*cooled_cards(seed, scale), *raw_cards(seed, scale)), SITE_ZONE, seed)


def scrambled(seed: int = SEED, scale: float = 1.0) -> list[ScenarioFile]:
    """Every sound frame once, under a name and in a folder that say nothing; FITS headers without the kind."""
    rng = np.random.default_rng([seed, 7])
    sound = [file for _, file in scenario(seed, scale).placed() if file.outcome == "stored" and file.shot is not None]
    folders = [_word(rng) for _ in range(9)]
    result = []
    for index in rng.permutation(len(sound)):
        file = sound[int(index)]
        fits = file.shot is not None and file.shot.camera.cfa is None
        make = partial(fits_shot, file.shot, name_kind=False) if fits and file.shot is not None else file.make
        path = f"{folders[int(rng.integers(9))]}/{_word(rng)}.{'fits' if fits else 'dng'}"
        result.append(ScenarioFile(path, make, file.truth, file.modified, "stored", file.shot))
    return result


def _word(rng: np.random.Generator) -> str:
    """Ten hexadecimal digits: no word of the trade can be spelt with them."""
    return f"{int(rng.integers(0, 16**10)):010x}"
