"""Damaged files, looked at as `ingest` looks at them: none stops the run, and nothing false is taken for true.

What "false" means is written down in scripts/studies/mutant_judge.py; the judge has tests of its own here. The whole
table of 100,000 files is made by `python3 scripts/figures.py mutants`.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from darklib.facts.frame import FrameWarning
from darklib.readers.open import look
from scripts.studies import mutant_judge as judging
from scripts.studies.mutant_originals import Original, originals
from scripts.studies.mutants import mutant, table, try_mutants
from scripts.studies.mutations import BLOCK, BY_FAMILY, FITS, TIFF, cut_anywhere, headers
from scripts.studies.tiff_entries import entries

ALL = originals(None)
BY_NAME = {one.name: one for one in ALL}


@pytest.mark.parametrize("seed", [1])
def test_some_hundred_damaged_files(seed: int, record_property: Callable[[str, object], None]) -> None:
    found = try_mutants(seed, 250)
    record_property("measured", f"damaged files: 250 tried (seed {seed}), {len(found.ended)} ended by a limit")
    assert found.troubles == []
    assert found.count == 250


@pytest.mark.long
@pytest.mark.timeout(600)
def test_some_thousand_damaged_files_of_a_new_seed(
    repository: Path, record_property: Callable[[str, object], None], capsys: pytest.CaptureFixture[str]
) -> None:
    """Another seed at every run, printed, so that what it finds can be made again."""
    seed = secrets.randbelow(1_000_000)
    shared = repository.parent / "shared" / "data"
    found = try_mutants(seed, 4000, shared=shared)
    heads = f"{found.heads} real heads among them" if found.heads else "the real heads are not on this machine"
    record_property(
        "measured", f"damaged files: 4000 tried (seed {seed}, {heads}), {len(found.ended)} ended by a limit"
    )
    assert found.troubles == [], table(found)


def test_a_damaged_file_is_the_same_every_time() -> None:
    anew = originals(None)
    for number in range(40):
        one, again = mutant(ALL, 3, number), mutant(anew, 3, number)
        assert (one.original.name, one.kind, one.data) == (again.original.name, again.kind, again.data)
    assert mutant(ALL, 3, 0).data != mutant(ALL, 4, 0).data


def test_every_kind_of_damage_is_done_to_every_file_it_is_for() -> None:
    for original in ALL:
        for kind, mutation in BY_FAMILY[original.family].items():
            made = {mutation(Random(f"{original.name}{kind}{n}"), original.data) for n in range(8)}
            assert made - {original.data}, (original.name, kind)
    assert set(FITS) | set(TIFF) < {kind for kinds in BY_FAMILY.values() for kind in kinds}


# Cut short, at every place where that could look whole.


@pytest.mark.parametrize("name", [one.name for one in ALL if one.family == "fits"])
def test_a_fits_file_cut_at_every_block_is_refused(name: str, tmp_path: Path) -> None:
    whole = BY_NAME[name].data
    start, cards = headers(whole)[-1]
    places = [*range(0, len(whole), BLOCK), *(start + card * 80 + 7 for card in range(0, cards, 5)), len(whole) - 2881]
    for place in places:
        path = tmp_path / name
        path.write_bytes(whole[:place])
        found = look(path)
        assert found.refusal is not None, place
        assert found.refusal.code in ("empty", "truncated", "damaged", "no_image", "not_what_it_says"), place


@pytest.mark.parametrize("name", [one.name for one in ALL if one.family in ("tiff", "boxes", "gzip")])
def test_a_raw_file_cut_anywhere_is_refused_and_with_zeros_instead_too(name: str, tmp_path: Path) -> None:
    """A decoder reads zeros where the picture's end is missing and says nothing: that would be a perfect bias.

    Of RW2, CR3 and MRW none that the decoder takes can be built here: they are refused whole as well. See the README.
    """
    original = BY_NAME[name]
    picture = judging.picture(original.data)
    last = original.data.find(picture) + len(picture) if picture and original.family != "gzip" else len(original.data)
    dice = Random(name)
    for n in range(20):
        cut = cut_anywhere(dice, original.data[:last])
        for data in {cut, cut.ljust(len(original.data), b"\0")} - {original.data}:
            path = tmp_path / name
            path.write_bytes(data)
            found = look(path)
            lost = len(picture) - len(judging.picture(data).rstrip(b"\0"))
            # The last bytes may be zeros by themselves, and fewer than a few rows of zeros look like a dead column.
            if found.refusal is None and original.family != "gzip":
                assert lost < max(len(picture) // 10, 600), (n, len(cut), lost)
                continue
            assert found.refusal is not None, (n, len(cut))
            assert found.pixels is None


def test_a_real_head_with_zeros_for_pixels_is_no_bias(shared_data: Path, tmp_path: Path) -> None:
    for one in originals(shared_data):
        if one.real:
            for size in (len(one.data) * 2, 4_000_000):
                path = tmp_path / one.name
                path.write_bytes(one.data.ljust(size, b"\0"))
                assert look(path).refusal is not None, (one.name, size)


# The judge.


def verdict(original: Original, data: bytes, folder: Path) -> judging.Verdict:
    one, other = folder / f"sound-{original.name}", folder / f"damaged-{original.name}"
    one.write_bytes(original.data)
    other.write_bytes(data)
    return judging.judge(original, look(one), data, look(other))


def test_the_judge_knows_an_honest_change(tmp_path: Path) -> None:
    light = BY_NAME["talkative.fits"]
    changed = light.data.replace(b"EXPTIME =                120.0", b"EXPTIME =                720.0")
    assert verdict(light, light.data, tmp_path).outcome == judging.SAME
    assert verdict(light, changed, tmp_path).outcome == judging.SAID
    gone = light.data.replace(b"EXPTIME =                120.0", b"EXPTIMF =                120.0")
    assert verdict(light, gone, tmp_path).outcome == judging.UNKNOWN
    nonsense = light.data.replace(b"EXPTIME =                120.0", b"EXPTIME =                12O.0")
    assert verdict(light, nonsense, tmp_path).outcome == judging.FLAGGED
    assert verdict(light, light.data[:9000], tmp_path).outcome == "truncated"
    assert verdict(light, b"\0" + light.data[1:], tmp_path).outcome == "not_what_it_says"


def test_the_judge_sees_a_wrong_fact(tmp_path: Path) -> None:
    """A reader that took the odd for true would be found out."""
    light = BY_NAME["talkative.fits"]
    path = tmp_path / light.name
    path.write_bytes(light.data)
    sound = look(path)
    assert sound.facts is not None
    lying = replace(sound, facts=replace(sound.facts, exposure_s=12.0))
    # Nothing in the file has changed; then a card that is not in order.
    assert judging.judge(light, sound, light.data, lying).outcome == judging.WRONG
    odd = light.data.replace(b"EXPTIME =                120.0", b"EXPTIME =                12O.0")
    assert judging.judge(light, sound, odd, lying).outcome == judging.WRONG
    warned = FrameWarning("value_odd", "an odd value")
    flagged = replace(lying, facts=replace(sound.facts, exposure_s=12.0, warnings=(*sound.facts.warnings, warned)))
    assert judging.judge(light, sound, odd, flagged).outcome == judging.FLAGGED
    # A valid card excuses what it tells, and nothing else.
    said = light.data.replace(b"EXPTIME =                120.0", b"EXPTIME =                 12.0")
    assert judging.judge(light, sound, said, lying).outcome == judging.SAID
    cold = replace(sound, facts=replace(sound.facts, sensor_temperature_c=-99.0))
    assert judging.judge(light, sound, said, cold).outcome == judging.WRONG


def test_the_judge_sees_a_wrong_fact_of_a_raw_file(tmp_path: Path) -> None:
    raw = BY_NAME["bayer.dng"]
    path = tmp_path / raw.name
    path.write_bytes(raw.data)
    sound = look(path)
    assert sound.facts is not None
    lying = replace(sound, facts=replace(sound.facts, exposure_s=12.0))
    assert judging.judge(raw, sound, raw.data, lying).outcome == judging.WRONG
    entry = next(one for one in entries(raw.data) if one.tag == 0x829A)
    proper = raw.data[: entry.value_at] + b"\x0c\0\0\0\1\0\0\0" + raw.data[entry.value_at + 8 :]
    assert judging.judge(raw, sound, proper, lying).outcome == judging.SAID
    improper = raw.data[: entry.at + 2] + b"\2\0" + raw.data[entry.at + 4 :]
    assert judging.judge(raw, sound, improper, lying).outcome == judging.WRONG


def test_a_card_is_valid_by_the_standard() -> None:
    """FITS Standard 4.0, section 4, as astropy understands it."""
    for card, expected in (
        (b"EXPTIME =                300.0 / [s]", True),
        (b"OBJECT  = 'NGC 7331'", True),
        (b"COMMENT anything", True),
        (b"EXPTIME =                30O.0", False),
        (b"EXPTIME = 'not closed", False),
        (b"EXP\x14IME =                300.0", False),
        (b"OBJECT  = 'caf\xe9'", False),
    ):
        assert judging.valid(card.ljust(80)) is expected, card
