"""The main job on an invented scenario, from a bare checkout: `python3 scripts/demo.py [DIR] [options of the demo]`.

Prepares the project's own environment first (see environment.py), then runs `darklib demo`. Without DIR a new temporary
folder is used; it is kept, so that the library in it can be looked at afterwards.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from scripts import environment


def arguments_of_demo(given: list[str]) -> list[str]:
    """Return the arguments for `darklib`: a new temporary folder is added where `given` names none."""
    if any(not word.startswith("-") for word in given) or {"-h", "--help"} & set(given):
        return ["demo", *given]
    return ["demo", tempfile.mkdtemp(prefix="darklib-demo-"), *given]


def main() -> None:
    """Prepare the environment and run the demo in it."""
    python = environment.ensure()
    environment.hand_over([str(python), "-m", "darklib", *arguments_of_demo(sys.argv[1:])])


if __name__ == "__main__":
    main()
