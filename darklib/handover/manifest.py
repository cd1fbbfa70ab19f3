"""What is handed over: every file with its role, and the order of the steps of calibration in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from darklib.facts.frame import Frame
from darklib.facts.match import Batch, Choice, Match, Recipe, Use, Verdict

SCHEMA = "darklib/manifest/1"


class Role(StrEnum):
    """What a file is for. A dark flat is a dark used on the flats."""

    LIGHT = "light"
    DARK = "dark"
    FLAT = "flat"
    BIAS = "bias"
    DARK_FLAT = "dark_flat"


FOLDERS = {
    Role.LIGHT: "lights",
    Role.DARK: "darks",
    Role.FLAT: "flats",
    Role.BIAS: "biases",
    Role.DARK_FLAT: "dark_flats",
}
"""Name of the folder, and without the suffix of the list, of each role."""


@dataclass(frozen=True, slots=True)
class Item:
    """One frame in one role for one batch (part from 1). place: folder of the set it is shared by, relative to the
    hand-over's folder, with forward slashes.
    """

    frame: Frame
    role: Role
    use: Use | None
    recipe: Recipe | None
    batch: str
    part: int
    place: str


def items_of(matches: Sequence[Match]) -> list[Item]:
    """Everything some matches hand over, in the order of the matches, lights first. A set shared by batches has one
    place, so that it is written once.
    """
    items: list[Item] = []
    for match in matches:
        place = batch_place(match)
        batch, part = match.batch.id, match.part
        items += [Item(light, Role.LIGHT, None, None, batch, part, f"lights/{place}") for light in match.lights]
        for role, choice in choices_of(match):
            if choice.set is None or choice.verdict in (Verdict.MISSING, Verdict.NOT_NEEDED):
                continue
            shared = f"{FOLDERS[role]}/{choice.set.id}"
            use, recipe = choice.use, choice.recipe
            items += [Item(frame, role, use, recipe, batch, part, shared) for frame in choice.set.frames]
    return items


def choices_of(match: Match) -> tuple[tuple[Role, Choice], ...]:
    """The four choices of a match with their roles, in the order in which they are shown."""
    return (
        (Role.DARK, match.darks),
        (Role.FLAT, match.flats),
        (Role.BIAS, match.biases),
        (Role.DARK_FLAT, match.dark_flats),
    )


def batch_place(match: Match) -> str:
    """The folder of a batch, or of a part of one, in a hand-over."""
    return match.batch.id if match.parts == 1 else f"{match.batch.id}/part-{match.part}"


def batches_in(matches: Sequence[Match]) -> list[Batch]:
    """The batches of some matches, each once, in their order."""
    return list({match.batch.id: match.batch for match in matches}.values())


def order_of_work(matches: Sequence[Match]) -> list[str]:
    """The steps of calibration in words, one set of steps a batch or part. No bias is taken off twice."""
    steps: list[str] = []
    for match in matches:
        steps += [f"{batch_place(match)}: {step}" for step in _steps(match)]
    return steps


def _steps(match: Match) -> list[str]:
    steps = []
    darks, flats, biases, dark_flats = match.darks, match.flats, match.biases, match.dark_flats
    if _served(flats):
        if _served(dark_flats):
            steps.append("Combine the dark flats and subtract them from each flat.")
        elif _served(biases) and biases.use is Use.WITH_FLATS:
            steps.append("Combine the biases and subtract them from each flat.")
        else:
            steps.append("Nothing can be taken off the flats: dark flats or biases that fit them are missing.")
        steps.append("Bring the flats to one level, combine them and divide by their mean.")
    if _served(darks):
        if darks.use is Use.SCALE:
            scale = darks.recipe.scale if darks.recipe and darks.recipe.scale else 1.0
            steps.append(
                "Combine the biases; subtract them from the lights and from each dark; combine the darks, multiply "
                f"by {scale:.4g} and subtract them from the lights."
            )
        else:
            steps.append(
                "Combine the darks and subtract them from each light. They contain the bias: take none off the lights."
            )
    elif _served(biases) and biases.use is Use.SUBTRACT:
        steps.append("No darks serve: combine the biases and subtract them from each light.")
    else:
        steps.append("No darks serve these lights: nothing is subtracted from them.")
    if _served(flats):
        steps.append("Divide each light by the combined flat.")
    steps.append("Align and stack the lights.")
    return steps


def _served(choice: Choice) -> bool:
    return choice.set is not None and choice.verdict not in (Verdict.MISSING, Verdict.NOT_NEEDED)
