"""Every command's glue: what it asks of its job, one document under --json, its screen, and the exit status."""

import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pretend_results as pretend
import pytest
from published_schemas import one_document

from darklib.cli.main import perform
from darklib.facts.errors import Exit
from darklib.facts.frame import Kind
from darklib.jobs import results
from darklib.jobs.after_ingest import AfterIngest
from darklib.jobs.asked import FramesAsked, GapsAsked, Nights, Span, Stated
from darklib.jobs.ports import NobodyToAsk, Silent
from darklib.jobs.results import SecondCopy

ROOT = Path("/libraries/one").absolute()

NIGHT = Nights("2026-10-03", "2026-10-03")

# Job to stand in for, result, command line, keyword arguments expected, exit status.
Case = tuple[str, Any, list[str], dict[str, Any], int]

CASES: dict[str, Case] = {
    "status": ("overview.status", pretend.STATUS, ["status"], {}, 0),
    "alone": ("overview.status", pretend.STATUS, [], {}, 0),
    "frames": ("overview.frames", pretend.FRAMES, ["frames", "--kind", "dark", "--limit", "3"], {}, 0),
    "sets": ("overview.sets", pretend.SETS, ["sets", "--kind", "flat"], {"kind": Kind.FLAT, "body": None}, 0),
    "bodies": ("overview.bodies", pretend.BODIES, ["bodies"], {}, 0),
    "bodies name": (
        "correct.name_body",
        pretend.BODIES,
        ["bodies", "name", "veyra", "old one", "--dry-run"],
        {"dry_run": True},
        0,
    ),
    "bodies join": ("correct.join_bodies", pretend.BODIES, ["bodies", "join", "a", "b"], {"dry_run": False}, 0),
    "bodies changed": (
        "correct.body_changed",
        pretend.BODIES,
        ["bodies", "changed", "veyra", "--what", "cleaned", "--at", "2026-10-03", "--note", "swab"],
        {"what": "cleaned", "at": "2026-10-03", "note": "swab", "dry_run": False},
        0,
    ),
    "trains": ("overview.trains", pretend.TRAINS, ["trains"], {}, 0),
    "trains changed": (
        "correct.train_changed",
        pretend.TRAINS,
        ["trains", "changed", "Larkfell", "--note", "turned"],
        {"at": None, "note": "turned", "dry_run": False},
        0,
    ),
    "check": ("audit.check", pretend.CHECK, ["check", "/cards/one"], {}, Exit.ATTENTION),
    "check safe": ("audit.check", pretend.SAFE, ["check", "/cards/one"], {}, 0),
    "amend": ("correct.amend", pretend.AMENDED, ["amend", "abcd", "--kind", "dark"], {"note": "", "dry_run": False}, 0),
    "amend --undo": ("correct.undo", pretend.AMENDED, ["amend", "abcd", "--undo"], {"dry_run": False}, 0),
    "retire": (
        "correct.retire",
        pretend.AMENDED,
        ["retire", "abcd", "--note", "clouds"],
        {"note": "clouds", "dry_run": False},
        0,
    ),
    "restore": ("correct.restore", pretend.AMENDED, ["restore", "abcd", "--dry-run"], {"dry_run": True}, 0),
    "batches": (
        "overview.batches",
        pretend.BATCHES,
        ["batches", "--night", "2026-10-03"],
        {"nights": NIGHT, "target": None},
        0,
    ),
    "match": (
        "match.match",
        pretend.MATCHES,
        ["match"],
        {"nights": Nights(last=True), "target": None, "batch": None, "paths": []},
        Exit.ATTENTION,
    ),
    "match served": (
        "match.match",
        pretend.ALL_SERVED,
        ["match", "--target", "Owl cluster"],
        {"nights": Nights(), "target": "Owl cluster", "batch": None, "paths": []},
        0,
    ),
    "match paths": (
        "match.match",
        results.MatchResult((pretend.SERVED,), (pretend.REFUSED,)),
        ["match", "/cards/one"],
        {"nights": Nights(), "target": None, "batch": None, "paths": ["/cards/one"]},
        Exit.ATTENTION,
    ),
    "gaps": (
        "plan.gaps",
        pretend.GAPS,
        ["gaps", "--plan", "--night", "last"],
        {"asked": GapsAsked(nights=Nights(last=True), plan=True)},
        0,
    ),
    "explain": ("explain.explain", pretend.EXPLAINED, ["explain", "abcd"], {}, 0),
    "set-aside": ("audit.set_aside", pretend.SET_ASIDE, ["set-aside"], {}, 0),
    "set-aside --retry": (
        "audit.retry_set_aside",
        replace(pretend.SET_ASIDE, retried=pretend.INGEST),
        ["set-aside", "--retry"],
        {"dry_run": False},
        Exit.ATTENTION,
    ),
    "verify": (
        "audit.verify",
        pretend.VERIFY,
        ["verify", "--sample", "10%"],
        {"sample": 0.1, "against": None},
        Exit.ATTENTION,
    ),
    "verify intact": (
        "audit.verify",
        pretend.INTACT,
        ["verify", "--against", "/b"],
        {"sample": None, "against": "/b", "dry_run": False},
        0,
    ),
    "rebuild": ("audit.rebuild", pretend.REBUILD, ["rebuild", "--dry-run"], {"dry_run": True}, 0),
    "init": ("library.init", pretend.INIT, ["init", "/libraries/one"], {"dry_run": False}, 0),
    "ingest": (
        "ingest.ingest",
        pretend.INGEST,
        ["ingest", "/cards/one", "--move", "--kind", "dark"],
        {"in_place": False, "move": True, "dry_run": False},
        Exit.ATTENTION,
    ),
    "export": (
        "export.export",
        pretend.EXPORT,
        ["export", "--batch", "2026-10-03-kfmqz", "--to", "/stack", "--as", "copies"],
        {"batch": "2026-10-03-kfmqz", "target": None, "to": "/stack", "form": "copies", "dry_run": False},
        0,
    ),
}


