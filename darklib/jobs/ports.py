"""What a job needs from whoever started it: somebody to tell how far it is, and somebody to ask. Silent by default."""

from typing import Protocol

from darklib.facts.frame import Kind
from darklib.jobs.results import KindGroup


class Progress(Protocol):
    """How far a job is. `start` may be called again with better totals; after `finish` another count may start."""

    def start(self, total_files: int, total_bytes: int | None) -> None:
        """So many files, and bytes where known, are to be done."""

    def advance(self, path: str, size: int) -> None:
        """One file of `size` bytes is done."""

    def note(self, text: str) -> None:
        """A sentence worth seeing while the job runs."""

    def finish(self) -> None:
        """The count is over, whether or not everything was done."""


class Ask(Protocol):
    """Somebody who can settle what a group of frames is."""

    def kind_of_group(self, group: KindGroup) -> Kind | None:
        """The kind of all frames of the group; None leaves it undecided. Asked once a group."""


class Silent:
    """A Progress that says nothing."""

    def start(self, total_files: int, total_bytes: int | None) -> None:
        """Say nothing."""

    def advance(self, path: str, size: int) -> None:
        """Say nothing."""

    def note(self, text: str) -> None:
        """Say nothing."""

    def finish(self) -> None:
        """Say nothing."""


class NobodyToAsk:
    """An Ask that leaves every group undecided: for scripts and for other programs."""

    def kind_of_group(self, group: KindGroup) -> Kind | None:
        """Leave the group undecided."""
        return None
