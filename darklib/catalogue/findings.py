"""What is derived from frames and kept only to be at hand: findings about a thing, inferences about a single frame.

No journal has them, a rebuild begins without them, and whoever needs one that is lacking, or was made from other
inputs, makes it anew.
"""

import hashlib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select, tuple_

from darklib.catalogue.columns import clean
from darklib.catalogue.rows import chunks, one_of
from darklib.catalogue.tables import FINDINGS, INFERENCES
from darklib.facts.units import instant_us, moment

_AT_ONCE = 400  # two parameters each, and databases have bounds


@dataclass(frozen=True, slots=True)
class Finding:
    """What many frames say of one thing.

    what: sort of finding, such as `sensor`; subject: what it is about, such as a body and a readout's key; result: JSON
    values, made by `facts/plain.to_plain`; inputs_hash: of all it was made from, see `inputs_hash`; version: of the
    way it was made.
    """

    what: str
    subject: str
    inputs_hash: str
    version: int
    result: Any
    made_at: datetime


@dataclass(frozen=True, slots=True)
class Inference:
    """What other frames say of one frame: `value` is any JSON value; error: one sigma in its unit, None if unknown."""

    sha256: str
    what: str
    value: Any
    error: float | None
    inputs_hash: str
    version: int


def inputs_hash(parts: Iterable[object]) -> str:
    """One name for a set of inputs, whatever their order: SHA-256s of frames, figures. 32 hexadecimal digits."""
    digest = hashlib.blake2b(digest_size=16)
    for part in sorted(str(part) for part in parts):
        digest.update(part.encode("utf-8", "backslashreplace"))
        digest.update(b"\0")
    return digest.hexdigest()


def findings(connection: Connection, what: str, subjects: Collection[str] | None = None) -> list[Finding]:
    """Findings of one sort by subject; subjects: only those."""
    query = select(FINDINGS).where(FINDINGS.c.what == clean(what)).order_by(FINDINGS.c.subject)
    if subjects is not None:
        query = query.where(one_of(FINDINGS.c.subject, sorted({clean(one) for one in subjects})))
    return [
        Finding(row["what"], row["subject"], row["inputs_hash"], row["version"], row["result"], moment(row["made_at"]))
        for row in connection.execute(query).mappings()
    ]


def store_findings(connection: Connection, made: Iterable[Finding]) -> None:
    """Keeps findings, each in the place of an earlier one of the same sort and subject."""
    newest = {(clean(one.what), clean(one.subject)): one for one in made}
    for keys in chunks(list(newest), _AT_ONCE):
        connection.execute(delete(FINDINGS).where(tuple_(FINDINGS.c.what, FINDINGS.c.subject).in_(keys)))
    rows = [
        {
            "what": one.what,
            "subject": one.subject,
            "inputs_hash": one.inputs_hash,
            "version": one.version,
            "result": one.result,
            "made_at": instant_us(one.made_at),
        }
        for one in newest.values()
    ]
    if rows:
        connection.execute(insert(FINDINGS), rows)


def drop_findings(connection: Connection, what: str, subjects: Collection[str] | None = None) -> None:
    """Forgets findings of one sort: those of the subjects, or all."""
    gone = delete(FINDINGS).where(FINDINGS.c.what == clean(what))
    if subjects is not None:
        gone = gone.where(one_of(FINDINGS.c.subject, sorted({clean(one) for one in subjects})))
    connection.execute(gone)


def inferences(
    connection: Connection, what: str | None = None, sha256s: Collection[str] | None = None
) -> list[Inference]:
    """Inferences by frame, then sort. what: only of that sort; sha256s: only about those frames."""
    query = select(INFERENCES).order_by(INFERENCES.c.sha256, INFERENCES.c.what)
    if what is not None:
        query = query.where(INFERENCES.c.what == clean(what))
    if sha256s is not None:
        query = query.where(one_of(INFERENCES.c.sha256, sorted(set(sha256s))))
    return [
        Inference(row["sha256"], row["what"], row["value"], row["error"], row["inputs_hash"], row["version"])
        for row in connection.execute(query).mappings()
    ]


def store_inferences(connection: Connection, made: Iterable[Inference]) -> None:
    """Keeps inferences, each in the place of an earlier one of the same frame and sort."""
    newest = {(clean(one.sha256), clean(one.what)): one for one in made}
    for keys in chunks(list(newest), _AT_ONCE):
        connection.execute(delete(INFERENCES).where(tuple_(INFERENCES.c.sha256, INFERENCES.c.what).in_(keys)))
    rows = [
        {
            "sha256": one.sha256,
            "what": one.what,
            "value": one.value,
            "error": one.error,
            "inputs_hash": one.inputs_hash,
            "version": one.version,
        }
        for one in newest.values()
    ]
    if rows:
        connection.execute(insert(INFERENCES), rows)


def drop_inferences(connection: Connection, what: str, sha256s: Collection[str] | None = None) -> None:
    """Forgets inferences of one sort: those about the frames, or all."""
    gone = delete(INFERENCES).where(INFERENCES.c.what == clean(what))
    if sha256s is not None:
        gone = gone.where(one_of(INFERENCES.c.sha256, sorted(set(sha256s))))
    connection.execute(gone)
