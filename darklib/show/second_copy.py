"""What is said of a second copy of the library: one copy is not a backup."""

from darklib.jobs.results import SecondCopy
from darklib.show import text


def sentence(known: SecondCopy) -> str:
    """What is known of a second copy, in a sentence or two."""
    if known.path is None or known.checked_at is None:
        told = "One copy is not a backup: no second copy of this library has been checked yet."
    elif known.not_covered:
        have = "has" if known.not_covered == 1 else "have"
        told = (
            f"One copy is not a backup: {text.some(known.not_covered, 'frame')} {have} been added since the second "
            f"copy in {known.path} was checked on {day(known)}."
        )
    else:
        told = f"The second copy in {known.path} held every stored frame when it was checked on {day(known)}."
    if known.in_place:
        what = "1 frame is" if known.in_place == 1 else f"{known.in_place:,} frames are"
        told += f" {what} catalogued in place, and in no copy of the library."
    return told


def day(known: SecondCopy) -> str:
    """The date of the check, UTC."""
    return text.moment(known.checked_at)[:10]


def covers_all(known: SecondCopy) -> bool:
    """Whether a second copy was checked and nothing was stored since."""
    return known.path is not None and not known.not_covered
