"""The screen of what lights lack, the plan for shooting it, and the cautions that go with it."""

from collections.abc import Sequence

from darklib.facts.frame import Kind
from darklib.facts.plan import Gap, Habit
from darklib.jobs.results import GapsResult
from darklib.show import plan_screen, served_screen, text, words
from darklib.show.out import Out
from darklib.show.table import Column, table

TOO_LATE = "too late"
TOO_COLD = "too cold"
ENOUGH = "see match"
EXPLAINED = {
    TOO_LATE: "flats belong to their night and train, and the time to shoot these is over.",
    ENOUGH: "there are frames enough; `darklib match` tells what stands against them.",
    TOO_COLD: "below the lower limit that the configuration states for this camera.",
}
"""What the remarks mean: why shooting mends some gaps no more, or not at all."""


def gaps(out: Out, result: GapsResult) -> None:
    """What lights lack, the plan where one was asked for, and the cautions."""
    if result.tonight is not None:
        served_screen.tonight(out, result)
        return
    if not result.lights:
        out.line("There are no lights that could lack anything.")
        out.next("darklib batches", "lists the lights there are")
        return
    if not result.gaps:
        out.line("Nothing is lacking.")
        _habit(out, result.habit)
        served_screen.pictures(out, result)
        out.next("darklib export --night last --to DIR", "hands over the newest lights with what fits them")
        return
    out.heading("What lights lack")
    gaps_table(out, result.gaps, indent=2)
    remarks = {_remark(gap) for gap in result.gaps}
    for remark in EXPLAINED:
        if remark in remarks:
            out.paragraph(f"{remark}: {EXPLAINED[remark]}", indent=2)
    _remedies(out, result.gaps)
    if result.following is not None:
        out.paragraph(f"More lacks: go on with --after {result.following}.", indent=2)
    _habit(out, result.habit)
    if result.plan is not None:
        out.line()
        plan_screen.plan(out, result.plan)
    plan_screen.cool_downs(out, result.cool_downs)
    served_screen.pictures(out, result)
    if result.cautions:
        out.line()
        out.heading("Before you shoot")
        for caution in result.cautions:
            out.paragraph(f"- {caution}", indent=2, hang=4)
    for path in result.written:
        out.about(path, "written.")
    if result.plan is None:
        out.next("darklib gaps --plan", "orders this into a plan for shooting it")
    elif result.plan.steps:
        out.next(
            "darklib gaps --follow", "ticks the frames off while you shoot them; then `darklib ingest` takes them in"
        )
    else:
        out.next("darklib match", "tells what fits the lights there are")


def _habit(out: Out, habit: Habit | None) -> None:
    if habit is not None:
        out.paragraph(habit_line(habit))


def habit_line(habit: Habit) -> str:
    """The one exposure that would have served most, in a line."""
    camera = words.camera_and_setting(habit.body, habit.readout)
    return (
        f"As a habit, {text.exposure(habit.exposure_s)} with {camera}: the darks there are would serve "
        f"{text.minutes(habit.served_seconds / 60)} of the "
        f"{text.minutes(habit.all_seconds / 60)} of light shot with it so far, more than any other exposure."
    )


def _remedies(out: Out, gaps: Sequence[Gap]) -> None:
    """What can be done still, each sentence once, with what it is about."""
    told: dict[str, list[str]] = {}
    for gap in gaps:
        if gap.remedy:
            what = f"{gap.filter} {words.ROLES[gap.role]}" if gap.filter else words.ROLES[gap.role]
            names = told.setdefault(gap.remedy, [])
            if what not in names:
                names.append(what)
    for remedy, names in told.items():
        out.paragraph(f"{text.sentence(', '.join(names)).removesuffix('.')}: {remedy}", indent=2, hang=4)


def gaps_table(out: Out, items: Sequence[Gap], *, indent: int = 0) -> None:
    """Gaps, a table for each camera and setting: what tells two gaps apart is then never left out for want of width."""
    together: dict[str, list[Gap]] = {}
    for gap in items:
        together.setdefault(words.camera_and_setting(gap.body, gap.readout), []).append(gap)
    for camera, some in together.items():
        out.paragraph(camera, indent=indent)
        _table_of(out, some, indent + 2)


def _table_of(out: Out, items: Sequence[Gap], indent: int) -> None:
    table(
        out,
        (
            Column("lacking"),
            Column("filter"),
            Column("have", right=True),
            Column("need", right=True),
            Column("exposure", right=True),
            Column("shoot at", right=True),
            Column("now", keep=1),
            Column("serves", keep=2),
            Column("between", keep=3),
            Column("train", keep=4),
            Column("remark"),
        ),
        [
            (
                words.ROLES.get(gap.role, gap.role),
                gap.filter or "",
                str(gap.have),
                str(gap.need),
                _exposure(gap),
                _shoot_at(gap),
                words.verdict(gap.verdict_now),
                f"{text.some(gap.lights_count, 'light')}, {text.minutes(gap.lights_seconds / 60)}"
                + (" to come" if gap.expected else ""),
                text.spread(gap.interval.low_c, gap.interval.high_c) if gap.interval is not None else "",
                gap.train.label if gap.train else "",
                (_remark(gap), "red"),
            )
            for gap in items
        ],
        indent=indent,
    )


def _remark(gap: Gap) -> str:
    if gap.have >= gap.need:
        return ENOUGH
    if gap.still_possible:
        return ""
    return TOO_LATE if gap.kind is Kind.FLAT else TOO_COLD


def _exposure(gap: Gap) -> str:
    if gap.exposure_s is None:
        return "shortest" if gap.role == "bias" else ("by level" if gap.role == "flat" else "?")
    return text.exposure(gap.exposure_s)


def _shoot_at(gap: Gap) -> str:
    if gap.interval is None:
        return {"dark": "as the lights", "dark_flat": "as the flats"}.get(gap.role, "any")
    return text.temperature(gap.interval.shoot_at_c)
