"""The count of one run of taking in: stored + duplicates + set aside + passed over = seen."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from darklib.facts.frame import Frame
from darklib.jobs.results import Duplicate, IngestCounts, PassedOver, SetAsideFile


@dataclass(slots=True)
class Tally:
    """What became of each file so far. this_run: frames whose copy this run verified, SHA-256 -> stored path; claimed:
    those being copied as well; folders: where copies went; bytes: stored; removed: sources taken away with `--move`;
    brought_back: stored files that were gone.
    """

    seen: int = 0
    bytes: int = 0
    removed: int = 0
    brought_back: int = 0
    stored: list[Frame] = field(default_factory=list)
    duplicates: list[Duplicate] = field(default_factory=list)
    set_aside: list[SetAsideFile] = field(default_factory=list)
    passed_over: list[PassedOver] = field(default_factory=list)
    this_run: dict[str, str] = field(default_factory=dict)
    claimed: set[str] = field(default_factory=set)
    folders: set[Path] = field(default_factory=set)

    def counts(self) -> IngestCounts:
        """The numbers."""
        return IngestCounts(
            seen=self.seen,
            stored=len(self.stored),
            duplicates=len(self.duplicates),
            set_aside=len(self.set_aside),
            passed_over=len(self.passed_over),
            undecided=sum(frame.kind is None for frame in self.stored),
            bytes=self.bytes,
        )

    def remarks(self, new_camera: str | None, *, stated: bool) -> Iterator[str]:
        """What the user should know of this run. new_camera: stated for the run and not known before; stated: anything
        was.
        """
        if self.brought_back:
            were = "frame was" if self.brought_back == 1 else "frames were"
            yield f"the stored file of {self.brought_back} {were} gone and is there again"
        if new_camera and self.stored:
            yield f"new camera {new_camera}"
        stored_now = {sha256[:16] for sha256 in self.this_run}
        known = sum(one.same_as not in stored_now for one in self.duplicates)
        if known and stated:
            were, keep = ("file was", "it keeps") if known == 1 else ("files were", "they keep")
            yield f"{known} {were} known already; {keep} what is recorded; use amend"
