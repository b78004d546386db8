"""A real browser for the tests of the contact's page: the Chromium of the machine."""

import os
import shutil
from collections.abc import AsyncIterator

import pytest
from playwright.async_api import Browser, async_playwright

from tests.handlers.conftest import own_store
from tests.handlers.page_kit import PageRoom, open_pages

__all__ = ["own_store"]

#: In this order; ``.ci/run`` installs the first.
NAMES = ("chromium", "chromium-browser", "google-chrome")


def the_browser() -> str:
    """Its path. Without one the tests are left out, but never by a run of ``.ci/run``."""
    found = next((path for name in NAMES if (path := shutil.which(name))), "")
    if not found and not os.environ.get("CI"):
        pytest.skip("there is no Chromium on this machine")
    assert found, "there is no Chromium on this machine"
    return found


@pytest.fixture
async def browser() -> AsyncIterator[Browser]:
    async with async_playwright() as tools:
        started = await tools.chromium.launch(
            executable_path=the_browser(),
            args=["--no-sandbox", "--disable-dev-shm-usage", "--disable-background-networking"],
        )
        yield started
        await started.close()


@pytest.fixture
async def room(store_url: str) -> AsyncIterator[PageRoom]:
    async with open_pages(store_url) as opened:
        yield opened


@pytest.fixture
async def german(store_url: str) -> AsyncIterator[PageRoom]:
    async with open_pages(store_url, "de") as opened:
        yield opened
