"""The screens of keeping safe: may a card be erased, is everything as it was stored, the catalogue made anew."""

from darklib.facts.codes import PASSED_OVER
from darklib.jobs.results import CheckResult, Finding, RebuildResult, VerifyResult
from darklib.show import text
from darklib.show.ingest_screen import files
from darklib.show.out import Out


def check(out: Out, result: CheckResult) -> None:
    """May this card be erased?"""
    out.paragraph(
        f"{text.some(result.checked, 'frame')} checked: {result.stored:,} stored and read back, "
        f"{len(result.set_aside):,} set aside, {len(result.not_stored):,} not stored."
    )
    if result.not_stored:
        out.line()
        out.heading("Not stored")
        for item in result.not_stored:
            out.about(item.path, text.sentence(item.text or item.code))
    if result.set_aside:
        out.line()
        out.heading("Set aside")
        files(out, result.set_aside)
    if result.passed_over:
        out.line()
        out.paragraph(f"{text.some(len(result.passed_over), 'other file')} passed over; erasing the card loses them.")
        for other in result.passed_over if out.verbose else ():
            out.about(other.path, text.sentence(PASSED_OVER.get(other.code, other.code)))
    for remark in result.remarks:
        out.line()
        out.paragraph(text.sentence(remark))
    out.line()
    if result.may_erase:
        out.paragraph(
            "Every frame is stored and was read back just now. Erase the card only when a second copy of the library "
            "exists as well."
        )
        out.next("darklib verify --against DIR", "compares a second copy of the library")
    elif result.checked == 0:
        out.paragraph("No frames were found here, so nothing can be said about erasing.")
        out.next("darklib check PATH", "with the folder that holds the card's frames")
    else:
        out.line(("Do not erase this card.", "red"))
        out.next(
            "darklib ingest PATH", "takes in what is not stored; `darklib set-aside` tells what could not be taken"
        )


def verify(out: Out, result: VerifyResult) -> None:
    """What differs from what was recorded."""
    where = f" in {result.against}" if result.against else ""
    out.paragraph(f"{text.some(result.checked, 'file')} read again{where}: {result.intact:,} intact.", hang=2)
    for title, findings in (("Differing", result.differing), ("Missing", result.missing)):
        if findings:
            out.line()
            out.heading(title)
            for finding in findings:
                _finding(out, finding)
    if result.unknown_files:
        out.line()
        out.heading("Files that the library does not have" if result.against else "Files nobody recorded")
        for path in result.unknown_files:
            out.paragraph(path, indent=2, hang=4)
    out.line()
    out.entry(
        "Catalogue", "in order" if result.catalogue == "ok" else (text.sentence(result.catalogue), "red"), indent=0
    )
    for remark in result.remarks:
        out.paragraph(text.sentence(remark), hang=2)
    if result.noted:
        out.paragraph("The second copy lacks nothing. That is noted in the journal, and `darklib status` shows it.")
    elif result.against and not (result.differing or result.missing) and result.checked:
        out.paragraph("What was compared is the same in both. Nothing was noted in the journal.")
    if result.against and (result.differing or result.missing):
        out.next("darklib verify --against DIR", "once more, when the second copy was brought up to date")
    elif result.differing or result.missing:
        out.next("darklib verify --against DIR", "tells whether a second copy is whole, to bring the files back from")
    elif result.catalogue != "ok":
        out.next("darklib rebuild", "makes the catalogue anew from files and journal")
    elif result.unknown_files and result.against is None:
        out.next("darklib rebuild", "records those that are frames; move the others out of the library")
    elif result.against is None:
        out.next("darklib verify --against DIR", "compares a second copy of the library")
    else:
        out.next("darklib status", "shows the library at a glance")


def _finding(out: Out, finding: Finding) -> None:
    out.about(finding.path, text.sentence(finding.text or finding.code))


def rebuild(out: Out, result: RebuildResult) -> None:
    """The catalogue made anew."""
    if result.dry_run:
        out.line(("Nothing was changed: this is what would happen.", "bold"))
    out.paragraph(f"The catalogue was made anew from files and journal: {text.some(result.frames, 'frame')}.")
    if result.differences:
        out.line()
        out.heading("What was otherwise before, or cannot be found")
        for difference in result.differences:
            out.paragraph(f"- {text.sentence(difference)}", indent=2, hang=4)
    else:
        out.line("It holds what the old one held.")
    if result.backup is not None:
        out.paragraph(f"The old one is kept as {result.backup}", hang=2)
    out.next("darklib verify", "reads every file again and compares")
