"""A plain table: a line of titles, a line a row. Nothing in it is ever cut.

Where it is wider than the screen, columns that can be missed are left out, and a line below says which; what still does
not fit is wrapped inside its cell.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from darklib.show.out import Out, Span, cells, wrap
from darklib.show.text import harmless

GAP = "  "


@dataclass(frozen=True, slots=True)
class Column:
    """One column. keep: 0 is never left out; of others the greatest goes first. right: figures are set to the right.

    rigid: wrapped inside its cells only where nothing else helps.
    """

    title: str
    keep: int = 0
    right: bool = False
    rigid: bool = False


Cell = str | Span


def table(out: Out, columns: Sequence[Column], rows: Iterable[Sequence[Cell]], *, indent: int = 0) -> None:
    """Writes the rows under the columns' titles. Columns in which every cell is empty are not shown."""
    spans: list[list[Span]] = [
        [(harmless(cell), "") if isinstance(cell, str) else (harmless(cell[0]), cell[1]) for cell in row]
        for row in rows
    ]
    filled = [place for place, _ in enumerate(columns) if any(row[place][0] for row in spans)]
    widths = {place: max([cells(columns[place].title), *(cells(row[place][0]) for row in spans)]) for place in filled}
    room = None if out.width is None else max(20, out.width - indent)
    shown, left_out = _fitting(columns, filled, widths, room)
    if room is not None:
        _squeeze(columns, widths, shown, room)
    head: list[Span] = [(columns[place].title, "bold") for place in shown]
    for row in [head, *([row[place] for place in shown] for row in spans)]:
        _row(out, [columns[place] for place in shown], [widths[place] for place in shown], row, indent)
    if left_out:
        names = ", ".join(columns[place].title for place in left_out)
        out.paragraph(
            f"(left out at this width: {names}; a wider window or --json has them)", indent=indent, style="dim"
        )


def _fitting(
    columns: Sequence[Column], filled: list[int], widths: dict[int, int], room: int | None
) -> tuple[list[int], list[int]]:
    shown, left_out = list(filled), []
    while room is not None and _total(widths, shown) > room:
        spare = [place for place in shown if columns[place].keep > 0]
        if not spare:
            break
        goes = max(spare, key=lambda place: (columns[place].keep, place))
        shown.remove(goes)
        left_out.append(goes)
    # A wide column that went may have made room for narrow ones that went before it.
    for place in sorted(left_out, key=lambda place: (columns[place].keep, place)):
        if room is not None and _total(widths, [*shown, place]) <= room:
            shown.append(place)
            left_out.remove(place)
    return sorted(shown), sorted(left_out)


def _total(widths: dict[int, int], shown: Sequence[int]) -> int:
    return sum(widths[place] for place in shown) + len(GAP) * max(0, len(shown) - 1)


def _squeeze(columns: Sequence[Column], widths: dict[int, int], shown: Sequence[int], room: int) -> None:
    """Narrows the widest column, one cell at a time, until the row fits or all are narrow; rigid columns come last."""
    for places, least in (([place for place in shown if not columns[place].rigid], 8), (shown, 4)):
        while places and _total(widths, shown) > room:
            widest = max(places, key=lambda place: widths[place])
            if widths[widest] <= least:
                break
            widths[widest] -= 1


def _row(out: Out, columns: Sequence[Column], widths: Sequence[int], row: Sequence[Span], indent: int) -> None:
    wrapped = [
        wrap(text, width) if cells(text) > width else [text] for (text, _), width in zip(row, widths, strict=True)
    ]
    for number in range(max((len(lines) for lines in wrapped), default=0)):
        pieces: list[str | Span] = [" " * indent]
        for place, lines in enumerate(wrapped):
            text = lines[number] if number < len(lines) else ""
            blank = " " * max(0, widths[place] - cells(text))
            gap = GAP if place else ""
            pieces += (
                [gap + blank, (text, row[place][1])] if columns[place].right else [gap, (text, row[place][1]), blank]
            )
        out.line(*pieces)
