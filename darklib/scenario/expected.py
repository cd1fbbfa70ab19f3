"""The answer key: what a careful person picks for every batch of lights, reasoned from how the nights were shot.

Nothing here looks at what darklib does. The rules are those of the trade: darks and biases from the same body at the
same gain or ISO, darks of the same exposure and the nearest temperature; flats of the same telescope, camera angle and
filter, of the night whose lights end nearest; a dark that still holds its bias needs no bias beside it; what is taken
off a flat must fit the flat, not the lights.
"""

from dataclasses import dataclass
from typing import Literal

from darklib.scenario.files import Scenario

State = Literal["served", "stale", "missing", "not_needed"]


@dataclass(frozen=True, slots=True)
class ExpectedChoice:
    """One role of one batch.

    first: the frames that should be chosen, empty where there are none; second: the next best, empty where there is
    none or the order is a matter of taste; never: frames that look alike and must not be chosen; why: in words.
    stale: chosen, because nothing better is there, but the train has changed since.
    """

    state: State
    first: frozenset[str] = frozenset()
    second: frozenset[str] = frozenset()
    never: frozenset[str] = frozenset()
    why: str = ""


@dataclass(frozen=True, slots=True)
class ExpectedBatch:
    """One batch of lights, as places of files; target is None where no file says what was photographed.

    photographed: what it really was; temperature_known: read from the header, or stated when taken in.
    """

    night: str
    target: str | None
    photographed: str
    body_serial: str
    filter: str | None
    exposure_s: float
    setting: int
    lights: frozenset[str]
    temperature_known: bool
    train_known: bool
    darks: ExpectedChoice
    flats: ExpectedChoice
    dark_flats: ExpectedChoice
    biases: ExpectedChoice


NOT_NEEDED = ExpectedChoice("not_needed", why="The darks hold the bias, and the flats have dark flats.")


def expected_batches(scenario: Scenario) -> tuple[ExpectedBatch, ...]:
    """The key for a scenario of any scale, batches in the order they were shot."""
    return (*_cooled(scenario), *_first_body(scenario), *_second_body(scenario))


def _cooled(s: Scenario) -> tuple[ExpectedBatch, ...]:
    cold, less_cold = s.group("cooled dark 300s -10C"), s.group("cooled dark 300s -5C")
    fits = ExpectedChoice("served", cold, less_cold, why="Same exposure, same set-point.")
    warm = ExpectedChoice("served", less_cold, cold, why="Set-point -5: the darks at -10 are five degrees off.")
    too_long = ExpectedChoice("missing", never=cold | less_cold, why="There are no darks of 180 s.")
    short, long_ = s.group("cooled dark flat 2s"), s.group("cooled dark flat 4s")
    for_luminance = ExpectedChoice("served", short, never=long_, why="Luminance flats took 2 s.")
    for_colour = ExpectedChoice("served", long_, never=short, why="Red, green and blue flats took 4 s.")
    none_of_12 = ExpectedChoice("missing", never=short | long_, why="Hydrogen-alpha flats took 12 s: no dark flats.")
    biases = ExpectedChoice("served", s.group("cooled bias"), why="For the flats, which have no dark flats.")

    def flats(night: str, filter_: str, second: str | None = None) -> ExpectedChoice:
        other = s.group(f"cooled flat {second} {filter_}") if second else frozenset[str]()
        return ExpectedChoice("served", s.group(f"cooled flat {night} {filter_}"), other, why="Of the same night.")

    turned = ExpectedChoice(
        "stale",
        s.group("cooled flat 2026-09-13 H-alpha"),
        why="The only hydrogen-alpha flats are from before the camera was turned by 37 degrees.",
    )
    rows: list[tuple[str, str, str, float, ExpectedChoice, ExpectedChoice, ExpectedChoice, ExpectedChoice]] = []
    rows.append(
        ("2026-09-12", "NGC 7331", "L", 300.0, fits, flats("2026-09-12", "L", "2026-09-13"), for_luminance, NOT_NEEDED)
    )
    rows += [
        ("2026-09-12", "NGC 7331", colour, 300.0, fits, flats("2026-09-12", colour), for_colour, NOT_NEEDED)
        for colour in ("R", "G", "B")
    ]
    rows += [
        ("2026-09-13", "NGC 7331", "L", 300.0, fits, flats("2026-09-13", "L", "2026-09-12"), for_luminance, NOT_NEEDED),
        ("2026-09-13", "NGC 6946", "H-alpha", 300.0, warm, flats("2026-09-13", "H-alpha"), none_of_12, biases),
        ("2026-10-03", "NGC 6946", "L", 300.0, fits, flats("2026-10-03", "L", "2026-10-17"), for_luminance, NOT_NEEDED),
        ("2026-10-03", "NGC 6946", "H-alpha", 300.0, fits, turned, none_of_12, biases),
        (
            "2026-10-17", "NGC 7331", "L", 180.0, too_long, flats("2026-10-17", "L", "2026-10-03"), for_luminance,
            NOT_NEEDED,
        ),
    ]  # fmt: skip
    return tuple(
        ExpectedBatch(
            night, target, target, "CM16-0417", filter_, exposure_s, 100,
            s.group(f"cooled light {night} {target} {filter_}"), True, True, *choices,
        )
        for night, target, filter_, exposure_s, *choices in rows
    )  # fmt: skip


def _first_body(s: Scenario) -> tuple[ExpectedBatch, ...]:
    slow, fast = s.group("first bias 800"), s.group("first bias 1600")
    return (
        ExpectedBatch(
            "2026-09-12", None, "NGC 6960", "P4-200117", None, 120.0, 1600, s.group("first light"), True, True,
            ExpectedChoice(
                "served", s.group("first dark 13C"), never=s.group("second dark 12C"),
                why="The lights are stated at 14 degrees: one above these darks, six below and eight above the others.",
            ),
            ExpectedChoice("served", s.group("first flat"), never=s.group("second flat"), why="Of the next morning."),
            ExpectedChoice("missing", why="There are no darks of 1/30 s."),
            ExpectedChoice("served", slow, never=fast, why="The flats were shot at ISO 800, whatever the lights were."),
        ),
    )  # fmt: skip


def _second_body(s: Scenario) -> tuple[ExpectedBatch, ...]:
    twin = s.group("first dark 6C") | s.group("first dark 13C") | s.group("first dark 20C")
    flats = ExpectedChoice("served", s.group("second flat"), never=s.group("first flat"), why="Of the next morning.")
    no_dark_flats = ExpectedChoice("missing", why="There are no darks of 1/30 s.")
    biases = ExpectedChoice(
        "served", s.group("second bias 800"), never=s.group("first bias 800"), why="The flats were shot at ISO 800."
    )
    return (
        ExpectedBatch(
            "2026-10-03", None, "NGC 891", "P4-200236", None, 120.0, 800, s.group("second light 800"), False, False,
            ExpectedChoice(
                "served", s.group("second dark 12C"), never=twin,
                why="The only darks of this body; how warm the lights were is not known, so they can't be called good.",
            ),
            flats, no_dark_flats, biases,
        ),
        ExpectedBatch(
            "2026-10-03", None, "NGC 891", "P4-200236", None, 120.0, 1600, s.group("second light 1600"), False, False,
            ExpectedChoice(
                "missing", never=twin | s.group("second dark 12C"),
                why="At ISO 1600 only the other body of this model has darks, and they are another sensor's.",
            ),
            flats, no_dark_flats, biases,
        ),
    )  # fmt: skip
