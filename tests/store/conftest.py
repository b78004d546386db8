"""Stores on both kinds of server, and short ways to write a commit."""

from collections.abc import AsyncIterator
from typing import Any

import hypothesis  # noqa: F401 - its plugin imports it at the end else, and some 3.11 fail there
import pytest

from bot.model.message import Message
from bot.model.subject import Subject, of_visit
from bot.store.commit import Commit, Loaded
from bot.store.store import Store

VISIT = of_visit("hollowmere", "alder-green")


@pytest.fixture(params=["plain", "cluster"])
async def store(request: pytest.FixtureRequest) -> AsyncIterator[Store]:
    """A store on an empty server, plain and in cluster mode."""
    clustered = request.param == "cluster"
    url = request.getfixturevalue("empty_cluster_url" if clustered else "store_url")
    opened = Store(url, cluster=clustered)
    yield opened
    await opened.close()


@pytest.fixture
async def plain(store_url: str) -> AsyncIterator[Store]:
    """A store on an empty plain server."""
    opened = Store(store_url)
    yield opened
    await opened.close()


def decision(
    read: Loaded, fact_id: str, subject: Subject = VISIT, body: bytes = b"{}", **more: Any
) -> Commit:
    """A commit made on what was read."""
    return Commit(
        subject=subject,
        fact_id=fact_id,
        version=read.version,
        hold=read.hold,
        chain=read.chain,
        body=body,
        outcome=more.pop("outcome", b"ok"),
        **more,
    )


def message(name: str, thread: str = "site:alder-green", **more: Any) -> Message:
    more.setdefault("made_at", 1_000)
    return Message(id=name, thread=thread, template="hello", **more)
