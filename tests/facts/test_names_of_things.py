"""Ids and trains: the same on every machine, and tolerant of habits of writing."""

from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.naming import LETTERS, body_id, five_letters, slug
from darklib.facts.train import TrainFacts, fingerprint, label, same_train


@given(st.text())
def test_five_letters_are_five_letters(text: str) -> None:
    made = five_letters(text)
    assert len(made) == 5
    assert set(made) <= set(LETTERS)


@given(st.text())
def test_a_slug_is_a_safe_folder_name(text: str) -> None:
    made = slug(text)
    assert made
    assert set(made) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")


def test_ids_do_not_depend_on_the_machine() -> None:
    """Worked out once with sha256sum and bc alone; a change would rename everybody's series."""
    assert five_letters("a") == "prhbc"
    assert body_id("Maker", "Pellwick P4", "P4-1").startswith("pellwick-p4-")


def test_focal_lengths_a_habit_apart_are_one_train_and_do_not_chain() -> None:
    own = TrainFacts("Refractor 480", 480.0)
    assert same_train(own, TrainFacts("REFRACTOR  480", 479.9))
    assert same_train(own, TrainFacts("Refractor-480", 484.0))
    assert not same_train(own, TrainFacts("Refractor 480", 488.0))
    assert not same_train(own, TrainFacts("Refractor 480", None))
    assert not same_train(own, TrainFacts("Newtonian", 480.0))
    assert fingerprint(own) == fingerprint(TrainFacts("refractor 480", 479.9))


def test_a_stated_train_is_known_by_its_label_alone() -> None:
    stated = TrainFacts("whatever the header says", 500.0, None, "Newtonian 600")
    assert same_train(stated, TrainFacts(stated="newtonian  600"))
    assert label(stated) == "Newtonian 600"
    assert fingerprint(stated) == fingerprint(TrainFacts(stated="Newtonian 600"))


def test_a_label_says_the_focal_length_once() -> None:
    assert label(TrainFacts("Harrowfen 90/540", 540.0)) == "Harrowfen 90/540"
    assert label(TrainFacts("Newtonian", 600.0)) == "Newtonian 600 mm"
    assert label(TrainFacts(None, 50.4)) == "50 mm"
    assert label(TrainFacts()) == "unknown train"
