"""Each call of each command that writes is broken in turn: nothing is lost, and a second try makes it good."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from breaking_seam import FAULTS
from fault_map import BY_NUMBER, MEDDLING, READS, Tally, run_map, undisturbed
from small_library import COMMANDS

from darklib.store.seam import Seam

pytestmark = pytest.mark.usefixtures("in_process")

# What changes something on the disk. A test below holds this against the seam.
WRITES = frozenset(
    """create_exclusive write flush truncate fsync fsync_folder link symlink unlink rename_new replace mkdir rmdir
    make_read_only make_writable lock""".split()
)
LOOKS = frozenset(
    """now monotonic token environment cwd user_data_folder absolute real open_read read readinto seek read_bytes
    readlink stat lstat fstat exists is_folder scandir disk_free""".split()
)
# These the commands of a library do without on a file system that has hard links; `tests/store` breaks them there.
ELSEWHERE = {
    "flush": "handles are unbuffered",
    "rename_new": "only where there are no hard links: test_publish_faults",
    "rmdir": "nothing takes folders away",
    "make_writable": "only Windows: test_publish_faults",
    "truncate": "only after a failed append: test_journal_broken below",
}

# These make their calls as others do (all of `amend`, of `export --as copies`); of them, one call a day will do.
ALIKE = frozenset(
    [
        "amend --undo", "retire", "restore", "bodies name", "bodies join", "bodies changed", "trains changed",
        "export --as list", "export --as csv", "ingest, stated",
    ]
)  # fmt: skip

THOROUGH = frozenset(
    ["init", "ingest --move", "set-aside --retry", "amend", "bodies join", "export --as copies", "rebuild"]
)
PARTS = {"ingest --move": 4, "ingest": 2, "ingest, stated": 2, "export --as copies": 2, "rebuild": 2}
"""The longest ones in parts, so that several processes can share them."""

Record = Callable[[str, object], None]


def told(record_property: Record, tally: Tally, part: str = "") -> None:
    """Hands the figures on to the summary, and fails with what did not survive."""
    sorts = ", ".join(f"{count} {fault}" for fault, count in sorted(tally.tried.items()))
    figures = f"{tally.calls} calls, {tally.count} broken ({sorts}), {tally.survived} survived"
    record_property("measured", f"faults: {tally.command}{part}: {figures}")
    assert not tally.troubles, "\n".join(tally.troubles)
    assert tally.survived == tally.count > 0


@pytest.mark.parametrize("name", COMMANDS)
def test_one_call_of_each_sort_broken(name: str, stage: tuple[Path, Path], record_property: Record) -> None:
    """A sample for every day: of every other method that writes its last call, by a fault each, and a read."""
    template, at = stage
    quiet = undisturbed(name, template, at)
    last = {call[0]: n for n, call in enumerate(quiet.calls, 1) if call[0] in WRITES}
    reads = [n for n, call in enumerate(quiet.calls, 1) if call[0] in READS]
    wanted = sorted([*last.values(), *reads[len(reads) // 2 :][:1]])
    if name in ALIKE:
        wanted = wanted[-3:-2]
    wanted = wanted[len(name) % 2 :: 2] or wanted
    sample = {n: place for place, n in enumerate(wanted, len(name))}

    def chosen(n: int, faults: tuple[str, ...]) -> Iterable[str]:
        return [faults[sample[n] % len(faults)]] if n in sample else []

    told(record_property, run_map(name, template, at, chosen))


@pytest.mark.long
@pytest.mark.timeout(900)
@pytest.mark.parametrize(
    ("name", "part", "parts"),
    [(name, part, parts) for name in COMMANDS for parts in [PARTS.get(name, 1)] for part in range(parts)],
)
def test_every_call_broken_in_every_way(
    name: str, part: int, parts: int, stage: tuple[Path, Path], record_property: Record
) -> None:
    """Every call by a kill and by an error; every read of the commands named above in every other way as well."""
    template, at = stage

    def chosen(n: int, faults: tuple[str, ...]) -> Iterable[str]:
        if n % parts != part:
            return []
        # Errors by number differ in nothing but their sentence here: they take turns, two at a call or one.
        left_out = {BY_NUMBER[n % 3]} if name in THOROUGH else {BY_NUMBER[n % 3], BY_NUMBER[(n + 1) % 3], *MEDDLING}
        return [fault for fault in faults if fault not in left_out]

    told(record_property, run_map(name, template, at, chosen), f", part {part + 1} of {parts}" if parts > 1 else "")


def test_the_map_covers_every_method_that_writes(stage: tuple[Path, Path]) -> None:
    """Whatever the seam can write is called by one of the commands above, or broken by a test of the store."""
    methods = {name for name in vars(Seam) if callable(getattr(Seam, name)) and not name.startswith("_")}
    assert methods == WRITES | LOOKS, "a new method of the seam belongs into one of the two"
    assert set(FAULTS) >= set(BY_NUMBER)
    template, at = stage
    called: set[str] = set()
    for name in COMMANDS:
        called |= {method for method, _ in undisturbed(name, template, at).calls}
    assert WRITES - called == set(ELSEWHERE)
