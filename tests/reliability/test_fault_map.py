"""Each call of each command that writes is broken in turn: nothing is lost, and a second try makes it good."""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TypeVar

import pytest
from fault_map import BY_NUMBER, MEDDLING, READS, Tally, run_map, undisturbed
from small_library import COMMANDS, FixedSeam, set_stage

from darklib.store.seam import Seam

pytestmark = pytest.mark.usefixtures("in_process")

# What changes something on the disk. A test below holds this against the seam.
WRITES = frozenset(
    """create_exclusive write transfer flush truncate fsync fsync_folder link symlink unlink rename_new replace mkdir
    rmdir make_read_only make_writable lock""".split()
)
LOOKS = frozenset(
    """now monotonic sleep token environment cwd user_data_folder absolute real open_read read readinto seek read_bytes
    readlink stat lstat fstat exists is_folder scandir disk_free""".split()
)
# These make their calls as others do (all of `amend`, of `export --as copies`); of them, one call a day will do.
ALIKE = frozenset(
    [
        "amend --undo", "retire", "restore", "bodies name", "bodies join", "bodies changed", "trains changed",
        "export --as list", "export --as csv", "ingest, stated",
    ]
)  # fmt: skip

THOROUGH = frozenset(
    [
        "init", "ingest --move", "ingest --in-place", "set-aside --retry", "amend", "bodies join",
        "export --as copies", "rebuild",
    ]
)  # fmt: skip
PARTS = {"ingest --move": 4, "ingest": 2, "ingest, stated": 2, "export --as copies": 2, "rebuild": 2}
"""The longest ones in parts, so that several processes can share them."""

