"""The screen of what lights lack, the plan for shooting it, and the cautions that go with it."""

from collections.abc import Sequence
from itertools import groupby

from darklib.facts.frame import Kind
from darklib.facts.plan import Gap, Plan, Step
from darklib.jobs.results import GapsResult
from darklib.show import text, words
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
    if not result.lights:
        out.line("There are no lights that could lack anything.")
        out.next("darklib batches", "lists the lights there are")
        return
    if not result.gaps:
        out.line("Nothing is lacking.")
        out.next("darklib export --night last --to DIR", "hands over the newest lights with what fits them")
        return
    out.heading("What lights lack")
    gaps_table(out, result.gaps, indent=2)
    remarks = {_remark(gap) for gap in result.gaps}
    for remark in EXPLAINED:
        if remark in remarks:
            out.paragraph(f"{remark}: {EXPLAINED[remark]}", indent=2)
    if result.plan is not None:
        out.line()
        _plan(out, result.plan)
    if result.cautions:
        out.line()
        out.heading("Before you shoot")
        for caution in result.cautions:
            out.paragraph(f"- {caution}", indent=2, hang=4)
    if result.plan is None:
        out.next("darklib gaps --plan", "orders this into a plan for shooting it")
    else:
        out.next("darklib ingest PATH", "takes the new frames in; then `darklib match` tells whether they fit")


def gaps_table(out: Out, items: Sequence[Gap], *, indent: int = 0) -> None:
    """Gaps, a table for each camera and setting: what tells two gaps apart is then never left out for want of width."""
    together: dict[str, list[Gap]] = {}
    for gap in items:
        together.setdefault(_camera(gap), []).append(gap)
    for camera, some in together.items():
        out.paragraph(camera, indent=indent)
        _table_of(out, some, indent + 2)


def _camera(item: Gap | Step) -> str:
    setting = words.setting(item.readout)
    return f"{words.camera(item.body)}, {setting}" if setting else words.camera(item.body)


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
                f"{text.some(gap.lights_count, 'light')}, {text.minutes(gap.lights_seconds / 60)}",
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


def _plan(out: Out, plan: Plan) -> None:
    out.heading(f"Plan: {text.some(len(plan.steps), 'step')}, {text.minutes(plan.total_minutes)}")
    numbered = list(enumerate(plan.steps, start=1))
    for camera, some in groupby(numbered, key=lambda one: _camera(one[1])):
        out.paragraph(camera, indent=2)
        _steps(out, list(some))
    if plan.bound_minutes is not None and plan.bound_minutes < plan.total_minutes:
        out.paragraph(
            f"No plan takes less than {text.minutes(plan.bound_minutes)}; a shorter one than this may exist.", indent=2
        )


def _steps(out: Out, numbered: Sequence[tuple[int, Step]]) -> None:
    table(
        out,
        (
            Column("", right=True),
            Column("shoot"),
            Column("exposure", right=True),
            Column("temp.", right=True),
            Column("takes", right=True),
            Column("serves"),
        ),
        [
            (
                f"{number}.",
                f"{step.frames} {step.kind.value if step.frames == 1 else _many(step.kind.value)}",
                text.exposure(step.exposure_s),
                _step_temperature(step),
                text.minutes(step.minutes),
                text.some(step.serves_lights, "light"),
            )
            for number, step in numbered
        ],
        indent=4,
    )


def _step_temperature(step: Step) -> str:
    if step.temperature_c is not None:
        return text.temperature(step.temperature_c)
    return "as theirs" if step.kind is Kind.DARK else "any"


def _many(kind: str) -> str:
    return {"bias": "biases"}.get(kind, kind + "s")
