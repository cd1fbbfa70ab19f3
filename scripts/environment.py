r"""The project's own virtual environment, made from a bare checkout with nothing but Python's standard library.

`.venv` lies beside pyproject.toml and holds exactly what requirements.lock says, hashes checked, and darklib itself as
an editable install. uv does it where it is on the PATH, venv and pip otherwise; both give the same packages.

The lock file is made anew with

    uv pip compile --universal --fork-strategy fewest --generate-hashes --no-header --no-emit-index-url \
        --no-emit-find-links --extra dev pyproject.toml -o requirements.lock
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
STAMP = "darklib-environment"
OLDEST = (3, 11)


def python_of(folder: Path) -> Path:
    """Return where the interpreter of the virtual environment `folder` lies on this system."""
    if os.name == "nt":
        return folder / "Scripts" / "python.exe"
    return folder / "bin" / "python"


def wanted_stamp(root: Path) -> str:
    """Return the text that changes whenever the environment has to be made anew."""
    digest = hashlib.sha256()
    for name in ("requirements.lock", "pyproject.toml"):
        digest.update(name.encode() + b"\0" + (root / name).read_bytes() + b"\0")
    # A moved checkout breaks the editable install and the scripts' first lines.
    digest.update(str(root).encode("utf-8", "surrogateescape"))
    return digest.hexdigest()


def stamp_of(environment: Path, root: Path) -> str:
    """Return what the stamp file must hold for `environment`: the wanted stamp and its interpreter's version."""
    return f"{wanted_stamp(root)} {_interpreter_version(environment)}\n"


def is_current(environment: Path, root: Path) -> bool:
    """Return whether `environment` was completed for exactly this lock file, project file and interpreter."""
    stamp = environment / STAMP
    if not python_of(environment).exists() or not stamp.is_file():
        return False
    return stamp.read_text(encoding="utf-8") == stamp_of(environment, root)


def commands(environment: Path, root: Path, uv: str | None) -> list[list[str]]:
    """Return the commands that fill `environment`: first what is locked, then the project itself."""
    lock = str(root / "requirements.lock")
    python = str(python_of(environment))
    if uv is not None:
        # Compiled once here, as pip does by itself; else every process that may not write caches compiles it again.
        install = [uv, "pip", "install", "--quiet", "--compile-bytecode", "--python", python]
    else:
        install = [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    return [
        [*install, "--require-hashes", "-r", lock],
        # --no-build-isolation: the lock file holds the build back end too, so that nothing unlocked is fetched.
        [*install, "--no-deps", "--no-build-isolation", "--editable", str(root)],
    ]


def ensure(root: Path = ROOT) -> Path:
    """Make or complete `.venv` if it isn't current and return its interpreter. Ends the program where that fails."""
    if sys.version_info < OLDEST:
        found = ".".join(map(str, sys.version_info[:3]))
        sys.exit(f"darklib needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is {found} ({sys.executable}).")
    environment = root / ".venv"
    if is_current(environment, root):
        return python_of(environment)
    with _only_one(environment):
        if not is_current(environment, root):  # somebody else may have made it while this one waited
            _fill(environment, root)
    return python_of(environment)


def rerun_inside(root: Path = ROOT) -> None:
    """Go on only in the environment's own interpreter: makes the environment, then starts this script again in it."""
    python = ensure(root)
    if Path(sys.prefix).resolve() != (root / ".venv").resolve():
        hand_over([str(python), *sys.argv])


def hand_over(command: list[str]) -> NoReturn:
    """Run `command` in this process's place and end with its exit status."""
    # Not os.execv: on Windows it would return to the shell at once, with the new process still running.
    with subprocess.Popen(command) as running:
        while True:
            try:
                status = running.wait()
            except KeyboardInterrupt:
                continue  # the terminal told both; the other one stops at a safe point, and its status counts
            sys.exit(status if status >= 0 else 128 - status)


def _fill(environment: Path, root: Path) -> None:
    started = time.monotonic()
    uv = shutil.which("uv")
    print(f"Preparing {environment} with {'uv' if uv else 'venv and pip'} ...", flush=True)
    if not python_of(environment).exists():
        if os.path.lexists(python_of(environment)):
            sys.exit(f"The interpreter {environment} was made with is gone. Delete that folder and try again.")
        if uv:  # also works where the system's Python came without ensurepip
            _run([uv, "venv", "--quiet", "--allow-existing", "--python", sys.executable, str(environment)])
        else:
            _run([sys.executable, "-m", "venv", str(environment)])
    version = _interpreter_version(environment)
    if tuple(map(int, version.split("."))) < OLDEST:
        sys.exit(f"{environment} was made with Python {version}. Delete that folder and try again.")
    for command in commands(environment, root, uv):
        _run(command)
    partial = environment / (STAMP + ".partial")
    partial.write_text(stamp_of(environment, root), encoding="utf-8")
    partial.replace(environment / STAMP)
    print(f"Ready after {time.monotonic() - started:.0f} s.", flush=True)


def _run(command: list[str]) -> None:
    # Another active environment must not redirect the installers.
    surroundings = {k: v for k, v in os.environ.items() if k not in {"VIRTUAL_ENV", "PYTHONHOME", "PYTHONPATH"}}
    try:
        # What the installers say matters only where they fail.
        done = subprocess.run(
            command,
            env=surroundings,
            check=False,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
        )
    except OSError as error:
        sys.exit(f"Could not start {command[0]}: {error}")
    if done.returncode != 0:
        print(done.stdout, end="", flush=True)
        sys.exit(
            f"This step failed with status {done.returncode}: {subprocess.list2cmdline(command)}\n"
            "The lines above say why. Once it is put right, the same command goes on from here."
        )


def _interpreter_version(environment: Path) -> str:
    # pyvenv.cfg says it without starting the interpreter; uv and venv spell the key differently.
    for line in (environment / "pyvenv.cfg").read_text(encoding="utf-8").splitlines():
        key, _, value = line.partition("=")
        if key.strip() in {"version", "version_info"}:
            return ".".join(value.strip().split(".")[:2])
    sys.exit(f"{environment / 'pyvenv.cfg'} names no version of Python. Delete {environment} and try again.")


@contextlib.contextmanager
def _only_one(environment: Path) -> Iterator[None]:
    """Hold a lock inside `environment`, so that two scripts don't fill it at once; it ends with its process."""
    environment.mkdir(exist_ok=True)
    with (environment / (STAMP + ".lock")).open("a+b") as held:
        if not _taken(held.fileno()):
            print("Waiting for another script that prepares the environment ...", flush=True)
            while not _taken(held.fileno()):
                time.sleep(0.5)
        yield


if sys.platform == "win32":
    import msvcrt

    def _taken(number: int) -> bool:
        try:
            os.lseek(number, 0, os.SEEK_SET)
            msvcrt.locking(number, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
else:
    import fcntl

    def _taken(number: int) -> bool:
        try:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


if __name__ == "__main__":
    print(ensure())
