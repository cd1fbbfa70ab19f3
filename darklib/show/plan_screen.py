"""The screen of a shooting plan, and of a cool-down run."""

from collections.abc import Sequence
from itertools import groupby

from darklib.facts.frame import Kind
from darklib.facts.plan import CoolDown, Plan, Step
from darklib.show import text, words
from darklib.show.out import Out
from darklib.show.table import Column, table


def plan(out: Out, value: Plan) -> None:
    """The steps of a plan, in order, and what is to be known of it."""
    if not value.steps:
        out.heading("Plan: nothing to shoot")
        if value.evening is not None:
            out.paragraph(f"No whole set fits into {text.minutes(value.evening.minutes)}.", indent=2)
        return
    out.heading(f"Plan: {text.some(len(value.steps), 'step')}, {text.minutes(value.total_minutes)}{space(value.bytes)}")
    numbered = list(enumerate(value.steps, start=1))
    for camera, some in groupby(numbered, key=lambda one: words.camera_and_setting(one[1].body, one[1].readout)):
        out.paragraph(camera, indent=2)
        _steps(out, list(some))
    for line in plan_notes(value):
        out.paragraph(line, indent=2)


def space(count: int | None) -> str:
    """`, about 2.4 GB on the card`; empty where not known."""
    return "" if count is None else f", about {text.size(count)} on the card"


def plan_notes(plan: Plan) -> list[str]:
    """What is to be known of a plan besides its steps."""
    notes = []
    settling = sum(step.settling_minutes for step in plan.steps)
    if settling:
        notes.append(
            f"{text.minutes(settling)} of it are for settling; wait at each new temperature until the reading changes "
            "by less than 0.1 degrees a minute."
        )
    if plan.bound_minutes is not None and plan.bound_minutes < plan.total_minutes:
        notes.append(f"No plan takes less than {text.minutes(plan.bound_minutes)}; a shorter one than this may exist.")
    evening = plan.evening
    if evening is not None:
        served, asked = text.minutes(evening.served_seconds / 60), text.minutes(evening.asked_seconds / 60)
        notes.append(
            f"In {text.minutes(evening.minutes)} this serves {served} of light of the {asked} that lack something; "
            f"{text.some(len(evening.left_out), 'set')} left for another evening."
        )
        if evening.bound_seconds is not None:
            most = text.minutes(evening.bound_seconds / 60)
            notes.append(f"There may be a better choice, but none serves more than {most}.")
    return notes


def _steps(out: Out, numbered: Sequence[tuple[int, Step]]) -> None:
    table(
        out,
        (
            Column("", right=True),
            Column("shoot"),
            Column("exposure", right=True),
            Column("temp.", right=True),
            Column("takes", right=True),
            Column("where"),
            Column("counts", keep=1),
            Column("card", right=True, keep=3),
            Column("serves", keep=2),
        ),
        [
            (
                f"{number}.",
                frames_of(step),
                "shortest" if step.kind is Kind.BIAS else text.exposure(step.exposure_s),
                _step_temperature(step),
                text.minutes(step.minutes),
                where(step),
                text.spread(step.low_c, step.high_c) if step.low_c is not None else "",
                text.size(step.bytes) if step.bytes is not None else "",
                text.some(step.serves_lights, "light"),
            )
            for number, step in numbered
        ],
        indent=4,
    )


def frames_of(step: Step) -> str:
    """`20 darks`."""
    return f"{step.frames} {step.kind.value if step.frames == 1 else _many(step.kind.value)}"


def where(step: Step) -> str:
    """How to come to the temperature of a step, in a few words; empty where any will do."""
    return {"any": "", "cooler": "set the cooler"}.get(step.how, step.how)


def _step_temperature(step: Step) -> str:
    if step.temperature_c is not None:
        return text.temperature(step.temperature_c)
    return "as theirs" if step.kind is Kind.DARK else "any"


def _many(kind: str) -> str:
    return {"bias": "biases"}.get(kind, kind + "s")


def cool_downs(out: Out, runs: Sequence[CoolDown]) -> None:
    """Cool-down runs: what to do, how the reading is expected to fall, frames a degree, and what lacks after each."""
    if not runs:
        return
    out.line()
    out.heading("Or cool-down runs")
    out.paragraph(HOW_TO_COOL_DOWN, indent=2)
    for name, lines in cool_downs_told(runs):
        out.paragraph(f"{name}:", indent=2)
        for line in lines:
            out.paragraph(line, indent=4)


HOW_TO_COOL_DOWN = (
    "Put the camera into the cold and shoot one exposure without a pause while it cools; every frame is kept and "
    "sorted by its own temperature."
)


def cool_downs_told(runs: Sequence[CoolDown]) -> list[tuple[str, list[str]]]:
    """Each run by name with what is known of it; those of a camera that tells nothing yet are one."""
    told: list[tuple[str, list[str]]] = []
    unknown: dict[str, list[str]] = {}
    for run in runs:
        camera = words.camera_and_setting(run.body, run.readout)
        if run.cooling is None:
            unknown.setdefault(camera, []).append(text.exposure(run.exposure_s))
        else:
            told.append((f"{text.exposure(run.exposure_s)}, {camera}", cool_down_lines(run)))
    line = "How fast it cools is not known yet; after the first run its own darks tell."
    return told + [(f"{', '.join(exposures)}, {camera}", [line]) for camera, exposures in unknown.items()]


def cool_down_lines(run: CoolDown) -> list[str]:
    """What is known of a cool-down run, a line each."""
    if run.cooling is None or run.minutes is None:
        return []
    cooling = run.cooling
    lines = [
        (
            f"Expected, from {cooling.series} earlier series: from {cooling.start_c:.0f} to {cooling.end_c:.0f} C, "
            f"half of the way every {text.minutes(cooling.half_minutes)}, "
            f"still after {text.minutes(run.minutes)}."
        )
    ]
    if run.frames:
        degrees = ", ".join(f"{one.low_c:.0f} to {one.low_c + 1:.0f} C {one.frames}" for one in run.frames)
        lines.append(f"Frames a degree: {degrees}.")
    short = sum(frames for _, frames in run.lacking)
    if not run.lacking:
        lines.append("Nothing of this exposure lacks after it.")
    else:
        sets = text.some(len(run.lacking), "set")
        lines.append(f"After it {sets} of this exposure still lack {text.some(short, 'frame')}.")
    return lines
