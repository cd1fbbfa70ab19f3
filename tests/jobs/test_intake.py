"""Taking files in: what is stored, what is not, and what never changes."""

import gzip
import hashlib
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from darklib import __version__
from darklib.facts.errors import DarklibError, Exit
from darklib.facts.frame import Kind, KindFrom, TemperatureFrom
from darklib.jobs.asked import Stated
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, open_library
from darklib.jobs.results import KindGroup
from darklib.scenario.nights import scenario
from darklib.scenario.trio import trio
from darklib.store.seam import Seam

SEED = 20261003
Snapshot = Callable[[Path], dict[str, bytes]]


def test_names_never_collide(opened: Opened, tmp_path: Path) -> None:
    """Cards count from IMG_0001 anew: the same name holds different frames."""
    card = tmp_path / "card"
    darks = [trio(seed)[0].make() for seed in (1, 2, 3)]
    for folder, data in zip(("100ABCDE", "101ABCDE", "other/100ABCDE"), darks, strict=True):
        (card / folder).mkdir(parents=True)
        (card / folder / "IMG_0001.fits").write_bytes(data)
    result = ingest(opened, [str(card)], workers=1)
    assert result.counts.stored == 3
    stored = {opened.absolute(frame.path): frame.sha256 for frame in result.stored}
    assert len(stored) == 3
    for path, sha256 in stored.items():
        assert hashlib.sha256(Path(path).read_bytes()).hexdigest() == sha256


def test_every_file_is_accounted_for(opened: Opened, trio_card: Path) -> None:
    """stored + duplicates + set aside + passed over = seen."""
    dark = (trio_card / trio(SEED)[0].name).read_bytes()
    (trio_card / "again.fits").write_bytes(dark)
    (trio_card / "empty.fits").write_bytes(b"")
    (trio_card / "short.fits").write_bytes(dark[:5000])
    (trio_card / "text.fits").write_text("not a frame", "utf-8")
    (trio_card / "picture.jpg").write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(200))
    (trio_card / "notes.txt").write_text("seeing was poor", "utf-8")
    (trio_card / ".hidden").write_text("x", "utf-8")
    (trio_card / "packed.fits.gz").write_bytes(gzip.compress(trio(7)[0].make()))
    result = ingest(opened, [str(trio_card)], workers=1)
    counts = result.counts
    assert counts.seen == 11
    assert counts.seen == counts.stored + counts.duplicates + counts.set_aside + counts.passed_over
    assert (counts.stored, counts.duplicates) == (4, 1)
    assert {Path(item.path).name: item.code for item in result.set_aside} == {
        "empty.fits": "empty",
        "short.fits": "truncated",
        "text.fits": "not_what_it_says",
        "picture.jpg": "not_calibratable",
    }
    assert {Path(item.path).name for item in result.passed_over} == {"notes.txt", ".hidden"}
    assert result.needs_attention
    kept = sorted(path.name for path in (opened.layout.set_aside / str(result.run)).iterdir())
    assert len([name for name in kept if name.endswith(".txt")]) == 4
    assert len(kept) == 8, "each file set aside has its reason beside it"


def test_what_was_set_aside_is_not_set_aside_twice(opened: Opened, tmp_path: Path) -> None:
    card = tmp_path / "card"
    card.mkdir()
    (card / "short.fits").write_bytes(trio(SEED)[0].make()[:5000])
    first = ingest(opened, [str(card)], workers=1)
    second = ingest(opened, [str(card)], workers=1)
    assert (first.counts.set_aside, second.counts.set_aside) == (1, 0)
    assert [item.code for item in second.passed_over] == ["known_set_aside"]


