"""The published JSON Schemas, for any test that has a document to check."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from referencing import Registry, Resource

FOLDER = Path(__file__).resolve().parent.parent / "darklib" / "show" / "schemas"
SHARED = "objects"


@cache
def schemas() -> dict[str, dict[str, Any]]:
    """Return every published schema by the name of its file, the shared objects among them."""
    return {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in sorted(FOLDER.glob("*.json"))}


@cache
def _validator(name: str) -> Draft202012Validator:
    registry: Registry[Any] = Registry().with_resources(
        (schema["$id"], Resource.from_contents(schema)) for schema in schemas().values()
    )
    return Draft202012Validator(schemas()[name], registry=registry)


def complaints(document: dict[str, Any]) -> list[str]:
    """Return what is wrong with a document by the schema it names itself; empty where nothing is."""
    _, name, version = document["schema"].split("/")
    assert version == "1"
    errors = _validator(name).iter_errors(document)
    return [f"{'/'.join(str(part) for part in error.absolute_path)}: {error.message[:300]}" for error in errors]


def one_document(text: str) -> dict[str, Any]:
    """Return the one JSON document in `text`, checked: one line, strict numbers, valid UTF-8, as its schema says."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON (RFC 8259, section 6)")

    assert text.endswith("\n")
    assert text.count("\n") == 1
    text.encode("utf-8")
    document: dict[str, Any] = json.loads(text, parse_constant=refuse)
    assert complaints(document) == []
    return document
