"""Every command on the demo's library: as text within 80 columns, and as a document that its schema accepts."""

import json
from pathlib import Path
from typing import Any

import pytest
from published_schemas import complaints, one_document

from darklib.cli.index import COMMANDS
from darklib.cli.main import perform
from darklib.facts.errors import Exit

pytestmark = [pytest.mark.long, pytest.mark.timeout(600), pytest.mark.xdist_group("demo library")]

ENDED = (Exit.DONE, Exit.ATTENTION)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a demo that has been walked."""
    folder = tmp_path_factory.mktemp("demo") / "here"
    assert perform(["demo", str(folder), "--quiet", "--json"]) == 0
    return folder


def documents_of(demo: Path, capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, Any]]:
    capsys.readouterr()
    status = perform(["--library", str(demo / "library"), "--json", "--quiet", *arguments])
    return status, one_document(capsys.readouterr().out)


def lines(demo: Path, capsys: pytest.CaptureFixture[str]) -> list[list[str]]:
    """Return a command line for every command; those that would write are tried dry."""
    _, frames = documents_of(demo, capsys, "frames", "--kind", "light", "--limit", "1")
    _, bodies = documents_of(demo, capsys, "bodies")
    light, body = frames["frames"][0]["id"], bodies["bodies"][0]["id"]
    _, trains = documents_of(demo, capsys, "trains")
    _, batches = documents_of(demo, capsys, "batches", "--night", "last")
    batch, card = batches["batches"][0]["id"], str(next((demo / "cards").iterdir()))
    return [
        ["init", str(demo / "another"), "--dry-run"],
        ["status"],
        ["ingest", card, "--dry-run"],
        ["frames", "--limit", "20"],
        ["frames", "--kind", "dark", "--exposure", "300", "--temperature", "-10.5:-9.5"],
        ["sets"],
        ["bodies"],
        ["bodies", "name", body, "the first", "--dry-run"],
        ["bodies", "changed", body, "--what", "cleaned", "--dry-run"],
        ["trains"],
        ["trains", "changed", trains["trains"][0]["label"], "--dry-run"],
        ["check", card],
        ["amend", light, "--filter", "R", "--note", "trying", "--dry-run"],
        ["retire", light, "--dry-run"],
        ["restore", light, "--dry-run"],
        ["batches"],
        ["match"],
        ["match", "--night", "2026-09-01:", "--verbose"],
        ["match", "--batch", batch],
        ["gaps", "--plan"],
        ["sensor"],
        ["exposure"],
        ["export", "--batch", batch, "--to", str(demo / "dry"), "--dry-run"],
        ["explain", light],
        ["set-aside"],
        ["set-aside", "--retry", "--dry-run"],
        ["verify", "--sample", "20%"],
        ["rebuild", "--dry-run"],
        ["demo", str(demo / "third"), "--dry-run"],
    ]


def test_every_command_runs(demo: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    todo = lines(demo, capsys)
    assert {line[0] for line in todo} == set(COMMANDS)
    for line in todo:
        status, document = documents_of(demo, capsys, *line)
        assert (line, status in ENDED) == (line, True)
        assert document["schema"] == f"darklib/{line[0]}/1"
        if "dry_run" in document:
            assert document["dry_run"] is ("--dry-run" in line)
        assert perform(["--library", str(demo / "library"), *line]) == status
        shown = capsys.readouterr()
        assert (line, max(len(text) for text in shown.out.splitlines()) <= 80) == (line, True)
        assert shown.out.rstrip().splitlines()[-1].startswith(("Next: ", "      "))
        assert "Traceback" not in shown.err
        assert "\x1b" not in shown.out


@pytest.mark.parametrize("form", ["list", "csv", "json", "links", "copies"])
def test_every_manifest_is_as_its_schema_says(form: str, demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = demo / f"stack-{form}"
    status, document = documents_of(demo, capsys, "export", "--night", "last", "--to", str(folder), "--as", form)
    assert status in ENDED
    manifest = json.loads(Path(document["manifest"]).read_text(encoding="utf-8"))
    assert complaints(manifest) == []
    for file in manifest["files"]:
        assert (folder / file["path"]).is_file()
    for path in document["written"]:
        assert Path(path).exists()


def test_two_cameras_with_serial_numbers_are_not_joined(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, bodies = documents_of(demo, capsys, "bodies")
    one, other = (body["id"] for body in bodies["bodies"] if body["serial"] is not None)
    status, refused = documents_of(demo, capsys, "bodies", "join", one, other)
    assert status == Exit.FAILED
    assert refused["schema"] == "darklib/error/1"
    assert refused["remedy"]


def test_a_correction_is_undone(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, before = documents_of(demo, capsys, "frames", "--kind", "light", "--filter", "L", "--limit", "1")
    light = before["frames"][0]
    status, changed = documents_of(demo, capsys, "amend", light["id"], "--filter", "R", "--note", "trying")
    assert status == 0
    assert changed["changed"] == [{"id": light["id"], "field": "filter", "old": "L", "new": "R"}]
    _, explained = documents_of(demo, capsys, "explain", light["id"][:8])
    assert explained["frame"]["filter"] == "R"
    assert explained["amendments"][0]["note"] == "trying"
    status, undone = documents_of(demo, capsys, "amend", light["id"], "--undo")
    assert (undone["changed"][0]["old"], undone["changed"][0]["new"]) == ("R", "L")
    _, after = documents_of(demo, capsys, "explain", light["path"])
    assert after["frame"]["filter"] == "L"
    assert after["amendments"][0]["undone"] is True
    assert documents_of(demo, capsys, "verify")[0] == 0
