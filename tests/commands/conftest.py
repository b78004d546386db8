"""A folder to run commands in."""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.commands.kit import SETTINGS, Folder


@pytest.fixture
def bare() -> Iterator[Folder]:
    """An empty folder with a short name, since a socket's path may have about 100 characters."""
    path = Path(tempfile.mkdtemp(prefix="mc-"))
    yield Folder(path)
    shutil.rmtree(path, ignore_errors=True)


@pytest.fixture
def folder(bare: Folder) -> Folder:
    """The same with usable settings and the sample runbook."""
    bare.settings(SETTINGS)
    return bare
