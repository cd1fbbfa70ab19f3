"""Damaged files by the thousand, each looked at as `ingest` does, in a worker process with a limit on its memory and
time: nothing may stop the run, and nothing false may be taken for true. See `mutant_judge` for what that means.

File number N of a seed is always the same: `mutant(originals, seed, N)`.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from darklib.readers.answers import Look
from darklib.readers.guard import Guard
from darklib.readers.open import look
from scripts.studies.mutant_judge import ENDED, FLAGGED, PASSED, SAID, SAME, UNKNOWN, WRONG, Verdict, judge
from scripts.studies.mutant_originals import Original, originals
from scripts.studies.mutations import BY_FAMILY

MEMORY = 1 << 30
SECONDS = 10.0
TASK = "scripts.studies.mutants:looked"
SPARSE_ONE_IN = 5000
"""Of so many files one is a real gigabyte, most of it a hole: a second of reading each."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One damaged file. hole: bytes of zeros behind `data`, for the system to keep as a hole."""

    number: int
    original: Original
    kind: str
    data: bytes
    hole: int = 0


@dataclass(slots=True)
class Findings:
    """outcomes: how many, by kind of damage and outcome. troubles: number, original, kind and what was wrong."""

    seed: int
    count: int = 0
    outcomes: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    troubles: list[str] = field(default_factory=list)
    ended: list[str] = field(default_factory=list)
    heads: int = 0


def mutant(all_: tuple[Original, ...], seed: int, number: int) -> Mutant:
    """The damaged file of this number."""
    dice = Random(f"{seed}/{number}")
    if number % SPARSE_ONE_IN == SPARSE_ONE_IN - 1:
        original = dice.choice([one for one in all_ if one.family == "fits"])
        return Mutant(number, original, "a sparse gigabyte", original.data, hole=1 << 30)
    # A real head takes many times as long to read as the small files.
    original = dice.choices(all_, [1 if one.real else 4 for one in all_])[0]
    kinds = BY_FAMILY[original.family]
    kind = dice.choice(list(kinds))
    data = kinds[kind](dice, original.data)
    if dice.random() < 0.1:
        other = dice.choice(list(kinds))
        with contextlib.suppress(Exception):  # the first may have left nothing for the second to work on
            data = kinds[other](dice, data)
    return Mutant(number, original, kind, data)


def looked(path: str) -> Look:
    """The task of a worker: what that of `ingest` does, after its memory was limited."""
    _limit()
    return look(path)


_limited = False


def _limit() -> None:
    global _limited  # noqa: PLW0603 - once in the life of a process
    if _limited:
        return
    _limited = True
    with contextlib.suppress(ImportError, OSError, ValueError):  # Windows has no such limit
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def try_mutants(seed: int, count: int, *, first: int = 0, workers: int = 1, shared: Path | None = None) -> Findings:
    """Makes, looks at and judges `count` damaged files from number `first` on. shared: where real camera heads are;
    None: left out.
    """
    all_ = originals(shared)
    found = Findings(seed, heads=sum(one.real for one in all_))
    with tempfile.TemporaryDirectory(prefix="darklib-mutants-") as folder:
        sound = {}
        for one in all_:
            path = Path(folder, one.name)
            path.write_bytes(one.data)
            sound[one.name] = look(path)
        waiting: dict[str, Mutant] = {}

        def written() -> Iterator[str]:
            for number in range(first, first + count):
                made = mutant(all_, seed, number)
                path = os.path.join(folder, f"{number}-{made.original.name}")
                with open(path, "wb") as handle:
                    handle.write(made.data)
                    if made.hole:
                        handle.truncate(len(made.data) + made.hole)
                waiting[path] = made
                yield path

        with Guard(workers, timeout_s=SECONDS, task=TASK) as guard:
            for answer in guard.map(written(), ahead=4 * workers):
                made = waiting.pop(answer.path)
                os.unlink(answer.path)
                _note(found, made, judge(made.original, sound[made.original.name], made.data, answer))
    return found


def _note(found: Findings, made: Mutant, verdict: Verdict) -> None:
    found.count += 1
    found.outcomes[made.kind][verdict.outcome] += 1
    where = f"number {made.number}, {made.original.name}, {made.kind}"
    if verdict.wrong:
        found.troubles.append(f"{where}: " + " | ".join(verdict.wrong))
    if verdict.outcome == ENDED:
        found.ended.append(where)


_COLUMNS = (SAME, FLAGGED, UNKNOWN, SAID, "truncated", "pixels_missing", "damaged", "unsupported", "no_image", PASSED)


def table(found: Findings) -> str:
    """The outcomes as Markdown."""
    shown = (*_COLUMNS, "other refusals", ENDED, WRONG)
    heads = f"{found.heads} real camera heads among the originals" if found.heads else "without real camera heads"
    lines = [
        f"{found.count:,} damaged files (seed {found.seed}; {heads}), each looked at in a worker process limited to",
        "1 GB of address space and 10 s.",
        "",
        "| damage | files | " + " | ".join(shown) + " |",
        "|---|" + "---:|" * (len(shown) + 1),
    ]
    total: Counter[str] = Counter()
    for kind in sorted(found.outcomes):
        lines.append(_row(kind, found.outcomes[kind]))
        total += found.outcomes[kind]
    return "\n".join([*lines, _row("**all**", total), "", LEGEND])


LEGEND = """\
Taken are the first four columns. *flagged*: the frame carries a warning that the sound file's does not. *a fact
unknown*: something is no longer known, nothing else is claimed. *the file says so*: a header card or TIFF entry that is
in order by its standard says so, or the pixels' bytes are others; nobody can tell that from an honest file. Then come
refusals by code. *ended by a limit*: the worker was ended for its memory or time, the file set aside. *WRONG*:
something false was taken for true without a warning; see scripts/studies/mutant_judge.py for the exact rule."""


def _row(name: str, outcomes: Counter[str]) -> str:
    others = sum(outcomes.values()) - sum(outcomes[one] for one in (*_COLUMNS, ENDED, WRONG))
    numbers = [outcomes[one] for one in _COLUMNS] + [others, outcomes[ENDED], outcomes[WRONG]]
    return f"| {name} | {sum(outcomes.values())} | " + " | ".join(str(number or "") for number in numbers) + " |"


def run(seed: int, count: int) -> str:
    """The topic of scripts/figures.py."""
    shared = Path(__file__).resolve().parents[2].parent / "shared" / "data"
    found = try_mutants(seed, count, workers=2, shared=shared)
    troubles = [f"- {line}" for line in found.troubles[:20]]
    return table(found) + ("\n\nWrong:\n" + "\n".join(troubles) if troubles else "")
