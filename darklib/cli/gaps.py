"""`darklib gaps`: what lights lack, and a plan for shooting it."""

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from darklib.cli import planned, ranges
from darklib.cli.command import (
    After,
    Limit,
    Lines,
    application,
    common_of,
    cut,
    library,
    out_of,
    progress_of,
    tell,
    tell_lines,
)
from darklib.cli.options import Common
from darklib.facts.errors import DarklibError, Exit
from darklib.jobs.asked import GapsAsked

if TYPE_CHECKING:
    from darklib.jobs.results import GapsResult

app = application()


class PageForm(StrEnum):
    """What the page to take along is written as."""

    TEXT = "text"
    CSV = "csv"
    HTML = "html"


@app.command()
def gaps(
    context: typer.Context,
    night: Annotated[
        str | None, typer.Option(metavar="D", help="lights of a night, a range A:B, or `last`; default: all")
    ] = None,
    target: Annotated[str | None, typer.Option(metavar="T", help="only lights of this target")] = None,
    body: Annotated[str | None, typer.Option(metavar="ID", help="only this camera, by id or label")] = None,
    expect: Annotated[
        list[str] | None,
        typer.Option(metavar="WHAT", help="lights to come as well, as in '300s 8:12C iso 800 4h'; may be repeated"),
    ] = None,
    month: Annotated[
        int | None,
        typer.Option(
            metavar="1-12", min=1, max=12, help="as well, what was shot in that month before, as if it came again"
        ),
    ] = None,
    plan: Annotated[bool, typer.Option("--plan", help="order it into a plan for shooting it")] = False,
    evening: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="a plan of the most valuable part that fits into 3h, 150min, 2:30"),
    ] = None,
    tonight: Annotated[
        bool, typer.Option("--tonight", help="instead, which exposures and settings are served already, best first")
    ] = False,
    temperature: Annotated[
        str | None, typer.Option(metavar="C", help="with --tonight: how warm the sensor will be, one or A:B")
    ] = None,
    coverage: Annotated[
        bool, typer.Option("--coverage", help="show what there is and lacks by temperature and exposure")
    ] = False,
    picture: Annotated[str | None, typer.Option(metavar="FILE", help="draw that to this .png or .svg file")] = None,
    follow: Annotated[
        bool, typer.Option("--follow", help="tick the plan off as its frames arrive in the inbox, until done or Ctrl-C")
    ] = False,
    folder: Annotated[str | None, typer.Option(metavar="DIR", help="with --follow: where they arrive instead")] = None,
    form: Annotated[
        PageForm | None, typer.Option("--as", help="the plan as one page to take along, with boxes to tick")
    ] = None,
    to: Annotated[str | None, typer.Option(metavar="FILE", help="with --as: write the page to this new file")] = None,
    room: Annotated[
        float | None, typer.Option(metavar="C", help="of the room the camera comes back into; default: 20")
    ] = None,
    humidity: Annotated[
        float | None, typer.Option(metavar="PERCENT", help="of the air in that room; default: 50")
    ] = None,
    limit: Limit = None,
    after: After = None,
    lines: Lines = False,
) -> int:
    """What lights lack: which darks, flats and biases would have to be shot, at which exposure and temperature.

    A plan takes the fewest minutes: frames with their downloads, and settling at each temperature. By hand: 20 darks
    of 300 s at one temperature, 2 s download and 20 min settling are 20 x 302 s + 20 min = 120 min 40 s. --follow only
    looks: take the frames in afterwards with `darklib ingest`.
    """
    common = common_of(context)
    _together(common, plan=plan or evening is not None, tonight=tonight, follow=follow, form=form, to=to, folder=folder)
    if temperature is not None and not tonight:
        raise _usage("--temperature is about --tonight.", "For lights to come write --expect '300s 8:12C'.")
    if picture is not None:
        from darklib.show.sensor_picture import form_of

        form_of(picture)
    asked = GapsAsked(
        nights=ranges.nights(night),
        target=target,
        body=body,
        plan=plan or follow or form is not None,
        evening_minutes=planned.minutes_at_hand(evening),
        expected=tuple(planned.expected(one) for one in expect or ()),
        month=month,
        tonight=tonight,
        temperature=ranges.temperatures(temperature),
        coverage=coverage or picture is not None,
        room_c=planned.room(room),
        humidity_percent=planned.humidity(humidity),
    )
    if follow:
        return _followed(common, asked, folder)
    return _told(common, asked, limit, after, lines, picture, form, to)


