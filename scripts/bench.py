"""How fast darklib is, as ratios and whole-process times measured in one run: `python3 scripts/bench.py [--only ROW]`.

Prints a Markdown table. Every row names what was measured, what it is compared with, and whether the target was met;
nothing is dropped from the system's page cache, so files that were just made are read from memory by both sides. It is
no test and no test runs it: the whole run takes many minutes and some 14 GB of disk, of which the libraries that
`match` is tried on, 0.7 GB, are kept in the temporary folder for the next run.

The machine should have nothing else to do; the load at the start is printed.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from scripts import environment

if __name__ == "__main__":
    environment.rerun_inside()

from scripts.benchmarks import cameras, measuring, raw_files, small_fits, starting, stock, taking_in
from scripts.benchmarks.stopwatch import Plan, Row, machine

ROWS: dict[str, Callable[[Plan], Row | list[Row]]] = {
    "metadata": small_fits.row,
    "help": starting.help_rows,
    "version": starting.version_row,
    "match": stock.rows,
    "ingest": taking_in.row,
    "raws": raw_files.rows,
    "pixels": measuring.rows,
    "sensor": cameras.row,
}


def main() -> int:
    """Measure what was asked for and print it; 1 where a target was missed or a row could not be measured."""
    given = arguments()
    plan = Plan(
        quick=given.quick,
        rounds=given.rounds or (1 if given.quick else 3),
        files=given.files or (6 if given.quick else 200),
        megabytes=given.megabytes or (3.0 if given.quick else 30.0),
        scratch=Path(tempfile.mkdtemp(prefix="darklib-bench-", dir=given.scratch)),
        cache=Path(given.scratch or tempfile.gettempdir()) / "darklib-bench-stock",
    )
    rows: list[Row] = []
    try:
        print(f"Measured on: {machine()}.{' Quick: smaller than what the targets are about.' if plan.quick else ''}\n")
        for name in given.only or ROWS:
            print(f"... {name}", file=sys.stderr, flush=True)
            found = measured(name, plan)
            rows += found
    finally:
        shutil.rmtree(plan.scratch, ignore_errors=True)
    print(table(rows))
    return 0 if all(row.met is not False for row in rows) else 1


def arguments() -> argparse.Namespace:
    """What the command line says."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", action="append", choices=list(ROWS), help="this row alone; may be given again")
    parser.add_argument("--quick", action="store_true", help="small, to see that it runs; its figures mean little")
    parser.add_argument("--files", type=int, help="how many FITS files the ingest row takes in (200)")
    parser.add_argument("--megabytes", type=float, help="how large each of them is (30)")
    parser.add_argument("--rounds", type=int, help="how often both sides take turns (3)")
    parser.add_argument("--scratch", help="the folder to work in (default: the system's temporary one)")
    return parser.parse_args()


def measured(name: str, plan: Plan) -> list[Row]:
    """The row, or a row that says why there is none: the others still count."""
    try:
        found = ROWS[name](plan)
    except Exception as error:  # noqa: BLE001
        traceback.print_exc()
        return [Row(name, "not measured", "", "", "", False, f"{type(error).__name__}: {error}".splitlines()[0])]
    return found if isinstance(found, list) else [found]


def table(rows: list[Row]) -> str:
    """The rows in Markdown, their notes below."""
    lines = ["| what | measured | reference | ratio | target | |", "|---|---|---|---|---|---|"]
    notes = []
    for row in rows:
        met = {True: "met", False: "**not met**", None: ""}[row.met]
        lines.append(f"| {row.what} | {row.measured} | {row.reference} | {row.ratio} | {row.target} | {met} |")
        if row.note and row.note not in notes:
            notes.append(row.note)
    return "\n".join([*lines, "", *(f"- {note}" for note in notes)])


if __name__ == "__main__":
    sys.exit(main())
