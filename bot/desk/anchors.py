"""Daily anchors: where every hash chain stood, kept outside the store.

Whoever rewrites a journal must also rewrite the anchors, which are files that can be copied
away. The chain proves the order of what was written; an anchor, that nothing was cut off.
"""

import json
from pathlib import Path

import msgspec

from bot.store.store import Store

#: Below the data folder of the bot.
FOLDER = "anchors"


class Head(msgspec.Struct, frozen=True, gc=False):
    """The end of one subject's chain."""

    subject: str
    version: int
    chain: str


class Anchor(msgspec.Struct, frozen=True, gc=False):
    at: int  # wave time, ms
    heads: tuple[Head, ...]


class AnchorFault(Exception):
    """The folder of the anchors holds something that is none; the text says which file."""


async def take(store: Store, at: int) -> Anchor:
    """Where every chain stands now."""
    heads = []
    for home in await store.homes():
        ends: dict[str, Head] = {}
        async for line in store.journal(home):
            ends[str(line.subject)] = Head(str(line.subject), line.version, line.chain)
        heads += list(ends.values())
    return Anchor(at, tuple(sorted(heads, key=lambda head: head.subject)))


def keep(anchor: Anchor, folder: Path, day: str) -> Path:
    """Write the anchor of a day; one that is there already is left as it is."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{day}.json"
    try:
        with path.open("x", encoding="utf-8") as file:
            json.dump(msgspec.to_builtins(anchor), file, indent=1)
    except FileExistsError:
        pass
    return path


async def faults(store: Store, folder: Path) -> list[str]:
    """Anchored chains that the journal does not hold any more; a sentence for each.

    Raises ``AnchorFault``.
    """
    anchors = kept(folder)
    if not anchors:
        return []
    chains: dict[tuple[str, int], str] = {}
    for home in await store.homes():
        async for line in store.journal(home):
            chains[str(line.subject), line.version] = line.chain
    return [
        f"{head.subject}: the journal has not what was anchored in {name} (version {head.version})."
        for name, anchor in anchors
        for head in anchor.heads
        if chains.get((head.subject, head.version)) != head.chain
    ]


def kept(folder: Path) -> list[tuple[str, Anchor]]:
    """The anchors in a folder, the oldest first. Raises ``AnchorFault``."""
    return [(path.name, _read(path)) for path in sorted(folder.glob("*.json"))]


def _read(path: Path) -> Anchor:
    try:
        return msgspec.json.decode(path.read_bytes(), type=Anchor)
    except msgspec.DecodeError as error:
        raise AnchorFault(f"{path}: not an anchor: {error}.") from None
