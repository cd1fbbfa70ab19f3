"""The count of one run of taking in: stored + duplicates + set aside + passed over = seen."""

from dataclasses import dataclass, field
from pathlib import Path

from darklib.facts.frame import Frame
from darklib.jobs.results import Duplicate, IngestCounts, PassedOver, SetAsideFile


@dataclass(slots=True)
class Tally:
    """What became of each file so far. this_run: frames whose copy this run verified, SHA-256 -> stored path; claimed:
    those being copied as well; folders: where copies went; bytes: stored; removed: sources taken away with `--move`.
    """

    seen: int = 0
    bytes: int = 0
    removed: int = 0
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
