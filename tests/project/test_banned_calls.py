"""The lint rule itself: what it finds, what it lets through, and that darklib keeps it."""

from __future__ import annotations

import textwrap
from pathlib import Path

import pytest

from scripts import banned_calls
from scripts.banned_calls import ALLOWED, Allowed, findings


def calls(source: str, file: str = "darklib/jobs/example.py") -> list[tuple[str, str]]:
    """Return what is found in `source`, as (sort, call)."""
    return [(found.sort, found.call) for found in findings(textwrap.dedent(source), file)]


@pytest.mark.parametrize(
    ("source", "call"),
    [
        ("open('a')", "open"),
        ("with open('a', 'rb') as f: pass", "open"),
        ("import io\nio.open('a')", "io.open"),
        ("from io import FileIO\nFileIO('a', 'rb')", "io.FileIO"),
        ("from io import FileIO\nFileIO('a', 'xb')", "io.FileIO, to write"),
        ("import os\nos.remove('a')", "os.remove"),
        ("import os\nos.replace('a', 'b')", "os.replace"),
        ("import os as system\nsystem.stat('a')", "os.stat"),
        ("import os.path\nos.path.exists('a')", "os.path.exists"),
        ("import os\nos.path.realpath('a')", "os.path.realpath"),
        ("from os import unlink", "os.unlink"),
        ("from os import path as p\np.getsize('a')", "os.path.getsize"),
        ("from os import path as p\np.isfile('a')", "os.path.isfile"),
        ("import os\nremover = os.unlink", "os.unlink"),
        ("import os\nmap(os.stat, [])", "os.stat"),
        ("import os\nos.a_function_of_a_later_python('a')", "os.a_function_of_a_later_python"),
        ("import shutil\nshutil.copyfile('a', 'b')", "shutil.copyfile"),
        ("from shutil import move as take\ntake('a', 'b')", "shutil.move"),
        ("import tempfile\ntempfile.mkdtemp()", "tempfile.mkdtemp"),
        ("import glob\nglob.glob('*')", "glob.glob"),
        ("import gzip\ngzip.open('a')", "gzip.open"),
        ("import sqlite3\nsqlite3.connect('a')", "sqlite3.connect"),
        ("import numpy as np\nnp.load('a')", "numpy.load"),
        ("import numpy as np\nnp.zeros(3).tofile('a')", ".tofile"),
        ("from pathlib import Path\nPath('a').read_text()", ".read_text"),
        ("from pathlib import Path\nPath.exists(Path('a'))", "pathlib.Path.exists"),
        ("from pathlib import Path\nPath.cwd()", "pathlib.Path.cwd"),
        ("def f(path): path.parent.mkdir(parents=True)", ".mkdir"),
        ("def f(path):\n    with path.open('wb') as out: pass", ".open"),
        ("def f(path): return [p for p in path.rglob('*')]", ".rglob"),
        ("def f(path, other): path.replace(other)", ".replace"),
        ("def f(path):\n    def g(): path.unlink(missing_ok=True)\n    return g", ".unlink"),
        ("async def f(path): path.write_bytes(b'')", ".write_bytes"),
        ("def f(path): return lambda: path.stat().st_size", ".stat"),
        ("def f(path, wrap): return wrap(wrap(path.is_dir()))", ".is_dir"),
        ("class A:\n    from os import mkdir", "os.mkdir"),
    ],
)
def test_file_calls_are_found(source: str, call: str) -> None:
    assert ("file", call) in calls(source)


@pytest.mark.parametrize(
    ("source", "call"),
    [
        ("import time\ntime.time()", "time.time"),
        ("from time import time_ns", "time.time_ns"),
        ("import time\nclock = time.time", "time.time"),
        ("import time\ntime.localtime()", "time.localtime"),
        ("import datetime\ndatetime.datetime.now(datetime.UTC)", "datetime.datetime.now"),
        ("from datetime import datetime as dt, UTC\ndt.now(UTC)", "datetime.datetime.now"),
        ("from datetime import date\ndate.today()", "datetime.date.today"),
        ("from datetime import datetime\ndef f(now=datetime.now): pass", "datetime.datetime.now"),
    ],
)
def test_the_clock_is_found(source: str, call: str) -> None:
    assert ("clock", call) in calls(source)


