"""The measured figures of the documentation: `python3 scripts/figures.py TOPIC [--seed N] [--count N]`.

Each topic is a module in scripts/studies with `run(seed: int, count: int) -> str`, which measures and returns a
Markdown table. It is printed and written to scripts/studies/TOPIC.md, which is committed; the seed and the count stand
in it, so that it can be made again. `--no-write` only prints.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from scripts import environment  # noqa: E402

STUDIES = ROOT / "scripts" / "studies"
TOPICS: dict[str, tuple[str, int]] = {
    "ageing": ("scripts.studies.ageing", 40),
    "identity": ("scripts.studies.identity", 10_000),
    "kinds": ("scripts.studies.kinds", 5_800),
    "thermometer": ("scripts.studies.thermometer", 400),
    "prediction": ("scripts.studies.prediction", 200),
    "mutants": ("scripts.studies.mutants", 100_000),
    "sensor": ("scripts.studies.sensor", 200),
    "reliability": ("scripts.studies.reliability", 2_000),
    "watching": ("scripts.studies.watching", 10_000),
}
"""Topic: its module, and how much is done where no --count is given."""


def main(arguments: list[str]) -> int:
    """Measure one topic, print its table and write it."""
    parser = argparse.ArgumentParser(description="Measure one topic of the documentation's figures.")
    parser.add_argument("topic", choices=sorted(TOPICS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, help="how much to do (default: what the committed table was made with)")
    parser.add_argument("--no-write", action="store_true", help="only print")
    asked = parser.parse_args(arguments)
    module, usual = TOPICS[asked.topic]
    run: Callable[[int, int], str] = importlib.import_module(module).run
    table = run(asked.seed, usual if asked.count is None else asked.count).rstrip() + "\n"
    print(table, end="")
    if not asked.no_write:
        (STUDIES / f"{asked.topic}.md").write_text(table, encoding="utf-8")
    return 0


if __name__ == "__main__":
    # Whoever is inside already keeps the environment as it is.
    if Path(sys.prefix).resolve() != (ROOT / ".venv").resolve():
        environment.rerun_inside()
    sys.exit(main(sys.argv[1:]))
