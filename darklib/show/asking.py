"""The question to the person at the terminal: what is this group of frames? Asked once a group, on standard error."""

from dataclasses import dataclass
from typing import IO

from darklib.facts.frame import Kind
from darklib.jobs.ports import Progress
from darklib.jobs.results import KindGroup
from darklib.show.text import exposure, harmless, some

ANSWERS: dict[str, Kind] = {"l": Kind.LIGHT, "d": Kind.DARK, "b": Kind.BIAS, "f": Kind.FLAT}
ANSWERS |= {kind.value: kind for kind in Kind}

MOST_EXPOSURES = 4


@dataclass(slots=True)
class AtTerminal:
    """Asks whoever sits at the terminal. An empty answer, or the end of input, leaves the group undecided."""

    answers: IO[str]
    questions: IO[str]
    progress: Progress | None = None

    def kind_of_group(self, group: KindGroup) -> Kind | None:
        """The kind the person names; None where they leave it open."""
        pause = getattr(self.progress, "pause", None)
        if pause is not None:
            pause()
        self._say("")
        self._say(f"What {'is this frame' if group.count == 1 else f'are these {group.count:,} frames'}?")
        self._say(f"  for example {group.example}")
        if group.exposures_s:
            listed = ", ".join(exposure(value) for value in group.exposures_s[:MOST_EXPOSURES])
            more = len(group.exposures_s) - MOST_EXPOSURES
            self._say(f"  exposed {listed}" + (f" and {some(more, 'other time')}" if more > 0 else ""))
        if group.hint:
            self._say(f"  {group.hint}")
        while True:
            self.questions.write("[l]ight, [d]ark, [b]ias, [f]lat, or Enter to leave it open: ")
            self.questions.flush()
            line = self.answers.readline()
            answer = line.strip().casefold()
            if not answer:
                if not line:
                    self._say("")
                return None
            if answer in ANSWERS:
                return ANSWERS[answer]
            self._say(f"{line.strip()!r} is none of them.")

    def _say(self, text: str) -> None:
        self.questions.write(harmless(text) + "\n")
