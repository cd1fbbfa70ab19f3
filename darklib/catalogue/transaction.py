"""The one place that begins, commits and rolls back. Nothing else in the catalogue commits."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Transaction

from darklib.catalogue.address import broken_references, damaged, in_words


class Transactions:
    """Transactions on one connection. Whatever ends a block early, an error or Ctrl-C, rolls back what it did."""

    def __init__(self, connection: Connection, path: Path) -> None:
        self.connection = connection
        self.path = path

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A writing transaction, from its first statement on; inside another one, a savepoint.

        Saved when the outermost block ends without an exception. RuntimeError inside `reading`: a reader that turns
        writer fails as soon as somebody else has written meanwhile.
        """
        with in_words(self.path):
            if self.connection.in_transaction():
                if not self.connection.info.get("writes"):
                    raise RuntimeError("a reading transaction cannot become a writing one")
                transaction: Transaction = self.connection.begin_nested()
            else:
                self.connection.info["writes"] = True
                try:
                    transaction = self.connection.begin()
                except BaseException:
                    self.connection.info["writes"] = False
                    raise
            outermost = not self.connection.in_nested_transaction()
            try:
                yield self.connection
                transaction.commit()
            except BaseException:
                transaction.rollback()
                raise
            finally:
                if outermost:
                    self.connection.info["writes"] = False

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One state of the catalogue for all queries in the block; inside another transaction, part of that one."""
        with in_words(self.path):
            if self.connection.in_transaction():
                yield self.connection
                return
            transaction = self.connection.begin()
            try:
                yield self.connection
            except LookupError as error:
                # What a row refers to was not found. In a sound catalogue that is a mistake of the program.
                troubles = broken_references(self.connection)
                if not troubles:
                    raise
                raise damaged(self.path, troubles[0]) from error
            finally:
                transaction.rollback()
