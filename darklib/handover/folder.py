"""Writing a hand-over: lists, a table, links or copies, and always a manifest. No existing file is overwritten."""

import csv
import hashlib
import io
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from darklib.facts.match import Batch, Match
from darklib.facts.plain import to_plain
from darklib.handover.manifest import (
    FOLDERS,
    SCHEMA,
    Item,
    batch_place,
    batches_in,
    items_of,
    order_of_work,
)
from darklib.store.durable import Batch as Settled
from darklib.store.durable import copy_new, hash_file, link_new, other_file, write_new
from darklib.store.mishap import told as told_of
from darklib.store.names import folder_name, split_suffix
from darklib.store.seam import Seam

FORMS = ("list", "csv", "json", "links", "copies")
COLUMNS = ("path", "role", "use", "scale", "batch", "part", "id", "sha256", "size", "source")


@dataclass(frozen=True, slots=True)
class Written:
    """Absolute paths of the files written, and of the manifest."""

    paths: tuple[str, ...]
    manifest: str


def hand_over(
    seam: Seam,
    to: Path,
    matches: Sequence[Match],
    form: str,
    stored: Callable[[str], Path],
    describe: Callable[[Batch], dict[str, Any]],
    *,
    dry_run: bool = False,
    told: Callable[[str, int], None] = lambda path, size: None,
) -> Written:
    """Writes what some matches hand over into the folder `to`.

    stored: a frame's path in the catalogue -> the absolute path of its file. describe: a batch as other programs know
    it. told: called for each frame copied or linked. Raises DarklibError 'exists_and_differs' when a file of that
    name holds something else, before anything is written; equal files are left as they are, so the same command can
    be repeated.
    """
    items = items_of(matches)
    places = _places(items) if form in ("links", "copies") else {}
    texts: list[tuple[Path, str]] = []
    if form == "list":
        texts += [(to / path, text) for path, text in _lists(matches, items, stored)]
    if form == "csv":
        texts.append((to / "files.csv", _table(items, stored)))
    manifest = to / "manifest.json"
    document = {
        "schema": SCHEMA,
        "batches": [describe(batch) for batch in batches_in(matches)],
        "files": [_file(item, places, stored) for item in items],
        "order": order_of_work(matches),
    }
    texts.append((manifest, json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"))
    paths = [to / PurePosixPath(place) for place in dict.fromkeys(places.values())] + [path for path, _ in texts]
    for path, text in texts:
        _refuse_other(seam, path, hashlib.sha256(text.encode("utf-8")).hexdigest())
    for (_, sha256), name in places.items():
        _refuse_other(seam, to / PurePosixPath(name), sha256)
    if not dry_run:
        with Settled(seam) as batch:
            done: set[str] = set()
            for item in items:
                place = places.get(_key(item))
                if place is None or place in done:
                    continue
                done.add(place)
                source, target = stored(item.frame.path), to / PurePosixPath(place)
                if form == "copies" or not link_new(seam, source, target, batch=batch):
                    copy_new(seam, source, target, item.frame.sha256, batch=batch)
                told(str(target), item.frame.size)
            for path, text in texts:
                write_new(seam, path, text.encode("utf-8"), batch=batch)
    return Written(tuple(str(path) for path in paths), str(manifest))


def _refuse_other(seam: Seam, path: Path, sha256: str) -> None:
    with told_of(path, "cannot see"):
        there = seam.exists(path)
    if there and hash_file(seam, path)[0] != sha256:
        raise other_file(path)


def _lists(
    matches: Sequence[Match], items: Sequence[Item], stored: Callable[[str], Path]
) -> list[tuple[PurePosixPath, str]]:
    lists = []
    for match in matches:
        for role, name in FOLDERS.items():
            lines = [
                str(stored(item.frame.path))
                for item in items
                if item.batch == match.batch.id and item.part == match.part and item.role is role
            ]
            lists.append((PurePosixPath(batch_place(match), f"{name}.txt"), "".join(f"{line}\n" for line in lines)))
    return lists


def _table(items: Sequence[Item], stored: Callable[[str], Path]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for item in items:
        row = _file(item, {}, stored)
        row["scale"] = item.recipe.scale if item.recipe and item.recipe.scale is not None else ""
        writer.writerow({name: "" if row[name] is None else row[name] for name in COLUMNS})
    return text.getvalue()


def _file(item: Item, places: dict[tuple[str, str], str], stored: Callable[[str], Path]) -> dict[str, Any]:
    recipe = None
    if item.recipe is not None:
        recipe = {"form": item.recipe.form, "scale": item.recipe.scale, "needs_bias": item.recipe.needs_bias}
    return {
        "path": places.get(_key(item)) or str(stored(item.frame.path)),
        "role": item.role.value,
        "use": to_plain(item.use),
        "recipe": recipe,
        "batch": item.batch,
        "part": item.part,
        "id": item.frame.id,
        "sha256": item.frame.sha256,
        "size": item.frame.size,
        "source": item.frame.source_path,
    }


def _key(item: Item) -> tuple[str, str]:
    return item.place, item.frame.sha256


def _places(items: Sequence[Item]) -> dict[tuple[str, str], str]:
    """Where each frame goes, relative to the hand-over's folder: its own name, told apart by its id where two are
    alike.

    Names are compared without case, since a card or a share may be read by a system that does so.
    """
    places: dict[tuple[str, str], str] = {}
    taken: dict[str, str] = {}
    for item in items:
        key = _key(item)
        if key in places:
            continue
        folder = "/".join(folder_name(part) for part in item.place.split("/"))
        name = folder_name(PurePosixPath(item.frame.path.replace("\\", "/")).name)
        place = f"{folder}/{name}"
        if taken.setdefault(place.casefold(), item.frame.sha256) != item.frame.sha256:
            stem, suffix = split_suffix(name)
            place = f"{folder}/{stem}_{item.frame.id}{suffix}"
            taken[place.casefold()] = item.frame.sha256
        places[key] = place
    return places