AFTER = AfterIngest(pretend.CHECK, SecondCopy("/second/copy", pretend.EVENING, 4, 1))


class Job:
    """Stands in for a job: keeps what it was asked, and gives a result."""

    def __init__(self, result: Any) -> None:
        self.result = result
        self.arguments: tuple[Any, ...] = ()
        self.named: dict[str, Any] = {}

    def __call__(self, *arguments: Any, **named: Any) -> Any:
        self.arguments, self.named = arguments, named
        return self.result


@pytest.fixture(autouse=True)
def _a_library(monkeypatch: pytest.MonkeyPatch) -> None:
    @contextmanager
    def opened(root: Path, **named: Any) -> Iterator[SimpleNamespace]:
        yield SimpleNamespace(root=root)

    monkeypatch.setattr("darklib.jobs.library.find_root", lambda explicit: ROOT)
    monkeypatch.setattr("darklib.jobs.library.open_library", opened)
    monkeypatch.setattr("darklib.jobs.after_ingest.after_ingest", lambda *_, **named: AFTER)


def job_for(case: Case, monkeypatch: pytest.MonkeyPatch) -> Job:
    job = Job(case[1])
    monkeypatch.setattr(f"darklib.jobs.{case[0]}", job)
    return job


@pytest.mark.parametrize("name", sorted(CASES))
def test_a_command_prints_one_document(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]
    job = job_for(case, monkeypatch)
    assert perform([*case[2], "--json"]) == case[4]
    shown = capsys.readouterr()
    document = one_document(shown.out)
    assert document["schema"] == f"darklib/{(case[2] or ['status'])[0]}/1"
    assert shown.err == ""
    assert case[3].items() <= job.named.items()


@pytest.mark.parametrize("name", sorted(CASES))
@pytest.mark.parametrize("columns", ["80", "120"])
def test_a_command_shows_a_screen(
    name: str, columns: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]
    job_for(case, monkeypatch)
    monkeypatch.setenv("COLUMNS", columns)
    assert perform(case[2]) == case[4]
    shown = capsys.readouterr().out
    assert "Next: " in shown
    assert "\x1b" not in shown
    assert max(len(line) for line in shown.splitlines()) <= int(columns)
    assert perform([*case[2], "--quiet"]) == case[4]
    assert "Next: " not in capsys.readouterr().out


def test_frames_are_asked_for_as_written(monkeypatch: pytest.MonkeyPatch) -> None:
    job = job_for(CASES["frames"], monkeypatch)
    line = (
        "frames --kind dark --body veyra --night 2026-10-01: --exposure 1/60:2 --temperature -12:-8 --filter L "
        "--train t --target m --retired --limit 5 --after abcd"
    )
    assert perform([*line.split(), "--json"]) == 0
    assert job.arguments[1] == FramesAsked(
        Kind.DARK, "veyra", Nights("2026-10-01", None), Span(1 / 60, 2.0), Span(-12.0, -8.0), "L", "t", "m", True,
        False, 5, "abcd",
    )  # fmt: skip


