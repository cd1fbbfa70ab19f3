"""Ids and trains: the same on every machine, and tolerant of habits of writing."""

from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.naming import LETTERS, body_id, five_letters, slug
from darklib.facts.train import TrainFacts, TrainRef, fingerprint, label, nearest_train, same_train


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


def test_composed_and_decomposed_letters_are_one_train() -> None:
    """Unicode Standard Annex 15: some systems write letters composed, others decomposed."""
    assert fingerprint(TrainFacts("R\u00e9fractor", 480.0)) == fingerprint(TrainFacts("Re\u0301fractor", 480.0))


def test_the_stop_of_a_lens_and_a_reducer_make_another_train() -> None:
    wide, closed = TrainFacts("Harrowfen 85", 85.0, stop=2.8), TrainFacts("Harrowfen 85", 85.0, stop=4.0)
    assert not same_train(wide, closed)
    assert fingerprint(wide) != fingerprint(closed)
    assert same_train(wide, TrainFacts("HARROWFEN 85", 85.1, stop=2.8000001))
    assert label(wide) == "Harrowfen 85 f/2.8"
    reduced = TrainFacts("Newtonian", 600.0, reducer="0.8x")
    assert not same_train(reduced, TrainFacts("Newtonian", 600.0))
    assert (label(reduced), fingerprint(reduced) == fingerprint(TrainFacts("Newtonian", 600.0))) == (
        "Newtonian 0.8x 600 mm",
        False,
    )


def test_an_aperture_counts_where_no_name_does() -> None:
    # Many headers leave the aperture out, so with a name it must not part what one telescope took.
    assert same_train(TrainFacts("Newtonian", 600.0, 150.0), TrainFacts("Newtonian", 600.0))
    assert fingerprint(TrainFacts("Newtonian", 600.0, 150.0)) == fingerprint(TrainFacts("Newtonian", 600.0))
    assert not same_train(TrainFacts(None, 600.0, 150.0), TrainFacts(None, 600.0, 200.0))
    assert fingerprint(TrainFacts(None, 600.0, 150.0)) != fingerprint(TrainFacts(None, 600.0, 200.0))


def test_each_description_is_compared_with_the_trains_own() -> None:
    own = [TrainFacts("Refractor", 480.0), TrainFacts("Refractor", 488.0), TrainFacts("Newtonian", 480.0)]
    trains = [(one, TrainRef(fingerprint(one), label(one))) for one in own]
    for focal_mm, label_ in ((479.9, "Refractor 480 mm"), (483.0, "Refractor 480 mm"), (485.0, "Refractor 488 mm")):
        found = nearest_train(TrainFacts("refractor", focal_mm), trains)
        assert found is not None
        assert found.label == label_
    assert nearest_train(TrainFacts("Refractor", 500.0), trains) is None
    # A chain of small steps does not lead from one train to another: 484 joins 480, 488.5 does not.
    assert nearest_train(TrainFacts("Refractor", 488.5), trains[:1]) is None
    assert nearest_train(TrainFacts(), trains) is None
