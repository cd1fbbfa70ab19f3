"""The one question to the person at the terminal."""

import io
import re
from dataclasses import replace

import pytest
from any_result import any_of
from hypothesis import given
from pretend_results import GROUPS

from darklib.facts.frame import Kind
from darklib.jobs.results import KindGroup
from darklib.show.asking import AtTerminal

GROUP = GROUPS[1]


def asked(group: KindGroup, answers: str) -> tuple[Kind | None, str]:
    questions = io.StringIO()
    return AtTerminal(io.StringIO(answers), questions).kind_of_group(group), questions.getvalue()


@pytest.mark.parametrize(
    ("answer", "kind"),
    [
        ("l\n", Kind.LIGHT),
        ("D\n", Kind.DARK),
        (" bias \n", Kind.BIAS),
        ("flat\n", Kind.FLAT),
        ("\n", None),
        ("", None),
        ("what?\nd\n", Kind.DARK),
        ("what?\n", None),
    ],
)
def test_answers(answer: str, kind: Kind | None) -> None:
    assert asked(GROUP, answer)[0] is kind


def test_the_question_says_what_is_asked_about() -> None:
    many = replace(GROUP, count=12, exposures_s=(2.0, 4.0, 8.0, 16.0, 32.0))
    shown = asked(many, "x\n\n")[1]
    for words in (
        "12 frames",
        "/cards/one/9.fits",
        "2 s, 4 s, 8 s, 16 s and 1 other time",
        "even and bright",
        "'x' is none",
    ):
        assert words in shown


def test_a_bar_is_paused_first() -> None:
    class Pausing:
        paused = 0

        def pause(self) -> None:
            self.paused += 1

    bar = Pausing()
    AtTerminal(io.StringIO("\n"), io.StringIO(), bar).kind_of_group(GROUP)  # type: ignore[arg-type]
    assert bar.paused == 1


@given(any_of(KindGroup))
def test_the_question_steers_nothing(group: KindGroup) -> None:
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f]", asked(group, "")[1])