@pytest.mark.parametrize(
    ("source", "call"),
    [
        ("import random\nrandom.random()", "random.random"),
        ("from random import choice", "random.choice"),
        ("import random\nrandom.Random()", "random.Random without a seed"),
        ("import secrets\nsecrets.token_hex()", "secrets.token_hex"),
        ("import uuid\nuuid.uuid4()", "uuid.uuid4"),
        ("import os\nos.urandom(8)", "os.urandom"),
        ("import numpy as np\nnp.random.normal()", "numpy.random.normal"),
        ("import numpy as np\nnp.random.default_rng()", "numpy.random.default_rng without a seed"),
        ("import numpy as np\nnp.random.default_rng(None)", "numpy.random.default_rng without a seed"),
        ("import numpy as np\nnp.random.default_rng(seed=None)", "numpy.random.default_rng without a seed"),
        ("from numpy.random import default_rng\ndefault_rng()", "numpy.random.default_rng without a seed"),
        ("from numpy import random as chance\nchance.poisson(3)", "numpy.random.poisson"),
    ],
)
def test_chance_without_a_seed_is_found(source: str, call: str) -> None:
    assert ("chance", call) in calls(source)


@pytest.mark.parametrize(
    "source",
    [
        "import os\nos.path.join('a', 'b'), os.fspath('a'), os.environ.get('A'), os.cpu_count(), os.getpid(), os.name",
        "from os import fsencode, PathLike\nfsencode('a')",
        "import os\ndef f(p: os.PathLike[str], s: os.stat_result) -> str: return os.sep",
        "from io import FileIO\ndef f(handle: FileIO) -> bytes: return handle.read()",
        "import shutil\nshutil.get_terminal_size().columns",
        "from io import BytesIO\nBytesIO(b'').getvalue()",
        "from pathlib import Path, PurePath\nPath('a') / 'b', PurePath('a').with_suffix('.b').name, Path('a').parent",
        "'a'.replace('b', 'c')",
        "def f(when): return when.replace(tzinfo=None)",
        "import dataclasses\ndef f(one): return dataclasses.replace(one)",
        "def f(seam, path): seam.mkdir(path); seam.replace(path)",
        "class A:\n    def f(self): return self._seam.exists('a'), self.disk.seam.stat('a').st_size",
        "def f(entry): return entry.is_file, entry.exists",
        "from darklib.catalogue import schema\nschema.open('a')",
        "import time\ntime.monotonic(), time.sleep(1), time.localtime(0), time.gmtime(0)",
        "from datetime import datetime, UTC\ndatetime(2026, 1, 1, tzinfo=UTC), datetime.fromisoformat('2026-01-01')",
        "import numpy as np\ndef f(rng: np.random.Generator): return rng.normal(size=3)",
        "import numpy as np\nnp.random.default_rng(7), np.random.default_rng(seed=7)",
        "import random\nrandom.Random(7).random()",
        "from numpy.random import Generator, PCG64\nGenerator(PCG64(7))",
        "import uuid\nuuid.uuid5(uuid.NAMESPACE_URL, 'a')",
        "# open('a')\n'''open('a'), os.remove('b')'''",
        "now = 3\ndef f(clock): return clock.now()",
    ],
)
def test_what_touches_nothing_is_let_through(source: str) -> None:
    assert calls(source) == []


@pytest.mark.parametrize(
    ("source", "call"),
    [
        ("open('a', 'rb')", "open"),
        ("from io import FileIO\nFileIO('a', 'wb')", "io.FileIO, to write"),
        ("from io import FileIO\nFileIO('a', mode)", "io.FileIO, to write"),
        ("from io import FileIO\nFileIO('a', mode='rb+')", "io.FileIO, to write"),
        ("import os\nos.unlink('a')", "os.unlink"),
        ("def f(path): path.write_bytes(b'')", ".write_bytes"),
        ("def f(path): path.rename('b')", ".rename"),
        ("from astropy.io import fits\ndef f(unit): unit.writeto('a')", ".writeto"),
        ("import numpy as np\nnp.save('a', [])", "numpy.save"),
    ],
)
def test_readers_read_and_do_not_write(source: str, call: str) -> None:
    assert calls(source, "darklib/readers/fits.py") == [("file", call)]


