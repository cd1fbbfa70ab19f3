"""The screens of small changes: a new library, corrections, retiring, and what was handed over."""

from collections.abc import Sequence

from darklib.jobs.results import Changed, ChangedResult, ExportResult, InitResult
from darklib.show import text
from darklib.show.out import Out

MOST_LISTED = 20
"""Changes and files listed one by one before the rest is only counted."""


def init(out: Out, result: InitResult) -> None:
    """A new library."""
    if result.dry_run:
        out.paragraph(f"A library would be made in {result.library}; nothing was changed.", hang=2)
    else:
        out.paragraph(f"A new library was made in {result.library}", hang=2)
    out.entry(
        "Time zone", f"{result.timezone}; the night begins at noon there. Change it in darklib.toml if it is wrong."
    )
    out.entry("Inbox", "inbox/ in it: drop cards there, or name them to `darklib ingest`.")
    out.next("darklib ingest PATH", "takes in a card or a folder; the source is not changed")


def changed(out: Out, result: ChangedResult, *, done: str, wanted: str, following: tuple[str, str]) -> None:
    """What was changed. done, wanted: `Retired` and `Would retire` and the like."""
    if not result.changed:
        out.line("Nothing had to be changed.")
    else:
        frames = len({item.id for item in result.changed})
        out.paragraph(f"{wanted if result.dry_run else done} {text.some(frames, 'frame')}:")
        _list(out, result.changed)
    for remark in result.remarks:
        out.paragraph(remark, hang=2)
    if result.dry_run:
        out.line("Nothing was changed: this is what would happen.")
        following = ("the same without --dry-run", "does it")
    out.next(*following)


def _list(out: Out, items: Sequence[Changed]) -> None:
    listed = items if out.verbose else items[:MOST_LISTED]
    for item in listed:
        out.paragraph(f"{item.id}  {item.field}: {_plain(item.old)} -> {_plain(item.new)}", indent=2, hang=4)
    if len(items) > len(listed):
        out.paragraph(f"and {len(items) - len(listed):,} more; --verbose lists them all", indent=2)


def _plain(value: str | float | bool | None) -> str:
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return text.number(value) if isinstance(value, float) else str(value)


def export(out: Out, result: ExportResult, to: str) -> None:
    """What was handed over."""
    batches = text.some(len(result.batches), "batch", "batches")
    verb = "would be handed over" if result.dry_run else "handed over"
    out.paragraph(f"{batches} {verb} to {to}: {text.some(len(result.written), 'file')}.", hang=2)
    for path in result.written if out.verbose else result.written[:MOST_LISTED]:
        out.paragraph(path, indent=2, hang=4)
    if len(result.written) > MOST_LISTED and not out.verbose:
        out.paragraph(f"and {len(result.written) - MOST_LISTED:,} more; --verbose lists them all", indent=2)
    out.paragraph(f"What belongs to what, and the order of the steps: {result.manifest}", hang=2)
    if result.needs_attention:
        out.line(("Some of what these lights need is missing or stale.", "yellow"))
        out.next("darklib gaps --plan", "tells what to shoot")
    else:
        out.next("stack them", "with the program of your choice")
