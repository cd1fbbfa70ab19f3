"""Whether there is a second copy of the library: one copy is not a backup. What counts is a comparison that lacked
nothing, which `verify --against` notes in the journal.
"""

from darklib.jobs.library import Opened
from darklib.jobs.safety_results import SecondCopy


def second_copy(opened: Opened) -> SecondCopy:
    """What is known of a second copy, by the newest comparison. Frames are never deleted, so that all which were there
    then are in it, and only later ones are not.
    """
    in_place = opened.catalogue.frames_in_place()
    stored = opened.catalogue.counts()["frames"] - in_place
    checks = opened.catalogue.copies_checked()
    if not checks:
        return SecondCopy(not_covered=stored, in_place=in_place)
    newest = checks[0]
    return SecondCopy(newest.copy, newest.at, max(stored - newest.frames, 0), in_place)