def test_what_is_stated_goes_with_the_ingest(monkeypatch: pytest.MonkeyPatch) -> None:
    job = job_for(CASES["ingest"], monkeypatch)
    line = "ingest a b --kind flat --train t --body v --temperature -10 --clock +1:30 --in-place --dry-run --quiet"
    assert perform(line.split()) == Exit.ATTENTION
    assert job.arguments[1:] == (["a", "b"], Stated(Kind.FLAT, "t", "v", -10.0, 5400.0))
    assert isinstance(job.named["progress"], Silent)
    assert isinstance(job.named["ask"], NobodyToAsk)
    assert job.named["in_place"] is True
    assert job.named["dry_run"] is True


def test_an_ingest_ends_with_the_answer_of_check(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    job_for(CASES["ingest"], monkeypatch)
    perform(["ingest", "/cards/one", "--json"])
    document = one_document(capsys.readouterr().out)
    assert document["check"]["may_erase"] is False
    assert document["second_copy"] == {
        "path": "/second/copy",
        "checked_at": "2026-10-03T20:15:00Z",
        "not_covered": 4,
        "in_place": 1,
    }


def test_amending_takes_values_and_empty_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    job = job_for(CASES["amend"], monkeypatch)
    line = [
        "amend",
        "abcd",
        "efgh",
        "--temperature",
        "-10",
        "--target",
        "",
        "--time",
        "2026-10-03T21:30:00Z",
        "--kind",
        "Dark",
    ]
    assert perform([*line, "--exposure", "1/2", "--clock", "", "--json"]) == 0
    assert job.arguments[1:] == (
        ["abcd", "efgh"],
        {
            "temperature_c": -10.0,
            "target": None,
            "taken_at": "2026-10-03T21:30:00Z",
            "kind": "dark",
            "exposure_s": 0.5,
            "clock_shift_s": None,
        },
    )


def test_ids_are_read_from_standard_input(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    job = job_for(CASES["retire"], monkeypatch)
    monkeypatch.setattr("sys.stdin", io.StringIO("abcd\n\n  efgh \n"))
    assert perform(["retire", "first", "-", "--json"]) == 0
    assert job.arguments[1] == ["first", "abcd", "efgh"]
    capsys.readouterr()
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert perform(["retire", "-", "--json"]) == Exit.USAGE
    assert one_document(capsys.readouterr().out)["code"] == "usage"


def test_batches_to_match_are_read_from_standard_input(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    job = job_for(CASES["match served"], monkeypatch)
    monkeypatch.setattr("sys.stdin", io.StringIO("2026-10-03-kfmqz\n2026-10-04-kfmqz\n"))
    assert perform(["match", "--batch", "-", "--json"]) == 0
    assert len(one_document(capsys.readouterr().out)["matches"]) == 2
    assert job.named["batch"] == "2026-10-04-kfmqz"
    assert job.named["nights"] == Nights()


def test_one_frame_is_explained_at_a_time(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    job = job_for(CASES["explain"], monkeypatch)
    monkeypatch.setattr("sys.stdin", io.StringIO("abcd\n"))
    assert perform(["explain", "-", "--json"]) == 0
    assert job.arguments[1] == "abcd"
    monkeypatch.setattr("sys.stdin", io.StringIO("abcd\nefgh\n"))
    assert perform(["explain", "-"]) == Exit.USAGE
    assert "at a time" in capsys.readouterr().err


def test_ids_alone_are_one_a_line(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    job_for(CASES["frames"], monkeypatch)
    assert perform(["frames", "--ids"]) == 0
    assert capsys.readouterr().out.split("\n") == [*(frame.id for frame in pretend.FRAMES.frames), ""]


LISTS = {
    "frames": "id", "sets": "id", "bodies": "id", "trains": "fingerprint", "batches": "id", "match": "batch",
    "gaps": "kind", "set-aside": "path",
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(LISTS))
def test_lists_can_be_json_lines(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    job_for(CASES[name], monkeypatch)
    assert perform([name, "--lines"]) == (Exit.ATTENTION if name == "match" else 0)
    lines = capsys.readouterr().out.splitlines()
    assert lines
    for line in lines:
        assert LISTS[name] in json.loads(line)


def test_a_list_is_cut_and_goes_on(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    several = results.BatchesResult(tuple(replace(pretend.BATCH, id=f"2026-10-0{day}-kfmqz") for day in range(1, 6)))
    job_for(("overview.batches", several, [], {}, 0), monkeypatch)
    seen: list[str] = []
    after: list[str] = []
    pages = 0
    while True:
        assert perform(["batches", "--json", "--limit", "2", *after]) == 0
        document = one_document(capsys.readouterr().out)
        seen += [batch["id"] for batch in document["batches"]]
        pages += 1
        if document["next"] is None:
            break
        after = ["--after", document["next"]]
    assert seen == [batch.id for batch in several.batches]
    assert pages == 3
    assert perform(["batches", "--json", "--after", "nothing"]) == Exit.FAILED
    assert one_document(capsys.readouterr().out)["code"] == "not_found"


def test_the_parts_of_a_batch_stay_on_one_page(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    parts = tuple(replace(pretend.SERVED, part=part, parts=2) for part in (1, 2))
    other = replace(pretend.SERVED, batch=replace(pretend.BATCH, id="2026-10-04-kfmqz"))
    job_for(("match.match", results.MatchResult((*parts, other)), [], {}, 0), monkeypatch)
    assert perform(["match", "--json", "--limit", "1"]) == 0
    document = one_document(capsys.readouterr().out)
    assert [match["part"]["number"] for match in document["matches"]] == [1, 2]
    assert document["next"] == pretend.BATCH.id


def test_a_file_is_explained_without_a_library(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from darklib.facts.errors import DarklibError

    def nowhere(explicit: str | None) -> Path:
        raise DarklibError("no_library", "There is no library here.")

    monkeypatch.setattr("darklib.jobs.library.find_root", nowhere)
    job = job_for(("explain.explain", pretend.UNREADABLE, [], {}, 0), monkeypatch)
    assert perform(["explain", "/cards/one/short.fits", "--json"]) == 0
    assert job.arguments == (None, "/cards/one/short.fits")
    capsys.readouterr()
    assert perform(["explain", "/x.fits", "--json", "--library", "/named"]) == Exit.FAILED
    assert one_document(capsys.readouterr().out)["code"] == "no_library"


def test_the_manifest_describes_a_batch_as_the_documents_do(monkeypatch: pytest.MonkeyPatch) -> None:
    job = job_for(CASES["export"], monkeypatch)
    assert perform(["export", "--target", "Owl cluster", "--to", "/stack", "--json"]) == 0
    described = job.named["describe"](pretend.BATCH)
    assert described["id"] == pretend.BATCH.id
    assert described["paths"][0] == str(ROOT / "frames/light/0.fits")


def test_a_reader_that_has_gone_leaves_the_status(monkeypatch: pytest.MonkeyPatch) -> None:
    class Shut(io.StringIO):
        def write(self, text: str) -> int:
            raise BrokenPipeError

    for options in ([], ["--json"], ["--lines"]):
        job_for(CASES["match"], monkeypatch)
        monkeypatch.setattr("sys.stdout", Shut())
        assert perform(["match", *options]) == Exit.ATTENTION


def test_the_demo_walks_and_tells_its_steps(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from darklib.cli import main

    job_for(("demo.make", pretend.DEMO, [], {}, 0), monkeypatch)
    ran: list[tuple[str, ...]] = []

    def walked(arguments: tuple[str, ...]) -> int:
        ran.append(tuple(arguments))
        if "--json" in arguments:
            main.sys.stdout.write('{"counts": {"stored": 3, "duplicates": 1, "set_aside": 0, "undecided": 0}}')
        return int(Exit.ATTENTION if "match" in arguments else Exit.DONE)

    whole = main.perform
    monkeypatch.setattr("darklib.cli.main.perform", walked)
    assert whole(["demo", "--json"]) == 0
    document = one_document(capsys.readouterr().out)
    commands = [step["command"][2] for step in document["steps"]]
    assert commands == ["ingest", "ingest", "check", "status", "sets", "batches", "match", "gaps", "export"]
    assert {step["status"] for step in document["steps"]} == {0, 3}
    ran.clear()
    assert whole(["demo"]) == 0
    shown = capsys.readouterr().out
    assert "== Step 1 of 9" in shown
    assert "3 stored, 1 known" in shown
    assert "$ darklib --library /demo/library match --night last" in shown
    assert [command[2] for command in ran] == commands


def test_the_demo_stops_where_a_step_fails(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    from darklib.cli import main

    job_for(("demo.make", pretend.DEMO, [], {}, 0), monkeypatch)
    whole = main.perform
    monkeypatch.setattr("darklib.cli.main.perform", lambda arguments: 1)
    assert whole(["demo"]) == Exit.FAILED
    assert "Step 2" not in capsys.readouterr().out
    assert whole(["demo", "--json"]) == Exit.FAILED
    assert len(one_document(capsys.readouterr().out)["steps"]) == 1
