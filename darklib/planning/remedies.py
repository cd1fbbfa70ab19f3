"""What can be done about a gap where shooting alone is not the answer, or not any more."""

from darklib.facts.match import Verdict
from darklib.facts.plan import Gap

AT_ALL_C, AT_MOST_C = -60.0, 60.0
"""No camera cools further, and none should be this warm: a need beyond is a wrong reading."""


def remedy_of(gap: Gap, *, possible: bool, train_changed: bool) -> str:
    """What can still be done, as a sentence or two; empty where the plan says it all."""
    wrong = impossible(gap)
    if wrong:
        return wrong
    if gap.have >= gap.need:
        return "Frames are there; `darklib match` tells what is not known of the lights, `darklib amend` can state it."
    if gap.role == "flat":
        return _of_flats(gap, possible=possible, train_changed=train_changed)
    if not possible:
        return (
            "Its temperatures lie below the lower limit stated for this camera; the nearest darks above it, scaled "
            "where `darklib match` offers that, have to do."
        )
    if gap.role == "bias":
        return (
            "Can be shot at any time, with the same gain or ISO and offset: shortest exposure, lens cap and viewfinder "
            "covered."
        )
    if gap.role == "dark_flat":
        return "Can be shot at any time: the flats' own exposure, gain and offset, with the cap on."
    if gap.exposure_s is None:
        return "The lights' exposure is not known: state it with `darklib amend`, then it can be planned."
    if gap.interval is None:
        if gap.dark_ratio is not None:
            return (
                f"The lights' temperature is not known, but their hot pixels are {gap.dark_ratio.value:.2f} times as "
                f"strong as in {gap.dark_ratio.against}: shoot at temperatures on both sides; `darklib match` then "
                "takes the set whose hot pixels come nearest."
            )
        return (
            "The lights' temperature is not known: state it with `darklib amend`, or shoot darks as warm as that night "
            "was."
        )
    return ""


def _of_flats(gap: Gap, *, possible: bool, train_changed: bool) -> str:
    if possible:
        return "Shoot them before the camera is taken off or turned, with the same focus and filter."
    why = (
        "They cannot be shot any more: the train was taken apart, turned or cleaned since."
        if train_changed
        else "They cannot be shot any more: nights have passed, and nobody knows that nothing moved since."
    )
    if gap.verdict_now in (Verdict.USABLE, Verdict.POOR):
        return f"{why} The flats that `darklib match` names are the nearest there are."
    if train_changed:
        return f"{why} What is left is flattening the background of the finished picture."
    return (
        f"{why} If the camera is still on and nothing was touched, shoot them now and see what `darklib match` says; "
        "else what is left is flattening the background of the finished picture."
    )


def impossible(gap: Gap) -> str:
    """Why nobody can shoot a gap at its temperature, as a sentence; empty where somebody can."""
    if gap.interval is None:
        return ""
    if gap.interval.high_c < AT_ALL_C:
        return (
            f"No camera gets as cold as {gap.interval.shoot_at_c:.1f} C: check the temperatures of these lights with "
            "`darklib explain`, and correct them with `darklib amend`."
        )
    if gap.interval.low_c > AT_MOST_C:
        return (
            f"No camera should be as warm as {gap.interval.shoot_at_c:.1f} C: check the temperatures of these lights "
            "with `darklib explain`, and correct them with `darklib amend`."
        )
    return ""
