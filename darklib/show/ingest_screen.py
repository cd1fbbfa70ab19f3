"""The screens of taking in: what became of the files, what they were taken for, what was set aside."""

from collections import Counter
from collections.abc import Sequence

from darklib.facts.codes import PASSED_OVER, SET_ASIDE
from darklib.jobs.results import (
    CheckResult,
    IngestResult,
    KindGroup,
    SecondCopy,
    SetAsideEntry,
    SetAsideFile,
    SetAsideResult,
)
from darklib.show import second_copy, text
from darklib.show.out import Out
from darklib.show.table import Column, table

MOST_LISTED = 20
"""Files listed one by one before the rest is only counted."""


def ingest(out: Out, result: IngestResult, check: CheckResult | None = None, known: SecondCopy | None = None) -> None:
    """What became of the files; whether they may be erased where they came from, and whether there is a second copy."""
    taken_in(out, result)
    if not result.dry_run and result.counts.seen > result.counts.passed_over:
        out.line()
        _erasing(out, result, check)
        if known is not None:
            out.paragraph(second_copy.sentence(known))
    if result.dry_run:
        out.next("darklib ingest", "with the same arguments but without --dry-run takes them in")
    elif result.counts.undecided:
        out.next(
            "darklib frames --undecided",
            "shows what is undecided; `darklib amend ID... --kind light|dark|bias|flat` settles it",
        )
    elif any(frame.kind is not None and frame.kind.value == "light" for frame in result.stored):
        out.next("darklib match", "shows which darks, flats and biases fit the newest lights")
    elif check is None and (result.counts.stored or result.counts.duplicates):
        out.next("darklib check PATH", "reads the stored copies again and tells whether the card may be erased")
    elif known is not None and not second_copy.covers_all(known):
        out.next("darklib verify --against DIR", "compares a second copy of the library")
    elif result.counts.stored or result.counts.duplicates:
        out.next("darklib match", "shows which darks, flats and biases fit the newest lights")
    else:
        out.next("darklib ingest PATH", "takes in a card or a folder")


def _erasing(out: Out, result: IngestResult, check: CheckResult | None) -> None:
    """May the card be erased? The answer of `check`, from what this run has read."""
    if check is None:
        if result.counts.stored or result.counts.duplicates:
            out.paragraph(
                "May the card be erased? Not everything was read again in this run; `darklib check PATH` does so and "
                "tells."
            )
        return
    if check.may_erase:
        others = (
            f" {text.some(len(check.passed_over), 'other file')} would be lost with it." if check.passed_over else ""
        )
        out.paragraph(f"May the card be erased? Every frame on it is stored and was read back in this run.{others}")
    else:
        unsafe = len(check.not_stored) + len(check.set_aside)
        out.paragraph(
            f"May the card be erased? No: {text.some(unsafe, 'file')} of {check.checked:,} "
            f"{'is' if unsafe == 1 else 'are'} not safely stored.",
            style="red",
        )
        if check.not_stored and {item.code for item in check.not_stored} == {"in_place"}:
            out.paragraph("They are catalogued where they lie: these files are the only ones the library knows of.")
            return
        for item in check.not_stored[:MOST_LISTED]:
            out.about(item.path, text.sentence(item.text or item.code))
        if len(check.not_stored) > MOST_LISTED:
            out.paragraph(
                f"and {len(check.not_stored) - MOST_LISTED:,} more; `darklib check PATH` lists them", indent=2
            )
    for remark in check.remarks:
        out.paragraph(text.sentence(remark))


def taken_in(out: Out, result: IngestResult) -> None:
    """The counts, the groups and the files that need attention."""
    counts = result.counts
    if result.dry_run:
        out.line(("Nothing was changed: this is what would happen.", "bold"))
    out.paragraph(f"{text.some(counts.seen, 'file')} seen:")
    out.entry("Stored", f"{text.some(counts.stored, 'frame')}, {text.size(counts.bytes)}")
    if counts.duplicates:
        out.entry("Known", f"{text.some(counts.duplicates, 'file')} the library already has")
    if counts.set_aside:
        out.entry("Set aside", (f"{text.some(counts.set_aside, 'file')} that could not be taken in", "yellow"))
    if counts.passed_over:
        out.entry("Passed over", f"{text.some(counts.passed_over, 'file')} ({_why_passed(result)})")
    if result.removed:
        out.paragraph(f"Removed {text.some(result.removed, 'file')} from the card.")
    for remark in result.remarks:
        out.paragraph(text.sentence(remark))
    if result.groups:
        out.line()
        groups(out, result.groups)
    if result.set_aside:
        out.line()
        out.heading("Set aside")
        files(out, result.set_aside)
    if counts.undecided:
        out.line()
        out.paragraph(f"{text.some(counts.undecided, 'frame')} undecided: stored safely, but matched with nothing yet.")


def groups(out: Out, items: Sequence[KindGroup]) -> None:
    """What the frames were taken for, a line a group."""
    table(
        out,
        (
            Column("taken for"),
            Column("sure", right=True),
            Column("frames", right=True),
            Column("exposure", right=True),
            Column("for example", keep=1),
        ),
        [
            (
                group.kind.value if group.kind else ("undecided", "yellow"),
                f"{group.kind_confidence:.0%}" if group.kind else "",
                str(group.count),
                _exposures(group.exposures_s),
                group.example,
            )
            for group in items
        ],
        indent=2,
    )


def _exposures(exposures_s: Sequence[float]) -> str:
    """One exposure, or the shortest and the longest of several."""
    if not exposures_s:
        return "?"
    ends = dict.fromkeys((text.exposure(exposures_s[0]), text.exposure(exposures_s[-1])))
    return " to ".join(ends)


def files(out: Out, items: Sequence[SetAsideFile]) -> None:
    """Files with their reasons, the rest counted where there are many."""
    listed = items if out.verbose else items[:MOST_LISTED]
    for item in listed:
        out.about(item.path, text.sentence(item.reason or SET_ASIDE.get(item.code, item.code)))
    if len(items) > len(listed):
        out.paragraph(f"and {len(items) - len(listed):,} more; --verbose lists them all", indent=2)


def _why_passed(result: IngestResult) -> str:
    counted = Counter(item.code for item in result.passed_over)
    return ", ".join(f"{count:,} {PASSED_OVER.get(code, code)}" for code, count in counted.most_common()) or "no images"


def set_aside(out: Out, result: SetAsideResult, items: Sequence[SetAsideEntry], following: str | None) -> None:
    """What is set aside, after another try where one was asked for."""
    if result.retried is not None:
        taken_in(out, result.retried)
        out.line()
    if not items:
        out.line("Nothing is set aside.")
        out.next("darklib status", "shows the library at a glance")
        return
    out.heading(f"{text.some(len(items), 'file')} set aside")
    for item in items:
        out.about(item.path, text.sentence(item.reason))
        if out.verbose:
            out.paragraph(f"kept as {item.kept_path}", indent=4, style="dim")
    if following is not None:
        out.paragraph(f"More with --after {following}")
    out.next(
        "darklib set-aside --retry", "tries again, for instance after an upgrade; --verbose tells where they are kept"
    )
