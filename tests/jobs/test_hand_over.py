"""Handing over: lists, tables, links and copies; nothing overwritten, nothing lost, nothing outside its folder."""

import csv
import hashlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from darklib.facts.errors import DarklibError
from darklib.facts.match import Batch
from darklib.jobs.asked import Nights
from darklib.jobs.export import export
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, init, open_library
from darklib.scenario.nights import scenario

Snapshot = Callable[[Path], dict[str, bytes]]


def _describe(batch: Batch) -> dict[str, Any]:
    return {"id": batch.id}


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    """Take in the cooled camera's darks and two nights of one target; handing over leaves the library as it is."""
    folder = tmp_path_factory.mktemp("hand-over")
    init(str(folder / "library"), timezone="Etc/GMT+1")
    with open_library(folder / "library") as opened:
        for card in scenario(scale=0.3).cards:
            if card.name in ("cooled-2026-09-06-cloudy", "cooled-2026-09-12", "cooled-2026-09-13"):
                for file in card.files:
                    path = folder / card.name / file.path
                    path.parent.mkdir(parents=True, exist_ok=True)
                    path.write_bytes(file.make())
                ingest(opened, [str(folder / card.name)], workers=2)
        yield opened


def test_a_target_of_two_nights_is_handed_over_as_one(filled: Opened, tmp_path: Path) -> None:
    to = tmp_path / "stack"
    result = export(filled, to=str(to), describe=_describe, target="NGC 7331", form="copies")
    manifest = json.loads(Path(result.manifest).read_text("utf-8"))
    nights = {batch.split("-", 3)[2] for batch in result.batches}
    assert nights == {"12", "13"}
    copies = [path for path in to.rglob("*.fits") if path.is_file()]
    by_content = [hashlib.sha256(path.read_bytes()).hexdigest() for path in copies]
    assert len(by_content) == len(set(by_content)), "a dark that several batches share is written once"
    for file in manifest["files"]:
        assert hashlib.sha256((to / file["path"]).read_bytes()).hexdigest() == file["sha256"]
        assert (to / file["path"]).stat().st_size == file["size"]
    flats = {(file["batch"], file["path"]) for file in manifest["files"] if file["role"] == "flat"}
    by_night: dict[str, set[str]] = {}
    for batch, path in flats:
        by_night.setdefault(batch[:10], set()).add(path)
    assert by_night["2026-09-12"].isdisjoint(by_night["2026-09-13"]), "each night has its own flats"
    assert any("subtract them from each light" in step for step in manifest["order"])


@pytest.mark.parametrize("form", ["list", "csv", "json", "links", "copies"])
def test_the_same_hand_over_twice_changes_nothing(
    filled: Opened, tmp_path: Path, form: str, snapshot: Snapshot
) -> None:
    to = tmp_path / "stack"
    first = export(filled, to=str(to), describe=_describe, nights=Nights(last=True), form=form)
    before = snapshot(to)
    second = export(filled, to=str(to), describe=_describe, nights=Nights(last=True), form=form)
    assert first.written == second.written
    assert snapshot(to) == before
    assert set(first.written) == {str(path) for path in to.rglob("*") if path.is_file()}


def test_the_table_names_every_file_with_its_role(filled: Opened, tmp_path: Path) -> None:
    """The table is read back with the standard library's csv (RFC 4180 quoting)."""
    to = tmp_path / "stack"
    export(filled, to=str(to), describe=_describe, nights=Nights(last=True), form="csv")
    rows = list(csv.DictReader((to / "files.csv").read_text("utf-8").splitlines()))
    manifest = json.loads((to / "manifest.json").read_text("utf-8"))
    assert [(row["path"], row["role"], row["sha256"]) for row in rows] == [
        (file["path"], file["role"], file["sha256"]) for file in manifest["files"]
    ]
    assert {row["role"] for row in rows} >= {"light", "dark", "flat"}


def test_a_file_that_differs_is_never_overwritten(filled: Opened, tmp_path: Path) -> None:
    to = tmp_path / "stack"
    to.mkdir()
    (to / "manifest.json").write_text("mine", "utf-8")
    with pytest.raises(DarklibError, match="manifest.json"):
        export(filled, to=str(to), describe=_describe, nights=Nights(last=True))
    assert (to / "manifest.json").read_text("utf-8") == "mine"


@pytest.mark.parametrize("form", ["list", "csv", "json", "links", "copies"])
@pytest.mark.parametrize("dry_run", [True, False])
def test_what_stands_in_the_way_is_told_before_anything_is_written(
    filled: Opened, tmp_path: Path, form: str, dry_run: bool, snapshot: Snapshot
) -> None:
    """The last file of all is in the way; a dry run tells it as well."""
    to = tmp_path / "stack"
    done = export(filled, to=str(to), describe=_describe, nights=Nights(last=True), form=form)
    for path in done.written:
        Path(path).unlink()
    Path(done.written[-1]).write_text("mine", "utf-8")
    before = snapshot(to)
    with pytest.raises(DarklibError, match="never overwritten") as caught:
        export(filled, to=str(to), describe=_describe, nights=Nights(last=True), form=form, dry_run=dry_run)
    assert caught.value.code == "exists_and_differs"
    assert snapshot(to) == before


def test_a_dry_run_writes_nothing(filled: Opened, tmp_path: Path) -> None:
    to = tmp_path / "stack"
    result = export(filled, to=str(to), describe=_describe, nights=Nights(last=True), form="copies", dry_run=True)
    assert result.written
    assert not to.exists()


def test_nothing_to_hand_over_is_said(filled: Opened, tmp_path: Path) -> None:
    with pytest.raises(DarklibError, match="no lights"):
        export(filled, to=str(tmp_path / "x"), describe=_describe, target="NGC 1")
    with pytest.raises(DarklibError, match="library itself"):
        export(filled, to=str(filled.root / "frames" / "x"), describe=_describe, nights=Nights(last=True))