def test_what_two_versions_refused_is_not_tried_at_every_ingest(
    opened: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tmp_path / "card"
    card.mkdir()
    (card / "short.fits").write_bytes(trio(SEED)[0].make()[:5000])
    with monkeypatch.context() as older:
        older.setattr("darklib.jobs.intake.__version__", "0.0.1")
        ingest(opened, [str(card)], workers=1)
    before = opened.catalogue.set_aside()
    tried = ingest(opened, [str(card)], workers=1)
    again = ingest(opened, [str(card)], workers=1)
    assert (tried.counts.set_aside, again.counts.set_aside) == (1, 0)
    assert [item.code for item in again.passed_over] == ["known_set_aside"]
    after = opened.catalogue.set_aside()
    assert [row.kept_path for row in after] == [row.kept_path for row in before]
    assert [row.version for row in after] == [__version__]


def test_the_result_remarks_on_a_new_camera_and_on_frames_known_already(opened: Opened, trio_card: Path) -> None:
    names = sorted(path.name for path in trio_card.iterdir())
    first = ingest(opened, [str(trio_card / names[0])], Stated(body="Borrowed box"), workers=1)
    assert first.remarks == ("new camera Borrowed box",)
    second = ingest(opened, [str(trio_card)], Stated(body="borrowed  box"), workers=1)
    assert second.remarks == ("1 file was known already; it keeps what is recorded; use amend",)
    third = ingest(opened, [str(trio_card)], Stated(kind=Kind.BIAS), workers=1)
    assert third.remarks == ("3 files were known already; they keep what is recorded; use amend",)
    assert ingest(opened, [str(trio_card)], workers=1).remarks == ()
    assert len(opened.catalogue.bodies()) == 1


def test_a_dry_run_writes_nothing(opened: Opened, trio_card: Path, library: Path, snapshot: Snapshot) -> None:
    before = snapshot(library)
    result = ingest(opened, [str(trio_card)], dry_run=True, workers=1)
    assert result.dry_run
    assert result.run is None
    assert (result.counts.stored, len(result.stored)) == (3, 3)
    after = snapshot(library)
    assert {name for name in after if not name.startswith("catalogue")} == {
        name for name in before if not name.startswith("catalogue")
    }
    assert opened.catalogue.counts()["frames"] == 0


def test_a_dry_run_tells_the_groups_that_the_run_makes(opened: Opened, tmp_path: Path) -> None:
    card = tmp_path / "card"
    card.mkdir()
    for seed in range(3):
        for file in trio(seed):
            (card / f"{seed}_{file.name}").write_bytes(file.make())
    wanted = ingest(opened, [str(card)], dry_run=True, workers=1).groups
    done = ingest(opened, [str(card)], workers=1).groups
    assert [group.count for group in wanted] == [3, 3, 3]
    assert wanted == done


def test_move_empties_the_card_of_what_is_safe(opened: Opened, trio_card: Path) -> None:
    (trio_card / "notes.txt").write_text("stays", "utf-8")
    (trio_card / "short.fits").write_bytes(trio(SEED)[0].make()[:5000])
    result = ingest(opened, [str(trio_card)], move=True, workers=1)
    assert (result.counts.stored, result.removed) == (3, 3)
    assert sorted(path.name for path in trio_card.iterdir()) == ["notes.txt", "short.fits"]
    for frame in result.stored:
        assert hashlib.sha256(Path(opened.absolute(frame.path)).read_bytes()).hexdigest() == frame.sha256


def test_move_of_a_duplicate_removes_it_too(opened: Opened, trio_card: Path) -> None:
    ingest(opened, [str(trio_card)], workers=1)
    assert len(list(trio_card.iterdir())) == 3
    assert ingest(opened, [str(trio_card)], move=True, workers=1).removed == 3
    assert list(trio_card.iterdir()) == []


def test_in_place_catalogues_without_copying(opened: Opened, trio_card: Path, snapshot: Snapshot) -> None:
    before = snapshot(trio_card)
    result = ingest(opened, [str(trio_card)], in_place=True, workers=1)
    assert snapshot(trio_card) == before
    assert snapshot(opened.layout.frames) == {}
    assert {frame.path for frame in result.stored} == {str(path) for path in trio_card.iterdir()}
    assert all(frame.in_place for frame in result.stored)


def test_in_place_and_move_exclude_each_other(opened: Opened, trio_card: Path) -> None:
    with pytest.raises(DarklibError, match="exclude each other") as caught:
        ingest(opened, [str(trio_card)], in_place=True, move=True)
    assert caught.value.status is Exit.USAGE


def test_what_the_user_states_counts_before_the_file(opened: Opened, trio_card: Path) -> None:
    stated = Stated(kind=Kind.DARK, temperature_c=-3.5, train="Newtonian 600", clock_shift_s=3600.0)
    result = ingest(opened, [str(trio_card)], stated, workers=1)
    plain = {frame.id: frame for frame in result.stored}
    assert {frame.kind for frame in plain.values()} == {Kind.DARK}
    assert {frame.kind_from for frame in plain.values()} == {KindFrom.USER}
    assert {frame.temperature_c for frame in plain.values()} == {-3.5}
    assert {frame.temperature_from for frame in plain.values()} == {TemperatureFrom.USER}
    assert {frame.train.label for frame in plain.values() if frame.train} == {"Newtonian 600"}
    assert {frame.time_from for frame in plain.values()} == {"header+clock"}


class _CorruptingSeam(Seam):
    """A disk that flips a bit of what is written under a given name, without saying so."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self.name, self.flipped = name, 0

    def _call(self, name, path, func):  # type: ignore[no-untyped-def]
        if name == "link" and self.name in str(path) and not self.flipped:
            raise AssertionError("a corrupted file was about to be given its name")
        outcome = super()._call(name, path, func)
        if name == "fsync" and self.name in str(path) and str(path).endswith(".part"):
            with open(str(path), "r+b") as handle:
                handle.seek(100)
                byte = handle.read(1)
                handle.seek(100)
                handle.write(bytes([byte[0] ^ 1]))
            self.flipped += 1
        return outcome


def test_a_file_the_disk_corrupted_does_not_count_as_stored(library: Path, trio_card: Path) -> None:
    dark = trio(SEED)[0].name
    seam = _CorruptingSeam(dark)
    with (
        open_library(library, seam=seam) as opened,
        pytest.raises(DarklibError, match="differs|not the same") as caught,
    ):
        ingest(opened, [str(trio_card)], workers=1)
    assert caught.value.code == "copy_differs"
    assert seam.flipped == 1
    assert (trio_card / dark).exists(), "the source is intact"
    with open_library(library) as opened:
        assert dark not in {Path(frame.source_path).name for frame in opened.catalogue.frames_by_id(_all(opened))}
        again = ingest(opened, [str(trio_card)], workers=1)
        assert again.counts.stored + again.counts.duplicates == 3
        assert opened.catalogue.counts()["frames"] == 3


def _all(opened: Opened) -> list[str]:
    return [row.sha256 for row in opened.catalogue.everything()]


class _Answers:
    """Somebody who says what each group is."""

    def __init__(self, kind: Kind) -> None:
        self.kind, self.asked = kind, []  # type: Kind, list[KindGroup]

    def kind_of_group(self, group: KindGroup) -> Kind | None:
        """Answer and remember the question."""
        self.asked.append(group)
        return self.kind


def test_an_undecided_group_is_asked_about_once(opened: Opened, tmp_path: Path) -> None:
    """Header, names and pixels say nothing of a blank frame of medium level; the answer settles the whole group."""
    card = tmp_path / "card"
    card.mkdir()
    for number in range(3):
        (card / f"a{number}.fits").write_bytes(_grey_fits(number))
    undecided = ingest(opened, [str(card)], dry_run=True, workers=1)
    assert undecided.counts.undecided == 3
    answers = _Answers(Kind.FLAT)
    result = ingest(opened, [str(card)], ask=answers, workers=1)
    assert len(answers.asked) == 1
    assert (answers.asked[0].count, answers.asked[0].ask) == (3, True)
    assert {frame.kind for frame in result.stored} == {Kind.FLAT}
    assert result.counts.undecided == 0


def _grey_fits(number: int) -> bytes:
    import numpy as np

    from darklib.scenario.fits_file import fits_bytes

    pixels = np.random.default_rng(number).normal(9000, 40, (64, 96)).astype(np.uint16)
    cards = [("INSTRUME", "Grey Box"), ("EXPTIME", 30.0), ("DATE-OBS", f"2026-10-03T22:0{number}:00")]
    return fits_bytes(pixels, cards)


def test_a_card_of_the_scenario_comes_out_as_it_should(opened: Opened, tmp_path: Path) -> None:
    """Each file's outcome and facts against what the simulator knows of it: a night with every oddity on it."""
    card = next(card for card in scenario(scale=0.3).cards if card.name == "cooled-2026-09-13")
    for file in card.files:
        path = tmp_path / "card" / file.path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(file.make())
        os.utime(path, (file.modified.timestamp(),) * 2)
    result = ingest(opened, [str(tmp_path / "card")], workers=2)
    truth = {file.path: file for file in card.files}
    stored = {Path(frame.source_path).relative_to(tmp_path / "card").as_posix(): frame for frame in result.stored}
    assert set(stored) == {path for path, file in truth.items() if file.outcome == "stored"}
    assert len(result.set_aside) == sum(file.outcome == "set_aside" for file in truth.values())
    for path, frame in stored.items():
        known = truth[path].truth
        assert known is not None
        assert (frame.kind, frame.night, frame.exposure_s) == (known.kind, known.night, known.exposure_s), path
        assert (frame.filter, frame.set_temperature_c) == (known.filter, round(known.temperature_c)), path
        assert frame.taken_at == known.taken_at, path


def test_a_folder_of_the_library_is_refused(opened: Opened) -> None:
    with pytest.raises(DarklibError, match="only its inbox") as caught:
        ingest(opened, [str(opened.layout.frames)])
    assert caught.value.status is Exit.FAILED


def test_the_inbox_is_taken_where_nothing_is_named(opened: Opened, trio_card: Path) -> None:
    for path in trio_card.iterdir():
        (opened.layout.inbox / path.name).write_bytes(path.read_bytes())
    assert ingest(opened, [], workers=1).counts.stored == 3
