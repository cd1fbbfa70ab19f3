"""Where people's text goes: a stream with a width and, on a terminal, colour. Data is made harmless here, in one place.

On a terminal lines are wrapped at its width. Elsewhere nothing is wrapped and nothing is cut, so that a pipe gets whole
values. Rich is loaded only where there is a terminal to colour.
"""

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import IO, TYPE_CHECKING, Any

from darklib.show.text import harmless

if TYPE_CHECKING:
    from rich.console import Console

Span = tuple[str, str]
"""A piece of text and its style ("" for none): bold, dim, red and the like. Style never carries meaning alone."""


@dataclass(slots=True)
class Out:
    """A stream for people. width: columns to wrap at, None for no limit. quiet: no line on what to do next."""

    stream: IO[str]
    width: int | None = None
    colour: bool = False
    quiet: bool = False
    verbose: bool = False
    _console: Any = field(default=None, repr=False)

    def line(self, *pieces: str | Span) -> None:
        """Writes one line of pieces, as they are, without wrapping."""
        spans = [
            (harmless(piece), "") if isinstance(piece, str) else (harmless(piece[0]), piece[1]) for piece in pieces
        ]
        if not self.colour or not any(style for _, style in spans):
            self.stream.write("".join(text for text, _ in spans).rstrip() + "\n")
            return
        from rich.text import Text

        line = Text("", no_wrap=True, overflow="ignore", end="\n")
        for text, style in spans:
            line.append(text, style=style or None)
        line.rstrip()
        self._rich().print(line, soft_wrap=True)

    def heading(self, text: str) -> None:
        """Writes a line that stands out."""
        for piece in self.wrapped(text, 0):
            self.line((piece, "bold"))

    def paragraph(self, text: str, *, indent: int = 0, hang: int | None = None, style: str = "") -> None:
        """Writes text wrapped at the width; further lines are indented by `hang` (default: as the first)."""
        hang = indent if hang is None else hang
        for place, piece in enumerate(self.wrapped(text, hang, first=indent)):
            self.line(" " * (hang if place else indent), (piece, style))

    def entry(self, label: str, *pieces: str | Span, indent: int = 2, column: int = 14) -> None:
        """Writes a label and, from `column` on, a text that wraps under itself."""
        self.beside([(" " * indent + harmless(label).ljust(column), "")], pieces)

    def beside(self, head: Sequence[Span], pieces: Sequence[str | Span]) -> None:
        """Writes a head as it is and, beside it, a text that wraps under itself."""
        start = sum(cells(harmless(text)) for text, _ in head)
        spans = [(piece, "") if isinstance(piece, str) else piece for piece in pieces]
        for place, line in enumerate(self._wrapped_spans(spans, start)):
            self.line(*(head if place == 0 else [(" " * start, "")]), *line)

    def about(self, path: str, told: str, *, indent: int = 2) -> None:
        """Writes what is to be said about a path: on its line where both fit, else below it."""
        if self.width is None or indent + cells(harmless(path)) + 2 + cells(harmless(told)) <= self.width:
            self.line(f"{' ' * indent}{path}: {told}")
            return
        self.paragraph(f"{path}:", indent=indent, hang=indent + 4)
        self.paragraph(told, indent=indent + 2)

    def next(self, command: str, what: str) -> None:
        """Names the next step, unless quiet."""
        if not self.quiet:
            self.line()
            self.paragraph(f"Next: {command}  ({what})", hang=6)

    def wrapped(self, text: str, indent: int, *, first: int | None = None) -> list[str]:
        """A text in lines that fit beside `indent` columns (`first` for the first line). Nothing is cut or lost."""
        return wrap(harmless(text), self._room(indent), self._room(indent if first is None else first))

    def _room(self, indent: int) -> int | None:
        return None if self.width is None else max(8, self.width - indent)

    def _wrapped_spans(self, spans: Sequence[Span], indent: int) -> list[list[Span]]:
        """Styled pieces in lines. A style covers whole words: pieces are cut at blanks only."""
        room = self._room(indent)
        if room is None:
            return [list(spans)]
        lines: list[list[Span]] = [[]]
        used = 0
        for text, style in spans:
            text = harmless(text)
            for word in _words(text):
                wide = cells(word.rstrip())
                if used and used + wide > room:
                    lines.append([])
                    used = 0
                    word = word.lstrip()
                while cells(word.rstrip()) > room:
                    head, word = _chopped(word, room)
                    lines[-1].append((head, style))
                    lines.append([])
                lines[-1].append((word, style))
                used += cells(word)
        return [line for line in lines if line] or [[]]

    def _rich(self) -> "Console":
        if self._console is None:
            from rich.console import Console

            self._console = Console(
                file=self.stream,
                force_terminal=True,
                markup=False,
                emoji=False,
                highlight=False,
                width=self.width or 80,
                no_color=False,
            )
        return self._console  # type: ignore[no-any-return]


def standard_out(*, quiet: bool, verbose: bool, no_colour: bool) -> Out:
    """Standard output as it is now: width of the terminal, or COLUMNS where set, else unlimited."""
    return _out(sys.stdout, quiet, verbose, no_colour)


def standard_error(*, quiet: bool, verbose: bool, no_colour: bool) -> Out:
    """Standard error likewise."""
    return _out(sys.stderr, quiet, verbose, no_colour)


def _out(stream: IO[str], quiet: bool, verbose: bool, no_colour: bool) -> Out:
    terminal = is_terminal(stream)
    columns = os.environ.get("COLUMNS", "")
    width = int(columns) if columns.isdecimal() and int(columns) > 0 else None
    if width is None and terminal:
        width = os.get_terminal_size(stream.fileno()).columns or 80
    plain = no_colour or bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb" or not terminal
    return Out(stream, max(20, width) if width else None, not plain, quiet, verbose)


def is_terminal(stream: IO[str]) -> bool:
    """Whether somebody sits in front of the stream; False for a stream that is closed or missing."""
    try:
        return stream.isatty()
    except (AttributeError, ValueError):
        return False


def cells(text: str) -> int:
    """Columns a text takes on a terminal: wide letters take two."""
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def wrap(text: str, room: int | None, first: int | None = None) -> list[str]:
    """A text in lines of at most `room` columns (the first: `first`), parted at blanks, over-long words where they end.

    `room` None is no limit. Joined again with blanks the words are the same.
    """
    if room is None:
        return [text]
    lines: list[str] = []
    line, limit = "", room if first is None else first
    for word in _words(text):
        if line and cells(line) + cells(word.rstrip()) > limit:
            lines.append(line.rstrip())
            line, limit = "", room
            word = word.lstrip()
        while cells(word.rstrip()) > limit:
            head, word = _chopped(word, limit)
            lines.append(head)
            limit = room
        line += word
    if line.rstrip() or not lines:
        lines.append(line.rstrip())
    return lines


def _words(text: str) -> list[str]:
    """Words, each with the blanks after it; leading blanks belong to the first word."""
    words: list[str] = []
    start = 0
    for place in range(1, len(text)):
        if text[place] != " " and text[place - 1] == " ":
            words.append(text[start:place])
            start = place
    if start < len(text):
        words.append(text[start:])
    return words


def _chopped(word: str, room: int) -> tuple[str, str]:
    """The part of a word that fits into `room` columns, and the rest; at least one letter is taken."""
    used = 0
    for place, letter in enumerate(word):
        wide = cells(letter)
        if used + wide > room and place:
            return word[:place], word[place:]
        used += wide
    return word, ""
