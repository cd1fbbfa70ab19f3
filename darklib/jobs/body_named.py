"""The camera somebody means."""

from darklib.facts.frame import BodyRef
from darklib.jobs.ids import one_meant
from darklib.jobs.library import Opened


def body_meant(opened: Opened, text: str) -> BodyRef:
    """The camera meant by an id, a label or a serial number, or the beginning of one."""
    known = opened.catalogue.bodies()
    names = [tuple(name for name in (row.ref.id, row.ref.label, row.ref.serial) if name) for row in known]
    return one_meant("camera", text, known, names).ref
