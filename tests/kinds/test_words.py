import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.frame import Kind
from darklib.kinds.words import is_target, kind_from_names, kind_from_words, words_of

DARK, BIAS, FLAT, LIGHT = Kind.DARK, Kind.BIAS, Kind.FLAT, Kind.LIGHT

# fmt: off
CASES = [
    # path below the ingested folder, target, kind
    ("Dark_0001.fits", None, DARK),
    ("darks/IMG_0001.CR2", None, DARK),
    ("DARKS_300s/IMG_0001.CR2", None, DARK),
    ("dark300s_-10C.fit", None, DARK),
    ("2026-09-12/Dark Frames/a.nef", None, DARK),
    ("bias/0001.fits.fz", None, BIAS),
    ("Biases/0001.fits", None, BIAS),
    ("zeros/a0001.fits", None, BIAS),
    ("zero_0001.fits", None, BIAS),
    ("offsets/IMG_1.CR2", None, BIAS),
    ("Offset/IMG_1.CR2", None, BIAS),
    ("offset_0012.fits", None, BIAS),
    ("BiasOffset/IMG_1.CR2", None, BIAS),
    ("Flats-L-2026/a.fits", None, FLAT),
    ("skyflat0003.fits", None, FLAT),
    ("FlatField_V_001.fit", None, FLAT),
    ("flatWizard/flat/a.fits", None, FLAT),
    ("LIGHT_M_31_60s_0001.fits", None, LIGHT),
    ("NGC 891/lights/a.arw", None, LIGHT),
    ("Light Frames/a.arw", None, LIGHT),
    # a dark flat is a dark
    ("FlatDarks/a.fits", None, DARK),
    ("dark-flats/a.fits", None, DARK),
    ("DARKFLAT_2s_001.fits", None, DARK),
    ("dark flat/a.fits", None, DARK),
    # masters keep the kind
    ("masterDark_300s.fits", None, DARK),
    ("MasterFlat/L.fits", None, FLAT),
    ("superbias.fits", None, BIAS),
    ("master_bias_2026.fits", None, BIAS),
    # the nearest name wins
    ("darks/flat_0001.fits", None, FLAT),
    ("lights/darks/a.fits", None, DARK),
    ("flats/L/2026/a.fits", None, FLAT),
    # two things in one name say nothing, and nothing further off is asked
    ("darks and flats/a.fits", None, None),
    ("lights/dark_light_1.fits", None, None),
    ("Flats Darks/a.fits", None, None),
    ("bias/darks for bias/a.fits", None, None),
    # only whole words
    ("Darkroom/a.fits", None, None),
    ("inflated/a.fits", None, None),
    ("biased/a.fits", None, None),
    ("daylight/a.fits", None, None),
    ("Flatiron nebula/a.fits", None, None),
    # settings are no kinds
    ("M31_gain100_offset50.fits", None, None),
    ("gain100_offset50/a.fits", None, None),
    ("offset50/a.fits", None, None),
    ("Dark_gain100_offset50_001.fits", None, DARK),
    # targets and phrases
    ("Dark Shark/a.fits", "Dark Shark", None),
    ("Dark_Shark_0001.fits", "Dark Shark", None),
    ("DarkShark/a.fits", "dark shark", None),
    ("Flat nebula/light_1.fits", "Flat Nebula", LIGHT),
    ("Dark Wisp/Dark Wisp 300s.fits", "Dark Wisp", None),
    ("Dark Wisp/darks/a.fits", "Dark Wisp", DARK),
    ("dark sky site/IMG_1.CR2", None, None),
    ("light pollution test/IMG_1.CR2", None, None),
    ("first light/IMG_1.CR2", None, None),
    ("Northern Lights/IMG_1.CR2", None, None),
    # an object called "Dark" is how a capture program names a dark
    ("Dark/a.fits", "Dark", DARK),
    ("flat_001.fits", "FlatField", FLAT),
    ("IMG_0001.CR2", None, None),
    ("", None, None),
]
# fmt: on


@pytest.mark.parametrize(("path", "target", "kind"), CASES)
def test_names_as_people_write_them(path, target, kind):
    *parts, name = path.split("/")
    found = kind_from_words(parts, name, target)
    assert (found and found[0]) == kind
    if found:
        assert found[1] in path


def test_a_folder_named_after_another_frames_target_is_no_kind():
    assert kind_from_names(("Dark Wisp",), "IMG_1.CR2", ("M 31", "Dark Wisp")) is None
    assert kind_from_names(("Dark Wisp",), "IMG_1.CR2", ("M 31",)) == (DARK, "Dark Wisp")


@pytest.mark.parametrize(
    ("text", "target"),
    [("M 31", True), ("Dark Shark", True), ("Dark", False), ("dark 300s", False), ("FlatField", False), ("", False)],
)
def test_what_is_a_target(text, target):
    assert is_target(text) is target


def test_words_part_at_case_digits_and_marks():
    assert words_of("MasterDark300s_-10C.Flat-L") == ["master", "dark", "300", "s", "10", "c", "flat", "l"]
    assert words_of("DARKFlat") == ["dark", "flat"]


@given(st.lists(st.text(max_size=30), max_size=4), st.text(max_size=40), st.none() | st.text(max_size=20))
def test_any_name_is_read_without_failing(parts, name, target):
    found = kind_from_words(parts, name, target)
    assert found is None or (found[0] in Kind and any(found[1] in one for one in [*parts, name]))


@given(
    st.sampled_from(["dark", "bias", "flat", "light"]), st.sampled_from(["_", "-", " ", ".", ""]), st.integers(0, 9999)
)
def test_a_word_is_found_whatever_stands_round_it(word, mark, number):
    for written in (word, word.upper(), word.title()):
        found = kind_from_words((), f"{number}{mark}{written}{mark}{number:04d}.fits", None)
        assert found is not None
        assert found[0].value == word


def test_a_target_hides_only_its_own_words():
    found = kind_from_words(("Dark Wisp",), "Dark Wisp flat 1.fits", "Dark Wisp")
    assert found == (FLAT, "Dark Wisp flat 1")
