"""One new catalogue for each test of this room that asks for it."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from catalogue_material import made

from darklib.catalogue.catalogue import Catalogue


@pytest.fixture
def catalogue(tmp_path: Path) -> Iterator[Catalogue]:
    """Return an open, empty catalogue."""
    with made(tmp_path) as opened:
        yield opened
