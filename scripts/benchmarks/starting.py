"""How long a person waits for `--help` and `--version`: whole processes, from the shell's call to their end."""

from __future__ import annotations

from scripts.benchmarks.stopwatch import Plan, Row, in_turns, median, milliseconds, process

ROUNDS = 9


def help_rows(plan: Plan) -> list[Row]:
    """`--help` against importing the library that the command line is made with."""
    ours = process("-m", "darklib", "--help")
    theirs = process("-c", "import typer")
    ours()
    theirs()
    mine, reference = in_turns(ours, theirs, 3 if plan.quick else ROUNDS)
    ratio = median(mine) / median(reference)
    note = f"`--help`: median of {len(mine)} whole processes; fastest {milliseconds(min(mine))}."
    return [
        Row("`--help`", milliseconds(median(mine)), "", "", "under 250 ms", median(mine) < 0.250, note),
        Row(
            "`--help`", milliseconds(median(mine)), f"{milliseconds(median(reference))}, `python -c \"import typer\"`",
            f"{ratio:.2f} times", "under 3 times", ratio < 3.0, note,
        ),
    ]  # fmt: skip


def version_row(plan: Plan) -> Row:
    """`--version`, with the bare interpreter beside it."""
    ours = process("-m", "darklib", "--version")
    bare = process("-c", "pass")
    ours()
    mine, reference = in_turns(ours, bare, 3 if plan.quick else ROUNDS)
    return Row(
        "`--version`",
        milliseconds(median(mine)),
        f"{milliseconds(median(reference))}, `python -c pass`",
        f"{median(mine) / median(reference):.2f} times",
        "under 120 ms",
        median(mine) < 0.120,
        f"`--version`: median of {len(mine)} whole processes; fastest {milliseconds(min(mine))}.",
    )