T = TypeVar("T")
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
def test_calls_broken_in_every_way(
    name: str, part: int, parts: int, stage: tuple[Path, Path], record_property: Record
) -> None:
    """Every call by a stop and by an error, every read in further ways; every other call of what is much like those."""
    template, at = stage

    def chosen(n: int, faults: tuple[str, ...]) -> Iterable[str]:
        if n % parts != part or (name not in THOROUGH and n // parts % 2):
            return []
        # Errors by number differ in nothing but their sentence here, and the files that change behind the reader's
        # back in little: they take turns.
        keep = {"kill", "short", "end", BY_NUMBER[n // parts % 3], MEDDLING[n // parts % 3]}
        return [fault for fault in faults if fault in keep]

    told(record_property, run_map(name, template, at, chosen), f", part {part + 1} of {parts}" if parts > 1 else "")


# Places that write and that no undisturbed command on this file system comes by.
ELSEWHERE = {
    ("darklib/store/durable.py", "_give_name", "rename_new"): "no hard links there: test_publish_faults",
    ("darklib/store/durable.py", "_claim_name", "create_exclusive"): "neither links nor such a rename: the same",
    ("darklib/store/durable.py", "_claim_name", "replace"): "the same",
    ("darklib/store/journal.py", "_take_back", "truncate"): "after a failed append: test_publish_faults",
    ("darklib/store/journal.py", "_take_back", "fsync"): "the same",
    ("darklib/store/removal.py", "remove", "make_writable"): "Windows: test_publish_faults",
    ("darklib/jobs/rebuild.py", "_away", "unlink"): "what a killed rebuild left: test_kill",
    **{
        ("darklib/store/evidence.py", "keep", name): "these frames are too small for it: tests/store/test_evidence"
        for name in ("mkdir", "create_exclusive", "write", "replace", "unlink")
    },
}
Site = tuple[str, str, str]


class SiteSeam(FixedSeam):
    """Notes from which function of darklib each call comes."""

    def __init__(self, repository: Path) -> None:
        self.repository = repository
        self.sites: set[Site] = set()

    def _call(self, name: str, path: str, func: Callable[[], T]) -> T:
        if name in WRITES:
            frame = sys._getframe(1)
            while not self._ours(Path(frame.f_code.co_filename)):
                assert frame.f_back is not None
                frame = frame.f_back
            file = Path(frame.f_code.co_filename).relative_to(self.repository)
            self.sites.add((file.as_posix(), frame.f_code.co_name, name))
        return func()

    def _ours(self, file: Path) -> bool:
        return file.is_relative_to(self.repository / "darklib") and file.name != "seam.py"


def sites_in(tree: ast.AST, file: str, function: str = "") -> Iterable[Site]:
    """Where a file calls or hands on the seam's writing methods, each with the function that does."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            yield from sites_in(node, file, node.name)
            continue
        if isinstance(node, ast.Attribute) and node.attr in WRITES and is_seam(node.value):
            yield file, function, node.attr
        yield from sites_in(node, file, function)


def is_seam(node: ast.AST) -> bool:
    name = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
    return name.lstrip("_") == "seam"


ONLY_THE_SEAMS = WRITES - {
    "flush",
    "lock",
    "write",
    "replace",
    "link",
    "unlink",
    "mkdir",
    "rmdir",
    "symlink",
    "truncate",
}
"""Names of writing methods that nothing else has. The rest are those of paths, which the lint rule looks after."""


def hidden_in(tree: ast.AST) -> Iterable[str]:
    """Ways to write that the text would not show: the seam under another name, or its methods by name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in ONLY_THE_SEAMS and not is_seam(node.value):
            yield f"line {node.lineno}: {node.attr} of what is not called seam"
        pairs: list[tuple[ast.expr | None, ast.expr]] = []
        if isinstance(node, ast.Assign):
            for target in node.targets:
                both = isinstance(target, ast.Tuple) and isinstance(node.value, ast.Tuple)
                pairs += zip(target.elts, node.value.elts, strict=False) if both else [(target, node.value)]
        elif isinstance(node, (ast.AnnAssign, ast.NamedExpr)) and node.value is not None:
            pairs.append((node.target, node.value))
        elif isinstance(node, ast.withitem):
            pairs.append((node.optional_vars, node.context_expr))
        for new, value in pairs:
            if is_seam(value) and (new is None or not is_seam(new)):
                yield f"line {value.lineno}: the seam gets another name"
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if name in ("getattr", "methodcaller", "attrgetter", "vars") and any(is_seam(one) for one in node.args):
                yield f"line {node.lineno}: {name} of the seam"
            for keyword in node.keywords:
                if keyword.arg and is_seam(keyword.value) and keyword.arg.lstrip("_") != "seam":
                    yield f"line {node.lineno}: the seam handed on as {keyword.arg}"


@pytest.mark.parametrize(
    "rogue",
    [
        "disk = opened.seam\ndisk.create_exclusive(path)",
        "def f(disk, path): disk.rename_new(path, path)",
        "disk: Seam = self._seam",
        "a, disk = 1, seam",
        "with seam as disk: pass",
        "getattr(seam, 'unlink')(path)",
        "methodcaller('unlink', path)(seam)\nvars(seam)['unlink']",
        "job(disk=opened.seam)",
        "if (disk := opened.seam): pass",
    ],
)
def test_no_way_of_writing_is_hidden(rogue: str) -> None:
    assert list(hidden_in(ast.parse(rogue)))


def test_a_method_of_the_seam_that_is_handed_on_is_a_place_that_writes() -> None:
    rogue = "def f(paths):\n    pool.map(seam.unlink, paths)\n    return lambda: opened.seam.mkdir(paths[0])"
    assert set(sites_in(ast.parse(rogue), "a.py")) == {("a.py", "f", "unlink"), ("a.py", "f", "mkdir")}


def test_the_map_covers_every_place_that_writes(stage: tuple[Path, Path], repository: Path) -> None:
    """Every function that calls a writing method of the seam is run by one of the commands whose calls are broken.

    That nothing else in darklib writes is the rule of scripts/banned_calls.py, which has a test of its own.
    """
    methods = {name for name in vars(Seam) if callable(getattr(Seam, name)) and not name.startswith("_")}
    assert methods == WRITES | LOOKS, "a new method of the seam belongs into one of the two"
    files = sorted((repository / "darklib").rglob("*.py"))
    written = {
        site
        for file in files
        if file.name != "seam.py"
        for site in sites_in(ast.parse(file.read_text("utf-8")), file.relative_to(repository).as_posix())
    }
    assert len(written) > 15
    hidden = {
        f"{file.relative_to(repository).as_posix()}, {trouble}"
        for file in files
        if file.name != "seam.py"
        for trouble in hidden_in(ast.parse(file.read_text("utf-8")))
    }
    assert hidden == set()
    run: set[Site] = set()
    for command in COMMANDS.values():
        set_stage(*stage)
        seam = SiteSeam(repository)
        seam.hasty = command.hasty
        command.act(seam, stage[1])
        run |= seam.sites
    assert run <= written, "a call that was made is one of those found in the text"
    assert written - run == set(ELSEWHERE)