def _told(
    common: Common,
    asked: GapsAsked,
    limit: int | None,
    after: str | None,
    lines: bool,
    picture: str | None,
    form: PageForm | None,
    to: str | None,
) -> int:
    from dataclasses import replace

    from darklib.jobs.plan import gaps as job
    from darklib.jobs.plan import written
    from darklib.show import documents, gaps_screen, objects

    with library(common) as opened:
        result = job(opened, asked=asked)
        page = _page(result, form) if form is not None else None
        files = []
        if picture is not None:
            from darklib.show.gaps_picture import picture as drawn
            from darklib.show.sensor_picture import form_of

            files.append(written(opened, picture, drawn(result.coverage or (), form_of(picture))))
        if page is not None and to is not None:
            files.append(written(opened, to, page.encode("utf-8")))
    some, following = cut(result.gaps, limit, after, lambda gap: gap.id)
    result = replace(result, gaps=tuple(some), following=following, written=tuple(files))
    if lines:
        return tell_lines(objects.gap(gap) for gap in result.gaps)
    if page is not None and to is None:
        import sys

        sys.stdout.write(page)
        return 0
    return tell(common, lambda: documents.gaps(result), lambda out: gaps_screen.gaps(out, result))


def _page(result: "GapsResult", form: PageForm) -> str:
    from darklib.show import gaps_page

    return gaps_page.page(result, form.value)


def _followed(common: Common, asked: GapsAsked, folder: str | None) -> int:
    from darklib.jobs.follow import follow
    from darklib.jobs.plan import gaps as job
    from darklib.show.following import ForPeople, ForPrograms
    from darklib.store.seam import Seam

    with library(common) as opened:
        result = job(opened, asked=asked)
        root = opened.root
    if result.plan is None or not result.plan.steps:
        raise DarklibError(
            "nothing_to_follow",
            "There is nothing to shoot, so there is no plan to follow.",
            remedy="`darklib gaps --plan` tells what lacks; --expect adds lights to come.",
        )
    seam = Seam()
    teller = ForPrograms(progress_of(common)) if common.json else ForPeople(out_of(common), seam.now, result)
    follow(root, result.plan, teller, paths=[folder] if folder is not None else [], seam=seam)
    return int(Exit.DONE)


def _together(
    common: Common,
    *,
    plan: bool,
    tonight: bool,
    follow: bool,
    form: PageForm | None,
    to: str | None,
    folder: str | None,
) -> None:
    """DarklibError (usage) where options contradict each other."""
    if tonight and (plan or follow or form is not None):
        raise _usage("--tonight asks what is served, not what to shoot.", "Leave out --tonight or the plan.")
    if follow and form is not None:
        raise _usage("A plan is followed or printed, not both at once.", "Leave out --follow or --as.")
    if to is not None and form is None:
        raise _usage("--to needs to know what to write.", "Add --as text, --as csv or --as html.")
    if folder is not None and not follow:
        raise _usage("--folder is about --follow.", "Leave it out, or add --follow.")
    if form is not None and to is None and common.for_programs:
        raise _usage("Standard output can't hold a page and a document.", "Add --to FILE, or leave out --json.")


def _usage(text: str, remedy: str) -> DarklibError:
    return DarklibError("usage", text, remedy=remedy, status=Exit.USAGE)
