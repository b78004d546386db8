"""Rooms for the tests of what comes in."""

import shutil
import tempfile
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.handlers.kit import OwnStore, Room, open_room


@pytest.fixture
async def room(store_url: str) -> AsyncIterator[Room]:
    """Two sites, invited; nobody has answered yet."""
    async with open_room(store_url) as opened:
        yield opened


@pytest.fixture
async def own_store() -> AsyncIterator[OwnStore]:
    folder = Path(tempfile.mkdtemp(prefix="mh-"))
    store = OwnStore(folder)
    await store.start()
    yield store
    await store.kill()
    shutil.rmtree(folder, ignore_errors=True)
