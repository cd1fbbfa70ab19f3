"""The screen of what lights lack, the plan for shooting it, and the cautions that go with it."""

from collections.abc import Sequence

from darklib.facts.match import Verdict
from darklib.facts.plan import Gap, Plan
from darklib.jobs.results import GapsResult
from darklib.show import text, words
from darklib.show.out import Out
from darklib.show.table import Column, table


def gaps(out: Out, result: GapsResult) -> None:
    """What lights lack, the plan where one was asked for, and the cautions."""
    if not result.gaps:
        out.line("Nothing is lacking.")
        out.next("darklib export --night last --to DIR", "hands over the newest lights with what fits them")
        return
    out.heading("What lights lack")
    gaps_table(out, result.gaps, indent=2)
    if any(not gap.still_possible for gap in result.gaps):
        out.paragraph(
            "Frames marked 'too late' can no longer be shot: their train has been changed since.", indent=2, style="dim"
        )
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
    """Gaps as a table."""
    table(
        out,
        (
            Column("lacking"),
            Column("have", right=True),
            Column("need", right=True),
            Column("exposure", right=True),
            Column("shoot at", right=True),
            Column("serves", keep=1),
            Column("now", keep=2),
            Column("filter", keep=3),
            Column("setting", keep=4),
            Column("camera", keep=5),
            Column("train", keep=6),
            Column("remark"),
        ),
        [
            (
                words.ROLES.get(gap.role, gap.role),
                str(gap.have),
                str(gap.need),
                _exposure(gap),
                _shoot_at(gap),
                f"{text.some(gap.lights_count, 'light')}, {text.minutes(gap.lights_seconds / 60)}",
                words.verdict(gap.verdict_now),
                gap.filter or "",
                words.setting(gap.readout),
                words.camera(gap.body),
                gap.train.label if gap.train else "",
                "" if gap.still_possible else ("too late", "red"),
            )
            for gap in items
        ],
        indent=indent,
    )


def _exposure(gap: Gap) -> str:
    if gap.exposure_s is None:
        return "shortest" if gap.role == "bias" else ("by level" if gap.role == "flat" else "?")
    return text.exposure(gap.exposure_s)


def _shoot_at(gap: Gap) -> str:
    if gap.interval is None:
        return "any" if gap.role in ("flat", "bias") else "?"
    low, high = gap.interval.low_c, gap.interval.high_c
    return f"{text.temperature(gap.interval.shoot_at_c)} ({text.spread(low, high)})"


def _plan(out: Out, plan: Plan) -> None:
    out.heading(f"Plan: {text.some(len(plan.steps), 'step')}, {text.minutes(plan.total_minutes)}")
    table(
        out,
        (
            Column("", right=True),
            Column("shoot"),
            Column("exposure", right=True),
            Column("temp.", right=True),
            Column("takes", right=True),
            Column("serves", keep=1),
            Column("setting", keep=2),
            Column("camera", keep=3),
        ),
        [
            (
                f"{number}.",
                f"{step.frames} {step.kind.value if step.frames == 1 else _many(step.kind.value)}",
                text.exposure(step.exposure_s),
                text.temperature(step.temperature_c) if step.temperature_c is not None else "any",
                text.minutes(step.minutes),
                text.some(step.serves_lights, "light"),
                words.setting(step.readout),
                words.camera(step.body),
            )
            for number, step in enumerate(plan.steps, start=1)
        ],
        indent=2,
    )
    if plan.bound_minutes is not None and plan.bound_minutes < plan.total_minutes:
        out.paragraph(
            f"No plan takes less than {text.minutes(plan.bound_minutes)}; a shorter one than this may exist.", indent=2
        )


def _many(kind: str) -> str:
    return {"bias": "biases"}.get(kind, kind + "s")


def short_of(items: Sequence[Gap]) -> int:
    """How many of the gaps leave lights without anything that serves."""
    return sum(gap.verdict_now is Verdict.MISSING for gap in items)
