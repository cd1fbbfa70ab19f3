"""A lint rule of this house: files, the clock and chance are reached through store/seam and nothing else, and what can
run strangers' code (pickles, shells, eval) or reach the network is not used at all.

So every call to the file system can be counted, broken or faked by a test, and every result can be made again. Reading
(the readers' own business) is free in darklib/readers, writing is not; everything else that needs an exception stands
in ALLOWED with its reason. `python scripts/banned_calls.py [FILE...]` prints what it finds and ends with 1; without
FILE it looks through darklib/ and also complains about exceptions nobody needs any more.

Names are followed through imports and their aliases, whether called or only mentioned. What a variable holds isn't
known here, so a method is judged by its name where it is called: `x.unlink()` counts as a path's whatever x is, except
where x is called `seam`.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

ROOT = Path(__file__).resolve().parent.parent

# Where a sort of call is at home: a file, or a folder written with a closing slash.
HOMES: dict[str, tuple[str, ...]] = {
    "file": ("darklib/store/seam.py",),
    "clock": ("darklib/store/seam.py",),
    "chance": ("darklib/store/seam.py",),
    "danger": (),
}
READERS = "darklib/readers/"
READING = frozenset({"io.FileIO", "os.fstat", "os.stat", ".read_bytes", ".stat"})
"""What the readers may do: a file is opened by `FileIO(name, "rb")`, spelt just so, and nothing is written."""


@dataclass(frozen=True, order=True)
class Allowed:
    """An exception: this file may make this call, because of this."""

    file: str
    call: str
    reason: str


ALLOWED: tuple[Allowed, ...] = (
    Allowed("darklib/catalogue/address.py", "open", "asks the kernel about mounts (/proc), no file of the library"),
    Allowed("darklib/catalogue/address.py", "sqlite3.connect", "SQLite opens its own file; the address is its owner"),
    Allowed("darklib/catalogue/apply.py", ".touch", "marks series to be counted anew; no path is involved"),
    Allowed("darklib/catalogue/inferences.py", ".touch", "marks series to be counted anew; no path is involved"),
    Allowed("darklib/catalogue/schema.py", ".is_file", "looks for the migrations inside the installation"),
    Allowed("darklib/catalogue/schema.py", "filelock.FileLock", "one process at a time upgrades the catalogue"),
    Allowed("darklib/readers/worker.py", "os.O_WRONLY", "what decoders print goes nowhere: the null device"),
    Allowed("darklib/readers/worker.py", "os._exit", "a worker whose parent is gone ends at once"),
    Allowed("darklib/readers/worker.py", "os.close", "the null device again"),
    Allowed("darklib/readers/worker.py", "os.dup2", "the null device again"),
    Allowed("darklib/readers/worker.py", "os.open", "the null device again"),
    Allowed("darklib/show/sensor_picture.py", ".savefig", "a picture into memory; the store writes its bytes"),
    Allowed("darklib/show/gaps_picture.py", ".savefig", "a picture into memory; the store writes its bytes"),
    Allowed("darklib/store/noreplace.py", "ctypes", "the system's rename that refuses, which Python does not offer"),
    Allowed("darklib/store/locking.py", "io.FileIO", "a part of the seam that fills a file of its own"),
    Allowed("darklib/store/locking.py", "io.FileIO, to write", "a part of the seam that fills a file of its own"),
    Allowed("darklib/store/noreplace.py", "os.rename", "a part of the seam that fills a file of its own"),
)

# What `os` offers besides the file system. Anything of `os` not named here is banned, and so is what comes new.
PURE_OS = frozenset(
    """PathLike altsep cpu_count curdir devnull environ extsep fsdecode fsencode fspath get_terminal_size getenv getpid
    getppid kill linesep name pardir pathsep process_cpu_count sched_getaffinity sep stat_result strerror""".split()
)
PURE_OS_PATH = frozenset(
    """altsep basename commonpath commonprefix curdir dirname extsep isabs join normcase normpath pardir pathsep sep
    split splitdrive splitext splitroot""".split()
)

FILE_MODULES = frozenset({"shutil", "tempfile", "glob", "fileinput", "linecache", "dbm", "filelock", "pty"})
# What a file from elsewhere could run code by, what passes text to a shell, and the network.
DANGER_MODULES = frozenset(
    """pickle cPickle _pickle marshal shelve dill cloudpickle joblib yaml xmlrpc subprocess commands pdb code codeop
    ctypes cffi socket socketserver ssl http urllib ftplib smtplib poplib imaplib telnetlib requests httpx aiohttp
    webbrowser turtle""".split()
)
DANGER_NAMES = frozenset(
    """eval exec compile __import__ breakpoint builtins.eval builtins.exec builtins.compile os.system os.popen
    posix.system asyncio.create_subprocess_shell asyncio.create_subprocess_exec asyncio.open_connection
    runpy.run_path runpy.run_module numpy.lib.format.read_array""".split()
)
DANGER_STARTS = ("os.exec", "os.spawn", "os.posix_spawn")
# What these modules offer besides.
PURE_NAMES = frozenset({"filelock.Timeout", "shutil.Error", "shutil.get_terminal_size"})
FILE_NAMES = frozenset(
    """open io.open io.open_code _io.open codecs.open gzip.open bz2.open lzma.open tarfile.open sqlite3.connect
    numpy.fromfile numpy.genfromtxt numpy.load numpy.loadtxt numpy.memmap numpy.save numpy.savetxt numpy.savez
    numpy.savez_compressed pathlib.Path.cwd pathlib.Path.home runpy.run_path""".split()
)
# Classes whose objects open a file when made; as the type of an argument they are harmless.
FILE_CLASSES = frozenset(
    """io.FileIO gzip.GzipFile bz2.BZ2File lzma.LZMAFile tarfile.TarFile zipfile.ZipFile mmap.mmap logging.FileHandler
    logging.handlers.RotatingFileHandler""".split()
)
# Methods of pathlib.Path that touch the disk and whose names mean little else. `resolve`, `group` and `owner` are not
# among them, being ordinary words of others, nor `absolute` and `expanduser`, which only look at the surroundings.
PATH_METHODS = frozenset(
    """chmod exists glob hardlink_to is_block_device is_char_device is_dir is_fifo is_file is_junction is_mount
    is_socket is_symlink iterdir lchmod link_to lstat mkdir open read_bytes read_text readlink rename rglob rmdir
    samefile stat symlink_to tofile touch unlink walk write_bytes write_text savefig imsave imwrite writeto
    to_csv to_json to_parquet to_pickle read_pickle""".split()
)
CLOCK = frozenset(
    """time.time time.time_ns time.ctime time.localtime time.gmtime time.asctime time.clock_gettime
    datetime.datetime.now datetime.datetime.utcnow datetime.datetime.today datetime.date.today""".split()
)
CLOCK_UNLESS_ARGUMENT = frozenset({"time.localtime", "time.gmtime", "time.asctime", "time.ctime"})
CHANCE_MODULES = frozenset({"random", "secrets", "numpy.random"})
CHANCE_NAMES = frozenset({"os.urandom", "os.getrandom", "uuid.uuid1", "uuid.uuid4"})
# These make no number themselves, and are repeatable when given a seed.
SEEDED = frozenset(
    """random.Random numpy.random.default_rng numpy.random.SeedSequence numpy.random.PCG64 numpy.random.PCG64DXSM
    numpy.random.Philox numpy.random.SFC64 numpy.random.MT19937 numpy.random.RandomState""".split()
)
CHANCE_TYPES = frozenset({"numpy.random.Generator", "numpy.random.BitGenerator"})


@dataclass(frozen=True, order=True)
class Finding:
    """A banned call: in which file and line, what was called, and of which sort (file, clock, chance, danger) it is."""

    file: str
    line: int
    call: str
    sort: str

    def __str__(self) -> str:
        if self.sort == "danger":
            return f"{self.file}:{self.line}: {self.call} can run strangers' code or reach the network"
        return f"{self.file}:{self.line}: {self.call} ({self.sort}) belongs into {HOMES[self.sort][0]}"


def findings(source: str, file: str) -> list[Finding]:
    """Return every banned call in `source`, exceptions not yet taken off.

    `file` is its path from the root of the checkout, with forward slashes. SyntaxError where `source` isn't Python.
    """
    looker = _Looker(file)
    looker.visit(ast.parse(source, filename=file))
    return sorted({found for found in looker.found if not _at_home(found)})


def sort_of(name: str) -> str | None:
    """Return of which sort the full dotted `name` is, or None where it is free."""
    module, _, last = name.rpartition(".")
    if name in DANGER_NAMES or name.startswith(DANGER_STARTS) or _inside(name, DANGER_MODULES):
        return "danger"
    if name in CHANCE_NAMES or _inside(name, CHANCE_MODULES):
        return None if name in CHANCE_TYPES else "chance"
    if name in CLOCK:
        return "clock"
    if name in PURE_NAMES:
        return None
    if name in FILE_NAMES or _inside(name, FILE_MODULES):
        return "file"
    if module in {"os.path", "posixpath", "ntpath"}:
        return None if last in PURE_OS_PATH else "file"
    if module in {"os", "posix", "nt"}:
        return None if last in PURE_OS or last == "path" else "file"
    if module in {"pathlib.Path", "pathlib.PosixPath", "pathlib.WindowsPath"}:
        return "file" if last in PATH_METHODS else None
    return None


def complaints(root: Path = ROOT, files: Iterable[Path] | None = None) -> Iterator[str]:
    """Yield one line for every banned call and, when all of darklib is looked at, for every needless exception."""
    used: set[tuple[str, str]] = set()
    allowed = {(one.file, one.call) for one in ALLOWED}
    for path in sorted((root / "darklib").rglob("*.py")) if files is None else files:
        for found in findings(path.read_text(encoding="utf-8"), path.resolve().relative_to(root).as_posix()):
            if (found.file, found.call) in allowed:
                used.add((found.file, found.call))
            else:
                yield str(found)
    if files is None:
        for file, call in sorted(allowed - used):
            yield f"{file}: no longer calls {call}; take the exception out of scripts/banned_calls.py"


def _inside(name: str, modules: frozenset[str]) -> bool:
    parts = name.split(".")
    return any(".".join(parts[:count]) in modules for count in range(1, len(parts)))


def _at_home(found: Finding) -> bool:
    if found.file.startswith(READERS) and found.sort == "file" and found.call in READING:
        return True
    return any(
        found.file.startswith(home) if home.endswith("/") else PurePosixPath(found.file) == PurePosixPath(home)
        for home in HOMES[found.sort]
    )


class _Looker(ast.NodeVisitor):
    """Walks one file, remembering what its imports are called."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Finding] = []
        self._names: dict[str, str] = {
            name: name for name in ("open", "eval", "exec", "compile", "__import__", "breakpoint")
        }

    def visit_Import(self, node: ast.Import) -> None:
        for alias in node.names:
            first = alias.name.partition(".")[0]
            if first in DANGER_MODULES:
                self._report(first, "danger", node)
            if alias.asname:
                self._names[alias.asname] = alias.name
            else:
                self._names[first] = first

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        if node.level:  # a module of this project
            return
        for alias in node.names:
            full = f"{node.module}.{alias.name}"
            self._names[alias.asname or alias.name] = full
            # The import itself counts: `from os import stat` could be handed on under any name.
            if full not in SEEDED and full not in CLOCK_UNLESS_ARGUMENT:
                self._judge(full, node)

    def visit_Call(self, node: ast.Call) -> None:
        name = self._full(node.func)
        given = bool(node.args or node.keywords)
        if name in SEEDED:
            if not given or _is_none(node.args[0] if node.args else node.keywords[0].value):
                self._report(f"{name} without a seed", "chance", node)
        elif name in CLOCK_UNLESS_ARGUMENT:
            if not given:
                self._report(str(name), "clock", node)
        elif name in FILE_CLASSES:
            reading = len(node.args) == 2 and isinstance(node.args[1], ast.Constant) and node.args[1].value == "rb"
            self._report(str(name) if reading or name != "io.FileIO" else "io.FileIO, to write", "file", node)
        elif isinstance(node.func, ast.Attribute) and name is None:
            method = node.func.attr
            # str.replace takes two arguments and a date's only named ones: with one it is a path's.
            renames = method == "replace" and len(node.args) == 1 and not node.keywords
            if (method in PATH_METHODS or renames) and not _is_seam(node.func.value):
                self._report(f".{method}", "file", node)
            self.visit(node.func)
        else:
            self.visit(node.func)
        for keyword in node.keywords:
            if keyword.arg in ("shell", "allow_pickle") and not _is_false(keyword.value):
                self._report(f"{keyword.arg}=", "danger", node)
        for part in (*node.args, *node.keywords):
            self.visit(part)

    def visit_Attribute(self, node: ast.Attribute) -> None:
        name = self._full(node)
        if name is not None:
            self._judge(name, node)
        else:
            self.visit(node.value)

    def visit_Name(self, node: ast.Name) -> None:
        if isinstance(node.ctx, ast.Load) and node.id in self._names:
            self._judge(self._names[node.id], node)

    def _judge(self, name: str, node: ast.AST) -> None:
        sort = sort_of(name)
        if sort == "danger" and name.partition(".")[0] in DANGER_MODULES:
            name = name.partition(".")[0]
        if sort is not None:
            self._report(name, sort, node)

    def _report(self, call: str, sort: str, node: ast.AST) -> None:
        self.found.append(Finding(self.file, getattr(node, "lineno", 0), call, sort))

    def _full(self, node: ast.expr) -> str | None:
        """Return the full dotted name of what an imported name leads to; None for anything else."""
        if isinstance(node, ast.Name):
            return self._names.get(node.id)
        if isinstance(node, ast.Attribute):
            before = self._full(node.value)
            return None if before is None else f"{before}.{node.attr}"
        return None


def _is_seam(node: ast.expr) -> bool:
    last = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
    return last.lstrip("_") == "seam"


def _is_false(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is False


def _is_none(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def main(arguments: list[str]) -> int:
    """Print every complaint; return 1 where there is one."""
    lines = list(complaints(files=[Path(one) for one in arguments] or None))
    for line in lines:
        print(line)
    if not lines:
        print("Files, the clock and chance are reached through the seam alone; nothing runs strangers' code.")
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