@pytest.mark.parametrize(
    ("source", "call"),
    [
        ("import pickle", "pickle"),
        ("import pickle as p\np.loads(b'')", "pickle"),
        ("from pickle import loads", "pickle"),
        ("import marshal\nmarshal.loads(b'')", "marshal"),
        ("import shelve", "shelve"),
        ("import yaml\nyaml.load('a')", "yaml"),
        ("eval('1')", "eval"),
        ("run = exec", "exec"),
        ("import builtins\nbuiltins.eval('1')", "builtins.eval"),
        ("__import__('os')", "__import__"),
        ("import subprocess\nsubprocess.run(['a'])", "subprocess"),
        ("from subprocess import Popen", "subprocess"),
        ("import os\nos.system('a')", "os.system"),
        ("from os import popen", "os.popen"),
        ("import os\nos.execv('a', [])", "os.execv"),
        ("import numpy as np\nnp.load('a', allow_pickle=True)", "allow_pickle="),
        ("def f(run): run('ls', shell=True)", "shell="),
        ("import urllib.request", "urllib"),
        ("from http.client import HTTPConnection", "http"),
        ("import socket", "socket"),
        ("import ctypes", "ctypes"),
    ],
)
@pytest.mark.parametrize("file", ["darklib/jobs/example.py", "darklib/readers/fits.py", "darklib/store/seam.py"])
def test_what_could_run_strangers_code_is_found_everywhere(source: str, call: str, file: str) -> None:
    assert ("danger", call) in calls(source, file)


def test_regular_expressions_are_no_code() -> None:
    assert calls("import re\nre.compile('a')\nimport numpy as np\nnp.frombuffer(b'', allow_pickle=False)") == []


def test_calls_are_free_where_they_are_at_home() -> None:
    reading = "def f(path): return path.read_bytes()"
    assert calls(reading, "darklib/readers/fits.py") == []
    assert calls("from io import FileIO\nFileIO('a', 'rb')", "darklib/readers/fits.py") == []
    assert calls(reading, "darklib/store/seam.py") == []
    assert calls(reading, "darklib/store/layout.py") == [("file", ".read_bytes")]
    assert calls(reading, "darklib/readers_of_minds/fits.py") == [("file", ".read_bytes")]
    clock = "import time\ntime.time()"
    assert calls(clock, "darklib/store/seam.py") == []
    assert calls(clock, "darklib/readers/fits.py") == [("clock", "time.time")]


def test_a_finding_says_where_it_is() -> None:
    (found,) = findings("import os\n\n\nos.remove('a')\n", "darklib/jobs/example.py")
    assert str(found) == "darklib/jobs/example.py:4: os.remove (file) belongs into darklib/store/seam.py"


def test_darklib_keeps_the_rule_and_needs_every_exception() -> None:
    assert list(banned_calls.complaints()) == []


def test_every_exception_has_a_reason() -> None:
    assert all(len(one.reason.split()) >= 4 for one in ALLOWED)
    assert len({(one.file, one.call) for one in ALLOWED}) == len(ALLOWED)


def test_exceptions_count_for_their_call_only_and_grow_stale(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    room = tmp_path / "darklib" / "jobs"
    room.mkdir(parents=True)
    (room / "example.py").write_text("import os\nos.remove('a')\nos.stat('a')\n", encoding="utf-8")
    exceptions = (
        Allowed("darklib/jobs/example.py", "os.stat", "for this test alone"),
        Allowed("darklib/jobs/gone.py", "os.stat", "for this test alone"),
    )
    monkeypatch.setattr(banned_calls, "ALLOWED", exceptions)
    assert list(banned_calls.complaints(tmp_path)) == [
        "darklib/jobs/example.py:2: os.remove (file) belongs into darklib/store/seam.py",
        "darklib/jobs/gone.py: no longer calls os.stat; take the exception out of scripts/banned_calls.py",
    ]
