"""Which body, train and readout a frame belongs to: found among the rows, or a new row made."""

from collections.abc import Sequence

from sqlalchemy import Connection, insert, select, update

from darklib.catalogue.rows import body_ref, inserted, readout_values, train_facts_of
from darklib.catalogue.tables import BODIES, BODY_CHANGES, READOUTS, TRAINS
from darklib.facts.frame import BodyRef, FrameFacts, Readout, Statement
from darklib.facts.plain import to_plain
from darklib.facts.resolve import body_of, stated_body
from darklib.facts.train import TrainFacts, TrainRef, fingerprint, nearest_train
from darklib.facts.train import label as train_label


class Identities:
    """The rows a frame refers to, read once a transaction. `relinked`: bodies whose frames now belong elsewhere."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._bodies: dict[str, tuple[int, BodyRef]] | None = None
        self._links: dict[str, str] = {}
        self._trains: list[tuple[int, TrainFacts, TrainRef]] | None = None
        self._readouts: dict[str, int] = {}
        self.relinked: set[int] = set()

    # bodies

    def body(self, read: FrameFacts, statements: Sequence[Statement]) -> tuple[int, BodyRef] | None:
        """The body of a frame, or the one that is joined to: as the user states it, else as the file names it."""
        named = body_of(read, statements)
        if named is None:
            return None
        bodies = self._loaded()
        stated = stated_body(statements)
        if stated is not None and stated in bodies:
            return self._final(stated)
        if named.id not in bodies:
            meant = self._labels().get(stated.strip().casefold()) if stated is not None else None
            if meant is not None:
                return self._final(meant)
            self._make_body(named)
        return self._final(named.id)

    def _labels(self) -> dict[str, str]:
        # Every label a body ever had, so that naming it anew does not change what an older statement means.
        found: dict[str, str] = {}
        for name, (_, ref) in self._loaded().items():
            if ref.model and not ref.key.startswith("stated|"):
                first = ref.model if not ref.serial else f"{ref.model} ({ref.serial})"
                found.setdefault(first.casefold(), name)
        named = select(BODY_CHANGES.c.note, BODY_CHANGES.c.body_id).where(BODY_CHANGES.c.what == "named")
        for label, name in self._connection.execute(named.order_by(BODY_CHANGES.c.run, BODY_CHANGES.c.pk)):
            if name in self._loaded():
                found[label.strip().casefold()] = name
        return found

    def named(self, body: str) -> None:
        """A body got a label: the newest naming counts."""
        if body not in self._loaded():
            return
        labels = self._connection.scalars(
            select(BODY_CHANGES.c.note)
            .where(BODY_CHANGES.c.body_id == body, BODY_CHANGES.c.what == "named")
            .order_by(BODY_CHANGES.c.run, BODY_CHANGES.c.pk)
        ).all()
        if labels:
            self._connection.execute(update(BODIES).where(BODIES.c.id == body).values(label=labels[-1]))
            self._bodies = None

    def joined(self) -> None:
        """Bodies were joined, or one that had been joined before turned up: the links are worked out anew.

        The newest join of a body counts; one that would lead back to the body itself does not.
        """
        before = {name: self._final(name)[0] for name in self._loaded()}
        rows = self._connection.execute(
            select(BODY_CHANGES.c.body_id, BODY_CHANGES.c.note)
            .where(BODY_CHANGES.c.what == "joined")
            .order_by(BODY_CHANGES.c.run, BODY_CHANGES.c.pk)
        )
        links: dict[str, str] = {}
        for body, into in rows:
            at = into
            while at in links and at != body:
                at = links[at]
            if at != body:
                links[body] = into
        bodies = self._loaded()
        for name, (pk, _) in bodies.items():
            into_pk = bodies[links[name]][0] if links.get(name) in bodies else None
            self._connection.execute(update(BODIES).where(BODIES.c.pk == pk).values(joined_to=into_pk))
        self._bodies = None
        self.relinked |= {pk for name, pk in before.items() if self._final(name)[0] != pk}

    def _loaded(self) -> dict[str, tuple[int, BodyRef]]:
        if self._bodies is None:
            rows = self._connection.execute(select(BODIES)).mappings().all()
            names = {row["pk"]: row["id"] for row in rows}
            self._bodies = {row["id"]: (row["pk"], body_ref(row)) for row in rows}
            self._links = {row["id"]: names[row["joined_to"]] for row in rows if row["joined_to"] is not None}
        return self._bodies

    def _final(self, name: str) -> tuple[int, BodyRef]:
        bodies = self._loaded()
        while name in self._links:
            name = self._links[name]
        return bodies[name]

    def _make_body(self, named: BodyRef) -> None:
        values = {
            "id": named.id,
            "key": named.key,
            "label": named.label,
            "make": named.make,
            "model": named.model,
            "serial": named.serial,
            "joined_to": None,
        }
        self._connection.execute(insert(BODIES).values(values))
        self._bodies = None
        self.named(named.id)
        about = select(BODY_CHANGES.c.pk).where(
            BODY_CHANGES.c.what == "joined", (BODY_CHANGES.c.body_id == named.id) | (BODY_CHANGES.c.note == named.id)
        )
        if self._connection.execute(about.limit(1)).first() is not None:
            self.joined()

    # trains

    def train(self, facts: TrainFacts) -> tuple[int, TrainRef] | None:
        """The train of that description, compared with each train's own; the nearest in focal length wins."""
        if not facts.known:
            return None
        trains = self._loaded_trains()
        found = nearest_train(facts, ((own, ref) for _, own, ref in trains))
        if found is not None:
            return next((pk, ref) for pk, _, ref in trains if ref.fingerprint == found.fingerprint)
        ref = TrainRef(fingerprint(facts), train_label(facts))
        values = {"fingerprint": ref.fingerprint, "label": ref.label, "facts": to_plain(facts)}
        pk = inserted(self._connection, TRAINS, values)
        trains.append((pk, facts, ref))
        return pk, ref

    def _loaded_trains(self) -> list[tuple[int, TrainFacts, TrainRef]]:
        if self._trains is None:
            rows = self._connection.execute(select(TRAINS).order_by(TRAINS.c.pk)).mappings()
            self._trains = [
                (row["pk"], train_facts_of(row["facts"]), TrainRef(row["fingerprint"], row["label"])) for row in rows
            ]
        return self._trains

    # readouts

    def readout(self, readout: Readout) -> int:
        """The row of what a frame is compared by."""
        key = readout.key
        pk = self._readouts.get(key)
        if pk is None:
            pk = self._connection.scalar(select(READOUTS.c.pk).where(READOUTS.c.key == key))
            if pk is None:
                pk = inserted(self._connection, READOUTS, readout_values(readout))
            self._readouts[key] = pk
        return pk
