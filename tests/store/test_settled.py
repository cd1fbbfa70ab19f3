"""What counts as settled: the same in two looks, and no zeros at the end. Common practice, no single source."""

import os
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.store.seam import Seam
from darklib.store.settled import (
    BLOCK,
    LONGEST_PAUSE_S,
    LOOKS_APART_S,
    PATIENCE_S,
    REMEMBERED_S,
    SAID_AFTER_S,
    STILL_CHANGES,
    TAIL,
    ZERO_TAIL,
    Settling,
    unsettled,
)
from darklib.store.walk import Found

HERE = Path("/card")


def all_of_it() -> bool:
    return True


def part_of_it() -> bool:
    return False


def found(name: str, size: int = 100, mtime_ns: int = 1) -> Found:
    return Found(HERE / name, HERE, size, mtime_ns, (name,))


def test_two_looks_some_time_apart() -> None:
    settling = Settling()
    item = found("a.fits")
    assert settling.look([item], 0.0, all_seen=all_of_it) == []
    assert settling.look([item], LOOKS_APART_S / 2, all_seen=all_of_it) == []
    assert settling.look([item], LOOKS_APART_S, all_seen=all_of_it) == [item]


@pytest.mark.parametrize("other", [found("a.fits", size=101), found("a.fits", mtime_ns=2)])
def test_a_file_that_changes_begins_anew(other: Found) -> None:
    settling = Settling()
    settling.look([found("a.fits")], 0.0, all_seen=all_of_it)
    assert settling.look([other], LOOKS_APART_S, all_seen=all_of_it) == []
    assert settling.look([other], 2 * LOOKS_APART_S, all_seen=all_of_it) == [other]


def test_a_time_in_the_future_or_long_ago_is_only_compared_with_itself() -> None:
    settling = Settling()
    items = [found("future", mtime_ns=2**62), found("past", mtime_ns=-(2**62))]
    settling.look(items, 1.0, all_seen=all_of_it)
    assert settling.look(items, 1.0 + LOOKS_APART_S, all_seen=all_of_it) == items


def test_what_was_dealt_with_is_known_until_it_changes_or_goes() -> None:
    settling = Settling()
    item = found("a.fits")
    settling.look([item], 0.0, all_seen=all_of_it)
    settling.done(item, 5.0)
    assert settling.look([item], 10.0, all_seen=all_of_it) == []
    changed = found("a.fits", size=7)
    settling.look([changed], 15.0, all_seen=all_of_it)
    assert settling.look([changed], 20.0, all_seen=all_of_it) == [changed]
    settling.done(changed, 20.0)
    settling.look([], 25.0, all_seen=all_of_it)
    assert len(settling) == 0


def test_a_card_that_was_away_for_a_while_is_remembered_and_one_away_for_long_is_not() -> None:
    settling = Settling()
    item = found("a.fits")
    settling.done(item, 0.0)
    settling.look([], REMEMBERED_S - 1, all_seen=part_of_it)
    assert settling.look([item], REMEMBERED_S - 0.5, all_seen=all_of_it) == []
    settling.look([], 3 * REMEMBERED_S, all_seen=part_of_it)
    assert len(settling) == 0


def test_what_is_held_back_is_looked_into_ever_less_often_and_spoken_of_once() -> None:
    settling = Settling()
    item = found("a.fits")
    now_s, looks, said = 0.0, [], 0
    while now_s < 2 * PATIENCE_S:
        if settling.look([item], now_s, all_seen=all_of_it):
            looks.append(now_s)
            said += settling.hold_back(item, now_s, "not whole")
            assert settling.out_of_patience(item, now_s) == (now_s >= PATIENCE_S)
        now_s += LOOKS_APART_S
    gaps = [later - earlier for earlier, later in pairwise(looks)]
    assert gaps == sorted(gaps)
    assert gaps[-1] == LONGEST_PAUSE_S
    assert said == 1
    assert not settling.hold_back(found("new.fits"), now_s, "not whole"), "most files are just being written"
    assert now_s > SAID_AFTER_S


def test_what_could_not_be_read_is_tried_again_and_not_at_every_look() -> None:
    settling = Settling()
    item = found("a.fits")
    settling.look([item], 0.0, all_seen=all_of_it)
    tries = 0
    for look in range(1, 721):  # an hour
        now_s = look * 5.0
        if settling.look([item], now_s, all_seen=all_of_it):
            settling.failed(item, now_s)
            tries += 1
    assert 4 <= tries <= 8


@given(
    st.lists(
        st.tuples(st.sets(st.integers(0, 9), max_size=10), st.booleans(), st.sampled_from([1.0, 5.0, 7200.0])),
        max_size=30,
    )
)
def test_nothing_is_kept_of_what_is_gone(looks: list[tuple[set[int], bool, float]]) -> None:
    """Whatever comes and goes: after a look that saw all, no more is held than what was seen."""
    settling = Settling()
    now_s = 0.0
    for numbers, all_seen, step_s in looks:
        now_s += step_s
        items = [found(f"{number}.fits") for number in sorted(numbers)]
        for item in settling.look(items, now_s, all_seen=all_of_it if all_seen else part_of_it):
            settling.done(item, now_s)
        if all_seen:
            assert len(settling) == len(items)
        assert len(settling) <= 20


def _file(tmp_path: Path, data: bytes) -> Found:
    path = tmp_path / "x.fits"
    path.write_bytes(data)
    facts = path.stat()
    return Found(path, tmp_path, facts.st_size, facts.st_mtime_ns, ("x.fits",))


NOISE = bytes(range(1, 250)) * 400


def test_a_copy_whose_size_was_set_first_ends_in_zeros(tmp_path: Path) -> None:
    """Seen of copiers that reserve the room before they write: size and time stand still while the copy stalls."""
    assert unsettled(Seam(), _file(tmp_path, NOISE)) is None
    assert unsettled(Seam(), _file(tmp_path, NOISE + bytes(TAIL))) == ZERO_TAIL
    assert unsettled(Seam(), _file(tmp_path, NOISE + bytes(TAIL - 1))) is None
    assert unsettled(Seam(), _file(tmp_path, bytes(2 * BLOCK))) == ZERO_TAIL
    assert unsettled(Seam(), _file(tmp_path, b"")) is None


def test_padding_behind_the_data_is_no_zero_tail(tmp_path: Path) -> None:
    item = _file(tmp_path, NOISE + bytes(3 * TAIL))
    assert unsettled(Seam(), item, len(NOISE)) is None
    assert unsettled(Seam(), item, len(NOISE) + TAIL) == ZERO_TAIL
    assert unsettled(Seam(), item, 10**12) == ZERO_TAIL, "a length that is nonsense counts as the file's end"


def test_a_file_that_changed_since_the_look_is_not_settled(tmp_path: Path) -> None:
    """A share may answer from memory when a folder is listed; the open file tells."""
    item = _file(tmp_path, NOISE)
    assert unsettled(Seam(), replace(item, size=item.size - 1)) == STILL_CHANGES
    os.utime(item.path, ns=(0, item.mtime_ns + 1))
    assert unsettled(Seam(), item) == STILL_CHANGES
