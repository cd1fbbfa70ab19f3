"""`darklib ingest`: takes in files and folders."""

from typing import TYPE_CHECKING, Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import DryRun, application, ask_of, common_of, library, out_of, progress_of, tell
from darklib.cli.options import Common
from darklib.facts.frame import Kind
from darklib.jobs.asked import Stated

if TYPE_CHECKING:
    from darklib.jobs.ports import Progress

app = application()


@app.command()
def ingest(
    context: typer.Context,
    paths: Annotated[
        list[str] | None, typer.Argument(metavar="PATH", help="files and folders; default: the library's inbox")
    ] = None,
    kind: Annotated[Kind | None, typer.Option(help="what all of them are")] = None,
    train: Annotated[str | None, typer.Option(metavar="LABEL", help="the optical train they came through")] = None,
    body: Annotated[str | None, typer.Option(metavar="ID", help="the camera that took them")] = None,
    temperature: Annotated[str | None, typer.Option(metavar="C", help="the sensor's temperature, degrees C")] = None,
    clock: Annotated[
        str | None,
        typer.Option(metavar="SHIFT", help="to add to the times in the files: +1h02m, -0:00:45 (hours first), 90s"),
    ] = None,
    in_place: Annotated[bool, typer.Option("--in-place", help="catalogue without copying")] = False,
    move: Annotated[bool, typer.Option("--move", help="empty the source once the copy is verified")] = False,
    watch: Annotated[
        bool, typer.Option("--watch", help="go on as files arrive, until Ctrl-C; PATHs are folders then")
    ] = False,
    dry_run: DryRun = False,
) -> int:
    """Takes in files and folders, recursively. Each file is copied, read back and compared before it counts as stored.

    The source is not changed, except with --move. What the options state goes before what the files say.
    """
    common = common_of(context)
    stated = Stated(kind, train, body, ranges.temperature(temperature), ranges.clock_shift(clock))
    progress = progress_of(common)
    if watch:
        return watched(common, paths or [], stated, progress, in_place=in_place, move=move, dry_run=dry_run)
    ask = ask_of(common, progress)
    from darklib.jobs.looking import lookers

    with lookers() as guard:
        from darklib.jobs.after_ingest import after_ingest
        from darklib.jobs.ingest import ingest as job
        from darklib.show import documents, ingest_screen

        with library(common) as opened:
            result = job(
                opened,
                paths or [],
                stated,
                in_place=in_place,
                move=move,
                dry_run=dry_run,
                progress=progress,
                ask=ask,
                guard=guard,
            )
            after = after_ingest(opened, result, progress=progress)
            root = opened.root
    return tell(
        common,
        lambda: documents.ingest(result, root, after.check, after.second_copy),
        lambda out: ingest_screen.ingest(out, result, after.check, after.second_copy),
        attention=result.needs_attention,
    )


def watched(
    common: Common,
    paths: list[str],
    stated: Stated,
    progress: "Progress",
    *,
    in_place: bool,
    move: bool,
    dry_run: bool,
) -> int:
    """Takes in what settles in the folders, until Ctrl-C, which ends the command with its own exit status."""
    from darklib.jobs.library import find_root
    from darklib.jobs.watch import Asked, Teller
    from darklib.jobs.watch import watch as job
    from darklib.show.watching import ForPeople, ForPrograms
    from darklib.store.seam import Seam

    seam = Seam()
    teller: Teller = ForPrograms(progress) if common.json else ForPeople(out_of(common), seam.now)
    job(
        find_root(common.library),
        Asked(tuple(paths), stated, in_place=in_place, move=move, dry_run=dry_run),
        teller,
        seam=seam,
        progress=progress,
    )
    return 0
